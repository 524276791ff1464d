// The first screen: begin with a lens that is there, with one's own, or with documents.

import { at, el } from "./dom.js";
import { heroPicture } from "./pictures.js";
import { focal } from "./words.js";

/** Build the first screen. begin(what): "own", "open", "go on" or a starter {name, title, lens, camera, hood}. */
export function buildWelcome(begin) {
  at("welcome").replaceChildren(
    el(
      "div",
      { class: "hero" },
      el(
        "div",
        null,
        el("h1", { id: "welcome-title" }, "A lens hood that cannot show in the frame."),
        el(
          "p",
          { class: "lead" },
          "Describe your lens, turn zoom and focus, and watch what the sensor sees, what the rim does and what light gets in. Then take the files home, to print or to cut. Everything is worked out on this machine.",
        ),
      ),
      heroPicture(),
    ),
    el(
      "section",
      { "aria-labelledby": "begin-own" },
      el("h2", { id: "begin-own" }, "Begin with your own"),
      el(
        "div",
        { class: "cards", id: "own-cards" },
        el(
          "button",
          { type: "button", class: "card own", id: "begin-describe", onclick: () => begin("own") },
          el("b", null, "Describe my lens"),
          el("span", null, "With a ruler and calipers; pictures show what to measure."),
        ),
        el(
          "button",
          { type: "button", class: "card", id: "begin-open", onclick: () => begin("open") },
          el("b", null, "Open documents"),
          el("span", null, "Lens, camera and hood as TOML files, or a design saved here."),
        ),
      ),
    ),
    el(
      "section",
      { "aria-labelledby": "begin-starter" },
      el("h2", { id: "begin-starter" }, "Or try an invented one"),
      el("div", { class: "cards", id: "starters" }, el("p", { class: "soft" }, "…")),
    ),
    el(
      "p",
      { class: "caution" },
      "Never aim a lens or a finder at the sun, with or without a hood: focused sunlight burns eyes, shutters and sensors.",
    ),
  );
}

/** Offer to go on with what the browser has kept. */
export function offerToGoOn(state, begin) {
  if (!state?.lens || at("go-on")) return;
  at("own-cards").prepend(
    el(
      "button",
      { type: "button", class: "card own", id: "go-on", onclick: () => begin("go on") },
      el("b", null, "Go on where you were"),
      el("span", null, `${state.lens.name ?? "A lens"}${state.hood?.name ? `, ${state.hood.name}` : ""}`),
    ),
  );
}

/** The cards of the starters. */
export function showStarters(starters, begin) {
  at("starters").replaceChildren(
    ...starters.map((starter) =>
      el(
        "button",
        { type: "button", class: "card", onclick: () => begin(starter) },
        el("b", null, starter.lens.name),
        el("span", null, starter.title && starter.title !== starter.lens.name ? starter.title : range(starter.lens)),
      ),
    ),
  );
}

/** A lens in a few words. */
function range(lens) {
  const states = lens.state ?? [];
  const lengths = states.map((state) => state.focal_length);
  const reaches = new Set(states.map((state) => state.reach ?? 0));
  const least = Math.min(...lengths);
  const most = Math.max(...lengths);
  const notes = [
    lengths.length > 0 && (least === most ? focal(least) : `${focal(least)} to ${focal(most)}`),
    lens.prescription && "traced from its surfaces",
    lens.front?.turns && "its front turns",
    reaches.size > 1 && "its front moves inside the hood",
    states.some((state) => state.shift?.some((travel) => travel > 0)) && "it shifts",
    states.some((state) => state.pupil_depth === undefined) && "its pupil not measured",
  ];
  return notes.filter(Boolean).join("; ");
}
