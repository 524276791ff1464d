// The lens described by form, with pictures of what to measure and how.

import { add, el } from "./dom.js";
import { Form, group, more } from "./fields.js";
import { rareMeasures } from "./measures_rare.js";
import { pictureOf, smallPicture } from "./pictures.js";
import { prescriptionPicker, tracedGroup } from "./traced.js";
import { focal, focus, shownLength, typedLength, unit } from "./words.js";

/** A lens with the least that can be looked at. */
export function plainLens() {
  return {
    document: "lens",
    version: 1,
    name: "My lens",
    front: { rim_diameter: 62 },
    seat: { on: "front" },
    state: [{ focal_length: 50, f_number: 2 }],
  };
}

/** Build the form of the lens; gives back the form for later judging. */
export function lensPanel(store, box) {
  const form = new Form(store, "lens");
  const traced = form.document.prescription !== undefined && form.document.prescription !== null;
  add(
    box,
    el("h2", null, "The lens"),
    el(
      "p",
      null,
      "Calipers, a ruler and ten minutes are enough. What you leave empty is estimated on the safe side, and says so. Work in room light: never look through a lens at the sun.",
    ),
    el("div", { class: "fields" }, form.text(["name"], "Name", { wide: true, most: 100, keepEmpty: true })),
    frontGroup(form),
    seatGroup(form),
    traced ? tracedGroup(store, form, plainLens) : settingsGroup(store, form),
    !traced && prescriptionGroup(store),
    more(
      "Less usual: projection, image circle",
      el(
        "div",
        { class: "fields" },
        form.list(
          ["projection", "kind"],
          "Projection",
          [
            ["rectilinear", "straight lines stay straight"],
            ["stereographic", "fisheye, stereographic"],
            ["equidistant", "fisheye, equidistant"],
            ["equisolid", "fisheye, equal areas"],
            ["orthographic", "fisheye, orthographic"],
          ],
          {
            wide: true,
            now: () => form.value(["projection", "kind"]) ?? "rectilinear",
            put: (kind) =>
              store.edit({
                lens: {
                  ...form.document,
                  ...(kind === "rectilinear" ? { projection: undefined } : { projection: { kind } }),
                },
              }),
          },
        ),
        form.length(["image_circle"], "Image circle, across", {
          hint: "Where the lens's own light ends; for shift lenses.",
        }),
      ),
    ),
  );
  return form;
}

function frontGroup(form) {
  return group(
    "The front",
    pictureOf("front"),
    el(
      "div",
      { class: "fields" },
      form.length(["front", "rim_diameter"], "Front ring", { letter: "A", hint: "outside, with calipers" }),
      form.length(["front", "clear_diameter"], "Front glass", {
        letter: "B",
        hint: "the glass that you see; do not touch it",
      }),
      form.length(["front", "clear_depth"], "Glass behind ring", {
        letter: "C",
        hint: "straight edge across the ring, measured back to the edge of the glass",
      }),
      form.text(["front", "filter_thread"], "Filter thread", {
        placeholder: "M77x0.75",
        hint: "diameter x pitch, mm",
        most: 20,
      }),
      form.tick(["front", "turns"], "The front turns when zooming or focusing (put tape on it and try)"),
    ),
  );
}

function seatGroup(form) {
  return group(
    "What the hood holds on to",
    pictureOf("reach"),
    form.choices(
      ["seat", "on"],
      "What the hood holds on to",
      [
        ["barrel", "Fixed barrel", smallPicture("seat-barrel"), "the front moves inside the hood"],
        ["front", "Front ring", smallPicture("seat-front"), "the hood travels with it"],
        ["thread", "Filter thread", smallPicture("seat-thread"), "screwed in ahead of filters"],
      ],
      { plain: "barrel" },
    ),
    el(
      "div",
      { class: "fields" },
      form.length(["seat", "diameter"], "Across what it grips", {
        letter: "D",
        hint: "calipers; left empty, the front ring",
      }),
    ),
  );
}

function prescriptionGroup(store) {
  return more(
    "You have its prescription",
    el(
      "p",
      { class: "tell" },
      "The table of surfaces, from a patent, a book or a design program (.toml, .dat, .zmx, .seq or JSON): its rays are traced, and nothing but the front and its place has to be measured.",
    ),
    prescriptionPicker(store, "Load a prescription…"),
  );
}

function settingsGroup(store, form) {
  const list = el("div", { class: "settings" });
  const states = form.document.state ?? [];
  states.forEach((_state, k) => list.append(settingCard(store, form, k, states.length)));
  return group(
    "Its settings",
    el(
      "p",
      { class: "tell" },
      "List every focal length that you measured, at infinity; and, if the front moves in focusing, the same focal lengths at near focus.",
    ),
    pictureOf("pupil"),
    el(
      "details",
      { class: "more" },
      el("summary", null, "How to find the pupil, by parallax"),
      pictureOf("parallax"),
      el(
        "ol",
        null,
        el("li", null, "Put the lens on a table, front towards you, well stopped down."),
        el("li", null, "Hold a pin beside it and look past the lens's edge at the pin and the pupil together."),
        el(
          "li",
          null,
          "Move your head. If the pin moves against the pupil, shift it along the axis until both move as one.",
        ),
        el(
          "li",
          null,
          "Measure from the front ring back to the pin: that is F. Do it five times; half the spread is a fair plus or minus.",
        ),
      ),
    ),
    list,
    el(
      "div",
      { class: "row" },
      el("button", { type: "button", class: "quiet", onclick: () => addState(store, form) }, "Add a setting"),
      states.every((state) => state.focus_distance === undefined || state.focus_distance === "infinity") &&
        el(
          "button",
          { type: "button", class: "quiet", onclick: () => addNear(store, form) },
          "Add the same at near focus",
        ),
    ),
  );
}

function settingCard(store, form, k, count) {
  const at = (name) => ["state", k, name];
  const remove = () =>
    store.edit({ lens: { ...form.document, state: form.document.state.filter((_entry, other) => other !== k) } });
  const title = el("span");
  const retitle = () => {
    const state = form.document.state[k];
    if (state)
      title.textContent = `Setting ${k + 1}: ${focal(state.focal_length ?? 0)}, ${focus(state.focus_distance)}`;
  };
  retitle();
  form.fields.push({
    where: at("focal_length"),
    named: "",
    input: el("input"),
    wrong: el("p"),
    assumed: null,
    refresh: retitle,
  });
  return el(
    "div",
    { class: "setting", role: "group", "aria-label": `Setting ${k + 1}` },
    el(
      "div",
      { class: "title" },
      title,
      count > 1 &&
        el(
          "button",
          { type: "button", class: "plain", onclick: remove, "aria-label": `Take out setting ${k + 1}` },
          "Take out",
        ),
    ),
    el(
      "div",
      { class: "fields" },
      form.number(at("focal_length"), "Focal length", { unit: "mm" }),
      form.number(at("f_number"), "Widest aperture", { unit: "f/" }),
      form.length(at("focus_distance"), "Focused at", {
        placeholder: "infinity",
        show: (value) => (value === "infinity" ? "" : shownLength(value)),
        read: typedLength,
        hint: "from the front ring; empty: infinity",
      }),
      form.length(at("reach"), "Reach", { letter: "E", hint: "seat plane forward to the ring; behind it, minus" }),
      form.length(at("pupil_depth"), "Pupil's depth", { letter: "F", hint: "from the front ring back" }),
      form.length(at("pupil_depth_plus_minus"), "Give or take", { hint: `how sure you are of F, ${unit()}` }),
      form.number(at("smallest_f_number"), "Smallest aperture", { unit: "f/", placeholder: "22" }),
    ),
    rareMeasures(store, form, k),
  );
}

function addState(store, form) {
  const states = form.document.state ?? [];
  const last = states[states.length - 1] ?? { focal_length: 25, f_number: 2.8 };
  const next = { focal_length: Math.round(last.focal_length * 1.4), f_number: last.f_number };
  if (last.focus_distance !== undefined) next.focus_distance = last.focus_distance;
  store.edit({ lens: { ...form.document, state: [...states, next] } });
}

function addNear(store, form) {
  const near = form.document.state.map((state) => ({ ...state, focus_distance: 300 }));
  store.edit({ lens: { ...form.document, state: [...form.document.state, ...near] } });
}

/** What makes the form another one: it is built anew when this changes. */
export function lensLayout(lens) {
  return JSON.stringify([
    lens.state?.map((state) => [Boolean(state.rear_window), state.windows?.length]),
    lens.prescription?.name,
    lens.prescription?.surface?.length,
    lens.placement?.map((entry) => entry.setting),
    lens.state?.some((state) => typeof state.focus_distance === "number"),
  ]);
}
