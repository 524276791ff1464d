// The live views: what each needs from an answer, how it is drawn, and its words. One place knows which are on the sheet.

import { at, boxOf, el, settled, sv, watchSize } from "./dom.js";
import { drawLips, drawRim, rimKey, rimScale, rimWords } from "./rim.js";
import { drawSection, sectionWords } from "./section.js";
import { drawSensor, sensorWords } from "./sensor.js";
import { drawSky, skyWords } from "./sky.js";
import { SolidView, solidWords } from "./solid.js";

const LINES_OF_LOSS = "Lines: dotted 0.1, dashed 0.5, full 1 stop lost; a stop is half of the light.";
const LINES_OF_SECTION =
  "Heavy lines: outermost rays of the frame's edge; thin: innermost; dotted: through the pupil's middle; the two short bars: the pupil; upright line: the front glass.";
const LINES_OF_SKY =
  "The middle is straight ahead, the edge 90° to the side; the white frame is the picture. Lines: dotted 10 %, dashed 50 %, full 90 % of the front glass lit.";
const NAMES = ["sensor", "section", "solid", "rim", "sky"];

/** True where the reader asks for little motion. */
export const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Views {
  constructor(store) {
    this.store = store;
    this.moving = false;
    this.behind = new Set();
    this.dim = settled(() => this.behind.forEach((name) => this.figure(name).classList.add("old")), 700);
    this.answer = null;
    this.place = null;
    this.solid = new SolidView(at("solid"));
    this.words = {};
    this.addStageButtons();
    this.addPlaneChoice();
    this.addSolidChoice();
    this.followPointer();
    const again = settled(() => this.draw(), 60);
    for (const name of NAMES) watchSize(at(name), again);
  }

  figure(name) {
    return document.querySelector(`.view[data-view="${name}"]`);
  }

  /** Names of the views that are on the sheet now. */
  shown() {
    // Asking where things stand makes the browser lay the page out: once for each sheet is enough.
    const { step, stage } = document.body.dataset;
    const sheet = `${step} ${stage ?? ""} ${"present" in document.documentElement.dataset} ${document.getElementById("work").hidden}`;
    if (sheet !== this.sheet) {
      this.sheet = sheet;
      this.onSheet = NAMES.filter((name) => this.figure(name).offsetParent !== null);
    }
    return this.onSheet;
  }

  /** Take an answer: what is missing in it stays as it was, marked as old where the answer lies behind. */
  take(answer) {
    this.answer = { ...(this.answer ?? {}), ...answer };
    for (const name of Object.keys(answer)) this.behind.delete(name);
    this.draw(Object.keys(answer));
  }

  draw(only = null) {
    if (!this.answer) return;
    for (const name of this.shown()) {
      if (only && !only.includes(name)) continue;
      this[`draw_${name}`](this.answer[name]);
      this.figure(name).classList.toggle("old", this.behind.has(name) && this.figure(name).classList.contains("old"));
    }
  }

  /** The design has changed: views that have not followed within a moment are marked as lying behind. */
  outdate() {
    this.behind = new Set(NAMES);
    this.dim();
  }

  /** Mark all views as lying behind: the design has gone wrong since. */
  old() {
    this.behind = new Set(NAMES);
    for (const name of NAMES) this.figure(name).classList.add("old");
  }

  /** Put words under a view: what it shows now, and (when it is enlarged or printed) how to read it. */
  say(name, [words, how = ""]) {
    if (this.words[name] === words) return;
    this.words[name] = words;
    at(`words-${name}`).replaceChildren(words, el("span", { class: "how" }, how && ` ${how}`));
  }

  draw_sensor(data) {
    if (!data) return;
    drawSensor(at("sensor"), data);
    this.say("sensor", [sensorWords(data, this.answer.setting), LINES_OF_LOSS]);
  }

  draw_section(data) {
    if (!data) return;
    const wanted = this.store.state.plane;
    const plane = wanted === -1 ? data.planes[1] : data.planes[0];
    if (!plane) return;
    drawSection(at("section"), plane, data.extent);
    this.say("section", [sectionWords(plane, this.answer.setting), LINES_OF_SECTION]);
  }

  draw_solid(data) {
    if (!data) {
      this.say("solid", [solidWords(data, this.solid)]);
      return;
    }
    this.solid.cut = this.store.state.cut;
    // Where no graphics processor helps, the drawing in space waits until nothing moves.
    if (this.moving && this.solid.slow) return;
    this.solid.show(data);
    const fallback = this.solid.ready ? "" : " This browser has no WebGL, so that the picture stays empty.";
    this.say("solid", [
      solidWords(data, this.solid) + fallback,
      "Turn it with the mouse or the arrow keys; wheel, + and − bring it nearer.",
    ]);
  }

  draw_rim(data) {
    at("rim").parentElement.hidden = !data;
    this.say("rim", [rimWords(data)]);
    if (!data) return;
    if (data.lips) {
      drawLips(at("rim"), data);
      at("rim-key").replaceChildren();
      this.keyOfRim = null;
      return;
    }
    const groups = drawRim(at("rim"), data, { place: this.place, extent: this.extent });
    const key = JSON.stringify([
      groups.map((group) => group.name),
      data.plain,
      data.shows?.length > 0,
      Boolean(data.here),
    ]);
    if (key === this.keyOfRim) return;
    this.keyOfRim = key;
    at("rim-key").replaceChildren(...rimKey(data, groups));
  }

  draw_sky(data) {
    if (!data) return;
    drawSky(at("sky"), data);
    this.say("sky", [skyWords(data), LINES_OF_SKY]);
  }

  /** The rim's scale as drawn, for the pointer. */
  rimScale() {
    return rimScale(at("rim"), this.extent ?? this.answer.rim);
  }

  addStageButtons() {
    for (const name of NAMES) {
      const button = el(
        "button",
        {
          type: "button",
          class: "quiet",
          "aria-pressed": "false",
          onclick: () => {
            this.store.turn({ stage: this.store.state.stage === name ? "" : name });
          },
        },
        sv(
          "svg",
          { viewBox: "0 0 16 16", "aria-hidden": "true" },
          sv("path", { d: "M9.5 2H14V6.5M14 2 9 7M6.5 14H2V9.5M2 14l5-5" }),
        ),
      );
      button.dataset.enlarge = name;
      this.figure(name).querySelector(".extra").append(button);
    }
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.store.state.stage) this.store.turn({ stage: "" });
    });
  }

  /** Bring the buttons and the sheet in line with the state. */
  follow(state) {
    if (state.stage) document.body.dataset.stage = state.stage;
    else delete document.body.dataset.stage;
    for (const button of document.querySelectorAll("[data-enlarge]")) {
      const on = button.dataset.enlarge === state.stage;
      button.setAttribute("aria-pressed", String(on));
      const heading = button.closest(".view").querySelector("h2").textContent;
      button.setAttribute("aria-label", `${on ? "Back to all views" : "Enlarge"}: ${heading}`);
      button.title = on ? "Back to all views" : "Enlarge";
    }
    for (const radio of document.querySelectorAll('input[name="plane"]'))
      radio.checked = Number(radio.value) === state.plane;
    if (this.cutButton) this.cutButton.setAttribute("aria-pressed", String(state.cut));
  }

  addPlaneChoice() {
    const choice = (value, name) =>
      el(
        "label",
        null,
        el("input", { type: "radio", name: "plane", value, onchange: () => this.store.turn({ plane: value }) }),
        name,
      );
    at("plane-choice").prepend(
      el(
        "div",
        { class: "segments", role: "radiogroup", "aria-label": "Plane of the section" },
        choice(90, "Upright"),
        choice(0, "Level"),
        choice(-1, "Corners"),
      ),
    );
  }

  addSolidChoice() {
    this.cutButton = el(
      "button",
      {
        type: "button",
        class: "quiet",
        "aria-pressed": "false",
        title: "Cut the right half away",
        onclick: () => this.store.turn({ cut: !this.store.state.cut }),
      },
      "Cut",
    );
    const sensor = el("button", { type: "button", class: "quiet", "aria-pressed": "false" }, "Sensor's side");
    sensor.addEventListener("click", () => {
      this.solid.fromSensor = !this.solid.fromSensor;
      this.solid.near = 1;
      sensor.setAttribute("aria-pressed", String(this.solid.fromSensor));
      this.draw(["solid"]);
    });
    at("solid-choice").prepend(this.cutButton, sensor);
  }

  followPointer() {
    const canvas = at("solid");
    canvas.tabIndex = 0;
    canvas.setAttribute("aria-roledescription", "drawing that can be turned with the arrow keys, plus and minus");
    const view = this.solid;
    const turnBy = (across, up) => {
      view.turn -= across;
      view.rise = Math.min(Math.max(view.rise + up, -85), 85);
      view.draw();
    };
    const nearer = (by) => {
      view.near = Math.min(Math.max(view.near * by, 0.5), 5);
      view.draw();
    };
    let held = null;
    canvas.addEventListener("pointerdown", (event) => {
      held = [event.clientX, event.clientY];
      canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!held) return;
      turnBy((event.clientX - held[0]) * 0.5, (event.clientY - held[1]) * 0.4);
      held = [event.clientX, event.clientY];
    });
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, () => (held = null));
    canvas.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        nearer(event.deltaY < 0 ? 1.1 : 1 / 1.1);
      },
      { passive: false },
    );
    canvas.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-8, 0], ArrowRight: [8, 0], ArrowUp: [0, 6], ArrowDown: [0, -6] }[event.key];
      if (step) turnBy(...step);
      else if (event.key === "+" || event.key === "=") nearer(1.15);
      else if (event.key === "-") nearer(1 / 1.15);
      else return;
      event.preventDefault();
    });
  }
}

/** How fine a view is worth being worked out: columns and rows for the sensor's view, cells for the sky. */
export function fineness(moving) {
  const wide = boxOf(at("sensor")).width;
  return moving
    ? { columns: 49, rows: 33, cells: 41 }
    : wide > 700
      ? { columns: 97, rows: 65, cells: 81 }
      : { columns: 73, rows: 49, cells: 61 };
}
