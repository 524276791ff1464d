// The inside of a round hood: bare, with vanes, or ridged.

import { el } from "./dom.js";
import { group } from "./fields.js";
import { isGiven } from "./hoods.js";
import { pictureOf, smallPicture } from "./pictures.js";

/** "vanes", "ridges" or "bare". */
export function insideOf(hood) {
  if (hood?.ridges) return "ridges";
  const wished = hood?.wishes?.vane_depth !== undefined && hood.wishes.vane_depth !== null;
  return wished || hood?.vane?.length ? "vanes" : "bare";
}

/** The hood with another inside; what belongs to the former goes. */
export function withInside(hood, kind) {
  const { ridges: _ridges, vane: _vane, ...rest } = hood;
  const { vane_depth: _depth, ...wishes } = rest.wishes ?? {};
  const made = { ...rest, ...(Object.keys(wishes).length ? { wishes } : {}) };
  if (Object.keys(wishes).length === 0) delete made.wishes;
  if (kind === "ridges") return { ...made, ridges: { pitch: 2, depth: 1 } };
  if (kind !== "vanes") return made;
  if (isGiven(hood)) {
    const across = hood.wall?.inner_diameter ?? hood.wall?.near_diameter ?? 80;
    return { ...made, vane: [{ z: 15, inner_diameter: Math.round(across - 4) }] };
  }
  return { ...made, wishes: { ...made.wishes, vane_depth: 2 } };
}

/** The group of the hood's sheet; null for hoods that have no such inside. */
export function insideGroup(store, form) {
  const hood = form.document;
  if (hood.rim?.shape === "tunnel" || hood.wall?.shape === "tunnel" || hood.rim?.stl) return null;
  const kind = insideOf(hood);
  return group(
    "Its inside",
    form.choices(
      ["wishes", "vane_depth"],
      "Its inside",
      [
        ["bare", "Bare", smallPicture("bare"), "a smooth wall, black"],
        ["vanes", "Vanes", smallPicture("vanes"), "a few rings that hide the wall"],
        ["ridges", "Ridges", smallPicture("ridges"), "fine rings, printed with it"],
      ],
      { now: () => insideOf(form.document), put: (chosen) => store.edit({ hood: withInside(form.document, chosen) }) },
    ),
    kind === "vanes" && vanes(store, form),
    kind === "ridges" && ridges(form),
  );
}

function vanes(store, form) {
  const list = form.document.vane ?? [];
  const given = isGiven(form.document);
  const put = (vane) => {
    const copy = { ...form.document, vane };
    if (vane.length === 0) delete copy.vane;
    store.edit({ hood: copy });
  };
  const last = list[list.length - 1];
  return el(
    "div",
    null,
    pictureOf("vanes"),
    !given &&
      el(
        "div",
        { class: "fields" },
        form.length(["wishes", "vane_depth"], "They stand off the wall", {
          letter: "M",
          wide: true,
          kept: (value) => value ?? 0,
          hint: "how many and where is worked out: as few as hide the lit wall",
        }),
      ),
    given &&
      el(
        "p",
        { class: "tell" },
        "From the front rearwards; each must stand behind the one before. Whether one shows is said by the check.",
      ),
    given &&
      list.map((_entry, k) =>
        el(
          "div",
          { class: "opening", role: "group", "aria-label": `Vane ${k + 1}` },
          el(
            "div",
            { class: "title" },
            `Vane ${k + 1}`,
            el(
              "button",
              {
                type: "button",
                class: "plain",
                "aria-label": `Take out vane ${k + 1}`,
                onclick: () => put(list.filter((_other, n) => n !== k)),
              },
              "Take out",
            ),
          ),
          el(
            "div",
            { class: "fields" },
            form.length(["vane", k, "z"], "Its edge at", { letter: "N", hint: "ahead of the seat plane" }),
            form.length(["vane", k, "inner_diameter"], "Open across", { letter: "P" }),
          ),
        ),
      ),
    given &&
      el(
        "button",
        {
          type: "button",
          class: "quiet",
          onclick: () =>
            put([
              ...list,
              last
                ? { ...last, z: Number((last.z - 6).toFixed(2)) }
                : { z: 15, inner_diameter: Math.round((form.document.wall?.inner_diameter ?? 80) - 4) },
            ]),
        },
        "Add a vane",
      ),
  );
}

function ridges(form) {
  return el(
    "div",
    { class: "fields" },
    form.length(["ridges", "pitch"], "From one to the next", { hint: "0.6 mm or more" }),
    form.length(["ridges", "depth"], "They stand in by", { hint: "from the wall" }),
    form.number(["ridges", "flank"], "Rear flank", {
      unit: "°",
      placeholder: "45",
      hint: "to the axis; 45° prints without support",
    }),
    form.length(["ridges", "near"], "None further back than", { hint: "empty: as far back as there is room" }),
    isGiven(form.document) &&
      form.length(["ridges", "front"], "Foremost at", { hint: "empty: the deepest place of the rim" }),
  );
}
