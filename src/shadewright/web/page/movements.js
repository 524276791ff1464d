// Shift: how far the lens moves across the frame. It belongs to the lens, and is set once for all of its settings.

import { el, sv } from "./dom.js";
import { group } from "./fields.js";
import { length, shownLength } from "./words.js";

/** The list of the lens that holds its settings: "state" measured, "placement" traced. */
function settingsOf(lens) {
  return lens?.prescription ? "placement" : "state";
}

/** The largest shift of any setting, mm: [to either side, up or down]. */
export function shiftOf(lens) {
  const all = (lens?.[settingsOf(lens)] ?? []).map((entry) => entry.shift ?? [0, 0]);
  return [0, 1].map((place) => Math.max(0, ...all.map((pair) => Number(pair[place]) || 0)));
}

/** The lens with this shift at all its settings. */
export function withShift(lens, shift) {
  const name = settingsOf(lens);
  const some = shift.some((value) => value !== 0);
  return {
    ...lens,
    [name]: (lens[name] ?? []).map(({ shift: _before, ...entry }) => (some ? { ...entry, shift } : entry)),
  };
}

/** The group "Movements" of the camera's sheet; frame(): width and height as the frame lies, or null. */
export function movementsGroup(store, form, frame) {
  const picture = el("div");
  const differs = el("p", { class: "tell", hidden: true });
  const field = (place, words, letter) =>
    form.length(["shift", place], words, {
      letter,
      placeholder: "0",
      hint: place === 0 ? "the lens's scale, from the middle" : "0 without",
      show: () => (shiftOf(store.state.lens)[place] ? shownLength(shiftOf(store.state.lens)[place]) : ""),
      put: (value) => {
        const shift = shiftOf(store.state.lens);
        shift[place] = value ?? 0;
        store.edit({ lens: withShift(store.state.lens, shift) }, `shift${place}`);
      },
    });
  const draw = () => {
    picture.replaceChildren(shiftPicture(frame(), shiftOf(store.state.lens)));
    const all = (store.state.lens?.[settingsOf(store.state.lens)] ?? []).map((entry) => String(entry.shift ?? [0, 0]));
    differs.hidden = new Set(all).size < 2;
    differs.textContent = "Its settings have different shifts; the largest is shown, and typing here sets them all.";
  };
  draw();
  form.watch(draw);
  return group(
    "Shift",
    el(
      "p",
      { class: "tell" },
      "How far the lens can be moved across the frame. The hood stays clear over all of it: side, height and both at once.",
    ),
    picture,
    el("div", { class: "fields" }, field(0, "To either side", "J"), field(1, "Up or down", "K")),
    differs,
  );
}

function shiftPicture(frame, [across, up]) {
  if (!frame || !(frame[0] > 0 && frame[1] > 0)) return el("span");
  const [wide, tall] = [frame[0] + 2 * across, frame[1] + 2 * up];
  const scale = Math.min(250 / wide, 118 / tall);
  const box = (w, h, name, dx = 0, dy = 0) =>
    sv("rect", {
      x: 210 + dx * scale - (w * scale) / 2,
      y: 76 - dy * scale - (h * scale) / 2,
      width: w * scale,
      height: h * scale,
      class: name,
    });
  const [right, top] = [210 + (wide * scale) / 2, 76 - (tall * scale) / 2];
  return sv(
    "svg",
    {
      viewBox: "0 0 420 164",
      class: "measure",
      role: "img",
      "aria-label": `The frame in the lens's picture: ${length(across)} to either side, ${length(up)} up or down`,
    },
    (across > 0 || up > 0) && [
      box(wide, tall, "pic-thin"),
      box(frame[0], frame[1], "pic-shifted", across, up),
      box(frame[0], frame[1], "pic-shifted", -across, -up),
    ],
    box(frame[0], frame[1], "pic-line"),
    across > 0 && [
      sv("line", { x1: 210 + (frame[0] * scale) / 2, x2: right, y1: 76, y2: 76, class: "pic-measure" }),
      sv("text", { x: right + 8, y: 80, class: "pic-word" }, `J ${length(across)}`),
    ],
    up > 0 && [
      sv("line", { x1: 210, x2: 210, y1: 76 - (frame[1] * scale) / 2, y2: top, class: "pic-measure" }),
      sv("text", { x: right + 8, y: Math.min(top + 10, 58), class: "pic-word" }, `K ${length(up)}`),
    ],
    sv(
      "text",
      { x: 210, y: 158, "text-anchor": "middle", class: "pic-word" },
      across || up ? "dashed: all that the frame can take in" : "no shift",
    ),
  );
}
