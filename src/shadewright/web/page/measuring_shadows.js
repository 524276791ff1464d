// What the pupil's fit rests on: the maps and profile of every shadow, and the rims with and without their doubt.

import { el } from "./dom.js";
import { profileChart, profileWords, rimChart, rimKey } from "./measuring_drawings.js";
import { length } from "./words.js";

/** How the photographs are taken, in steps. */
export function howTo() {
  const steps = [
    "An evenly lit wall that fills the frame: overcast sky outside, or a wall lit from both sides.",
    "Tripod, manual exposure, manual focus, raw files, lowest sensitivity, stabilisers off; a little above middle grey, nothing clipped.",
    "Bare, then each tube, then bare again, four of each. Touch neither zoom, focus nor camera.",
    "Measure the tubes as you made them: one per cent of the diameter is one per cent of the depth.",
    "Drop the photographs on the drawings and fit. What the fit rests on is then shown here.",
  ];
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, "How the photographs are taken"),
    el(
      "ol",
      { class: "ms-how" },
      steps.map((step) => el("li", null, step)),
    ),
    el(
      "p",
      { class: "soft" },
      "A tube darkens the corners. Where its shadow's edge falls tells how deep the pupil lies; how soft the edge is, how wide it is.",
    ),
  );
}

/** A map of the light left as one of losses. */
export function asLoss({ columns, rows, width, height }, left) {
  const loss = left.map((value) =>
    value === null ? null : Math.min(Math.max(-Math.log2(Math.max(value, 1e-6)), 0), 9),
  );
  return { columns, rows, width, height, loss, worst: null, first: null, own: [0] };
}

function canvas(words, title) {
  return el(
    "figure",
    null,
    el("canvas", { role: "img", "aria-label": `${title}: ${words}` }),
    el("figcaption", null, words),
  );
}

/** One tube's shadow: maps, profile, and how the tube sat. */
export function shadowPart(shadow, sits) {
  const title = `${shadow.tube}, ${length(shadow.inner_diameter)} wide and ${length(shadow.length)} ahead of the seat`;
  const [x, y] = sits.decentre;
  const lean = Math.hypot(...sits.lean_degrees);
  return el(
    "section",
    { class: "ms-shadow" },
    el("h4", null, title),
    el(
      "div",
      { class: "ms-maps" },
      canvas("light taken, as photographed", title),
      canvas("light taken, as fitted", title),
      canvas("what the fit misses; crosses: left out", title),
    ),
    el(
      "figure",
      null,
      profileChart(shadow.profile, `Profile of the shadow of ${title}`),
      el("figcaption", null, profileWords(shadow.profile)),
    ),
    el(
      "p",
      { class: "soft" },
      `It sat ${length(Math.hypot(x, y), 2)} off the axis and leant by ${lean.toFixed(1)}°; the light had changed by ${(100 * sits.light_changed_by).toFixed(1)} %.`,
    ),
  );
}

/** What not knowing better costs in depth of rim. */
export function rimPart({ rim, rims }) {
  const lines = [
    { azimuth: rims.azimuth, z: rims.nominal, stroke: "r0", words: "best guess" },
    {
      azimuth: rims.azimuth,
      z: rims.safe,
      stroke: "r1",
      words: `safe all round, ${Math.round(100 * rim.confidence)} %`,
    },
    { azimuth: rims.azimuth, z: rims.documented, stroke: "r2", words: "by the lens document" },
  ];
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, "What the doubt costs"),
    el(
      "p",
      null,
      `On a tube of ${length(2 * rim.tube_radius)} inside, a plain rim may stand ${length(rim.nominal_plain)} ahead of the seat by the best guess, ${length(rim.safe_plain)} to be safe, ${length(rim.document_plain)} by the lens document, which is the most careful.`,
    ),
    el("figure", null, rimChart(lines, "Deepest rim: best guess, safe all round, by the document"), rimKey(lines)),
  );
}
