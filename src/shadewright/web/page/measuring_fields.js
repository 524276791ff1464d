// Fields of the measuring sheet: each bound to a plain table of its own, with its sentence beside it where it cannot be read.

import { el } from "./dom.js";
import { focal, focus, shownLength, typedLength, unit } from "./words.js";

let serial = 0;

/** A number bound to table[name]: null where left empty, NaN where it is no number. length: typed in the chosen unit. */
export function numberField(
  table,
  name,
  words,
  { length = false, sign = "", hint, placeholder, changed, hidden = false, id } = {},
) {
  const own = id ?? `ms${++serial}`;
  const wrong = el("p", { class: "wrong", id: `${own}-wrong`, hidden: true });
  const show = (value) =>
    Number.isNaN(value) || value === null || value === undefined ? "" : length ? shownLength(value) : String(value);
  const read = (text) =>
    length ? typedLength(text) : text.trim() === "" ? null : Number(text.trim().replace(",", "."));
  const input = el("input", {
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    id: own,
    placeholder,
    value: show(table[name]),
    "aria-describedby": hint ? `${own}-hint` : null,
    oninput: () => {
      const value = read(input.value);
      const bad = Number.isNaN(value);
      table[name] = bad ? NaN : value;
      wrong.hidden = !bad;
      wrong.textContent = bad ? `"${input.value}" is no number; write digits and at most one point.` : "";
      if (bad) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
      changed?.();
    },
  });
  return el(
    "div",
    { class: "field" },
    el("label", { for: own, class: hidden ? "unseen" : null }, words),
    el("div", { class: "with-unit" }, input, el("span", { "aria-hidden": "true" }, length ? unit() : sign)),
    hint && el("p", { class: "hint", id: `${own}-hint` }, hint),
    wrong,
  );
}

/** A line of text bound to table[name]. */
export function textField(table, name, words, { most = 100, changed } = {}) {
  const own = `ms${++serial}`;
  const input = el("input", {
    type: "text",
    autocomplete: "off",
    id: own,
    maxlength: most,
    value: table[name] ?? "",
    oninput: () => {
      table[name] = input.value;
      changed?.();
    },
  });
  return el("div", { class: "field" }, el("label", { for: own }, words), input);
}

/** A list to choose from, bound to table[name]: [[value, words], ...]. */
export function listField(table, name, words, entries, changed) {
  const own = `ms${++serial}`;
  const input = el(
    "select",
    {
      id: own,
      onchange: () => {
        table[name] = input.value;
        changed?.();
      },
    },
    entries.map(([value, shown]) => el("option", { value: String(value) }, shown)),
  );
  input.value = String(table[name]);
  return el("div", { class: "field" }, el("label", { for: own }, words), input);
}

/** The settings that a lens document lists, as choices of their places. */
export function stateEntries(lens) {
  return (lens?.state ?? []).map((state, place) => [
    place,
    `${focal(state.focal_length)}, ${focus(state.focus_distance ?? "infinity")}`,
  ]);
}

/** The state of a lens document at a focal length and focus distance, as a report names them. */
export function stateAt(lens, focalLength, focusDistance) {
  const far = (value) => (value === undefined || value === null || value === "infinity" ? Infinity : value);
  const near = (lens?.state ?? []).filter((state) => Math.abs(state.focal_length / focalLength - 1) < 0.02);
  return near.find((state) => {
    const [one, other] = [far(state.focus_distance), far(focusDistance)];
    return one === other || Math.abs(one / other - 1) < 0.05;
  });
}

/** Tables whose chosen state another lens does not list go back to its first. */
export function withinStates(lens, tables) {
  const count = lens?.state?.length ?? 0;
  for (const table of tables) if (!(Number(table.state) < count)) table.state = 0;
}

/** What a shots document says of a setting of the lens. */
export function settingOf(state, fNumber) {
  const far = state.focus_distance ?? "infinity";
  return {
    focal_length: state.focal_length,
    f_number: fNumber ?? state.f_number,
    ...(far === "infinity" ? {} : { focus_distance: far }),
    ...(state.reach === undefined || state.reach === null ? {} : { reach: state.reach }),
  };
}

/** The first of some tables' numbers that could not be read, in words; null where all can. */
export function unreadable(...tables) {
  const bad = tables.some((table) => Object.values(table).some((value) => Number.isNaN(value)));
  return bad ? "A field holds what is no number: put it right first." : null;
}
