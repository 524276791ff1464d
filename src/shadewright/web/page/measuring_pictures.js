// Small pictures of what is measured and how, drawn here.

import { sv } from "./dom.js";

function small(...parts) {
  return sv("svg", { viewBox: "0 0 96 52", "aria-hidden": "true", class: "ms-small" }, ...parts);
}

const lens = () => [
  sv("rect", { x: 4, y: 12, width: 30, height: 28, class: "ms-body" }),
  sv("path", { d: "M31 15Q36 26 31 37", class: "ms-glass" }),
];

/** The picture of a task by its name. */
export function taskPicture(name) {
  return {
    tubes: () =>
      small(
        ...lens(),
        sv("path", { d: "M30 9H58M30 43H58", class: "ms-line" }),
        sv("path", { d: "M30 5H84M30 47H84", class: "ms-line dashed" }),
      ),
    pupil: () =>
      small(
        sv("rect", { x: 14, y: 4, width: 66, height: 44, class: "ms-night" }),
        sv("ellipse", { cx: 47, cy: 26, rx: 29, ry: 20.5, class: "ms-shine-soft" }),
        sv("ellipse", { cx: 47, cy: 26, rx: 25, ry: 17, class: "ms-shine" }),
      ),
    readings: () =>
      small(
        sv("path", { d: "M6 40H90M6 40V30M20 40V34M34 40V34M48 40V30M62 40V34M76 40V34M90 40V30", class: "ms-line" }),
        sv("path", { d: "M56 28V8M52 12L56 6L60 12", class: "ms-line" }),
        sv("path", { d: "M50 22H62", class: "ms-line dashed" }),
      ),
    proof: () =>
      small(
        sv("rect", { x: 4, y: 11, width: 42, height: 30, class: "ms-paper" }),
        sv("rect", { x: 50, y: 11, width: 42, height: 30, class: "ms-paper" }),
        sv("path", { d: "M50 11H62L50 21ZM92 41H80L92 31Z", class: "ms-night" }),
      ),
    strip: () => stripPicture(true),
  }[name]();
}

/** The sheet with both halves of a strip on it. */
export function stripPicture(tiny = false) {
  return sv(
    "svg",
    { viewBox: "0 0 96 52", "aria-hidden": "true", class: tiny ? "ms-small" : "ms-scene" },
    sv("rect", { x: 8, y: 3, width: 80, height: 46, class: "ms-paper" }),
    [
      [11, 6],
      [81, 6],
      [11, 42],
      [81, 42],
    ].map(([x, y]) => sv("rect", { x, y, width: 4, height: 4, class: "ms-night" })),
    [7, 28].map((y) => sv("rect", { x: 18, y, width: 60, height: 16, class: "ms-strip" })),
    sv("path", { d: "M18 19C28 19 30 10 48 10S68 19 78 19M18 40C28 40 30 31 48 31S68 40 78 40", class: "ms-line" }),
  );
}
