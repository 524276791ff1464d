// Long work: started, watched with its progress, stopped when wished, its files taken home.

import { Refused, Unreachable, ask, fetchFile } from "./ask.js";
import { el } from "./dom.js";

const PAUSE = 350;
const ENDED = ["done", "failed", "cancelled"];

/** Start a job and follow it: told(job) at every step; gives back the last state. stop: an AbortSignal that cancels it. */
export async function runJob(kind, design, options, told, stop) {
  let job = await ask("jobs", { kind, design, options });
  let cancelled = false;
  stop?.addEventListener("abort", () => {
    cancelled = true;
    ask(`jobs/${job.id}`, undefined, { method: "DELETE" }).catch(() => {});
  });
  const { id } = job;
  for (;;) {
    told(job);
    if (ENDED.includes(job.state)) return job;
    if (cancelled) return { ...job, state: "cancelled", sentence: "Stopped." };
    await new Promise((resolve) => setTimeout(resolve, PAUSE));
    try {
      job = { id, ...(await ask(`jobs/${id}`)) };
    } catch (fault) {
      // A dropped connection is waited out; the job goes on without the page.
      if (!(fault instanceof Unreachable)) throw fault;
    }
  }
}

/** A step of a job as the beginning of a sentence. */
function sentence(words) {
  return words.replace(/[.…]+$/, "").replace(/^./, (letter) => letter.toUpperCase());
}

/** Bytes in words. */
export function bytes(count) {
  if (count < 1000) return `${count} B`;
  return count < 1e6 ? `${Math.round(count / 1000)} kB` : `${(count / 1e6).toFixed(1)} MB`;
}

/** Give a Blob to the reader as a file. */
export function download(blob, name) {
  const url = URL.createObjectURL(blob);
  const link = el("a", { href: url, download: name, onclick: (event) => event.stopPropagation() });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 30_000);
}

/**
 * A box with one piece of work: what it does, its button, progress, a way to stop it, and its files.
 *
 * blocked(): whether it cannot be begun now; the box's `follow` asks anew.
 * design(): the design to work on, or null while there is none. after(job): called when it is done.
 */
export function jobBox({ title, words, button, kind, design, options, after, blocked }) {
  const go = el("button", { type: "button" }, button);
  const stop = el("button", { type: "button", class: "quiet", hidden: true }, "Stop");
  const bar = el("progress", { max: 1, value: 0, "aria-label": title });
  bar.hidden = true;
  const said = el("p", { class: "soft", role: "status" });
  const wrong = el("p", { class: "wrong", hidden: true });
  const files = el("ul", { class: "files" });
  const extra = el("div");
  let stopper = null;
  let running = false;
  const follow = () => (go.disabled = running || Boolean(blocked?.()));
  stop.addEventListener("click", () => stopper?.abort());
  const told = (job) => {
    bar.value = job.share ?? 0;
    said.textContent = job.state === "waiting" ? "Waiting for its turn: other work is being done…" : `${sentence(job.sentence ?? "working")}…`;
  };
  go.addEventListener("click", async () => {
    const wanted = design();
    if (!wanted) {
      wrong.hidden = false;
      wrong.textContent =
        "There is no finished hood yet: wait until the rim is worked out, or mend what is said above.";
      return;
    }
    stopper = new AbortController();
    wrong.hidden = true;
    files.replaceChildren();
    extra.replaceChildren();
    bar.hidden = stop.hidden = false;
    running = true;
    follow();
    try {
      const job = await runJob(kind, wanted, options?.() ?? {}, told, stopper.signal);
      if (job.state === "failed") throw new Refused(job.sentence, 422, job);
      said.textContent =
        job.state === "cancelled" ? "Stopped; nothing was kept." : `${sentence(job.sentence ?? "done")}.`;
      files.replaceChildren(...(job.files ?? []).map((file) => fileEntry(job.id, file)));
      if (job.state === "done") extra.replaceChildren(...(after?.(job, wanted) ?? []));
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      said.textContent = "";
      wrong.hidden = false;
      wrong.textContent = fault.message;
    } finally {
      bar.hidden = stop.hidden = true;
      running = false;
      follow();
    }
  });
  const box = el(
    "section",
    { class: "job" },
    el("h3", null, title),
    el("p", { class: "soft" }, words),
    el("div", { class: "acts" }, go, stop),
    bar,
    said,
    wrong,
    files,
    extra,
  );
  box.follow = follow;
  follow();
  return box;
}

function fileEntry(id, file) {
  const link = el(
    "a",
    { href: `/api/jobs/${id}/files/${encodeURIComponent(file.name)}`, download: file.name },
    file.name,
  );
  link.addEventListener("click", async (event) => {
    event.preventDefault();
    try {
      download(await fetchFile(id, file.name), file.name);
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      link.replaceWith(el("span", { class: "wrong" }, fault.message));
    }
  });
  return el(
    "li",
    null,
    el("span", null, link, " ", el("small", null, file.what ?? "")),
    el("small", null, bytes(file.bytes ?? 0)),
  );
}
