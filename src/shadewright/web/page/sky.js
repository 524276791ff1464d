// The sky map: from which directions ahead light reaches the front glass, and how much of it.

import { contours } from "./contour.js";
import { sharp } from "./dom.js";
import { LIT, colours } from "./palette.js";
import { share } from "./words.js";

const LINES = [
  [0.1, [2, 4], "#ffffff"],
  [0.5, [8, 4], "#0b0b0b"],
  [0.9, [], "#0b0b0b"],
];
/** Dots of the map for each side of its disc; angles from the axis are equally spaced outwards. */
const DOTS = 181;

/** The map with angles equally spaced: lit share at each dot, null beyond the horizon, the bottom row first. */
function byAngle(data) {
  const { cells, lit } = data;
  const values = new Array(DOTS * DOTS).fill(null);
  for (let row = 0; row < DOTS; row++) {
    for (let column = 0; column < DOTS; column++) {
      const x = (2 * column) / (DOTS - 1) - 1;
      const y = (2 * row) / (DOTS - 1) - 1;
      const away = Math.hypot(x, y);
      if (away > 1.0001) continue;
      const scale = away > 0 ? Math.sin((away * Math.PI) / 2) / away : Math.PI / 2;
      values[row * DOTS + column] = sample(lit, cells, x * scale, y * scale);
    }
  }
  return values;
}

/** Straight between the middles of the cells; cells beyond the horizon do not count. */
function sample(lit, cells, ux, uy) {
  const column = Math.min(Math.max(((ux + 1) * cells) / 2 - 0.5, 0), cells - 1.000001);
  const row = Math.min(Math.max(((uy + 1) * cells) / 2 - 0.5, 0), cells - 1.000001);
  const c = Math.floor(column),
    r = Math.floor(row);
  const dc = column - c,
    dr = row - r;
  let total = 0,
    weight = 0;
  for (const [k, part] of [
    [r * cells + c, (1 - dc) * (1 - dr)],
    [r * cells + c + 1, dc * (1 - dr)],
    [(r + 1) * cells + c, (1 - dc) * dr],
    [(r + 1) * cells + c + 1, dc * dr],
  ]) {
    const value = lit[k];
    if (value === null || value === undefined) continue;
    total += value * part;
    weight += part;
  }
  return weight > 0 ? total / weight : 0;
}

/** Draw the map on a canvas. plain: without names and scale. */
export function drawSky(canvas, data, { plain = false } = {}) {
  const { pen, width, height, letters } = sharp(canvas);
  const small = Math.max(0.82 * letters, 8.5);
  const around = plain ? 2 : 1.4 * small;
  const below = plain ? 0 : 2.6 * small;
  const radius = Math.max(Math.min((width - (plain ? 4 : 6.2 * small)) / 2, (height - below - 2 * around) / 2), 10);
  const x = width / 2;
  const y = around + radius;
  const values = byAngle(data);
  pen.save();
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  pen.clip();
  pen.drawImage(picture(values), x - radius, y - radius, 2 * radius, 2 * radius);
  drawLines(pen, values, x, y, radius);
  drawRings(pen, x, y, radius, plain ? Infinity : small);
  for (const frame of data.frames ?? [data.frame]) drawFrame(pen, frame, x, y, radius);
  pen.restore();
  pen.strokeStyle = colours().soft;
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  pen.stroke();
  if (!plain) drawWords(pen, { x, y, radius, width, height, small });
}

function picture(values) {
  const image = new ImageData(DOTS, DOTS);
  for (let row = 0; row < DOTS; row++) {
    for (let column = 0; column < DOTS; column++) {
      const value = values[(DOTS - 1 - row) * DOTS + column];
      const from = 3 * Math.round(255 * Math.min(Math.max(value ?? 0, 0), 1));
      image.data.set([LIT[from], LIT[from + 1], LIT[from + 2], 255], 4 * (row * DOTS + column));
    }
  }
  const small = new OffscreenCanvas(DOTS, DOTS);
  small.getContext("2d").putImageData(image, 0, 0);
  return small;
}

function drawLines(pen, values, x, y, radius) {
  pen.lineWidth = 1.8;
  for (const [level, dash, colour] of LINES) {
    pen.setLineDash(dash);
    pen.strokeStyle = colour;
    for (const line of contours(values, DOTS, DOTS, level)) {
      // Specks of a coarse map near the horizon tell nothing.
      if (line.length < 40) continue;
      pen.beginPath();
      let on = false;
      for (const [column, row] of line) {
        const across = (2 * column) / (DOTS - 1) - 1,
          up = (2 * row) / (DOTS - 1) - 1;
        // Within a cell of the horizon the map is too coarse for a line.
        const within = Math.hypot(across, up) < 0.96;
        pen[within && on ? "lineTo" : "moveTo"](x + across * radius, y - up * radius);
        on = within;
      }
      pen.stroke();
    }
  }
  pen.setLineDash([]);
}

function drawRings(pen, x, y, radius, small) {
  pen.strokeStyle = "rgba(255,255,255,.45)";
  pen.lineWidth = 1;
  pen.beginPath();
  for (const angle of [30, 60]) {
    pen.moveTo(x + (radius * angle) / 90, y);
    pen.arc(x, y, (radius * angle) / 90, 0, 2 * Math.PI);
  }
  pen.moveTo(x - radius, y);
  pen.lineTo(x + radius, y);
  pen.moveTo(x, y - radius);
  pen.lineTo(x, y + radius);
  pen.stroke();
  if (radius < 5 * small) return;
  pen.font = `${0.9 * small}px sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.lineJoin = "round";
  for (const angle of [30, 60]) {
    const away = (0.7071 * radius * angle) / 90;
    pen.strokeStyle = "rgba(255,255,255,.9)";
    pen.lineWidth = 3;
    pen.strokeText(`${angle}°`, x - away, y + away);
    pen.fillStyle = "#111111";
    pen.fillText(`${angle}°`, x - away, y + away);
  }
}

/** A direction given by its cosines as a place on the disc, -1 to 1. */
export function onDisc([ux, uy]) {
  const sine = Math.min(Math.hypot(ux, uy), 1);
  const away = sine > 0 ? Math.asin(sine) / (Math.PI / 2) / sine : 0;
  return [ux * away, uy * away];
}

function drawFrame(pen, frame, x, y, radius) {
  if (!frame || frame.length === 0) return;
  for (const [colour, thick] of [
    ["#000000", 4.5],
    ["#ffffff", 2],
  ]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.beginPath();
    for (const direction of frame) {
      const [across, up] = onDisc(direction);
      pen.lineTo(x + across * radius, y - up * radius);
    }
    pen.closePath();
    pen.stroke();
  }
}

function drawWords(pen, { x, y, radius, width, height, small }) {
  pen.font = `${small}px sans-serif`;
  pen.fillStyle = colours().ink;
  pen.textBaseline = "middle";
  pen.textAlign = "center";
  pen.fillText("top", x, y - radius - 0.75 * small);
  pen.fillText("bottom", x, y + radius + 0.75 * small);
  pen.textAlign = "right";
  pen.fillText("left", x - radius - 0.4 * small, y);
  pen.textAlign = "left";
  pen.fillText("right", x + radius + 0.4 * small, y);
  const long = Math.min(2 * radius, width - 20);
  const top = height - 1.2 * small;
  const ends = 2.6 * small;
  const left = x - long / 2 + ends;
  for (let k = 0; k < long - 2 * ends; k++) {
    const from = 3 * Math.round((255 * k) / (long - 2 * ends));
    pen.fillStyle = `rgb(${LIT[from]},${LIT[from + 1]},${LIT[from + 2]})`;
    pen.fillRect(left + k, top, 1.5, 0.75 * small);
  }
  pen.fillStyle = colours().ink;
  pen.textAlign = "right";
  pen.fillText("none", left - 5, top + 0.4 * small);
  pen.textAlign = "left";
  pen.fillText("all lit", left + long - 2 * ends + 5, top + 0.4 * small);
}

/** What the map shows, in words. */
export function skyWords(data) {
  return `Of the light from ahead but outside the frame, ${share(data.let_in)} reaches the front glass.`;
}
