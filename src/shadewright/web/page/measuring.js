// The measuring sheet: five things that photographs and readings tell, each with what it takes and what it says.

import { add, at, el, settled } from "./dom.js";
import { taskPicture } from "./measuring_pictures.js";
import { ProofTask } from "./measuring_proof.js";
import { PupilTask } from "./measuring_pupil.js";
import { ReadingsTask } from "./measuring_readings.js";
import { StripTask } from "./measuring_strip.js";
import { TubesTask } from "./measuring_tubes.js";
import { unit } from "./words.js";

const TASKS = [
  ["tubes", "Tubes to cut", "which lengths tell most"],
  ["pupil", "Pupil by shadows", "photographs with tubes on"],
  ["readings", "Pupil by eye", "pin, rail or ruler"],
  ["proof", "Prove a hood", "with and without it"],
  ["strip", "Trace a hood", "its rim from paper"],
];

export class Measuring {
  /** design(): the design with its finished hood, or null; said(words): tell what happened. */
  constructor(store, { design, said }) {
    this.store = store;
    const bench = { store, design, said };
    const anew = () => this.build();
    this.tasks = {
      pupil: new PupilTask(bench, anew),
      readings: new ReadingsTask(bench, anew),
      proof: new ProofTask(bench, anew),
      strip: new StripTask(bench),
    };
    this.tasks.tubes = new TubesTask(bench, anew, (tubes) => {
      this.tasks.pupil.use(tubes);
      this.choose("pupil");
    });
    this.task = "pupil";
    this.form = el("section", { class: "ms-form", "aria-label": "What is given" });
    this.tell = el("section", { class: "ms-tell", "aria-label": "What it says", tabindex: "0", role: "region" });
    this.built = false;
    at("measure").addEventListener("click", () => store.turn({ step: "measure", stage: "" }));
    addEventListener(
      "resize",
      settled(() => this.paint(), 150),
    );
    // Photographs dropped beside the drawings are no documents to be opened.
    at("measuring").addEventListener("drop", (event) => {
      if (event.defaultPrevented && event.target.closest(".ms-drop")) return;
      event.preventDefault();
      event.stopPropagation();
      said("Drop photographs on the drawing that they belong to.");
    });
  }

  /** Show the sheet, or leave it. */
  follow(state, started) {
    const shown = started && state.step === "measure";
    at("measuring").hidden = !shown;
    at("measure").setAttribute("aria-pressed", String(shown));
    if (!shown) return;
    // The form rests on the lens's settings, on the hood's name and on the unit.
    const key = JSON.stringify([state.lens, state.camera, state.hood?.name, unit()]);
    if (!this.built) this.frame();
    if (key !== this.key) this.build();
    this.key = key;
  }

  frame() {
    this.built = true;
    const entries = TASKS.map(([name, title, hint]) =>
      el(
        "label",
        { class: "choice" },
        el("input", {
          type: "radio",
          name: "measuring-task",
          value: name,
          checked: name === this.task,
          onchange: () => this.choose(name),
        }),
        taskPicture(name),
        title,
        el("small", null, hint),
      ),
    );
    at("measuring").replaceChildren(
      el(
        "div",
        { class: "ms-head" },
        el("h2", { id: "ms-title" }, "Measure"),
        el(
          "p",
          { class: "ms-caution" },
          el("b", null, "Never aim a lens or its finder at the sun."),
          " Tape a loose tube or hood fast when the lens points up or stands above people. Ventilate when you glue or paint, and follow local rules.",
        ),
      ),
      el("div", { class: "choices ms-tasks", role: "radiogroup", "aria-label": "What to measure" }, entries),
      el("div", { class: "ms-body" }, this.form, this.tell),
    );
  }

  /** The lens and the frame that all rests on, and the way to change them. */
  given() {
    const { lens, camera } = this.store.state;
    const frame = camera.format ?? (camera.frame ? `${camera.frame.join(" × ")} mm` : "not known");
    const go = (step, words) =>
      el("button", { type: "button", class: "plain", onclick: () => this.store.turn({ step }) }, words);
    return el(
      "div",
      { class: "ms-on" },
      el("span", null, el("b", null, lens.name ?? "A lens"), ` on ${camera.name ?? "a camera"}, frame ${frame}`),
      el("span", null, go("lens", "Another lens"), go("camera", "Another frame")),
    );
  }

  choose(name) {
    this.task = name;
    const input = at("measuring").querySelector(`.ms-tasks input[value="${name}"]`);
    if (input) input.checked = true;
    this.build();
  }

  /** Build form and evidence of the task anew; what holds the keyboard keeps it. */
  build() {
    const task = this.tasks[this.task];
    const title = TASKS.find(([name]) => name === this.task)[1];
    const place = [...this.form.querySelectorAll("input, select, button")].indexOf(document.activeElement);
    const [top, told] = [this.form.scrollTop, this.tell.scrollTop];
    this.form.replaceChildren(el("h3", { class: "ms-task" }, title));
    if (this.task !== "strip") this.form.append(this.given());
    add(this.form, task.form());
    this.tell.replaceChildren(task.evidence());
    [this.form.scrollTop, this.tell.scrollTop] = [top, told];
    if (place >= 0) [...this.form.querySelectorAll("input, select, button")][place]?.focus();
  }

  /** Units or colours have changed. */
  again() {
    if (at("measuring").hidden) return;
    this.follow(this.store.state, true);
    this.paint();
  }

  paint() {
    if (!at("measuring").hidden) this.tasks[this.task].paint?.();
  }
}
