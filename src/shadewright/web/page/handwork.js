// The rim pulled by hand: with the pointer on the drawing, or with three plain sliders.

import { at, el } from "./dom.js";
import { isGiven } from "./hoods.js";
import { asPoints, pulled } from "./shaping.js";
import { length } from "./words.js";

export class Handwork {
  constructor(store, views) {
    this.store = store;
    this.views = views;
    this.on = false;
    this.place = 90;
    this.width = 24;
    this.build();
    this.followPointer();
  }

  get rim() {
    return this.views.answer?.rim?.azimuth ? this.views.answer.rim : null;
  }

  build() {
    this.button = el(
      "button",
      { type: "button", class: "quiet", id: "by-hand", "aria-pressed": "false", onclick: () => this.toggle() },
      "Shape by hand",
    );
    this.back = el(
      "button",
      { type: "button", class: "quiet", hidden: true, onclick: () => this.store.edit({ hand: null, moved: 0 }) },
      "Back to the fitted rim",
    );
    at("rim-choice").prepend(this.back, this.button);
    const slider = (id, words, min, max, step) => {
      const said = el("b");
      const input = el("input", { type: "range", id, min, max, step });
      return { input, said, box: el("label", { for: id }, words, " ", said, input) };
    };
    this.direction = slider("hand-direction", "Direction", 0, 360, 2);
    this.height = slider("hand-height", "Height there", 0, 100, 0.1);
    this.breadth = slider("hand-width", "Width of the pull", 6, 60, 2);
    this.direction.input.addEventListener("input", () => {
      this.place = Number(this.direction.input.value) % 360;
      this.show();
      this.views.draw(["rim"]);
    });
    this.height.input.addEventListener("input", () => this.pull(this.place, Number(this.height.input.value)));
    this.breadth.input.addEventListener("input", () => {
      this.width = Number(this.breadth.input.value);
      this.show();
    });
    this.alike = el("input", { type: "checkbox", checked: true });
    at("shaping").append(
      this.direction.box,
      this.height.box,
      this.breadth.box,
      el("label", { class: "tick" }, this.alike, "alike on all sides"),
    );
  }

  toggle(wanted = !this.on) {
    this.on = wanted;
    at("shaping").hidden = !wanted;
    at("rim").classList.toggle("shapeable", wanted);
    this.button.setAttribute("aria-pressed", String(wanted));
    document.body.toggleAttribute("data-shaping", wanted);
    this.views.place = wanted ? this.place : null;
    this.show();
    this.views.draw(["rim"]);
  }

  /** Pull the rim at a direction to a height, mm, as it stands on the drawing. */
  pull(azimuth, height) {
    const { rim } = this;
    if (!rim) return;
    performance.mark("slider");
    const { state } = this.store;
    const wishes = state.hood?.wishes ?? {};
    const symmetry = this.alike.checked ? (wishes.symmetry ?? "frame") : "none";
    const made = (this.made ?? rim.made).map((z) => z - state.moved);
    const next = pulled(made, azimuth, height - state.moved, { width: this.width, symmetry, least: 1, most: 400 });
    this.made = next.map((z) => z + state.moved);
    this.store.edit({ hand: asPoints(next) }, "hand");
  }

  /** Bring sliders and buttons in line with the rim as it now is. */
  follow(state) {
    this.made = null;
    const { rim } = this;
    this.button.disabled = !rim;
    if (!rim && this.on) this.toggle(false);
    this.back.hidden = !(state.hand && !isGiven(state.hood)) && !state.hand;
    this.show();
  }

  show() {
    const { rim } = this;
    if (!rim || !this.on) return;
    this.views.place = this.place;
    const count = rim.made.length;
    const here = rim.made[Math.round((this.place / 360) * count) % count];
    this.direction.input.value = this.place;
    this.direction.said.textContent = `${this.place}°`;
    this.direction.input.setAttribute("aria-valuetext", `${this.place} degrees`);
    this.height.input.max = Math.ceil(1.3 * Math.max(...rim.deepest, ...rim.made));
    if (document.activeElement !== this.height.input) this.height.input.value = here;
    this.height.said.textContent = length(here);
    this.height.input.setAttribute("aria-valuetext", length(here));
    this.breadth.input.value = this.width;
    this.breadth.said.textContent = `±${this.width}°`;
  }

  followPointer() {
    const drawing = at("rim");
    let held = null;
    const placeOf = (event) => {
      const box = drawing.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    drawing.addEventListener("pointerdown", (event) => {
      if (!this.on || !this.rim) return;
      const scale = this.views.rimScale();
      const [x, y] = placeOf(event);
      const azimuth = (Math.round(scale.azimuth(x) / 2) * 2 + 360) % 360;
      const count = this.rim.made.length;
      this.place = azimuth;
      this.views.extent = { deepest: [...this.rim.deepest], made: [...this.rim.made] };
      // Where one takes hold does not matter: the rim moves by as much as the hand does.
      held = { scale, start: y, height: this.rim.made[Math.round((azimuth / 360) * count) % count] };
      drawing.setPointerCapture(event.pointerId);
      this.show();
      this.views.draw(["rim"]);
    });
    drawing.addEventListener("pointermove", (event) => {
      if (!held) return;
      const [, y] = placeOf(event);
      this.pull(this.place, held.height + held.scale.z(y) - held.scale.z(held.start));
    });
    for (const name of ["pointerup", "pointercancel"]) {
      drawing.addEventListener(name, () => {
        if (!held) return;
        held = null;
        this.views.extent = null;
        this.views.draw(["rim"]);
      });
    }
  }
}
