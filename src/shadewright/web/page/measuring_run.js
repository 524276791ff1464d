// A measuring job on the page: its button, its progress, its stop, and its files.

import { Refused, Unreachable, ask, fetchFile } from "./ask.js";
import { el } from "./dom.js";
import { bytes, download } from "./jobs.js";
import { allHere } from "./measuring_drop.js";

const PAUSE = 300;
const UNKNOWN = 1500;
const ENDED = ["done", "failed", "cancelled"];

/** Start a measuring job and follow it to its end: told(job) at every step. stop: an AbortSignal that cancels it. */
async function follow(kind, body, told, stop) {
  const { id } = await ask(`measure/${kind}`, body);
  let cancelled = false;
  stop.addEventListener("abort", () => {
    cancelled = true;
    ask(`jobs/${id}`, undefined, { method: "DELETE" }).catch(() => {});
  });
  for (;;) {
    if (cancelled) return { id, state: "cancelled" };
    try {
      const job = await ask(`jobs/${id}`);
      told(job);
      if (ENDED.includes(job.state)) return { ...job, id };
    } catch (fault) {
      // A dropped connection is waited out: the job goes on without the page.
      if (!(fault instanceof Unreachable)) throw fault;
    }
    await new Promise((resolve) => setTimeout(resolve, PAUSE));
  }
}

/**
 * A button that measures; a task keeps it while its form is built anew, so that a running job keeps its bar.
 *
 * body(): the question, or a sentence that says what is missing. done(job, asked): called with the job and its question
 * when it has ended well; began() when it starts, ended() when it has ended, well or not. The box that it gives back
 * takes a refusal away when its `forgive` is called.
 */
export function runButton({ button, kind, body, began, done, ended }) {
  const go = el("button", { type: "button" }, button);
  const stop = el("button", { type: "button", class: "quiet", hidden: true }, "Stop");
  const bar = el("progress", { max: 1, value: 0, "aria-label": button, hidden: true });
  const said = el("p", { class: "ms-said", role: "status" });
  const wrong = el("p", { class: "wrong", role: "alert", hidden: true });
  let stopper = null;
  const refuse = (sentence) => {
    wrong.hidden = false;
    wrong.textContent = sentence;
    wrong.scrollIntoView({ block: "nearest" });
    return undefined;
  };
  stop.addEventListener("click", () => stopper?.abort());
  go.addEventListener("click", async () => {
    wrong.hidden = true;
    said.textContent = "";
    said.textContent = "Waiting for the photographs…";
    go.disabled = true;
    await allHere();
    go.disabled = false;
    said.textContent = "";
    const asked = body();
    if (typeof asked === "string") return refuse(asked);
    stopper = new AbortController();
    began?.();
    bar.value = 0;
    bar.hidden = stop.hidden = false;
    go.disabled = true;
    try {
      const job = await follow(kind, asked, (state) => tell(state, bar, said), stopper.signal);
      if (job.state === "failed") throw new Refused(job.sentence, 422, job);
      said.textContent = job.state === "cancelled" ? "Stopped; nothing was kept." : "Done.";
      if (job.state === "done") {
        await done(job, asked);
        broughtIntoView();
      }
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      said.textContent = "";
      refuse(capital(fault.message));
    } finally {
      bar.hidden = stop.hidden = true;
      go.disabled = false;
      ended?.();
    }
    return undefined;
  });
  const box = el("div", { class: "ms-run" }, el("div", { class: "row" }, go, stop), bar, said, wrong);
  box.forgive = () => (wrong.hidden = true);
  return box;
}

/** On a narrow screen what was found stands below the form: go there. */
function broughtIntoView() {
  const found = document.querySelector("#measuring .ms-banner, #measuring .ms-evidence");
  if (found && matchMedia("(max-width: 1079px)").matches) found.scrollIntoView({ block: "start" });
}

function tell(job, bar, said) {
  const share = job.share ?? 0;
  const now = performance.now();
  if (bar.dataset.share !== String(share)) Object.assign(bar.dataset, { share, since: now });
  // A fit does not know how far it has come: after a while the bar only says that it goes on.
  if (now - Number(bar.dataset.since) > UNKNOWN) bar.removeAttribute("value");
  else bar.value = share;
  said.textContent = job.state === "waiting" ? "Waiting for its turn: other work is being done…" : `${capital(job.sentence ?? "working")}…`;
}

function capital(words) {
  // A file's name stands as it is.
  return /^[\w-]+\.\w{2,4}:/.test(words) ? words : words.replace(/^./, (letter) => letter.toUpperCase());
}

/** What a measurement rests on, for telling whether something was changed since. */
export function footing(asked) {
  return typeof asked === "string" ? asked : JSON.stringify(asked);
}

/** Mark what is shown as out of date: a notice before it, its buttons and downloads shut; or open it again. */
export function markOld(box, words) {
  box.querySelector(":scope > .ms-stale")?.remove();
  box.classList.toggle("ms-old", words !== null);
  if (words !== null) box.prepend(el("p", { class: "ms-stale", role: "status" }, words));
  for (const button of box.querySelectorAll("button")) button.disabled = words !== null;
  for (const link of box.querySelectorAll("a[download]")) {
    if (words === null) link.removeAttribute("aria-disabled");
    else link.setAttribute("aria-disabled", "true");
  }
}

/** Give a job's file to the reader; raises Refused where it is gone. */
export async function takeHome(id, name) {
  download(await fetchFile(id, name), name);
}

/** A button that downloads the first file whose name ends so; null where the job made none. */
export function downloadButton(job, ending, words, { quiet = true } = {}) {
  const file = (job.files ?? []).find(({ name }) => name.endsWith(ending));
  if (!file) return null;
  const button = el(
    "button",
    {
      type: "button",
      class: quiet ? "quiet" : null,
      onclick: async () => {
        try {
          await takeHome(job.id, file.name);
        } catch (fault) {
          if (!(fault instanceof Refused)) throw fault;
          button.replaceWith(el("span", { class: "wrong" }, fault.message));
        }
      },
    },
    words,
  );
  return button;
}

/** All files of a job as a list that can be opened. */
export function fileList(job) {
  return el(
    "details",
    { class: "more" },
    el("summary", null, `All ${job.files.length} files of this measurement`),
    el(
      "ul",
      { class: "files" },
      job.files.map((file) =>
        el(
          "li",
          null,
          el("span", null, downloadLink(job.id, file), " ", el("small", null, file.what)),
          el("small", null, bytes(file.bytes)),
        ),
      ),
    ),
  );
}

function downloadLink(id, file) {
  const link = el(
    "a",
    {
      href: `/api/jobs/${id}/files/${encodeURIComponent(file.name)}`,
      download: file.name,
      onclick: async (event) => {
        event.preventDefault();
        if (link.getAttribute("aria-disabled") === "true") return;
        try {
          await takeHome(id, file.name);
        } catch (fault) {
          if (!(fault instanceof Refused)) throw fault;
          link.replaceWith(el("span", { class: "wrong" }, fault.message));
        }
      },
    },
    file.name,
  );
  return link;
}
