// Places to drop photographs on: each is a drawing of what stands on the lens while they are taken.

import { Refused, Unreachable, ask, send } from "./ask.js";
import { el } from "./dom.js";
import { bytes } from "./jobs.js";
import { aperture, focal } from "./words.js";

const LARGEST = 400_000_000;
const LONGEST_NAME = 100;
let line = Promise.resolve();
const coming = new Set();

/** Waits until every photograph that was dropped is here, or has been refused. */
export async function allHere() {
  while (coming.size > 0) await Promise.all(coming);
}

/** A file's name as the program takes it: plain letters, and its ending kept. */
export function plainName(name) {
  const clean = name
    .replace(/[^\w .()+-]/g, "_")
    .replace(/\.{2,}/g, ".")
    .replace(/^[^A-Za-z0-9]+/, "");
  const dot = clean.lastIndexOf(".");
  const ending = dot > 0 ? clean.slice(dot, dot + 7) : "";
  const stem = (dot > 0 ? clean.slice(0, dot) : clean).slice(0, LONGEST_NAME) || "photograph";
  return stem + ending;
}

/** Names that differ for frames that differ: gives each frame its name in a document, and keeps {name: id}. */
export class Naming {
  constructor() {
    this.frames = {};
    this.known = new Map();
  }

  /** The name of a frame {id, name}. */
  of(frame) {
    if (this.known.has(frame.id)) return this.known.get(frame.id);
    const taken = new Set(Object.keys(this.frames).map((name) => name.toLowerCase()));
    const dot = frame.name.lastIndexOf(".");
    const [stem, ending] = dot > 0 ? [frame.name.slice(0, dot), frame.name.slice(dot)] : [frame.name, ""];
    let name = frame.name;
    for (let k = 2; taken.has(name.toLowerCase()); k++) name = `${stem} (${k})${ending}`;
    this.frames[name] = frame.id;
    this.known.set(frame.id, name);
    return name;
  }

  /** The names of several. */
  all(frames) {
    return frames.map((frame) => this.of(frame));
  }
}

/** Send a file; one after another, so that a few large ones do not crowd out the rest. */
function sendFrame(file) {
  const name = plainName(file.name);
  const sending = line.then(() => send(`frames?name=${encodeURIComponent(name)}`, file));
  line = sending.catch(() => {});
  return sending;
}

/** What a frame is, in a few words. */
export function frameWords({ width, height, kind, focal_length: long, f_number: open }) {
  return [
    `${width} × ${height}`,
    kind,
    open !== undefined ? `${long !== undefined ? `${focal(long)}, ` : ""}${aperture(open)}` : null,
  ]
    .filter(Boolean)
    .join(" · ");
}

/**
 * A place to drop photographs. frames: the list that it fills. drawing: what it shows. many: more than one may be dropped.
 * changed(): called when the list has changed.
 */
export function dropPlace({ title, words, drawing, frames, many = true, changed }) {
  const list = el("ul", { class: "ms-frames" });
  const said = el("p", { class: "ms-said", role: "status" });
  const wrong = el("ul", { class: "ms-refused", role: "alert" });
  const input = el("input", { type: "file", multiple: many, class: "unseen", "aria-label": `Photographs: ${title}` });
  const face = el(
    "label",
    { class: "ms-face" },
    drawing,
    el("span", { class: "ms-words" }, el("b", null, title), el("span", null, words)),
    el("span", { class: "ms-pick", "aria-hidden": "true" }, many ? "Drop here, or choose" : "Drop it here, or choose"),
    input,
  );
  const box = el("div", { class: "ms-drop" }, face, said, wrong, list);
  const show = () => {
    box.classList.toggle("filled", frames.length > 0);
    list.replaceChildren(...frames.map((frame) => frameEntry(frame)));
  };
  const frameEntry = (frame) =>
    el(
      "li",
      null,
      el(
        "span",
        null,
        el("b", null, frame.name),
        " ",
        el("small", null, `${frameWords(frame)} · ${bytes(frame.bytes)}`),
      ),
      el(
        "button",
        {
          type: "button",
          class: "quiet",
          "aria-label": `Take ${frame.name} away`,
          onclick: () => {
            frames.splice(frames.indexOf(frame), 1);
            ask(`frames/${frame.id}`, undefined, { method: "DELETE" }).catch(() => {});
            wrong.replaceChildren();
            said.textContent = `${frame.name} is taken away.`;
            show();
            changed?.();
            input.focus();
          },
        },
        "✕",
      ),
    );
  const take = async (files) => {
    const taking = takeIn(files).finally(() => coming.delete(taking));
    coming.add(taking);
    await taking;
  };
  const takeIn = async (files) => {
    wrong.replaceChildren();
    const wanted = many ? files : files.slice(0, 1);
    box.classList.add("busy");
    for (const [place, file] of wanted.entries()) {
      said.textContent = `Sending ${file.name}${wanted.length > 1 ? `, ${place + 1} of ${wanted.length}` : ""}…`;
      try {
        if (file.size > LARGEST) throw new Refused(`${file.name} is larger than ${bytes(LARGEST)}.`, 413, null);
        const { frame: id, name: _name, ...about } = await sendFrame(file);
        if (!many) frames.splice(0, frames.length);
        frames.push({ id, name: plainName(file.name), ...about });
        show();
      } catch (fault) {
        if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
        wrong.append(el("li", { class: "wrong" }, fault.message));
      }
    }
    box.classList.remove("busy");
    said.textContent = frames.length
      ? `${frames.length} ${frames.length === 1 ? "photograph" : "photographs"} here.`
      : "";
    changed?.();
  };
  input.addEventListener("change", async () => {
    await take([...input.files]);
    input.value = "";
  });
  box.addEventListener("dragover", (event) => {
    event.preventDefault();
    box.classList.add("over");
  });
  box.addEventListener("dragleave", () => box.classList.remove("over"));
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    event.stopPropagation();
    box.classList.remove("over");
    take([...event.dataTransfer.files]);
  });
  show();
  return box;
}
