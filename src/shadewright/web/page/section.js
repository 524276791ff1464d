// The section: lens front, hood and extreme rays, cut by a plane through the axis.

import { boxOf, path, sv } from "./dom.js";
import { bare, length, ticks, unit } from "./words.js";

const TOUCHING = 0.005;

/** Draw one plane of the section into an SVG element. */
export function drawSection(picture, plane, extent) {
  const { width, height, letters } = boxOf(picture);
  const small = Math.max(0.82 * letters, 8.5);
  const room = { left: 3.4 * small, right: 0.6 * small, top: 0.5 * small, bottom: 2.9 * small };
  const { back, ahead, away, scale } = fitted(
    plane,
    extent,
    width - room.left - room.right,
    height - room.top - room.bottom,
  );
  const middle = room.top + (height - room.top - room.bottom) / 2;
  const start = room.left;
  const to = ([z, u]) => [start + (z - back) * scale, middle - u * scale];
  const window_ = { x: start, y: middle - away * scale, width: (ahead - back) * scale, height: 2 * away * scale };
  picture.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const clip = `${picture.id}-clip`;
  const inside = sv("g", { "clip-path": `url(#${clip})` });
  picture.replaceChildren(
    sv(
      "defs",
      null,
      sv("clipPath", { id: clip }, sv("rect", window_)),
      sv(
        "pattern",
        {
          id: `${picture.id}-cut`,
          width: 6,
          height: 6,
          patternUnits: "userSpaceOnUse",
          patternTransform: "rotate(45)",
        },
        sv("rect", { width: 6, height: 6, class: "cut-ground" }),
        sv("line", { x1: 0, y1: 0, x2: 0, y2: 6, class: "cut-line" }),
      ),
    ),
    sv("rect", { ...window_, class: "ground" }),
    inside,
  );
  lensFront(inside, plane, to, back);
  inside.append(
    sv("line", { x1: to([back, 0])[0], x2: to([ahead, 0])[0], y1: middle, y2: middle, class: "axis" }),
    sv("line", {
      x1: to([0, 0])[0],
      x2: to([0, 0])[0],
      y1: window_.y,
      y2: window_.y + window_.height,
      class: "seat-plane",
    }),
  );
  rays(inside, plane, to, ahead);
  windows(inside, plane, to);
  for (const wall of plane.walls) {
    inside.append(sv("path", { d: path(wall.map(to), true), class: "wall", fill: `url(#${picture.id}-cut)` }));
  }
  for (const ring of plane.rings ?? []) inside.append(sv("path", { d: path(ring.map(to), true), class: "vane" }));
  for (const cut of plane.cuts ?? []) inside.append(sv("path", { d: path(cut.map(to)), class: "wall" }));
  gaps(inside, plane, to, small, window_);
  rulers(picture, { back, ahead, away, to, small, window_, height });
}

/** Bounds of the drawing in mm that fill the room given, the hood and the front of the lens within them. */
function fitted(plane, extent, across, tall) {
  const [back, ahead, most] = extent;
  const walls = [...plane.walls.flat(), ...(plane.cuts ?? []).flat()].map(([, u]) => Math.abs(u));
  const away = Math.min(
    Math.max(1.55 * Math.max(...walls, plane.rim.outer), 20),
    Math.max(1.2 * most, 1.55 * plane.rim.outer),
  );
  const scale = Math.min(across / (ahead - back), tall / (2 * away));
  // What room is left goes mostly ahead, where the light comes from.
  const spare = across / scale - (ahead - back);
  return { back: back - 0.35 * spare, ahead: ahead + 0.65 * spare, away: tall / scale / 2, scale };
}

/** A straight ray prolonged to z. */
function prolonged([[z0, u0], [z1, u1]], z) {
  const slope = z1 === z0 ? 0 : (u1 - u0) / (z1 - z0);
  return [
    [z0, u0],
    [Math.max(z, z1), u0 + slope * (Math.max(z, z1) - z0)],
  ];
}

function lensFront(inside, plane, to, back) {
  const { z, inner, outer } = plane.rim;
  for (const side of [1, -1]) {
    const [x0, y0] = to([back, side * outer]);
    const [x1, y1] = to([z, side * inner]);
    inside.append(
      sv("rect", {
        x: x0,
        y: Math.min(y0, y1),
        width: Math.max(x1 - x0, 0),
        height: Math.abs(y1 - y0),
        class: "barrel",
      }),
    );
    const [r0] = to([z - 2, 0]);
    inside.append(
      sv("rect", {
        x: r0,
        y: Math.min(y0, y1),
        width: Math.max(x1 - r0, 1),
        height: Math.abs(y1 - y0),
        class: "front-rim",
      }),
    );
  }
}

function rays(inside, plane, to, ahead) {
  for (const side of [1, -1]) {
    const of = (kind) => {
      const ray = plane.rays.find((entry) => entry.kind === kind && entry.side === side);
      return ray && { points: prolonged(ray.points, ahead) };
    };
    const outer = of("outer"),
      inner = of("inner"),
      chief = of("chief");
    if (outer && inner) {
      const shape = [...outer.points, ...[...inner.points].reverse()];
      inside.append(sv("path", { d: path(shape.map(to), true), class: "beam" }));
    }
    for (const [ray, name] of [
      [inner, "ray-inner"],
      [chief, "ray-chief"],
      [outer, "ray-outer"],
    ]) {
      if (ray) inside.append(sv("path", { d: path(ray.points.map(to)), class: name }));
    }
  }
}

function windows(inside, plane, to) {
  for (const { kind, z, low, high } of plane.windows) {
    const [x, top] = to([z, high]);
    const bottom = to([z, low])[1];
    if (kind === "front") inside.append(sv("line", { x1: x, x2: x, y1: top, y2: bottom, class: "glass" }));
    else {
      const tick = kind === "pupil" ? 9 : 6;
      for (const [y, way] of [
        [top, -1],
        [bottom, 1],
      ]) {
        inside.append(
          sv("line", { x1: x, x2: x, y1: y, y2: y + way * tick, class: kind === "pupil" ? "pupil" : "window" }),
        );
      }
      if (kind === "pupil") inside.append(sv("circle", { cx: x, cy: (top + bottom) / 2, r: 4.5, class: "pupil-dot" }));
    }
  }
}

const FROM_EDGE = 5;
const LETTER = 0.56;

function gaps(inside, plane, to, small, window_) {
  const [left, right] = [window_.x + FROM_EDGE, window_.x + window_.width - FROM_EDGE];
  const [top, bottom] = [window_.y + FROM_EDGE, window_.y + window_.height - FROM_EDGE];
  plane.gaps.forEach((entry) => {
    const [x, y] = to([entry.z, entry.u]);
    const bad = entry.gap < -TOUCHING;
    inside.append(sv("circle", { cx: x, cy: y, r: 8, class: bad ? "rim-ring bad" : "rim-ring" }));
    const note = sv("text", { y: 0, "text-anchor": "middle", class: bad ? "note bad" : "note" }, gapWords(entry.gap));
    inside.append(note);
    // Where the browser cannot yet tell how long the words are, their letters are counted.
    const half = (note.getComputedTextLength() || LETTER * small * note.textContent.length) / 2;
    const above = y - 1.1 * small,
      below = y + 1.75 * small;
    const outward = entry.u > 0 ? above : below;
    // Beside the rim on the outside; where the panel ends there, on the inside.
    const fits = outward - small >= top && outward + 0.3 * small <= bottom;
    const place = fits ? outward : entry.u > 0 ? below : above;
    note.setAttribute("x", Math.min(Math.max(x, left + half), Math.max(right - half, left + half)));
    note.setAttribute("y", Math.min(Math.max(place, top + small), bottom - 0.3 * small));
  });
}

function gapWords(gap) {
  if (Math.abs(gap) < TOUCHING) return "touches";
  return gap > 0 ? `${length(gap, 2)} clear` : `${length(-gap, 2)} in the beam`;
}

function rulers(picture, { back, ahead, away, to, small, window_, height }) {
  const floor = window_.y + window_.height;
  for (const z of ticks(back, ahead, window_.width / (4.2 * small))) {
    const [x] = to([z, 0]);
    picture.append(sv("line", { x1: x, x2: x, y1: floor, y2: floor + 4, class: "tick" }));
    picture.append(sv("text", { x, y: floor + 1.25 * small, "text-anchor": "middle", class: "small" }, bare(z)));
  }
  for (const u of ticks(-away, away, window_.height / (2.6 * small))) {
    const [, y] = to([back, u]);
    picture.append(sv("line", { x1: window_.x - 4, x2: window_.x, y1: y, y2: y, class: "tick" }));
    picture.append(
      sv("text", { x: window_.x - 7, y: y + 0.35 * small, "text-anchor": "end", class: "small" }, bare(u)),
    );
  }
  picture.append(
    sv(
      "text",
      {
        x: window_.x + window_.width / 2,
        y: Math.min(floor + 2.4 * small, height - 4),
        "text-anchor": "middle",
        class: "small soft",
      },
      window_.width > 26 * small
        ? `ahead of the seat plane, towards the subject (${unit()})`
        : `ahead of the seat plane (${unit()})`,
    ),
  );
}

/** What a plane of the section shows, in words. */
export function sectionWords(plane, setting) {
  const least = Math.min(...plane.gaps.map((entry) => entry.gap));
  const gap = !Number.isFinite(least)
    ? "the hood is cut as its file has it"
    : Math.abs(least) < TOUCHING
      ? "the outermost ray touches the rim"
      : least > 0
        ? `the outermost ray passes the rim ${length(least, 2)} clear`
        : `the rim stands ${length(-least, 2)} in the beam`;
  return `${plane.name}, at ${setting.label}: ${gap}.`;
}
