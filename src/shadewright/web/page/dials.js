// The dials at the foot of the sheet: zoom, focus, aperture, depth and diameter, and the sweep that plays.

import { at, el } from "./dom.js";
import { diameterOf, isGiven, withDiameter } from "./hoods.js";
import { still } from "./views.js";
import { aperture, focal, focus, length } from "./words.js";

const SWEEP_SECONDS = 6;
const STILL_STEPS = 8;
const DEPTH_SPAN = 25;

export class Dials {
  constructor(store) {
    this.store = store;
    this.setting = null;
    this.playing = null;
    this.dials = {};
    this.chosen = "zoom";
    this.build();
  }

  build() {
    const choice = el("div", { class: "dial-choice", role: "group", "aria-label": "Which dial" });
    const dials = at("dials");
    dials.append(choice);
    for (const [name, words, hint, extra] of [
      ["zoom", "Zoom", "Turn the zoom", "play"],
      ["focus", "Focus", "Turn the focus", "play"],
      ["stop", "Aperture", "Turn the aperture", null],
      ["depth", "Depth", "Move the whole rim", "reset"],
      ["diameter", "Diameter", "Widen the hood", "reset"],
    ]) {
      const input = el("input", {
        type: "range",
        id: `dial-${name}`,
        min: 0,
        max: 1,
        step: 0.005,
        value: 0,
        title: hint,
      });
      const output = el("output", { for: `dial-${name}`, id: `said-${name}` });
      const button =
        extra === "play"
          ? el(
              "button",
              { type: "button", class: "quiet", "aria-pressed": "false", onclick: () => this.play(name) },
              "Play",
            )
          : extra === "reset" &&
            el(
              "button",
              { type: "button", class: "quiet", "data-reset": name, onclick: () => this.reset(name) },
              name === "depth" ? "As fitted" : "Auto",
            );
      const box = el(
        "div",
        { class: "dial" },
        el("div", { class: "line" }, el("label", { for: `dial-${name}` }, words), output, button),
        input,
      );
      if (name === this.chosen) box.classList.add("chosen");
      input.addEventListener("input", () => this.turned(name, Number(input.value)));
      const pick = el(
        "button",
        {
          type: "button",
          class: "quiet",
          "aria-pressed": String(name === this.chosen),
          onclick: () => this.choose(name),
        },
        words,
      );
      choice.append(pick);
      dials.append(box);
      this.dials[name] = { input, output, button, box, pick };
    }
  }

  /** On a narrow screen one dial is there at a time. */
  choose(name) {
    for (const [other, dial] of Object.entries(this.dials)) {
      dial.box.classList.toggle("chosen", other === name);
      dial.pick.setAttribute("aria-pressed", String(other === name));
    }
  }

  turned(name, value) {
    performance.mark("slider");
    const { store, setting } = this;
    const now = store.state;
    if (name !== "depth" && name !== "diameter") this.stopPlaying(name);
    if (name === "zoom") store.turn({ at: { ...now.at, zoom: value } });
    if (name === "focus") store.turn({ at: { ...now.at, focus: value } });
    if (name === "stop" && setting) {
      store.turn({
        at: {
          ...now.at,
          stop: value <= 0 ? null : Number((setting.widest * (setting.smallest / setting.widest) ** value).toFixed(3)),
        },
      });
    }
    if (name === "depth") store.edit({ moved: value }, "depth");
    if (name === "diameter") store.edit({ hood: withDiameter(now.hood, value) }, "diameter");
  }

  reset(name) {
    const { hood } = this.store.state;
    if (name === "depth") this.store.edit({ moved: 0, hand: null });
    if (name === "diameter" && hood.wall && !isGiven(hood)) {
      const copy = { ...hood };
      delete copy.wall;
      this.store.edit({ hood: copy });
    }
  }

  /** Play a sweep of the zoom or the focus, there and back, until it is stopped. */
  play(name) {
    if (this.playing?.name === name) return this.stopPlaying();
    this.stopPlaying();
    const last = name === "zoom" ? this.setting.zooms - 1 : this.setting.focuses - 1;
    const calm = still();
    const started = performance.now() - (this.store.state.at[name] / last) * SWEEP_SECONDS * 1000;
    this.playing = { name };
    this.showPlaying();
    const step = () => {
      if (this.playing?.name !== name) return;
      let phase = ((performance.now() - started) / (SWEEP_SECONDS * 1000)) % 2;
      if (phase > 1) phase = 2 - phase;
      if (calm) phase = Math.round(phase * STILL_STEPS) / STILL_STEPS;
      performance.mark("slider");
      this.store.turn({ at: { ...this.store.state.at, [name]: Number((phase * last).toFixed(3)) } });
      if (calm) this.playing.timer = setTimeout(step, 900);
      else this.playing.frame = requestAnimationFrame(step);
    };
    step();
  }

  stopPlaying() {
    if (!this.playing) return;
    cancelAnimationFrame(this.playing.frame);
    clearTimeout(this.playing.timer);
    this.playing = null;
    this.showPlaying();
  }

  showPlaying() {
    for (const name of ["zoom", "focus"]) {
      const on = this.playing?.name === name;
      const { button } = this.dials[name];
      button.setAttribute("aria-pressed", String(on));
      button.textContent = on ? "Stop" : "Play";
      button.setAttribute("aria-label", on ? `Stop the ${name} sweep` : `Play a ${name} sweep`);
    }
  }

  /** Bring the dials in line with the state and with the last answer. */
  follow(state, answer) {
    if (answer?.setting) this.setting = answer.setting;
    const { setting, dials } = this;
    if (!setting) return;
    const set = (name, { max, min = 0, step, value, words, off = false }) => {
      const { input, output, button } = dials[name];
      input.min = min;
      input.max = max;
      input.step = step;
      if (document.activeElement !== input || Number(input.value) !== value) input.value = value;
      output.textContent = words;
      input.setAttribute("aria-valuetext", words);
      input.disabled = off;
      if (button && button.textContent === "Play") button.disabled = off;
    };
    set("zoom", {
      max: Math.max(setting.zooms - 1, 1),
      step: 0.01,
      value: state.at.zoom,
      words: focal(setting.focal_length),
      off: setting.zooms < 2,
    });
    set("focus", {
      max: Math.max(setting.focuses - 1, 1),
      step: 0.01,
      value: state.at.focus,
      words: focus(setting.focus_distance),
      off: setting.focuses < 2,
    });
    const stop = state.at.stop ?? setting.widest;
    const range = Math.log(setting.smallest / setting.widest);
    set("stop", {
      max: 1,
      step: 0.005,
      value: range > 0 ? Number(Math.min(Math.max(Math.log(stop / setting.widest) / range, 0), 1).toFixed(3)) : 0,
      words: aperture(setting.f_number),
      off: range <= 0,
    });
    const moved = state.moved;
    const depth = moved === 0 ? "as it is" : `${moved > 0 ? "+" : "−"}${length(Math.abs(moved))}`;
    set("depth", {
      min: -DEPTH_SPAN,
      max: DEPTH_SPAN,
      step: 0.1,
      value: moved,
      words: state.hand ? (moved === 0 ? "by hand" : `by hand ${depth}`) : depth,
    });
    this.followDiameter(state, answer, set);
    dials.depth.button.disabled = moved === 0 && !state.hand;
    for (const name of ["zoom", "focus"]) if (!dials[name].button.hasAttribute("aria-label")) this.showPlaying();
  }

  followDiameter(state, answer, set) {
    const asked = diameterOf(state.hood);
    const inside = answer?.numbers?.inside_diameter ?? asked;
    const least = Math.max(
      state.lens?.seat?.on === "barrel" ? (state.lens.seat.diameter ?? 0) : 0,
      state.lens?.front?.rim_diameter ?? 20,
    );
    const given = isGiven(state.hood);
    const value = asked ?? inside ?? least;
    set("diameter", {
      min: Math.floor(Math.min(least, value)),
      max: Math.ceil(Math.max(1.6 * least, value)),
      step: 0.1,
      value,
      words: value ? length(value) : "auto",
      off: given,
    });
    this.dials.diameter.button.disabled = given || asked === null;
  }
}
