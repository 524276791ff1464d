// The sensor's view: the frame, darkened where the hood takes light away.

import { contours } from "./contour.js";
import { sharp } from "./dom.js";
import { LOSS, LOSS_LINES, colours, lossPlace } from "./palette.js";
import { place, stops, upTo } from "./words.js";

/** A loss below this is shown as none, stops. */
export const CLEAR = 5e-4;

/** The frame as a small picture, one dot to a grid point, the top row first. */
function picture(data) {
  const { columns, rows, loss } = data;
  const image = new ImageData(columns, rows);
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const value = loss[(rows - 1 - row) * columns + column];
      const to = 4 * (row * columns + column);
      const from = value === null ? 255 * 3 : 3 * Math.round(255 * lossPlace(value));
      if (value === null) image.data.set([90, 90, 90, 255], to);
      else image.data.set([LOSS[from], LOSS[from + 1], LOSS[from + 2], 255], to);
    }
  }
  const small = new OffscreenCanvas(columns, rows);
  small.getContext("2d").putImageData(image, 0, 0);
  return small;
}

function frameBox(data, width, height, below) {
  const scale = Math.min((width - 4) / data.width, (height - below - 4) / data.height);
  const across = data.width * scale;
  const tall = data.height * scale;
  return { left: (width - across) / 2, top: Math.max((height - below - tall) / 2, 2), across, tall, scale };
}

/** Draw the sensor's view on a canvas. plain: the frame alone, without its scale. spoken: what it comes to, written in its middle. */
export function drawSensor(canvas, data, { plain = false, spoken = true } = {}) {
  const { pen, width, height, letters } = sharp(canvas);
  const small = Math.max(0.82 * letters, 8.5);
  const box = frameBox(data, width, height, plain ? 0 : 2.9 * small);
  pen.imageSmoothingEnabled = true;
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture(data), box.left, box.top, box.across, box.tall);
  drawLines(pen, data, box, small);
  pen.lineWidth = 1.5;
  pen.strokeStyle = colours().soft;
  pen.strokeRect(box.left, box.top, box.across, box.tall);
  const dark = data.loss.some((value) => value === null);
  if (!spoken) {
    // The map alone.
  } else if (data.worst !== null && data.worst < CLEAR && !dark) {
    inMiddle(pen, box, "clear", Math.min(box.tall / 4.5, 3 * letters));
  } else if (data.worst !== null) {
    inMiddle(pen, box, `worst ${stops(data.worst)}`, Math.min(box.tall / 8, 1.25 * letters));
  } else inMiddle(pen, box, "no light", Math.min(box.tall / 6, 2 * letters));
  if (data.first) drawFirst(pen, data, box, small);
  if (!plain) drawScale(pen, box, height, small, width);
}

function drawLines(pen, data, box, small) {
  const { columns, rows } = data;
  for (const [level, dash] of LOSS_LINES) {
    pen.setLineDash(dash.map((part) => part * small));
    pen.lineWidth = 1.3;
    pen.strokeStyle = level >= 1 ? "#ffffff" : "#0b1a2b";
    for (const line of contours(data.loss, columns, rows, level)) {
      pen.beginPath();
      for (const [column, row] of line) {
        pen.lineTo(box.left + ((column + 0.5) / columns) * box.across, box.top + (1 - (row + 0.5) / rows) * box.tall);
      }
      pen.stroke();
    }
  }
  pen.setLineDash([]);
}

function inMiddle(pen, box, words, size) {
  pen.font = `600 ${size}px ${letterFace()}`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const x = box.left + box.across / 2;
  const y = box.top + box.tall / 2;
  pen.lineJoin = "round";
  pen.lineWidth = size / 4;
  pen.strokeStyle = "rgba(255,255,255,.85)";
  pen.strokeText(words, x, y);
  pen.fillStyle = "#12212f";
  pen.fillText(words, x, y);
}

function letterFace() {
  return getComputedStyle(document.documentElement).getPropertyValue("--face").trim() || "sans-serif";
}

function drawFirst(pen, data, box, small) {
  const x = box.left + (0.5 + data.first[0] / data.width) * box.across;
  const y = box.top + (0.5 - data.first[1] / data.height) * box.tall;
  const arm = 0.5 * small;
  for (const [colour, thick] of [
    ["#ffffff", 6],
    ["#c2410c", 3],
  ]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.beginPath();
    pen.moveTo(x - arm, y - arm);
    pen.lineTo(x + arm, y + arm);
    pen.moveTo(x - arm, y + arm);
    pen.lineTo(x + arm, y - arm);
    pen.stroke();
  }
}

function drawScale(pen, box, height, small, width) {
  pen.font = `${small}px ${letterFace()}`;
  const unitRoom = pen.measureText("stops").width + 0.6 * small;
  const long = Math.max(Math.min(box.across, width - 8) - unitRoom, 60);
  const left = (width - long - unitRoom) / 2;
  const top = height - 2.5 * small;
  for (let k = 0; k < long; k++) {
    const from = 3 * Math.round((255 * k) / long);
    pen.fillStyle = `rgb(${LOSS[from]},${LOSS[from + 1]},${LOSS[from + 2]})`;
    pen.fillRect(left + k, top, 1.5, 0.75 * small);
  }
  pen.strokeStyle = colours().soft;
  pen.lineWidth = 1;
  pen.strokeRect(left, top, long, 0.75 * small);
  pen.fillStyle = colours().ink;
  pen.textBaseline = "top";
  pen.textAlign = "left";
  pen.fillText("stops", left + long + 0.6 * small, top + 1.05 * small);
  for (const [value, words] of [
    [0, "0"],
    [0.1, "0.1"],
    [0.5, "0.5"],
    [1, "1"],
    [2, "2"],
    [3, "3"],
  ]) {
    const x = left + lossPlace(value) * long;
    if (value === 0.1 && long < 13 * small) continue;
    pen.textAlign = value === 0 ? "left" : value === 3 ? "right" : "center";
    pen.fillText(words, x, top + 1.05 * small);
    const level = LOSS_LINES.find(([known]) => known === value);
    if (!level) continue;
    pen.strokeStyle = value >= 1 ? "#ffffff" : "#0b1a2b";
    pen.setLineDash(level[1].map((part) => (part * small) / 2));
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(x, top);
    pen.lineTo(x, top + 0.75 * small);
    pen.stroke();
    pen.setLineDash([]);
  }
}

/** What the sensor's view shows, in words. */
export function sensorWords(data, setting) {
  const own = Math.max(0, ...data.own.filter((value) => value !== null));
  const lens = own > 0.05 ? ` The lens itself, without a hood, darkens the frame by ${upTo(own)}.` : "";
  if (data.worst === null) return `No light reaches part of the frame at ${setting.label}.${lens}`;
  if (data.worst < CLEAR) return `Clear: at ${setting.label} nothing of the hood shows anywhere in the frame.${lens}`;
  const limit = data.allowance > 0 ? `more than the ${data.allowance} stop allowed` : "any loss";
  const first = data.first
    ? ` Going out from the middle, ${limit} is met first ${place(data.first, data.width, data.height)} (the cross).`
    : " That is within the allowance.";
  return `At ${setting.label} the hood takes ${upTo(data.worst)}.${first}${lens}`;
}
