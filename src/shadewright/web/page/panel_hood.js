// The hood: wishes for one that is worked out, or the measures of one from the drawer.

import { Refused, Unreachable } from "./ask.js";
import { add, el } from "./dom.js";
import { Form, group, more } from "./fields.js";
import { SHAPES, isGiven, wishesOf } from "./hoods.js";
import { insideGroup, insideOf } from "./inside.js";
import { pictureOf, smallPicture } from "./pictures.js";
import { takeMesh } from "./shelf.js";

/** Wishes for a petal hood, all else left to the program. */
export function plainHood() {
  return { document: "hood", version: 1, name: "My hood", rim: { shape: "petal" }, wishes: { largest_length: 75 } };
}

/** Build the form of the hood. shelf: knows where the mesh of a hood is. */
export function hoodPanel(store, box, shelf) {
  const form = new Form(store, "hood");
  const measured = Boolean(form.document.rim?.petals);
  add(
    box,
    el("h2", null, "The hood"),
    el(
      "p",
      null,
      "Say what you wish: it is made as deep as it can be without showing. Or describe one that you have, and see whether it shows.",
    ),
    el("div", { class: "fields" }, form.text(["name"], "Name", { wide: true, most: 100, keepEmpty: true })),
    kindGroup(store, form, measured),
    measured
      ? [measuredGroup(form), stlGroup(store, form, shelf)]
      : form.document.rim?.stl
        ? meshGroup(store, form, shelf)
        : isGiven(form.document)
          ? givenGroup(store, form)
          : wishGroup(form),
    !measured && !isGiven(form.document) && wallGroup(store, form),
    insideGroup(store, form),
    more(
      "Margins",
      el(
        "p",
        { class: "tell" },
        "How much play and error the rim stays clear of. A hood pressed on by feel wants more rotation.",
      ),
      el(
        "div",
        { class: "fields" },
        form.length(["margin", "radial"], "Sideways", { placeholder: "0.3" }),
        form.length(["margin", "axial"], "Along the axis", { placeholder: "0.3" }),
        form.number(["margin", "rotation"], "Rotation", { unit: "°", placeholder: "1" }),
      ),
    ),
    more("Filters and rings under the hood", accessories(store, form)),
  );
  return form;
}

function kindGroup(store, form, measured) {
  const hood = () => form.document;
  const shape = () => (measured || form.document.rim?.stl ? "own" : (hood().rim?.shape ?? "petal"));
  const pick = (value) => {
    if (value === "own") {
      const points = hood().rim?.points ?? [];
      const heights = points.length ? points.map((pair) => pair[1]) : [40, 25];
      const most = Math.round(Math.max(...heights)),
        least = Math.round(Math.min(...heights));
      const wall =
        hood().wall?.shape === "tunnel" || !hood().wall
          ? { shape: "tube", inner_diameter: Math.ceil((store.state.lens?.front?.rim_diameter ?? 80) + 4) }
          : hood().wall;
      store.edit({
        hood: {
          ...hood(),
          wall,
          rim: { petals: { right: most, left: most, top: most, bottom: most, corners: least, valley_width: 40 } },
        },
        hand: null,
        moved: 0,
      });
      return;
    }
    const wishes = wishesOf(hood());
    if ((value === "tunnel") !== (wishes.wall?.shape === "tunnel")) delete wishes.wall;
    store.edit({ hood: { ...wishes, rim: { shape: value } }, hand: null, moved: 0 });
  };
  return group(
    "Its rim",
    form.choices(
      ["rim", "shape"],
      "Its rim",
      [
        ...Object.entries(SHAPES).map(([value, [name, hint]]) => [value, name, smallPicture(value), hint]),
        ["own", "One I have", smallPicture("own"), "checked by its measures"],
      ],
      { now: shape, put: pick },
    ),
  );
}

function wishGroup(form) {
  return group(
    "Wishes",
    el(
      "div",
      { class: "fields" },
      form.length(["wishes", "largest_length"], "No longer than", {
        placeholder: "150",
        hint: "ahead of the seat plane",
      }),
      form.number(["wishes", "allowance"], "Loss allowed", {
        unit: "stop",
        placeholder: "0",
        hint: "0: nothing of it may show",
      }),
      form.length(["wishes", "fillet_radius"], "Rounded to", {
        placeholder: "4",
        hint: "smallest radius between lobes",
      }),
      form.length(["wishes", "smallest_lobe_width"], "Lobes no narrower", { placeholder: "15" }),
      form.list(
        ["wishes", "symmetry"],
        "Alike",
        [
          ["frame", "left and right, top and bottom"],
          ["left-right", "left and right"],
          ["half-turn", "either way up"],
          ["quarter-turn", "four equal lobes"],
          ["none", "no symmetry asked"],
        ],
        { wide: true, plain: "frame" },
      ),
      form.tick(["wishes", "stands"], "It stands on its rim on a table", { plain: true }),
    ),
  );
}

/** The wall's shape; a document that gives a tube may leave its shape unsaid. */
function wallShape(hood) {
  return hood.wall ? (hood.wall.shape ?? "tube") : undefined;
}

function wallGroup(store, form) {
  const wall = () => form.document.wall;
  if (form.document.rim?.shape === "tunnel") {
    return group(
      "The wall",
      el("p", { class: "tell" }, "Left empty, the tunnel is made just to go round the seat and the front."),
      el(
        "div",
        { class: "fields" },
        wallLength(store, form, "inner_width", "Inside width", { shape: "tunnel", inner_height: 80 }),
        wallLength(store, form, "inner_height", "Inside height", { shape: "tunnel", inner_width: 80 }),
      ),
    );
  }
  const pick = (value) => {
    const across = Math.ceil(
      wall()?.inner_diameter ?? wall()?.near_diameter ?? (store.state.lens?.front?.rim_diameter ?? 80) + 3,
    );
    const hood = { ...form.document };
    if (value === "auto") delete hood.wall;
    else
      hood.wall =
        value === "tube"
          ? { shape: "tube", inner_diameter: across }
          : { shape: "cone", near_diameter: across, far_diameter: across + 12, far_z: 50 };
    store.edit({ hood });
  };
  const shape = wallShape(form.document);
  return group(
    "The wall",
    el(
      "div",
      { class: "fields" },
      form.list(
        ["wall", "shape"],
        "Shape",
        [
          ["auto", "a tube, as narrow as may be"],
          ["tube", "a tube of a given width"],
          ["cone", "a cone, wider towards the front"],
          ...(shape === "stepped" ? [["stepped", "stepped"]] : []),
        ],
        { wide: true, now: () => wallShape(form.document) ?? "auto", put: pick },
      ),
      shape === "tube" && form.length(["wall", "inner_diameter"], "Inside diameter"),
      shape === "cone" && [
        form.length(["wall", "near_diameter"], "Inside, at the seat"),
        form.length(["wall", "far_diameter"], "Inside, in front"),
        form.length(["wall", "far_z"], "… measured at", { hint: "ahead of the seat plane" }),
      ],
    ),
  );
}

/** A measure of a wall that exists only when one of them is given. */
function wallLength(store, form, name, words, others) {
  return form.length(["wall", name], words, {
    kept: (value) => {
      if (!form.document.wall && value !== null)
        store.edit({ hood: { ...form.document, wall: { ...others, [name]: value } } });
      return value;
    },
  });
}

function measuredGroup(form) {
  const at = (name) => ["rim", "petals", name];
  return group(
    "Its measures",
    el("p", { class: "tell" }, "Heights ahead of the seat plane, with a ruler, the hood standing on its seat end."),
    pictureOf("petals"),
    el(
      "div",
      { class: "fields" },
      form.length(["wall", "inner_diameter"], "Inside diameter", { wide: true }),
      form.length(at("top"), "Top", { letter: "T" }),
      form.length(at("bottom"), "Bottom", { letter: "T" }),
      form.length(at("left"), "Left", { letter: "S" }),
      form.length(at("right"), "Right", { letter: "S" }),
      form.length(at("corners"), "Corners, lowest", { letter: "C" }),
      form.number(at("valley_width"), "Valleys, at their top", { unit: "°", hint: "empty: a smooth wave is assumed" }),
      form.number(at("corner_azimuth"), "Lowest at", { unit: "°", placeholder: "35", hint: "from level upwards" }),
    ),
  );
}

function stlGroup(store, form, shelf) {
  return more(
    "Or its mesh, from an STL",
    el(
      "p",
      { class: "tell" },
      "Seat plane at z = 0, z forward, y up, x to the left as seen from behind the camera; mm. A link holds the mesh's fingerprint only: this browser keeps the mesh, and a saved design holds it whole.",
    ),
    meshPicker(store, form, shelf),
  );
}

function meshPicker(store, form, shelf) {
  const said = el("p", { class: "wrong", role: "status", hidden: true });
  const picker = el("input", {
    type: "file",
    accept: ".stl",
    class: "unseen",
    tabindex: "-1",
    "aria-label": "STL of the hood",
  });
  picker.addEventListener("change", async () => {
    said.hidden = true;
    const [file] = picker.files;
    if (!file) return;
    try {
      const id = await takeMesh(file);
      shelf.here(id);
      store.edit({
        hood: { ...form.document, wall: undefined, rim: { stl: file.name } },
        mesh: { id },
        hand: null,
        moved: 0,
      });
      shelf.changed();
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      said.hidden = false;
      said.textContent = `${file.name}: ${fault.message}`;
    }
  });
  const choose = el("button", { type: "button", class: "quiet", onclick: () => picker.click() }, "Choose an STL…");
  return el("div", null, picker, choose, said);
}

function meshGroup(store, form, shelf) {
  const missing = shelf.place(store.state) === "missing";
  const measures = { right: 40, left: 40, top: 40, bottom: 40, corners: 25, valley_width: 40 };
  const across = Math.ceil((store.state.lens?.front?.rim_diameter ?? 80) + 4);
  return group(
    "Its mesh",
    el(
      "p",
      { class: missing ? "wrong" : "tell" },
      missing
        ? `${form.document.rim.stl} is not in this browser: a link holds a mesh's fingerprint only. Load the STL again.`
        : `${form.document.rim.stl}, judged as it is. This browser keeps it over a reload, and a saved design holds it whole; a link holds its fingerprint only.`,
    ),
    meshPicker(store, form, shelf),
    el(
      "div",
      { class: "row" },
      el(
        "button",
        {
          type: "button",
          class: "quiet",
          onclick: () =>
            store.edit({
              hood: { ...form.document, wall: { shape: "tube", inner_diameter: across }, rim: { petals: measures } },
              mesh: null,
            }),
        },
        "Describe it by its measures instead",
      ),
    ),
  );
}

function givenGroup(store, form) {
  return group(
    "Its rim is given",
    el(
      "p",
      { class: "tell" },
      form.document.made_for
        ? `It was fitted to ${form.document.made_for}. It is checked as it is.`
        : "It is checked as it is. Pull it into another shape in the view of the rim.",
    ),
    el(
      "button",
      {
        type: "button",
        class: "quiet",
        onclick: () => store.edit({ hood: wishesOf(form.document), hand: null, moved: 0 }),
      },
      "Fit it anew",
    ),
  );
}

function accessories(store, form) {
  const list = form.document.accessory ?? [];
  const put = (accessory) =>
    store.edit({ hood: { ...form.document, accessory: accessory.length ? accessory : undefined } });
  return el(
    "div",
    null,
    list.map((_entry, k) =>
      el(
        "div",
        { class: "setting" },
        el(
          "div",
          { class: "title" },
          `Number ${k + 1} from the lens`,
          el(
            "button",
            { type: "button", class: "plain", onclick: () => put(list.filter((_other, n) => n !== k)) },
            "Take out",
          ),
        ),
        el(
          "div",
          { class: "fields" },
          form.text(["accessory", k, "name"], "Name", { keepEmpty: true }),
          form.length(["accessory", k, "thickness"], "Thickness", { hint: "how far it stands ahead" }),
          form.length(["accessory", k, "clear_diameter"], "Inside, in front"),
          form.length(["accessory", k, "outer_diameter"], "Outside"),
        ),
      ),
    ),
    el(
      "button",
      {
        type: "button",
        class: "quiet",
        onclick: () => put([...list, { name: "filter", thickness: 4, clear_diameter: 72, outer_diameter: 80 }]),
      },
      "Add a filter or ring",
    ),
  );
}

/** What makes the form another one. */
export function hoodLayout(hood) {
  return JSON.stringify([
    Boolean(hood.rim?.petals),
    isGiven(hood),
    hood.rim?.stl,
    insideOf(hood),
    hood.vane?.length,
    hood.rim?.shape,
    wallShape(hood),
    hood.accessory?.length,
  ]);
}
