// The rim, unrolled: what is made, how far each part may reach, what binds it there, and where it would show.

import { boxOf, el, path, sv } from "./dom.js";
import { STROKES } from "./palette.js";
import { bare, length, side, ticks, unit } from "./words.js";

const MOST_NAMES = 5;
const OTHERS = "other settings";
const NO_SETTING = "nothing optical: the largest length allowed";
const MARK_STEP = 14;

/** The words of the key and the labels that each stands for, the one that binds longest first. */
export function grouped(binding, labels) {
  const size = new Map();
  for (const k of binding) {
    const name = k < 0 ? NO_SETTING : labels[k];
    size.set(name, (size.get(name) ?? 0) + 1);
  }
  const names = [...size.keys()].sort((a, b) => size.get(b) - size.get(a));
  const kept = names.length <= MOST_NAMES ? names : names.slice(0, MOST_NAMES - 1);
  const groups = kept.map((name) => ({ name, has: (k) => (k < 0 ? NO_SETTING : labels[k]) === name }));
  if (names.length > kept.length)
    groups.push({ name: OTHERS, has: (k) => !kept.includes(k < 0 ? NO_SETTING : labels[k]) });
  return groups;
}

/** Places on the drawing: from azimuth and height to drawing units, and back. */
export function rimScale(picture, data) {
  const { width, height, letters } = boxOf(picture);
  const small = Math.max(0.82 * letters, 8.5);
  const room = { left: 3.4 * small, right: 1.4 * small, top: 0.9 * small, bottom: 2.9 * small };
  const heights = [...data.deepest, ...data.made].filter(Number.isFinite);
  const top = 1.12 * Math.max(...heights, 5);
  const low = Math.min(0, ...heights);
  const across = width - room.left - room.right;
  const tall = height - room.top - room.bottom;
  return {
    width,
    height,
    small,
    room,
    across,
    tall,
    low,
    top,
    x: (azimuth) => room.left + (azimuth / 360) * across,
    y: (z) => room.top + (1 - (z - low) / (top - low)) * tall,
    azimuth: (x) => ((x - room.left) / across) * 360,
    z: (y) => low + (1 - (y - room.top) / tall) * (top - low),
  };
}

/** Draw the unrolled rim of a round hood; `place` marks the direction that is being shaped by hand. */
export function drawRim(picture, data, { place = null, extent = null } = {}) {
  if (!data || !data.azimuth) return null;
  const s = rimScale(picture, extent ?? data);
  const step = data.azimuth.length;
  const turn = [...data.azimuth, 360];
  const closed = (values) => [...values, values[0]];
  const line = (values) => path(turn.map((a, k) => [s.x(a), s.y(Math.min(closed(values)[k] ?? s.top * 2, s.top * 2))]));
  picture.setAttribute("viewBox", `0 0 ${s.width} ${s.height}`);
  const made = closed(data.made);
  const wall = [[s.x(0), s.y(s.low)], ...turn.map((a, k) => [s.x(a), s.y(made[k])]), [s.x(360), s.y(s.low)]];
  const clip = `${picture.id}-clip`;
  const inside = sv("g", { "clip-path": `url(#${clip})` });
  picture.replaceChildren(
    sv(
      "defs",
      null,
      sv(
        "clipPath",
        { id: clip },
        sv("rect", { x: s.room.left, y: s.room.top - 6, width: s.across, height: s.tall + 6 }),
      ),
      sv(
        "pattern",
        {
          id: `${picture.id}-cut`,
          width: 7,
          height: 7,
          patternUnits: "userSpaceOnUse",
          patternTransform: "rotate(45)",
        },
        sv("rect", { width: 7, height: 7, class: "cut-ground" }),
        sv("line", { x1: 0, y1: 0, x2: 0, y2: 7, class: "cut-line" }),
      ),
    ),
    inside,
  );
  inside.append(sv("path", { d: path(wall, true), fill: `url(#${picture.id}-cut)` }));
  if (data.plain !== null && data.plain !== undefined) {
    inside.append(
      sv("line", { x1: s.x(0), x2: s.x(360), y1: s.y(data.plain), y2: s.y(data.plain), class: "plain-rim" }),
    );
  }
  if (data.cap <= 1.1 * s.top) {
    inside.append(sv("line", { x1: s.x(0), x2: s.x(360), y1: s.y(data.cap), y2: s.y(data.cap), class: "cap" }));
  }
  if (data.here) inside.append(sv("path", { d: line(data.here), class: "here" }));
  inside.append(sv("path", { d: line(data.limit), class: "limit" }), sv("path", { d: line(data.made), class: "made" }));
  const groups = grouped(data.binding, data.labels);
  groups.forEach((group, k) => drawGroup(inside, data, s, group, STROKES[k], step));
  for (const run of data.shows ?? []) drawRun(inside, data, s, run);
  if (place !== null) {
    inside.append(sv("line", { x1: s.x(place), x2: s.x(place), y1: s.room.top - 6, y2: s.y(s.low), class: "place" }));
    const k = Math.round((place / 360) * step) % step;
    inside.append(sv("circle", { cx: s.x(place), cy: s.y(data.made[k]), r: 9, class: "handle" }));
  }
  rulers(picture, s);
  return groups;
}

/** Draw the four lips of a tunnel, side by side, each with how far it may reach. */
export function drawLips(picture, data) {
  const { lips, deepest_lips: deepest, limit_lips: limit } = data;
  const flat = { deepest: Object.values(deepest), made: Object.values(lips) };
  const s = rimScale(picture, flat);
  picture.setAttribute("viewBox", `0 0 ${s.width} ${s.height}`);
  picture.replaceChildren(
    sv(
      "defs",
      null,
      sv(
        "pattern",
        {
          id: `${picture.id}-cut`,
          width: 7,
          height: 7,
          patternUnits: "userSpaceOnUse",
          patternTransform: "rotate(45)",
        },
        sv("rect", { width: 7, height: 7, class: "cut-ground" }),
        sv("line", { x1: 0, y1: 0, x2: 0, y2: 7, class: "cut-line" }),
      ),
    ),
  );
  ["right", "top", "left", "bottom"].forEach((lip, k) => {
    const from = s.x(90 * k + 8),
      to = s.x(90 * k + 82);
    const level = (z, name) => sv("line", { x1: from, x2: to, y1: s.y(z), y2: s.y(z), class: name });
    const shows = lips[lip] > limit[lip] + 1e-3;
    picture.append(
      sv("rect", {
        x: from,
        y: s.y(lips[lip]),
        width: to - from,
        height: s.y(s.low) - s.y(lips[lip]),
        fill: `url(#${picture.id}-cut)`,
      }),
      level(limit[lip], "limit"),
      level(deepest[lip], "bound s0"),
      level(lips[lip], "made"),
      ...(shows ? [level(lips[lip], "showing")] : []),
      sv("text", { x: (from + to) / 2, y: s.y(s.low) + 1.3 * s.small, "text-anchor": "middle", class: "small" }, lip),
      sv(
        "text",
        { x: (from + to) / 2, y: s.y(lips[lip] / 2), "text-anchor": "middle", class: "note" },
        length(lips[lip]),
      ),
    );
  });
  heightRuler(picture, s);
}

function drawGroup(inside, data, s, group, stroke, step) {
  // Runs of neighbouring places bound by this group, each drawn from the middle before to the middle after.
  let run = [];
  const flush = () => {
    if (run.length > 0) inside.append(sv("path", { d: path(run), class: `bound ${stroke}` }));
    run = [];
  };
  for (let k = 0; k <= step; k++) {
    const here = data.binding[k % step];
    const point = [s.x((k * 360) / step), s.y(data.deepest[k % step])];
    if (group.has(here)) run.push(point);
    else {
      if (run.length > 0) run.push(point);
      flush();
    }
  }
  flush();
  for (let azimuth = 0; azimuth < 360; azimuth += MARK_STEP) {
    const k = Math.round((azimuth / 360) * step) % step;
    if (group.has(data.binding[k]))
      inside.append(mark(STROKES.indexOf(stroke), s.x((k * 360) / step), s.y(data.deepest[k]), stroke));
  }
}

/** The mark of a stroke: disc, square, triangle, diamond, upside-down triangle, cross. */
export function mark(index, x, y, stroke) {
  const r = 4.6;
  const shapes = [
    () => sv("circle", { cx: x, cy: y, r: r - 0.6 }),
    () => sv("rect", { x: x - r + 0.8, y: y - r + 0.8, width: 2 * r - 1.6, height: 2 * r - 1.6 }),
    () =>
      sv("path", {
        d: path(
          [
            [x, y - r],
            [x + r, y + r * 0.8],
            [x - r, y + r * 0.8],
          ],
          true,
        ),
      }),
    () =>
      sv("path", {
        d: path(
          [
            [x, y - r - 1],
            [x + r, y],
            [x, y + r + 1],
            [x - r, y],
          ],
          true,
        ),
      }),
    () =>
      sv("path", {
        d: path(
          [
            [x, y + r],
            [x + r, y - r * 0.8],
            [x - r, y - r * 0.8],
          ],
          true,
        ),
      }),
    () => sv("path", { d: `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}` }),
  ];
  const shape = shapes[index % 6]();
  shape.setAttribute("class", `mark ${stroke}`);
  return shape;
}

function drawRun(inside, data, s, run) {
  const step = data.azimuth.length;
  const from = Math.floor((run.from / 360) * step);
  const to = Math.ceil((run.to / 360) * step) + (run.to < run.from ? step : 0);
  let points = [];
  const flush = () => {
    if (points.length > 1) inside.append(sv("path", { d: path(points), class: "showing" }));
    points = [];
  };
  for (let k = from; k <= to; k++) {
    if (k % step === 0 && points.length > 0) {
      points.push([s.x(360), s.y(data.made[0])]);
      flush();
    }
    points.push([s.x(((k % step) * 360) / step), s.y(data.made[k % step])]);
  }
  flush();
}

function rulers(picture, s) {
  const floor = s.y(s.low);
  picture.append(sv("line", { x1: s.x(0), x2: s.x(360), y1: floor, y2: floor, class: "tick" }));
  const names = { 0: "right", 90: "top", 180: "left", 270: "bottom", 360: "right" };
  for (let azimuth = 0; azimuth <= 360; azimuth += 45) {
    const x = s.x(azimuth);
    picture.append(sv("line", { x1: x, x2: x, y1: floor, y2: floor + 4, class: "tick" }));
    if (azimuth % 90 && s.across < 30 * s.small) continue;
    picture.append(
      sv("text", { x, y: floor + 1.25 * s.small, "text-anchor": "middle", class: "small" }, `${azimuth}°`),
    );
    if (names[azimuth]) {
      picture.append(
        sv("text", { x, y: floor + 2.4 * s.small, "text-anchor": "middle", class: "small soft" }, names[azimuth]),
      );
    }
  }
  heightRuler(picture, s);
}

function heightRuler(picture, s) {
  for (const z of ticks(s.low, s.top, s.tall / (2.4 * s.small))) {
    const y = s.y(z);
    picture.append(sv("line", { x1: s.room.left - 4, x2: s.room.left, y1: y, y2: y, class: "tick" }));
    picture.append(
      sv("text", { x: s.room.left - 7, y: y + 0.35 * s.small, "text-anchor": "end", class: "small" }, bare(z)),
    );
  }
  picture.append(sv("text", { x: 4, y: s.room.top - 1 + 0.1 * s.small, class: "small soft" }, unit()));
}

/** The key beneath the drawing: a line of each kind and what it stands for. */
export function rimKey(data, groups) {
  const entry = (name, className, index = -1) =>
    el(
      "li",
      null,
      sv(
        "svg",
        { viewBox: "0 0 44 14", class: "swatch", "aria-hidden": "true" },
        sv("line", { x1: 1, x2: 43, y1: 7, y2: 7, class: className }),
        index >= 0 && mark(index, 22, 7, STROKES[index]),
      ),
      name,
    );
  return [
    entry("rim as made", "made"),
    data.shows?.length > 0 && entry("part of it that shows", "showing"),
    entry("limit over all settings", "limit"),
    data.here && entry("limit at this setting", "here"),
    data.plain !== null && data.plain !== undefined && entry(`as a plain rim: ${length(data.plain)}`, "plain-rim"),
    el("li", { class: "title" }, "deepest clear rim, bound by"),
    ...groups.map((group, k) => entry(brief(group.name), `bound ${STROKES[k]}`, k)),
  ].filter(Boolean);
}

/** A setting's words made short: "24 mm f/2.8, ∞". */
export function brief(label) {
  return label.replace(" at f/", " f/").replace(", focused at infinity", ", ∞").replace(", focused at ", ", ");
}

/** Where and when the rim shows, in words; "" where it does not. */
export function showsWords(data) {
  const runs = data?.shows ?? [];
  if (runs.length === 0) return "";
  const worst = runs.reduce((a, b) => (b.by > a.by ? b : a));
  if (worst.lip) return `The ${worst.lip} lip is ${length(worst.by, 2)} too deep: it shows first at ${worst.when}.`;
  const all = runs.length === 1 && (worst.to - worst.from + 360) % 360 === 0;
  if (all || worst.to - worst.from > 350)
    return `The rim shows all round, at most ${length(worst.by, 2)} too deep, first at ${worst.when}.`;
  const span = worst.to >= worst.from ? worst.to - worst.from : worst.to + 360 - worst.from;
  const middle = (worst.from + span / 2) % 360;
  const more = runs.length > 1 ? ` (${runs.length} places in all)` : "";
  return (
    `The rim shows at the ${side(middle)}, from ${Math.round(worst.from)}° to ${Math.round(worst.to)}°, ` +
    `${length(worst.by, 2)} too deep, first at ${worst.when}${more}.`
  );
}

/** What the unrolled rim shows, in words. */
export function rimWords(data) {
  if (!data) return "A hood known only as a mesh has no rim that could be unrolled.";
  if (data.lips) {
    const names = ["right", "top", "left", "bottom"];
    return `Four straight lips: ${names.map((name) => `${name} ${length(data.lips[name])}`).join(", ")} ahead of the seat plane. ${showsWords(data)}`;
  }
  const deepest = Math.max(...data.made);
  const shallowest = Math.min(...data.made);
  const showing = showsWords(data);
  const stands =
    deepest - shallowest < 0.05
      ? `stands ${length(deepest)}`
      : `stands between ${length(shallowest)} and ${length(deepest)}`;
  return (
    `The rim ${stands} ahead of the seat plane. ` +
    (showing || "Nowhere does it reach beyond what stays clear at every setting.")
  );
}
