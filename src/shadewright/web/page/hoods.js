// Hood documents: whether the rim is given, and the document as it stands after what was done to it by hand.

import { withValue } from "./store.js";

/** True where the rim is known: fitted, measured, traced or shaped by hand. */
export function isGiven(hood) {
  const rim = hood?.rim ?? {};
  return (
    Boolean(rim.points?.length) ||
    ["depth", "lips", "petals", "stl"].some((name) => rim[name] !== undefined && rim[name] !== null)
  );
}

/** The uploaded mesh that a hood's `stl` stands for, as a design names it; nothing for other hoods. */
export function meshOf({ hood, mesh }) {
  return mesh && hood?.rim?.stl ? { mesh: mesh.id } : {};
}

/** The wishes alone: the document without the rim that was found for it. */
export function wishesOf(hood) {
  const rim = hood.rim?.shape ? { shape: hood.rim.shape } : undefined;
  const copy = { ...hood };
  delete copy.made_for;
  delete copy.vane;
  if (rim) copy.rim = rim;
  else delete copy.rim;
  return copy;
}

/** A hood with its rim shaped by hand and moved forward: what is checked, made and saved. */
export function baked(hood, { hand = null, moved = 0 } = {}) {
  let made = hood;
  if (hand && hood.wall?.shape !== "tunnel" && hood.rim?.shape !== "tunnel") {
    made = { ...made, rim: { ...(made.rim?.shape ? { shape: made.rim.shape } : {}), points: hand } };
  }
  return moved === 0 ? made : movedBy(made, moved);
}

function rounded(value) {
  return Number(value.toFixed(4));
}

function movedBy(hood, by) {
  const rim = hood.rim ?? {};
  if (rim.points?.length)
    return withValue(
      hood,
      ["rim", "points"],
      rim.points.map(([azimuth, z]) => [azimuth, rounded(z + by)]),
    );
  if (rim.depth !== undefined && rim.depth !== null) return withValue(hood, ["rim", "depth"], rounded(rim.depth + by));
  if (rim.lips)
    return withValue(
      hood,
      ["rim", "lips"],
      Object.fromEntries(Object.entries(rim.lips).map(([lip, z]) => [lip, rounded(z + by)])),
    );
  if (rim.petals) {
    const petals = { ...rim.petals };
    for (const name of ["right", "left", "top", "bottom", "corners"]) petals[name] = rounded(petals[name] + by);
    return withValue(hood, ["rim", "petals"], petals);
  }
  return hood;
}

/** The inside diameter that the wall asks for, mm; null where it is left to the program. */
export function diameterOf(hood) {
  const wall = hood?.wall;
  if (!wall) return null;
  return wall.inner_diameter ?? wall.near_diameter ?? wall.inner_width ?? wall.steps?.[0]?.diameter ?? null;
}

/** The hood with another inside diameter; every part of the wall widens alike. */
export function withDiameter(hood, diameter) {
  const wall = hood.wall ?? { shape: "tube" };
  const now = diameterOf(hood);
  if (wall.shape === "cone") {
    return {
      ...hood,
      wall: { ...wall, near_diameter: diameter, far_diameter: rounded(wall.far_diameter + diameter - now) },
    };
  }
  if (wall.shape === "tunnel") {
    return {
      ...hood,
      wall: { ...wall, inner_width: diameter, inner_height: rounded(Math.max(wall.inner_height + diameter - now, 1)) },
    };
  }
  if (wall.shape === "stepped") {
    return {
      ...hood,
      wall: {
        ...wall,
        steps: wall.steps.map((step) => ({ ...step, diameter: rounded(step.diameter + diameter - now) })),
      },
    };
  }
  return { ...hood, wall: { ...wall, shape: "tube", inner_diameter: diameter } };
}

/** Names of the rims that can be asked for. */
export const SHAPES = {
  petal: ["Petal", "the most shade that can be made"],
  plain: ["Plain", "the same depth all round"],
  "square-cut": ["Square-cut", "straight sides, easy to cut"],
  tunnel: ["Tunnel", "a box with four lips"],
  deepest: ["Deepest", "the edge of what stays clear"],
};
