// The camera: the frame that a hood must stay out of.

import { add, el, sv } from "./dom.js";
import { Form, group, more } from "./fields.js";
import { movementsGroup } from "./movements.js";
import { smallPicture } from "./pictures.js";
import { withValue } from "./store.js";
import { length } from "./words.js";

/** A camera with the commonest frame. */
export function plainCamera() {
  return { document: "camera", version: 1, name: "My camera", format: "135", orientation: "landscape" };
}

/** Build the form of the camera. formats: [{name, width, height}]. */
export function cameraPanel(store, box, formats) {
  const form = new Form(store, "camera");
  const own = form.document.format === undefined || form.document.format === null;
  const picture = el("div");
  const setFormat = (value) => {
    const camera = { ...form.document };
    if (value === "") {
      const known = formats.find((entry) => entry.name === camera.format);
      delete camera.format;
      camera.frame = known ? [known.width, known.height] : [36, 24];
    } else {
      delete camera.frame;
      camera.format = value;
    }
    // A crop mode larger than the frame cannot be: it goes with the frame that it belonged to.
    const [width, height] = frameOf(camera, formats) ?? [Infinity, Infinity];
    const crop = (camera.crop ?? []).filter((entry) => entry.frame[0] <= width && entry.frame[1] <= height);
    if (crop.length > 0) camera.crop = crop;
    else delete camera.crop;
    store.edit({ camera });
  };
  add(
    box,
    el("h2", null, "The camera"),
    el("p", null, "Only its frame matters, how it lies, and how far the sensor may move."),
    el(
      "div",
      { class: "fields" },
      form.text(["name"], "Name", { wide: true, most: 100, keepEmpty: true }),
      form.list(
        ["format"],
        "Frame",
        [
          ...formats.map((entry) => [entry.name, `${entry.name}: ${entry.width} × ${entry.height} mm`]),
          ["", "another size"],
        ],
        { wide: true, now: () => form.value(["format"]) ?? "", put: setFormat },
      ),
      own && form.length(["frame", 0], "Width"),
      own && form.length(["frame", 1], "Height"),
    ),
    picture,
    group(
      "How the frame lies",
      form.choices(
        ["orientation"],
        "How the frame lies",
        [
          ["landscape", "Landscape", smallPicture("landscape")],
          ["portrait", "Portrait", smallPicture("portrait")],
          ["both", "Both", smallPicture("both"), "turns behind the lens; the hood does not"],
        ],
        { plain: "landscape" },
      ),
      el(
        "div",
        { class: "fields" },
        form.length(["stabiliser_travel"], "Sensor travel", { hint: "to any side, by the stabiliser; 0 without" }),
      ),
    ),
    movementsGroup(store, form, () => laidFrame(form.document, formats)),
    useGroup(store, form),
    more("Crop modes and delivery shapes", el("div", { class: "fields" }, masksField(store, form)), crops(store, form)),
  );
  const draw = () => picture.replaceChildren(framePicture(form.document, formats));
  draw();
  form.watch(draw);
  return form;
}

/** Width and height in mm of a camera's whole frame, or null. */
export function frameOf(camera, formats) {
  if (camera?.frame?.length === 2) return camera.frame;
  const known = formats.find((entry) => entry.name === camera?.format);
  return known ? [known.width, known.height] : null;
}

/** Width and height of the frame as it lies. */
function laidFrame(camera, formats) {
  const frame = frameOf(camera, formats);
  return frame && camera.orientation === "portrait" ? [frame[1], frame[0]] : frame;
}

function framePicture(camera, formats) {
  const frame = laidFrame(camera, formats);
  if (!frame || !(frame[0] > 0 && frame[1] > 0)) return el("span");
  const [width, height] = frame;
  const scale = Math.min(300 / Math.max(width, 36), 120 / Math.max(height, 24));
  const rect = (w, h, name) =>
    sv("rect", { x: 210 - (w * scale) / 2, y: 75 - (h * scale) / 2, width: w * scale, height: h * scale, class: name });
  return sv(
    "svg",
    {
      viewBox: "0 0 420 160",
      class: "measure",
      role: "img",
      "aria-label": `The frame, ${width} by ${height} mm, beside that of 135 film`,
    },
    rect(36, 24, "pic-thin"),
    rect(width, height, "pic-line"),
    camera.orientation === "both" && rect(height, width, "pic-line"),
    sv("text", { x: 210, y: 79, "text-anchor": "middle" }, `${length(width)} × ${length(height)}`),
    sv("text", { x: 410, y: 152, "text-anchor": "end", class: "pic-word" }, "dashed: 36 × 24 mm"),
  );
}

function useGroup(store, form) {
  const { crop = [], masks = [] } = form.document;
  if (crop.length === 0 && masks.length === 0) return null;
  const hood = () => store.state.hood ?? {};
  const choose = (field, words, names) =>
    names.length > 0 &&
    form.list(["use", field], words, [["", "the whole of it"], ...names.map((name) => [name, name])], {
      now: () => hood().use?.[field] ?? "",
      put: (value) => store.edit({ hood: withValue(hood(), ["use", field], value === "" ? null : value) }),
    });
  return group(
    "Which part of it the hood is for",
    el(
      "div",
      { class: "fields" },
      choose(
        "crop",
        "Crop mode",
        crop.map((entry) => entry.name),
      ),
      choose("mask", "Delivered as", masks),
    ),
  );
}

function masksField(store, form) {
  const read = (text) => text.split(/[,;\s]+/).filter(Boolean);
  return form.number(["masks"], "Shapes that pictures are delivered in", {
    wide: true,
    placeholder: "16:9, 1:1",
    show: (value) => (value ?? []).join(", "),
    read: (text) => (read(text).length ? read(text) : null),
    hint: "width:height, with commas between",
  });
}

function crops(store, form) {
  const list = form.document.crop ?? [];
  const put = (crop) => store.edit({ camera: { ...form.document, crop: crop.length ? crop : undefined } });
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
          `Crop mode ${k + 1}`,
          el(
            "button",
            { type: "button", class: "plain", onclick: () => put(list.filter((_other, n) => n !== k)) },
            "Take out",
          ),
        ),
        el(
          "div",
          { class: "fields" },
          form.text(["crop", k, "name"], "Name", { wide: true, keepEmpty: true }),
          form.length(["crop", k, "frame", 0], "Width"),
          form.length(["crop", k, "frame", 1], "Height"),
        ),
      ),
    ),
    el(
      "button",
      {
        type: "button",
        class: "quiet",
        onclick: () => put([...list, { name: `crop ${list.length + 1}`, frame: [24, 16] }]),
      },
      "Add a crop mode",
    ),
  );
}

/** What makes the form another one. */
export function cameraLayout(camera) {
  return JSON.stringify([
    camera.format === undefined || camera.format === null,
    camera.crop?.length,
    camera.masks?.length > 0,
  ]);
}
