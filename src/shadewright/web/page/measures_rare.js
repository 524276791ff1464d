// The rarer measures of a setting: further openings, a pupil that moves with the angle, off-centre and stabilised parts.

import { el } from "./dom.js";
import { more } from "./fields.js";
import { pictureOf } from "./pictures.js";
import { length } from "./words.js";

const radians = (degrees) => (degrees * Math.PI) / 180;
const tan2 = (degrees) => Math.tan(radians(degrees)) ** 2;

const NAMES = {
  rear_window: "rear opening",
  windows: "further openings",
  pupil_wander: "moving pupil",
  pupil_decentre: "off centre",
  stabiliser: "stabilised",
  image_distance: "image distance",
};

/** What of this a setting says, in words. */
function saidOf(state) {
  return Object.keys(NAMES)
    .filter((name) => state?.[name] !== undefined && state[name] !== null)
    .map((name) => NAMES[name])
    .join(", ");
}

/** The part of a setting's card that opens for them. */
export function rareMeasures(store, form, k) {
  const box = more(
    "Further openings, a pupil that moves",
    openings(store, form, k),
    wander(form, k),
    others(form, ["state", k]),
  );
  const given = el("span", { class: "given" });
  const say = () => {
    const words = saidOf(form.document.state[k]);
    given.textContent = words && `given: ${words}`;
  };
  say();
  form.watch(say);
  box.firstElementChild.append(given);
  const name = `rare ${k}`;
  box.open = store.unfolded.has(name);
  box.addEventListener("toggle", () => (box.open ? store.unfolded.add(name) : store.unfolded.delete(name)));
  return box;
}

/** Change every setting: openings belong to the lens, so that all of its settings list the same ones. */
function editAll(store, form, change) {
  const state = form.document.state.map((entry) => {
    const copy = change({ ...entry });
    if (copy.windows?.length === 0) delete copy.windows;
    return copy;
  });
  store.edit({ lens: { ...form.document, state } });
}

function openings(store, form, k) {
  const state = form.document.state[k];
  const list = state.windows ?? [];
  const front = form.document.front?.clear_diameter ?? 0.8 * (form.document.front?.rim_diameter ?? 60);
  const several = form.document.state.length > 1;
  const button = (words, change) =>
    el("button", { type: "button", class: "quiet", onclick: () => editAll(store, form, change) }, words);
  return el(
    "div",
    { class: "part" },
    el("h4", null, "Openings that cut the light off"),
    pictureOf("openings"),
    el(
      "p",
      { class: "tell" },
      "From the side, the bright disc that you see is bounded by the pupil, the front glass and often by a ring in the rear. Where you know such openings, give them as they seem to lie, seen from the front; they let the hood be deeper.",
      several && " An opening is added to every setting, or taken out of all; its measures are each setting's own.",
    ),
    state.rear_window
      ? opening(form, ["state", k, "rear_window"], "Rear opening", () =>
          editAll(store, form, ({ rear_window: _gone, ...entry }) => entry),
        )
      : null,
    list.map((_entry, n) =>
      opening(form, ["state", k, "windows", n], `Further opening ${n + 1}`, () =>
        editAll(store, form, (entry) => ({ ...entry, windows: (entry.windows ?? []).filter((_other, m) => m !== n) })),
      ),
    ),
    el(
      "div",
      { class: "row" },
      !state.rear_window &&
        button("Add the rear opening", (entry) => ({
          ...entry,
          rear_window: entry.rear_window ?? { depth: 60, radius: Math.round(0.3 * front) },
        })),
      list.length < 8 &&
        button("Add another opening", (entry) => ({
          ...entry,
          windows: [...(entry.windows ?? []), { depth: -2, radius: Math.round(0.55 * front) }],
        })),
    ),
  );
}

function opening(form, where, title, remove) {
  return el(
    "div",
    { class: "opening", role: "group", "aria-label": title },
    el(
      "div",
      { class: "title" },
      title,
      el("button", { type: "button", class: "plain", onclick: remove, "aria-label": `Take out: ${title}` }, "Take out"),
    ),
    el(
      "div",
      { class: "fields" },
      form.length([...where, "depth"], "Its depth", {
        letter: "G",
        hint: "from the front ring back; ahead of it, minus",
      }),
      form.across([...where, "radius"], "Across", { letter: "H" }),
      form.half([...where, "decentre"], 0, "Off centre, right", { hint: "as you see the subject" }),
      form.half([...where, "decentre"], 1, "Off centre, up"),
    ),
  );
}

function wander(form, k) {
  const where = ["state", k, "pupil_wander"];
  const said = el("p", { class: "tell comes-to", role: "status" });
  const say = () => {
    const [first, second] = form.value(where) ?? [0, 0];
    const at = (degrees) => {
      const by = first * tan2(degrees) + second * tan2(degrees) ** 2;
      return `${length(Math.abs(by))} ${by < 0 ? "forward" : "back"} at ${degrees}°`;
    };
    said.textContent =
      first || second ? `So the pupil stands ${at(20)}, ${at(40)} off the axis.` : "It stays where it is.";
  };
  say();
  form.watch(say);
  const angle = form.loose("Seen from", { unit: "°", value: "30" });
  const found = form.loose("Pupil's depth from there", { length: true });
  const wrong = el("p", { class: "wrong", role: "alert", hidden: true });
  const take = () => {
    const depth = form.value(["state", k, "pupil_depth"]);
    const [degrees, there] = [angle.read(), found.read()];
    const sound = degrees > 1 && degrees < 80 && Number.isFinite(there) && there !== null;
    wrong.hidden = sound && Number.isFinite(depth);
    wrong.textContent = !Number.isFinite(depth)
      ? "Give the pupil's depth F first."
      : "Give an angle from 1 to 80 degrees, and the depth found from there.";
    if (wrong.hidden) form.put(where, pairOf([(there - depth) / tan2(degrees), 0]));
  };
  return el(
    "div",
    { class: "part" },
    el("h4", null, "A pupil that moves as you look from the side"),
    pictureOf("wander"),
    el(
      "p",
      { class: "tell" },
      "In wide angles the pupil comes forward the further from the side you look. Find it by parallax once more, from an angle:",
    ),
    el("div", { class: "fields" }, angle.field, found.field),
    el(
      "div",
      { class: "row apart" },
      el("button", { type: "button", class: "quiet", onclick: take }, "Work it out from these"),
    ),
    wrong,
    el(
      "div",
      { class: "fields" },
      form.half(where, 0, "With tan² of the angle", { hint: "added to F; forward is minus" }),
      form.half(where, 1, "With tan⁴", { hint: "from a traced lens; else empty" }),
    ),
    said,
  );
}

function pairOf([first, second]) {
  const pair = [first, second].map((value) => Number(value.toFixed(4)));
  return pair.some((value) => value !== 0) ? pair : null;
}

function others(form, at) {
  return el(
    "div",
    { class: "part" },
    el("h4", null, "Off centre, stabilised, extended"),
    el(
      "div",
      { class: "fields" },
      form.half([...at, "pupil_decentre"], 0, "Pupil off centre, right"),
      form.half([...at, "pupil_decentre"], 1, "Pupil off centre, up"),
      form.length([...at, "stabiliser", "image"], "Stabiliser moves the picture", {
        placeholder: "0",
        hint: "that of the lens; at the frame, to any side",
      }),
      form.length([...at, "stabiliser", "pupil"], "… and the openings", { placeholder: "0" }),
      form.length([...at, "image_distance"], "Image distance", {
        wide: true,
        hint: "pupil of the rear to the frame; empty: the focal length, on the safe side",
      }),
    ),
  );
}
