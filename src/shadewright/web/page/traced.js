// A lens known by its prescription: the file that is loaded, what its surfaces are, and where it stands on the seat.

import { Refused, Unreachable, ask } from "./ask.js";
import { el, path, sv } from "./dom.js";
import { group } from "./fields.js";
import { pictureOf } from "./pictures.js";
import { aperture, focal, focus, length } from "./words.js";

/** Files that are taken for prescriptions. */
export const LENS_FILES = ".toml,.dat,.zmx,.seq,.json,.txt";
const LARGEST = 1_400_000;

/** The prescription in a file: {prescription, lens, notes}. Raises Refused or Unreachable. */
export async function readPrescription(file) {
  if (file.size > LARGEST) throw new Refused("is larger than any prescription; choose another file.", 413, null);
  const bytes = new Uint8Array(await file.arrayBuffer());
  let text = "";
  for (let k = 0; k < bytes.length; k += 8192) text += String.fromCharCode(...bytes.subarray(k, k + 8192));
  return ask("prescriptions", { name: file.name, content: btoa(text) });
}

/** A lens with a prescription in place of what it was; the front as measured stays where it was measured on a traced lens. */
export function withSurfaces(lens, read) {
  if (!lens?.prescription) return read.lens;
  const known = new Map((lens.placement ?? []).map((entry) => [entry.setting, entry]));
  return {
    ...lens,
    name: read.lens.name,
    prescription: read.lens.prescription,
    placement: read.lens.placement.map((entry) => known.get(entry.setting) ?? entry),
  };
}

/** The button that loads a prescription, with what was said of it. */
export function prescriptionPicker(store, words) {
  const said = el("p", { class: "wrong", role: "alert", hidden: true });
  const picker = el("input", {
    type: "file",
    accept: LENS_FILES,
    class: "unseen",
    tabindex: "-1",
    "aria-label": "Prescription of the lens",
  });
  picker.addEventListener("change", async () => {
    const [file] = picker.files;
    picker.value = "";
    said.hidden = true;
    if (!file) return;
    try {
      const read = await readPrescription(file);
      store.remarks = read.notes;
      store.edit({ lens: withSurfaces(store.state.lens, read), hand: null, at: { zoom: 0, focus: 0, stop: null } });
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      said.hidden = false;
      said.textContent = fault.message.startsWith(file.name) ? fault.message : `${file.name}: ${fault.message}`;
    }
  });
  return el(
    "div",
    null,
    picker,
    el("button", { type: "button", class: "quiet", id: "load-prescription", onclick: () => picker.click() }, words),
    said,
  );
}

/** The group of a traced lens: picture, what it is, where it stands. */
export function tracedGroup(store, form, plain) {
  const picture = el("div", { class: "surfaces" });
  const facts = el("div");
  const said = el("p", { class: "wrong", role: "status", hidden: true });
  const notes = el(
    "ul",
    { class: "notes", hidden: store.remarks.length === 0 },
    store.remarks.map((note) => el("li", null, note)),
  );
  let asked = "";
  const show = async () => {
    const { lens, camera, hood } = store.state;
    if (!lens?.prescription) return;
    const key = JSON.stringify([lens, camera]);
    if (key === asked) return;
    asked = key;
    try {
      const { settings } = await ask("surfaces", { design: { lens, camera, hood } });
      if (key !== asked) return;
      said.hidden = true;
      picture.replaceChildren(surfacesPicture(lens.name, settings[0]));
      facts.replaceChildren(factsTable(settings), estimatedWords(settings[0]));
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      said.hidden = false;
      said.textContent = fault.message;
    }
  };
  show();
  form.watch(show);
  const { prescription } = form.document;
  return [
    group(
      "Its surfaces",
      el(
        "p",
        { class: "tell" },
        `${prescription.name}: ${prescription.surface?.length ?? 0} surfaces, traced with real rays in every view.`,
        prescription.source ? ` Source: ${prescription.source}.` : "",
      ),
      picture,
      facts,
      said,
      notes,
      el(
        "div",
        { class: "row" },
        prescriptionPicker(store, "Load another prescription…"),
        el(
          "button",
          { type: "button", class: "quiet", onclick: () => store.edit({ lens: plain(), hand: null }) },
          "Describe it by measuring instead",
        ),
      ),
    ),
    placements(store, form),
  ];
}

function factsTable(settings) {
  const rows = [
    ["Focal length", (entry) => focal(entry.focal_length)],
    ["Aperture", (entry) => aperture(entry.f_number)],
    ["Focused at", (entry) => focus(entry.focus_distance)],
    ["Pupil, behind the front vertex", (entry) => length(entry.pupil)],
    ["Pupil, across", (entry) => length(entry.pupil_diameter)],
    ["Front glass, across", (entry) => length(entry.front_glass)],
    ["Front vertex to picture", (entry) => length(entry.total)],
  ];
  return el(
    "div",
    { class: "scrolls", tabindex: "0", role: "region", "aria-label": "What the lens is" },
    el(
      "table",
      { class: "facts" },
      el(
        "thead",
        null,
        el(
          "tr",
          null,
          el("td"),
          settings.map((entry) => el("th", { scope: "col" }, entry.name)),
        ),
      ),
      el(
        "tbody",
        null,
        rows.map(([name, value]) =>
          el(
            "tr",
            null,
            el("th", { scope: "row" }, name),
            settings.map((entry) => el("td", null, value(entry))),
          ),
        ),
      ),
    ),
  );
}

function estimatedWords({ estimated }) {
  if (!estimated.length) return el("span");
  const which = estimated.length > 6 ? `${estimated.length} surfaces` : `surface ${estimated.join(", ")}`;
  return el(
    "p",
    { class: "assumed-note" },
    `How wide ${which} may be is not given: wide enough for all light is allowed for.`,
  );
}

/** The lens cut along its axis, subject to the right as in the other pictures. */
function surfacesPicture(name, setting) {
  const { surfaces } = setting;
  const all = surfaces.flatMap((surface) => surface.points);
  const [low, high] = [Math.min(...all.map(([z]) => z)), Math.max(...all.map(([z]) => z), setting.total ?? 0)];
  const tall = Math.max(...all.map(([, r]) => r), 1);
  const scale = Math.min(380 / (high - low), 84 / tall);
  const left = (420 - (high - low) * scale) / 2;
  const to = ([z, r]) => [420 - left - (z - low) * scale, 100 - r * scale];
  const whole = (points) => [...[...points].reverse(), ...points.slice(1).map(([z, r]) => [z, -r])].map(to);
  const glass = surfaces.slice(0, -1).flatMap((surface, k) => {
    if (!surface.glass) return [];
    return [
      sv("path", {
        d: path([...whole(surface.points), ...whole(surfaces[k + 1].points).reverse()], true),
        class: "pic-glass",
      }),
    ];
  });
  const stop = surfaces.find((surface) => surface.stop);
  const image = to([setting.total ?? high, 0])[0];
  return sv(
    "svg",
    {
      viewBox: "0 0 420 200",
      class: "measure",
      role: "img",
      "aria-label": `${name} cut along its axis at ${setting.name}, the subject to the right; two bars: the stop; the line on the left: the picture`,
    },
    sv("line", { x1: 4, x2: 416, y1: 100, y2: 100, class: "axis" }),
    glass,
    surfaces
      .filter((surface) => !surface.stop)
      .map((surface) => sv("path", { d: path(whole(surface.points)), class: "pic-line" })),
    stop &&
      [1, -1].map((side) => {
        const [z, r] = stop.points[stop.points.length - 1];
        const [x, y] = to([z, side * r]);
        return sv("line", { x1: x, x2: x, y1: y, y2: y - side * 12, class: "pupil" });
      }),
    sv("line", { x1: image, x2: image, y1: 60, y2: 140, class: "pic-line" }),
    sv("text", { x: image, y: 156, "text-anchor": image < 60 ? "start" : "middle", class: "pic-word" }, "picture"),
    sv("text", { x: 416, y: 192, "text-anchor": "end", class: "pic-word" }, "to the subject"),
  );
}

function placements(store, form) {
  const list = form.document.placement ?? [];
  const names = (form.document.prescription.setting ?? []).map((entry) => entry.name);
  const left = (names.length ? names : ["nominal"]).filter((name) => !list.some((entry) => entry.setting === name));
  const put = (placement) => store.edit({ lens: { ...form.document, placement } });
  return group(
    "Where it stands on the seat",
    pictureOf("vertex"),
    el(
      "p",
      { class: "tell" },
      "The surfaces say nothing of the barrel: measure where the middle of the front glass stands, with the depth rod of the calipers on a cloth, or work it out from the front ring. Never press on the glass.",
    ),
    el(
      "div",
      { class: "settings" },
      list.map((entry, k) =>
        el(
          "div",
          { class: "setting", role: "group", "aria-label": `Setting ${entry.setting}` },
          el(
            "div",
            { class: "title" },
            `Setting ${k + 1}: ${entry.setting}`,
            list.length > 1 &&
              el(
                "button",
                {
                  type: "button",
                  class: "plain",
                  "aria-label": `Take out setting ${entry.setting}`,
                  onclick: () => put(list.filter((_other, n) => n !== k)),
                },
                "Take out",
              ),
          ),
          el(
            "div",
            { class: "fields" },
            form.length(["placement", k, "vertex_reach"], "Front vertex", {
              letter: "L",
              hint: "ahead of the seat plane; behind it, minus",
            }),
            form.number(["placement", k, "smallest_f_number"], "Smallest aperture", { unit: "f/", placeholder: "22" }),
            form.length(["placement", k, "image_travel"], "Stabiliser moves the picture", { placeholder: "0" }),
          ),
        ),
      ),
    ),
    left.length > 0 &&
      el(
        "div",
        { class: "row" },
        left.map((name) =>
          el(
            "button",
            { type: "button", class: "quiet", onclick: () => put([...list, { setting: name }]) },
            `Add the setting ${name}`,
          ),
        ),
      ),
  );
}
