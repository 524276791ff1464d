// The rim shaped by hand: a smooth bump raised or lowered where one pulls, mirrored to where symmetry wants it.

/** Directions round the axis that a symmetry makes alike, degrees. */
export function alike(azimuth, symmetry) {
  const turned = {
    frame: [azimuth, 180 - azimuth, -azimuth, 180 + azimuth],
    "left-right": [azimuth, 180 - azimuth],
    "half-turn": [azimuth, azimuth + 180],
    "quarter-turn": [azimuth, azimuth + 90, azimuth + 180, azimuth + 270],
    none: [azimuth],
  }[symmetry] ?? [azimuth];
  return turned.map((value) => ((value % 360) + 360) % 360);
}

/** Least angle between two directions, degrees. */
export function between(a, b) {
  const turn = Math.abs(a - b) % 360;
  return Math.min(turn, 360 - turn);
}

/**
 * Heights of a rim after its place at `azimuth` has been pulled to `height`.
 *
 * made: heights at equal steps round the rim from 0 degrees, mm. width: how far the pull is felt to either side, degrees.
 */
export function pulled(made, azimuth, height, { width, symmetry, least, most }) {
  const count = made.length;
  const now = made[Math.round((azimuth / 360) * count) % count];
  const by = Math.min(Math.max(height, least), most) - now;
  const places = alike(azimuth, symmetry);
  return made.map((z, k) => {
    const away = Math.min(...places.map((place) => between(place, (k * 360) / count)));
    const weight = away >= width ? 0 : 0.5 + 0.5 * Math.cos((Math.PI * away) / width);
    return Number(Math.min(Math.max(z + by * weight, least), most).toFixed(2));
  });
}

/** Heights as the pairs of azimuth and height that a hood document lists. */
export function asPoints(made) {
  return made.map((z, k) => [(k * 360) / made.length, z]);
}
