// Drawings of the measuring sheet: the lens with a tube on it to scale, profiles, maps of what is missed, rims and readings.

import { el, path, sharp, sv } from "./dom.js";
import { colours, rgb } from "./palette.js";
import { bare, length, ticks, unit } from "./words.js";

/** Width of a chart in its own units: less on a narrow screen, so that its letters stay as large. */
function chartWidth() {
  return matchMedia("(max-width: 700px)").matches ? 350 : 620;
}

/**
 * A lens from the side, its front to the right, with a tube {inner_diameter, length} on it, or nothing; to scale, mm.
 *
 * across: what stands on the lens in the drawings beside it, so that all have one scale.
 */
export function tubeScene(lens, tube, { reach = 0, depth = null, longest = 0, across = 0, hood = false } = {}) {
  const front = lens.front?.rim_diameter ?? 70;
  const barrel = lens.seat?.diameter ?? front;
  const widest = Math.max(front, barrel);
  const open = Number.isFinite(tube?.inner_diameter) ? tube.inner_diameter : widest + 4;
  const end = Number.isFinite(tube?.length) ? tube.length : 0;
  const left = -0.62 * front;
  const right = Math.max(longest, end, reach + 12) + 0.32 * front;
  const tall = 1.16 * Math.max(widest, open, across);
  const wall = Math.max(0.022 * front, 1.2);
  const y = (value) => tall / 2 - value;
  const x = (z) => z - left;
  const glass = 0.42 * (lens.front?.clear_diameter ?? 0.86 * front);
  const inTube = tube && end > 0;
  const pupil = depth ?? 0.35 * front;
  const rays = inTube
    ? [-1, 1].map((side) => {
        const slope = (side * open) / 2 / (end - (reach - pupil));
        const far = right - 1;
        return sv("line", {
          x1: x(reach - pupil),
          y1: y(0),
          x2: x(far),
          y2: y(slope * (far - (reach - pupil))),
          class: "ms-ray",
        });
      })
    : [];
  return sv(
    "svg",
    {
      viewBox: `0 0 ${right - left} ${tall}`,
      class: "ms-scene",
      "aria-hidden": "true",
      preserveAspectRatio: "xMidYMid meet",
    },
    sv("rect", { x: x(left), y: y(barrel / 2), width: -left, height: barrel, class: "ms-body ms-barrel" }),
    reach > 0 && sv("rect", { x: x(0), y: y(front / 2), width: reach, height: front, class: "ms-body ms-ring" }),
    sv("path", {
      d: `M${x(reach - 0.09 * front)} ${y(glass)}Q${x(reach + 0.015 * front)} ${y(0)} ${x(reach - 0.09 * front)} ${y(-glass)}`,
      class: "ms-glass",
    }),
    sv("line", { x1: 0, y1: y(0), x2: right - left, y2: y(0), class: "ms-axis" }),
    rays,
    inTube &&
      [-1, 1].map((side) =>
        sv("rect", {
          x: x(-0.13 * front),
          y: y((side * open) / 2) - (side > 0 ? wall : 0),
          width: 0.13 * front + end,
          height: wall,
          class: hood ? "ms-hood" : "ms-tube",
        }),
      ),
  );
}

function axisTexts(axis, { low, high, at, most, words }) {
  return ticks(low, high, most).map((value) =>
    sv(
      "g",
      null,
      sv("line", { x1: at(value), x2: at(value), y1: axis, y2: axis + 5, class: "tick" }),
      sv("text", { x: at(value), y: axis + 18, "text-anchor": "middle", class: "soft" }, words(value)),
    ),
  );
}

/** Light left against the distance from the shadow's middle, measured and fitted, and beneath it what the fit misses. */
export function profileChart(profile, title) {
  const wide = chartWidth();
  const { at, measured, low, high, fitted, missed, missed_spread: spread } = profile;
  const [x0, x1, top, middle, gap, foot] = [44, wide - 8, 20, 216, 34, 84];
  const along = (mm) => x0 + ((mm - profile.from) / (profile.to - profile.from || 1)) * (x1 - x0);
  const up = (light) => middle - (Math.min(Math.max(light, -0.05), 1.1) / 1.1) * (middle - top);
  const base = middle + gap + foot / 2;
  const off = (errors) => base - (Math.min(Math.max(errors, -5), 5) / 5) * (foot / 2);
  const height = middle + gap + foot + 42;
  return sv(
    "svg",
    { viewBox: `0 0 ${wide} ${height}`, class: "ms-chart", role: "img", "aria-label": title },
    [0, 0.5, 1].map((light) => [
      sv("line", { x1: x0, x2: x1, y1: up(light), y2: up(light), class: light === 0 ? "ms-base" : "ms-grid" }),
      sv(
        "text",
        { x: x0 - 8, y: up(light) + 4, "text-anchor": "end", class: "soft" },
        light === 0.5 ? "½" : String(light),
      ),
    ]),
    sv("text", { x: x0, y: 12, class: "soft" }, "light left"),
    at.map((mm, k) =>
      sv("line", { x1: along(mm), x2: along(mm), y1: up(low[k]), y2: up(high[k]), class: "ms-quartile" }),
    ),
    sv("path", { d: path(at.map((mm, k) => [along(mm), up(fitted[k])])), class: "ms-fit" }),
    at.map((mm, k) => sv("circle", { cx: along(mm), cy: up(measured[k]), r: 3.6, class: "ms-dot" })),
    sv("rect", { x: x0, y: off(1), width: x1 - x0, height: off(-1) - off(1), class: "ms-band" }),
    sv("line", { x1: x0, x2: x1, y1: base, y2: base, class: "ms-base" }),
    [-5, 0, 5].map((errors) =>
      sv(
        "text",
        { x: x0 - 8, y: off(errors) + 4, "text-anchor": "end", class: "soft" },
        errors > 0 ? `+${errors}` : String(errors),
      ),
    ),
    sv("text", { x: x0, y: middle + gap - 8, class: "soft" }, "missed by, standard errors of a cell"),
    at.map((mm, k) =>
      sv("line", {
        x1: along(mm),
        x2: along(mm),
        y1: off(missed[k] - spread[k]),
        y2: off(missed[k] + spread[k]),
        class: "ms-quartile",
      }),
    ),
    sv("path", { d: path(at.map((mm, k) => [along(mm), off(missed[k])])), class: "ms-miss" }),
    axisTexts(base + foot / 2, { low: profile.from, high: profile.to, at: along, most: wide / 100, words: bare }),
    sv(
      "text",
      { x: x1, y: height - 2, "text-anchor": "end", class: "soft" },
      `${unit()} on the frame, from the shadow's middle`,
    ),
  );
}

/** What a profile shows, in words. */
export function profileWords({ measured, fitted, missed }) {
  const apart = measured.map((light, k) => Math.abs(light - fitted[k]));
  const worst = Math.max(...missed.map(Math.abs));
  return `Dots are measured, the line is fitted, bars hold the middle half of the cells. The two differ by ${(100 * Math.max(...apart)).toFixed(1)} % of the light at most; on average over a ring the fit misses by up to ${worst.toFixed(1)} standard errors.`;
}

const LESS = "#b35806";
const MORE = "#2166ac";

/** Draw what a fit misses over the frame: orange below, blue above, lightness falling both ways; crosses: left out. */
export function drawMissed(canvas, { columns, rows, width, height: tall, missed, use }, most, words) {
  const { pen, width: wide, height, letters } = sharp(canvas);
  const small = Math.max(0.82 * letters, 8.5);
  const scale = Math.min((wide - 4) / width, (height - 2.9 * small - 4) / tall);
  const box = { across: width * scale, tall: tall * scale };
  box.left = (wide - box.across) / 2;
  box.top = Math.max((height - 2.9 * small - box.tall) / 2, 2);
  const image = new ImageData(columns, rows);
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const value = missed[(rows - 1 - row) * columns + column];
      image.data.set([...(value === null ? [128, 128, 128] : mixed(value / most)), 255], 4 * (row * columns + column));
    }
  }
  const dots = new OffscreenCanvas(columns, rows);
  dots.getContext("2d").putImageData(image, 0, 0);
  pen.imageSmoothingEnabled = false;
  pen.drawImage(dots, box.left, box.top, box.across, box.tall);
  pen.strokeStyle = "#111111";
  pen.lineWidth = 1.2;
  const cell = box.across / columns;
  (use ?? []).forEach((kind, place) => {
    if (kind !== 2) return;
    const x = box.left + ((place % columns) + 0.5) * cell;
    const y = box.top + box.tall - (Math.floor(place / columns) + 0.5) * (box.tall / rows);
    pen.beginPath();
    for (const side of [-1, 1]) {
      pen.moveTo(x - 0.4 * cell, y - 0.4 * side * cell);
      pen.lineTo(x + 0.4 * cell, y + 0.4 * side * cell);
    }
    pen.stroke();
  });
  pen.strokeStyle = colours().soft;
  pen.strokeRect(box.left, box.top, box.across, box.tall);
  missedScale(pen, { wide, height, small }, most, words);
}

function mixed(share) {
  const part = Math.min(Math.abs(share), 1);
  const end = rgb(share < 0 ? LESS : MORE);
  return end.map((value) => Math.round(250 + part * (value - 250)));
}

function missedScale(pen, { wide, height, small }, most, words) {
  const long = Math.min(wide - 8, 18 * small);
  const left = (wide - long) / 2;
  const top = height - 2.5 * small;
  for (let k = 0; k < long; k++) {
    pen.fillStyle = `rgb(${mixed((2 * k) / long - 1).join(",")})`;
    pen.fillRect(left + k, top, 1.5, 0.7 * small);
  }
  pen.strokeStyle = colours().soft;
  pen.lineWidth = 1;
  pen.strokeRect(left, top, long, 0.7 * small);
  pen.fillStyle = colours().ink;
  pen.font = `${small}px ${getComputedStyle(document.documentElement).getPropertyValue("--face").trim() || "sans-serif"}`;
  pen.textBaseline = "top";
  const under = top + 1.05 * small;
  pen.textAlign = "left";
  pen.fillText(`−${most}`, left, under);
  pen.textAlign = "center";
  pen.fillText(words, left + long / 2, under);
  pen.textAlign = "right";
  pen.fillText(`+${most}`, left + long, under);
}

/** Rims unrolled: lines [{azimuth, z, words, stroke, band}], mm ahead of the seat over degrees from the right side upwards. */
export function rimChart(lines, title) {
  const wide = chartWidth();
  const [x0, x1, top, base] = [44, wide - 8, 12, 220];
  const every = lines.flatMap(({ z, band }) =>
    z.flatMap((value, k) => [value - (band?.[k] ?? 0), value + (band?.[k] ?? 0)]),
  );
  const room = Math.max((Math.max(...every) - Math.min(...every)) * 0.12, 0.5);
  const [low, high] = [Math.min(...every) - room, Math.max(...every) + room];
  const along = (degrees) => x0 + (degrees / 360) * (x1 - x0);
  const up = (mm) => base - ((mm - low) / (high - low)) * (base - top);
  const closed = ({ azimuth, z }) => [
    ...azimuth.map((degrees, k) => [along(degrees), up(z[k])]),
    [along(360), up(z[0])],
  ];
  return sv(
    "svg",
    { viewBox: `0 0 ${wide} ${base + 26}`, class: "ms-chart", role: "img", "aria-label": title },
    ticks(low, high, 5).map((mm) => [
      sv("line", { x1: x0, x2: x1, y1: up(mm), y2: up(mm), class: "ms-grid" }),
      sv("text", { x: x0 - 8, y: up(mm) + 4, "text-anchor": "end", class: "soft" }, bare(mm)),
    ]),
    ["right", "top", "left", "bottom", "right"].map((side, k) => [
      sv("line", { x1: along(90 * k), x2: along(90 * k), y1: top, y2: base, class: "ms-grid" }),
      sv(
        "text",
        {
          x: along(90 * k),
          y: base + 18,
          "text-anchor": k === 0 ? "start" : k === 4 ? "end" : "middle",
          class: "soft",
        },
        side,
      ),
    ]),
    lines.map((line) => [
      line.band &&
        sv("path", {
          d: path(
            [
              ...line.azimuth.map((degrees, k) => [along(degrees), up(line.z[k] + line.band[k])]),
              ...line.azimuth.map((degrees, k) => [along(degrees), up(line.z[k] - line.band[k])]).reverse(),
            ],
            true,
          ),
          class: "ms-doubt",
        }),
      sv("path", { d: path(closed(line)), class: `ms-rim ${line.stroke}` }),
    ]),
  );
}

/** A key for rimChart's lines. */
export function rimKey(lines) {
  return el(
    "ul",
    { class: "ms-key" },
    lines.map(({ stroke, words }) =>
      el(
        "li",
        null,
        sv(
          "svg",
          { viewBox: "0 0 44 12", class: "ms-swatch", "aria-hidden": "true" },
          sv("line", { x1: 1, x2: 43, y1: 6, y2: 6, class: `ms-rim ${stroke}` }),
        ),
        words,
      ),
    ),
  );
}

/** Depths as read: ticks for single readings, a mark with its standard error for each mean. rows: [{depth, error, each, words}]. */
export function readingsChart(rows, title) {
  const wide = chartWidth();
  const [x0, x1, step] = [16, wide - 16, 58];
  const every = rows.flatMap(({ depth, error, each }) => [depth - error, depth + error, ...each]);
  const room = Math.max((Math.max(...every) - Math.min(...every)) * 0.1, 0.4);
  const [low, high] = [Math.min(...every) - room, Math.max(...every) + room];
  const along = (mm) => x0 + ((mm - low) / (high - low)) * (x1 - x0);
  const base = rows.length * step + 8;
  return sv(
    "svg",
    { viewBox: `0 0 ${wide} ${base + 28}`, class: "ms-chart", role: "img", "aria-label": title },
    rows.map(({ depth, error, each, words }, k) => {
      const y = k * step + 40;
      return sv(
        "g",
        null,
        sv("text", { x: x0, y: y - 20 }, words),
        each.map((mm) => sv("line", { x1: along(mm), x2: along(mm), y1: y - 8, y2: y + 8, class: "ms-reading" })),
        sv("line", { x1: along(depth - error), x2: along(depth + error), y1: y, y2: y, class: "ms-error" }),
        [-1, 1].map((side) =>
          sv("line", {
            x1: along(depth + side * error),
            x2: along(depth + side * error),
            y1: y - 5,
            y2: y + 5,
            class: "ms-error",
          }),
        ),
        sv("circle", { cx: along(depth), cy: y, r: 5.5, class: "ms-dot" }),
      );
    }),
    sv("line", { x1: x0, x2: x1, y1: base, y2: base, class: "ms-base" }),
    axisTexts(base, { low, high, at: along, most: wide / 90, words: bare }),
  );
}

/** "27.16 ± 0.96 mm". */
export function plusMinus(value, error, digits = 2) {
  return `${length(value, digits)
    .replace(/ (mm|in)$/, "")
    .replace("-", "−")} ± ${length(error, digits)}`;
}
