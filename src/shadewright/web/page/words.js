// Numbers in words: lengths in the chosen unit, stops, shares, apertures and focus distances.

const MM_PER_INCH = 25.4;
let inches = false;

/** Lengths are shown and typed in inches where true, in millimetres where false. */
export function useInches(wanted) {
  inches = wanted;
}

/** The unit of lengths as it is written. */
export function unit() {
  return inches ? "in" : "mm";
}

/** A length as a number in the chosen unit. */
export function shownLength(mm) {
  if (mm === null || mm === undefined || !Number.isFinite(mm)) return "";
  return inches ? String(Number((mm / MM_PER_INCH).toFixed(4))) : String(Number(mm.toFixed(3)));
}

/** Millimetres from what was typed in the chosen unit; null for nothing, NaN for what is no number. */
export function typedLength(text) {
  const plain = String(text).trim().replace(",", ".");
  if (plain === "") return null;
  const value = Number(plain);
  if (!Number.isFinite(value)) return NaN;
  return inches ? Number((value * MM_PER_INCH).toFixed(4)) : value;
}

/** A length with its unit, to a tenth of a millimetre. */
export function length(mm, digits = 1) {
  if (mm === null || mm === undefined || !Number.isFinite(mm)) return "not known";
  return inches ? `${(mm / MM_PER_INCH).toFixed(digits + 2)} in` : `${mm.toFixed(digits)} mm`;
}

/** A length without its unit, for the numbers along an axis. */
export function bare(mm) {
  return inches ? String(Number((mm / MM_PER_INCH).toFixed(2))) : String(Number(mm.toFixed(1)));
}

/** Round places for the numbers along an axis from low to high, in mm, at most `most` of them. */
export function ticks(low, high, most) {
  const scale = inches ? MM_PER_INCH : 1;
  const span = (high - low) / scale;
  if (!(span > 0)) return [];
  const raw = span / Math.max(most, 1);
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((k) => k * power).find((k) => k >= raw * 0.999);
  const found = [];
  for (let k = Math.ceil(low / scale / step); k * step <= high / scale + 1e-9; k++) found.push(k * step * scale);
  return found;
}

/** A loss in stops. */
export function stops(value) {
  if (value === null || value === undefined) return "no light at all";
  if (value >= 10) return "over 10 stops";
  if (value < 0.0005) return "0 stop";
  const text = value < 1 ? value.toFixed(2) : value.toFixed(1);
  return `${text} ${value <= 1 ? "stop" : "stops"}`;
}

/** "up to 1.4 stops", "over 10 stops". */
export function upTo(value) {
  return value === null || value >= 10 ? "over 10 stops" : `up to ${stops(value)}`;
}

/** A share as a percentage. */
export function share(value) {
  if (value === null || value === undefined) return "not known";
  return `${(100 * value).toFixed(value < 0.1 ? 1 : 0)} %`;
}

/** "f/2.8". */
export function aperture(number) {
  return `f/${number < 10 ? Number(number.toFixed(1)) : Math.round(number)}`;
}

/** A focal length; always in millimetres, as the trade has it. */
export function focal(mm) {
  return `${mm < 100 ? Number(mm.toFixed(1)) : Math.round(mm)} mm`;
}

/** A focus distance in metres; null is infinity. */
export function focus(mm) {
  if (mm === null || mm === undefined || mm === "infinity" || !Number.isFinite(mm)) return "infinity";
  if (inches) return `${(mm / 304.8).toFixed(mm < 3048 ? 2 : 1)} ft`;
  return mm < 1000 ? `${Math.round(mm)} mm` : `${(mm / 1000).toFixed(2)} m`;
}

/** A sentence of the program about two measures of the front, in the words of the page. */
export function inWords(sentence) {
  return sentence.replace(
    /(?:lens: )?(?:front: )?clear_diameter cannot exceed rim_diameter/,
    "The front glass cannot be wider than the front ring",
  );
}

const SIDES = ["right", "upper right", "top", "upper left", "left", "lower left", "bottom", "lower right"];

/** A direction round the axis in words: "upper right". */
export function side(azimuth) {
  return SIDES[Math.round((((azimuth % 360) + 360) % 360) / 45) % 8];
}

/** Where a frame point (mm from the middle) lies, in words. */
export function place(point, width, height) {
  const across = point[0] / (width / 2);
  const along = point[1] / (height / 2);
  const level = Math.abs(across) < 0.25 ? "" : across > 0 ? "right" : "left";
  const upright = Math.abs(along) < 0.25 ? "" : along > 0 ? "upper" : "lower";
  if (!level && !upright) return "near the middle";
  if (!level) return upright === "upper" ? "at the top edge" : "at the bottom edge";
  if (!upright) return `at the ${level} edge`;
  return `towards the ${upright} ${level} corner`;
}

/** "1 setting", "4 settings". */
export function count(number, word) {
  return `${number} ${word}${number === 1 ? "" : "s"}`;
}
