// Colours of the drawings on canvas, read from the style sheet, and the two scales that never rest on hue alone.

let known = null;

/** Colours of the current theme by name, as the style sheet has them. */
export function colours() {
  if (known) return known;
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  known = {};
  for (const name of ["ink", "soft", "faint", "paper", "card", "blue", "mark", "clear", "glass", "dark"])
    known[name] = of(name);
  return known;
}

/** Forget the colours: the theme has changed. */
export function forgetColours() {
  known = null;
}

/** Hex colour to [red, green, blue], 0 to 255. */
export function rgb(hex) {
  const value = parseInt(hex.slice(1), 16);
  return [(value >> 16) & 255, (value >> 8) & 255, value & 255];
}

function ramp(stopsOf) {
  const table = new Uint8ClampedArray(256 * 3);
  const places = stopsOf.map(([where]) => where * 255);
  const values = stopsOf.map(([, hex]) => rgb(hex));
  for (let k = 0; k < 256; k++) {
    let s = 0;
    while (s < places.length - 2 && k > places[s + 1]) s++;
    const t = (k - places[s]) / (places[s + 1] - places[s]);
    for (let c = 0; c < 3; c++) table[3 * k + c] = values[s][c] + t * (values[s + 1][c] - values[s][c]);
  }
  return table;
}

/** Loss: from the white of an evenly lit wall to night, lightness falling all the way. */
export const LOSS = ramp([
  [0, "#fbfcfd"],
  [0.2, "#cfe0ee"],
  [0.45, "#7fb0d5"],
  [0.7, "#2f74ae"],
  [0.88, "#0c3f73"],
  [1, "#041a33"],
]);
/** Lit share: dark where the hood keeps light off, bright where the front glass is lit. */
export const LIT = ramp([
  [0, "#04183f"],
  [0.25, "#3b4a6b"],
  [0.5, "#7b7a77"],
  [0.75, "#b9a95f"],
  [1, "#fde23a"],
]);

/** Loss at which the scale ends, stops: an eighth of the light is left. */
export const MOST_LOSS = 3;
/** Levels of loss that are drawn as lines, stops, with their dashes in letters' heights. */
export const LOSS_LINES = [
  [0.1, [0.12, 0.3]],
  [0.5, [0.55, 0.25]],
  [1, []],
  [2, [1.1, 0.25, 0.12, 0.25]],
];

/** Place 0 to 1 on the scale of loss; its first part is stretched, since a tenth of a stop matters. */
export function lossPlace(value) {
  return Math.sqrt(Math.min(Math.max(value, 0), MOST_LOSS) / MOST_LOSS);
}

/** Six ways of drawing a line that differ in dash and mark as well as in colour (class names of the style sheet). */
export const STROKES = ["s0", "s1", "s2", "s3", "s4", "s5"];
