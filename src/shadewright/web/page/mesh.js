// Triangles for the drawing in space: hood, front of the lens, pupil. For the eye alone; what is printed comes from the program.

const ROUND = 120;

/** Grows lists of corners, normals and kinds; a kind is the number by which the shader colours. */
class Pile {
  constructor() {
    this.corners = [];
    this.kinds = [];
    this.faces = [];
  }

  corner(x, y, z, kind) {
    this.corners.push(x, y, z);
    this.kinds.push(kind);
    return this.kinds.length - 1;
  }

  quad(a, b, c, d) {
    this.faces.push(a, b, c, a, c, d);
  }
}

/** Kinds of surface. */
export const KIND = { inside: 0, outside: 1, edge: 2, barrel: 3, glass: 4, pupil: 5 };

/** Inside radius of a profile [[z, radius], ...] at z, the last piece prolonged; `ahead` picks the radius after a step. */
export function radiusAt(profile, z) {
  if (profile.length === 1) return profile[0][1];
  let k = 0;
  while (k < profile.length - 2 && profile[k + 1][0] < z) k++;
  const [z0, r0] = profile[k];
  const [z1, r1] = profile[k + 1];
  return z1 === z0 ? r1 : r0 + ((z - z0) / (z1 - z0)) * (r1 - r0);
}

function rimAt(rim, azimuth) {
  const step = 360 / rim.length;
  const k = Math.floor(azimuth / step) % rim.length;
  const share = azimuth / step - Math.floor(azimuth / step);
  return rim[k][1] * (1 - share) + rim[(k + 1) % rim.length][1] * share;
}

/** Rings of a closed strip: each ring a list of [x, y, z, kind], joined to the next, the last to the first. */
function joinRings(pile, rings, { close = true } = {}) {
  const places = rings.map((ring) => ring.map((point) => pile.corner(...point)));
  const last = close ? rings.length : rings.length - 1;
  for (let k = 0; k < last; k++) {
    const a = places[k],
      b = places[(k + 1) % places.length];
    for (let m = 0; m < a.length; m++) {
      const n = (m + 1) % a.length;
      pile.quad(a[m], b[m], b[n], a[n]);
    }
  }
}

function addRound(pile, solid) {
  const { profile, rim, thickness } = solid;
  const start = Math.min(0, profile[0][0]);
  const seat = solid.seat ? -solid.seat.length : start;
  const levels = [0, ...profile.map(([z]) => z).filter((z) => z > 0.01)];
  const count = Math.max(ROUND, rim.length);
  const ring = (height, grow, kind) =>
    Array.from({ length: count }, (_unused, m) => {
      const azimuth = (m * 360) / count;
      const z = height(azimuth);
      const radius = (z < 0 && solid.seat ? solid.seat.radius : radiusAt(profile, Math.max(z, start))) + grow;
      const angle = (azimuth * Math.PI) / 180;
      return [radius * Math.cos(angle), radius * Math.sin(angle), z, kind];
    });
  const along = (level) => (azimuth) => Math.min(level, rimAt(rim, azimuth));
  const top = (azimuth) => rimAt(rim, azimuth);
  const fixed = (level) => () => level;
  const rings = [];
  // Out along the inside, over the rim, back along the outside, round the seat's end.
  if (solid.seat) rings.push(ring(fixed(seat), 0, KIND.inside), ring(fixed(-0.01), 0, KIND.inside));
  for (const level of levels) rings.push(ring(along(level), 0, KIND.inside));
  rings.push(
    ring(top, 0, KIND.inside),
    ring(top, 0, KIND.edge),
    ring(top, thickness, KIND.edge),
    ring(top, thickness, KIND.outside),
  );
  for (const level of [...levels].reverse()) rings.push(ring(along(level), thickness, KIND.outside));
  if (solid.seat) {
    const outer = (azimuth) =>
      ring(fixed(seat), thickness + Math.max(0, radiusAt(profile, 0) - solid.seat.radius), KIND.outside)[azimuth];
    rings.push(Array.from({ length: count }, (_unused, m) => outer(m)));
  }
  joinRings(pile, rings);
}

function addTunnel(pile, solid) {
  const { half_width: w, half_height: h, lips, thickness: t } = solid;
  // Eight places round the tunnel, so that every lip is straight and the corners step between neighbours.
  const round = (grow, level, kind) => {
    const side = [
      ["right", 1, -1],
      ["right", 1, 1],
      ["top", 1, 1],
      ["top", -1, 1],
      ["left", -1, 1],
      ["left", -1, -1],
      ["bottom", -1, -1],
      ["bottom", 1, -1],
    ];
    return side.map(([lip, sx, sy]) => [sx * (w + grow), sy * (h + grow), level === null ? lips[lip] : level, kind]);
  };
  joinRings(pile, [
    round(0, 0, KIND.inside),
    round(0, null, KIND.inside),
    round(0, null, KIND.edge),
    round(t, null, KIND.edge),
    round(t, null, KIND.outside),
    round(t, 0, KIND.outside),
  ]);
}

function circle(radius, z, kind, count = 96) {
  return Array.from({ length: count }, (_unused, m) => {
    const angle = (m * 2 * Math.PI) / count;
    return [radius * Math.cos(angle), radius * Math.sin(angle), z, kind];
  });
}

function addLens(pile, solid) {
  const { z, radius, rim_radius: outer } = solid.front;
  const back = Math.min(-1.1 * outer, z - 0.9 * outer, (solid.pupil?.z ?? 0) - 6);
  joinRings(pile, [
    circle(outer, z, KIND.barrel),
    circle(outer, back, KIND.barrel),
    circle(radius, back, KIND.barrel),
    circle(radius, z, KIND.barrel),
  ]);
  if (solid.pupil) {
    const { z: pz, radius: pr } = solid.pupil;
    const ring = 1.16 * pr + 0.6;
    joinRings(pile, [
      circle(pr, pz, KIND.pupil),
      circle(ring, pz, KIND.pupil),
      circle(ring, pz - 0.6, KIND.pupil),
      circle(pr, pz - 0.6, KIND.pupil),
    ]);
  }
}

function addGlass(pile, solid) {
  const { z, radius } = solid.front;
  // The front glass is drawn slightly domed, as a front glass looks; its true surface is not known here.
  const dome = [0.999, 0.8, 0.6, 0.4, 0.2, 0.02].map((part) =>
    circle(radius * part, z - 1.5 - 0.02 * radius + 0.1 * radius * (1 - part * part), KIND.glass),
  );
  joinRings(pile, dome, { close: false });
}

/** A measured mesh as it is. */
function addMesh(pile, { vertices, faces }) {
  for (let k = 0; k < vertices.length; k += 3) pile.corner(vertices[k], vertices[k + 1], vertices[k + 2], KIND.outside);
  pile.faces.push(...faces);
}

/** Triangles of hood, lens front and glass in this order: corners, normals and kinds, flat, and how many belong to the first two. */
export function meshOf(solid) {
  const pile = new Pile();
  if (solid.kind === "round") addRound(pile, solid);
  else if (solid.kind === "tunnel") addTunnel(pile, solid);
  else if (solid.vertices) addMesh(pile, solid);
  const hood = pile.faces.length;
  if (solid.front) addLens(pile, solid);
  const opaque = pile.faces.length;
  if (solid.front) addGlass(pile, solid);
  const corners = new Float32Array(pile.faces.length * 3);
  const kinds = new Float32Array(pile.faces.length);
  pile.faces.forEach((from, to) => {
    for (let axis = 0; axis < 3; axis++) corners[3 * to + axis] = pile.corners[3 * from + axis];
    kinds[to] = pile.kinds[from];
  });
  return { corners, normals: smoothNormals(pile), kinds, hood, opaque, count: pile.faces.length };
}

/** A normal for each corner of each face: the mean over faces that share the corner, so that a tube looks round. */
function smoothNormals(pile) {
  const sums = new Float64Array(pile.corners.length);
  const c = pile.corners;
  for (let f = 0; f < pile.faces.length; f += 3) {
    const [i, j, k] = [pile.faces[f] * 3, pile.faces[f + 1] * 3, pile.faces[f + 2] * 3];
    const ux = c[j] - c[i],
      uy = c[j + 1] - c[i + 1],
      uz = c[j + 2] - c[i + 2];
    const vx = c[k] - c[i],
      vy = c[k + 1] - c[i + 1],
      vz = c[k + 2] - c[i + 2];
    const n = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
    for (const at of [i, j, k]) for (let axis = 0; axis < 3; axis++) sums[at + axis] += n[axis];
  }
  const normals = new Float32Array(pile.faces.length * 3);
  pile.faces.forEach((from, to) => {
    const [x, y, z] = [sums[3 * from], sums[3 * from + 1], sums[3 * from + 2]];
    const size = Math.hypot(x, y, z) || 1;
    normals.set([x / size, y / size, z / size], 3 * to);
  });
  return normals;
}
