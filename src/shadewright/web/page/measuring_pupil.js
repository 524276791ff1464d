// The pupil from the shadows of tubes: photographs bare and with each tube, the fit, and what it rests on.

import { add, el } from "./dom.js";
import { more } from "./fields.js";
import { Naming, dropPlace } from "./measuring_drop.js";
import { drawMissed, plusMinus, tubeScene } from "./measuring_drawings.js";
import {
  listField,
  numberField,
  settingOf,
  stateAt,
  stateEntries,
  unreadable,
  withinStates,
} from "./measuring_fields.js";
import { downloadButton, fileList, footing, markOld, runButton } from "./measuring_run.js";
import { asLoss, howTo, rimPart, shadowPart } from "./measuring_shadows.js";
import { drawSensor } from "./sensor.js";
import { aperture, focal, focus, length } from "./words.js";

const MOST_TUBES = 6;
const MOST_SETTINGS = 12;
const ERRORS_SHOWN = 4;

const NAMES = [
  ["pupil_depth", "Pupil, behind the front rim", "mm"],
  ["pupil_radius", "Pupil's radius", "mm"],
  ["image_distance", "Image distance", "mm"],
  ["wander", "Deeper at field slope 1 by", "mm"],
  ["front_radius", "Front glass's radius", "mm"],
  ["rear_depth", "A further window, behind the front rim", "mm"],
  ["rear_radius", "Its radius", "mm"],
  ["tone", "Bend of the picture's tones", ""],
];

export class PupilTask {
  /** bench: {store, said(words)}; changed(): the form is to be built anew. */
  constructor(bench, changed) {
    this.bench = bench;
    this.changed = changed;
    this.tubes = [
      { inner_diameter: null, length: null, plus_minus: 0.1 },
      { inner_diameter: null, length: null, plus_minus: 0.1 },
    ];
    this.settings = [this.setting(0)];
    this.chosen = 0;
    this.wishes = { confidence: 95 };
    this.outcome = null;
    this.footing = null;
    this.running = false;
    this.run = runButton({
      button: "Fit the pupil",
      kind: "pupil",
      body: () => this.body(),
      began: () => {
        this.running = true;
        this.judge();
      },
      done: (job, asked) => {
        this.outcome = job;
        this.footing = footing(asked);
        this.running = false;
        this.fill();
      },
      ended: () => {
        this.running = false;
        this.judge();
      },
    });
  }

  setting(state) {
    return {
      state,
      f_number: null,
      focal_plus_minus: 3,
      bare: [],
      stopped: [],
      stopped_f_number: null,
      with_tube: new Map(),
    };
  }

  /** Tubes that were proposed: [{inner_diameter, length}]. */
  use(tubes) {
    this.tubes = tubes.map((tube) => ({ ...tube, plus_minus: 0.1 }));
    for (const setting of this.settings) setting.with_tube.clear();
  }

  /** Something on the left was changed: what was refused may be right now, and what is shown may be out of date. */
  touched() {
    this.run.forgive();
    this.judge();
  }

  /** Whether what is shown still rests on what is on the left; the lens that it gave itself is no change. */
  judge() {
    if (!this.outcome || !this.evidenceBox) return;
    let words = null;
    if (this.running) words = "A new fit is running: what is shown here is of the fit before.";
    else if (!this.rests()) words = "Out of date: something was changed on the left since. Fit again.";
    markOld(this.evidenceBox, words);
  }

  rests() {
    if (this.lens?.state === undefined) return false;
    if (footing(this.body()) === this.footing) return true;
    const own = JSON.stringify(this.lens) === JSON.stringify(this.outcome.result.lens_document);
    return own && footing(this.body(JSON.parse(this.footing).lens)) === this.footing;
  }

  get lens() {
    return this.bench.store.state.lens;
  }

  form() {
    const { lens } = this;
    const states = stateEntries(lens);
    withinStates(lens, this.settings);
    if (states.length === 0)
      return el(
        "p",
        { class: "ms-stop" },
        "This lens is known by its surfaces, or lists no focal length yet: tubes are for a lens described by form, with its focal lengths. Go to step 1, Lens.",
      );
    const box = el("div");
    const setting = this.settings[this.chosen];
    add(
      box,
      this.settingChoice(states),
      el(
        "div",
        { class: "fields" },
        listField(setting, "state", "Lens set to", states, () => this.changed()),
        numberField(setting, "f_number", "At f/", {
          placeholder: String(lens.state[setting.state]?.f_number ?? ""),
          changed: () => this.touched(),
        }),
      ),
      this.places(setting),
      el(
        "div",
        { class: "row ms-after" },
        this.tubes.length < MOST_TUBES &&
          el(
            "button",
            {
              type: "button",
              class: "quiet",
              onclick: () => {
                this.tubes.push({
                  inner_diameter: this.tubes.at(-1)?.inner_diameter ?? null,
                  length: null,
                  plus_minus: 0.1,
                });
                this.changed();
              },
            },
            "Another tube",
          ),
      ),
      more(
        "More to say",
        el(
          "div",
          { class: "fields" },
          numberField(setting, "focal_plus_minus", "Focal length true to", {
            sign: "%",
            changed: () => this.touched(),
          }),
          numberField(this.wishes, "confidence", "Chance asked for", { sign: "%", changed: () => this.touched() }),
        ),
        dropPlace({
          title: "Stopped down, nothing on the lens",
          words: "Three stops or more: tells the lens's own windows from the light of the wall.",
          frames: setting.stopped,
          changed: () => this.touched(),
        }),
        el(
          "div",
          { class: "fields" },
          numberField(setting, "stopped_f_number", "Stopped down to f/", { changed: () => this.touched() }),
        ),
      ),
      this.run,
    );
    return box;
  }

  settingChoice(states) {
    const words = (setting) => states[setting.state]?.[1] ?? "?";
    return el(
      "div",
      { class: "row ms-settings", role: "group", "aria-label": "Settings of the lens" },
      this.settings.length > 1 &&
        this.settings.map((setting, k) =>
          el(
            "button",
            {
              type: "button",
              class: "quiet",
              "aria-pressed": String(k === this.chosen),
              onclick: () => {
                this.chosen = k;
                this.changed();
              },
            },
            words(setting),
          ),
        ),
      states.length > 1 &&
        this.settings.length < Math.min(states.length, MOST_SETTINGS) &&
        el(
          "button",
          {
            type: "button",
            class: "quiet",
            onclick: () => {
              const used = new Set(this.settings.map(({ state }) => Number(state)));
              this.settings.push(this.setting(states.map(([place]) => place).find((place) => !used.has(place)) ?? 0));
              this.chosen = this.settings.length - 1;
              this.changed();
            },
          },
          "Another focal length or focus",
        ),
      this.settings.length > 1 &&
        el(
          "button",
          {
            type: "button",
            class: "quiet",
            onclick: () => {
              this.settings.splice(this.chosen, 1);
              this.chosen = 0;
              this.changed();
            },
          },
          "Take this one out",
        ),
    );
  }

  /** The drawings to drop on: nothing on the lens, and each tube with its measures. */
  places(setting) {
    const { lens } = this;
    const state = lens.state[setting.state] ?? {};
    const scene = (tube) => {
      const of = (name) => this.tubes.map((one) => one[name]).filter(Number.isFinite);
      return tubeScene(lens, tube, {
        reach: state.reach ?? 0,
        depth: state.pupil_depth ?? null,
        longest: Math.max(0, ...of("length")),
        across: Math.max(0, ...of("inner_diameter")),
      });
    };
    const list = el("ol", { class: "ms-places" });
    const shared = { changed: () => this.touched() };
    add(
      list,
      el(
        "li",
        null,
        dropPlace({
          title: "Nothing on the lens",
          words: "The wall alone: before and after the tubes, all of them here.",
          drawing: scene(null),
          frames: setting.bare,
          ...shared,
        }),
      ),
    );
    this.tubes.forEach((tube, k) => {
      if (!setting.with_tube.has(tube)) setting.with_tube.set(tube, []);
      const drawn = el("span", { class: "ms-drawn" }, scene(tube));
      const redraw = () => {
        drawn.replaceChildren(scene(tube));
        this.touched();
      };
      list.append(
        el(
          "li",
          null,
          dropPlace({
            title: `Tube ${k + 1}`,
            words: "The same wall, nothing touched but the tube.",
            drawing: drawn,
            frames: setting.with_tube.get(tube),
            ...shared,
          }),
          el(
            "div",
            { class: "ms-measures" },
            numberField(tube, "inner_diameter", "Inside", { length: true, changed: redraw }),
            numberField(tube, "length", "Ahead of the seat", { length: true, changed: redraw }),
            numberField(tube, "plus_minus", "Both true to", { length: true, changed: redraw }),
          ),
          this.tubes.length > 1 &&
            el(
              "button",
              {
                type: "button",
                class: "plain",
                onclick: () => {
                  this.tubes.splice(k, 1);
                  this.settings.forEach((one) => one.with_tube.delete(tube));
                  this.changed();
                },
              },
              `Take tube ${k + 1} out`,
            ),
        ),
      );
    });
    return list;
  }

  /** The question, or a sentence that says what is missing. */
  body(lens = this.lens) {
    const { camera } = this.bench.store.state;
    const bad = unreadable(...this.tubes, ...this.settings, this.wishes);
    if (bad) return bad;
    const naming = new Naming();
    const used = this.tubes.filter((tube) => this.settings.some((one) => one.with_tube.get(tube)?.length));
    if (used.length === 0) return "No tube's photographs are here yet: drop at least one on the drawing of its tube.";
    const name = (tube) => `tube ${this.tubes.indexOf(tube) + 1}`;
    for (const tube of used) {
      if (!(tube.inner_diameter > 0 && tube.length > 0))
        return `Say how wide ${name(tube)} is inside and how far its end stands ahead of the seat.`;
    }
    const setting = [];
    for (const one of this.settings) {
      if (one.bare.length === 0)
        return `The bare photographs at ${focal(lens.state[one.state].focal_length)} are missing: drop them on the drawing with nothing on the lens.`;
      setting.push({
        ...settingOf(lens.state[one.state], one.f_number),
        focal_length_plus_minus: one.focal_plus_minus ?? 3,
        bare: naming.all(one.bare),
        with_tube: used
          .filter((tube) => one.with_tube.get(tube)?.length)
          .map((tube) => ({ tube: name(tube), frames: naming.all(one.with_tube.get(tube)) })),
        ...(one.stopped.length
          ? { stopped_down: naming.all(one.stopped), stopped_down_f_number: one.stopped_f_number }
          : {}),
      });
    }
    const tube = used.map((one) => ({
      name: name(one),
      inner_diameter: one.inner_diameter,
      length: one.length,
      inner_diameter_plus_minus: one.plus_minus ?? 0.1,
      length_plus_minus: one.plus_minus ?? 0.1,
    }));
    const shots = { document: "shots", version: 1, name: `${lens.name} pupil`.slice(0, 100), tube, setting };
    return { lens, camera, shots, frames: naming.frames, confidence: (this.wishes.confidence ?? 95) / 100 };
  }

  // -- what the frames say

  evidence() {
    this.evidenceBox = el("div", { class: "ms-evidence" });
    this.fill();
    return this.evidenceBox;
  }

  fill() {
    if (!this.evidenceBox) return;
    this.evidenceBox.replaceChildren();
    if (!this.outcome) {
      this.evidenceBox.append(howTo());
      return;
    }
    const { result } = this.outcome;
    add(
      this.evidenceBox,
      this.banner(result),
      result.settings.map((setting, k) => this.settingPart(setting, result.shadows[k])),
      rimPart(result),
      fileList(this.outcome),
    );
    this.judge();
    requestAnimationFrame(() => this.paint());
  }

  banner(result) {
    const settled = result.settings.every((setting) => setting.settled);
    const said = result.settings.map((setting) => {
      const written = stateAt(result.lens_document, setting.focal_length, setting.focus_distance);
      const { value, error } = setting.values.pupil_depth;
      const where = `${focal(setting.focal_length)}, focused at ${focus(setting.focus_distance)}`;
      return `At ${where}, the pupil lies ${plusMinus(value, error)} behind the front rim by the fit alone; the lens document allows for ${length(written?.pupil_depth_plus_minus, 2)} either way.`;
    });
    return el(
      "section",
      { class: "ms-banner", "data-verdict": settled ? "clear" : "within" },
      el("span", { class: "sign", "aria-hidden": "true" }, settled ? "✓" : "?"),
      el(
        "div",
        null,
        el("h3", { tabindex: "-1" }, settled ? "The frames settle the pupil" : "The frames cannot settle the pupil"),
        said.map((words) => el("p", null, words)),
        el(
          "div",
          { class: "row" },
          el(
            "button",
            {
              type: "button",
              class: settled ? null : "quiet",
              id: "ms-use-lens",
              onclick: () => {
                this.bench.store.edit({ lens: result.lens_document });
                this.bench.said("The measured lens is on the bench; Undo puts the one before back.");
              },
            },
            "Use this lens",
          ),
          downloadButton(this.outcome, "-measured.toml", "Download the lens document"),
        ),
      ),
    );
  }

  settingPart(setting, shadows) {
    return el(
      "section",
      { class: "ms-part" },
      el(
        "h3",
        null,
        `${focal(setting.focal_length)} at ${aperture(setting.f_number)}, focused at ${focus(setting.focus_distance)}`,
      ),
      setting.notes.length > 0 &&
        el(
          "ul",
          { class: "ms-notes" },
          setting.notes.map((note) => el("li", null, note)),
        ),
      el(
        "table",
        { class: "ms-values" },
        el("caption", { class: "unseen" }, "Values with one standard error"),
        el(
          "tbody",
          null,
          NAMES.filter(([name]) => setting.values[name]).map(([name, words, measure]) => {
            const { value, error } = setting.values[name];
            return el(
              "tr",
              null,
              el("th", { scope: "row" }, words),
              el("td", null, measure === "mm" ? plusMinus(value, error) : `${value.toFixed(3)} ± ${error.toFixed(3)}`),
            );
          }),
        ),
      ),
      el(
        "p",
        { class: "soft" },
        `± is one standard error. ${setting.cells} cells of the frames were fitted, ${setting.left_out} left out.`,
      ),
      shadows.map((shadow, k) => shadowPart(shadow, setting.tubes[k])),
    );
  }

  paint() {
    if (!this.outcome || !this.evidenceBox?.isConnected) return;
    const canvases = [...this.evidenceBox.querySelectorAll("canvas")];
    this.outcome.result.shadows.flat().forEach(({ map }, k) => {
      const [left, fitted, missed] = canvases.slice(3 * k, 3 * k + 3);
      drawSensor(left, asLoss(map, map.left), { spoken: false });
      drawSensor(fitted, asLoss(map, map.fitted), { spoken: false });
      drawMissed(missed, map, ERRORS_SHOWN, "standard errors");
    });
  }
}
