// Pictures of what to measure and how, drawn here: the lens from the side, its front to the right, letters beside each measure.

import { path, sv } from "./dom.js";

const AXIS = 110;

function frame(height, title, ...parts) {
  return sv("svg", { viewBox: `0 0 420 ${height}`, class: "measure", role: "img", "aria-label": title }, ...parts);
}

function arrowHead(x, y, direction) {
  const [dx, dy] = direction;
  return sv("path", {
    d: path(
      [
        [x, y],
        [x - 9 * dx + 4 * dy, y - 9 * dy + 4 * dx],
        [x - 9 * dx - 4 * dy, y - 9 * dy - 4 * dx],
      ],
      true,
    ),
    class: "pic-arrow",
  });
}

/** A measure between two points with arrow heads, and its letter in a disc. */
function measure(x1, y1, x2, y2, letter, place = 0.5) {
  const size = Math.hypot(x2 - x1, y2 - y1) || 1;
  const way = [(x2 - x1) / size, (y2 - y1) / size];
  const lx = x1 + (x2 - x1) * place,
    ly = y1 + (y2 - y1) * place;
  return [
    sv("line", { x1, y1, x2, y2, class: "pic-measure" }),
    arrowHead(x2, y2, way),
    arrowHead(x1, y1, [-way[0], -way[1]]),
    sv("circle", { cx: lx, cy: ly, r: 10, class: "pic-letter-ground" }),
    sv("text", { x: lx, y: ly + 4.6, "text-anchor": "middle", class: "pic-letter" }, letter),
  ];
}

const thin = (x1, y1, x2, y2) => sv("line", { x1, y1, x2, y2, class: "pic-thin" });
const word = (x, y, text, anchor = "middle") => sv("text", { x, y, "text-anchor": anchor, class: "pic-word" }, text);

/** Barrel, front group, front rim and glass; `front` is the x of the front rim plane. */
function lens(front, { outer = 62, barrel = 70, end = 190, glass = 50 } = {}) {
  const both = (draw) => [draw(1), draw(-1)];
  return [
    sv("rect", { x: 20, y: AXIS - barrel, width: end - 20, height: 2 * barrel, class: "pic-body" }),
    sv("rect", { x: end, y: AXIS - outer, width: front - end, height: 2 * outer, class: "pic-body" }),
    sv("path", {
      d: `M${front - 12} ${AXIS - glass}Q${front + 4} ${AXIS} ${front - 12} ${AXIS + glass}L${front - 20} ${AXIS + glass}L${front - 20} ${AXIS - glass}Z`,
      class: "pic-glass",
    }),
    ...both((side) =>
      sv("rect", {
        x: front - 12,
        y: side > 0 ? AXIS + glass : AXIS - outer,
        width: 12,
        height: outer - glass,
        class: "pic-dark",
      }),
    ),
    sv("line", { x1: 10, y1: AXIS, x2: 410, y2: AXIS, class: "axis" }),
  ];
}

const PICTURES = {
  front: () =>
    frame(
      220,
      "The front of the lens from the side: A across the front ring, B across the glass, C from the ring's edge back to the glass",
      ...lens(250),
      thin(250, AXIS - 62, 330, AXIS - 62),
      thin(250, AXIS + 62, 330, AXIS + 62),
      ...measure(318, AXIS - 62, 318, AXIS + 62, "A"),
      thin(238, AXIS - 50, 290, AXIS - 50),
      thin(238, AXIS + 50, 290, AXIS + 50),
      ...measure(280, AXIS - 50, 280, AXIS + 50, "B", 0.7),
      thin(250, AXIS + 62, 250, 200),
      thin(238, AXIS + 50, 238, 200),
      ...measure(200, 192, 238, 192, "C", 0.1),
      sv("line", { x1: 250, x2: 270, y1: 192, y2: 192, class: "pic-measure" }),
      arrowHead(250, 192, [-1, 0]),
      word(120, AXIS - 80, "barrel"),
      word(416, AXIS - 10, "to the subject", "end"),
    ),

  reach: () =>
    frame(
      220,
      "E, the reach: from the seat plane, where the hood's edge stops, forward to the front rim; D across what the hood grips",
      ...lens(262),
      sv("path", { d: `M150 ${AXIS - 74}H330M150 ${AXIS + 74}H330`, class: "pic-hood" }),
      thin(190, 20, 190, 206),
      word(190, 16, "seat plane"),
      thin(262, AXIS + 62, 262, 206),
      ...measure(190, 200, 262, 200, "E"),
      thin(60, AXIS - 70, 150, AXIS - 70),
      ...measure(80, AXIS - 70, 80, AXIS + 70, "D", 0.3),
      word(330, AXIS - 82, "hood"),
    ),

  pupil: () =>
    frame(
      220,
      "F, the pupil's depth: from the front rim back to where the diaphragm seems to sit, seen from the front",
      ...lens(262),
      sv("line", { x1: 165, x2: 165, y1: AXIS - 40, y2: AXIS - 20, class: "pupil" }),
      sv("line", { x1: 165, x2: 165, y1: AXIS + 20, y2: AXIS + 40, class: "pupil" }),
      sv("circle", { cx: 165, cy: AXIS, r: 4.5, class: "pupil-dot" }),
      sv("path", {
        d: path([
          [165, AXIS],
          [400, AXIS - 92],
        ]),
        class: "pic-ray",
      }),
      sv("path", {
        d: path([
          [165, AXIS],
          [400, AXIS + 92],
        ]),
        class: "pic-ray",
      }),
      sv("path", {
        d: path(
          [
            [165, AXIS],
            [400, AXIS - 92],
            [400, AXIS + 92],
          ],
          true,
        ),
        class: "pic-beam",
      }),
      thin(165, AXIS + 40, 165, 206),
      thin(262, AXIS + 62, 262, 206),
      ...measure(165, 200, 262, 200, "F"),
      word(165, AXIS - 52, "pupil"),
      word(352, AXIS - 10, "the picture"),
    ),

  parallax: () =>
    frame(
      220,
      "Finding the pupil by parallax: a pin beside the lens, seen past its edge from two places; where it moves together with the pupil, it stands at the pupil's depth",
      ...lens(222, { outer: 52, barrel: 58, end: 160, glass: 42 }),
      sv("line", { x1: 130, x2: 130, y1: AXIS - 34, y2: AXIS - 16, class: "pupil" }),
      sv("line", { x1: 130, x2: 130, y1: AXIS + 16, y2: AXIS + 34, class: "pupil" }),
      sv("line", { x1: 130, x2: 130, y1: AXIS - 106, y2: AXIS - 66, class: "pic-tool" }),
      sv("circle", { cx: 130, cy: AXIS - 104, r: 4, class: "pic-arrow" }),
      word(130, AXIS + 96, "pin and pupil: the same depth"),
      ...[AXIS - 66, AXIS - 18].map((y) =>
        sv(
          "g",
          null,
          sv("path", {
            d: path([
              [130, AXIS - 100],
              [376, y],
            ]),
            class: "pic-ray",
          }),
          sv("path", {
            d: path([
              [130, AXIS],
              [376, y],
            ]),
            class: "pic-ray",
          }),
          sv("path", { d: `M376 ${y}q14 -11 28 0q-14 11 -28 0Z`, class: "pic-line" }),
          sv("circle", { cx: 390, cy: y, r: 4, class: "pic-dark" }),
        ),
      ),
      sv("path", { d: `M398 ${AXIS - 54}v24`, class: "pic-measure" }),
      arrowHead(398, AXIS - 28, [0, 1]),
      arrowHead(398, AXIS - 56, [0, -1]),
      word(416, AXIS + 18, "move your head", "end"),
    ),

  openings: () =>
    frame(
      220,
      "Openings seen from the front: G, how far an opening lies behind the front ring; H, across it",
      ...lens(262),
      ...[AXIS - 40, AXIS + 20].map((y) => sv("line", { x1: 170, x2: 170, y1: y, y2: y + 20, class: "pupil" })),
      ...[AXIS - 58, AXIS + 34].map((y) => sv("line", { x1: 96, x2: 96, y1: y, y2: y + 24, class: "pic-opening" })),
      thin(96, AXIS + 58, 96, 206),
      thin(262, AXIS + 62, 262, 206),
      ...measure(96, 200, 262, 200, "G"),
      ...measure(96, AXIS - 34, 96, AXIS + 34, "H", 0.28),
      sv("path", {
        d: path([
          [96, AXIS + 34],
          [408, AXIS - 70],
        ]),
        class: "pic-ray",
      }),
      sv("path", {
        d: path([
          [262, AXIS - 50],
          [408, AXIS - 95],
        ]),
        class: "pic-ray",
      }),
      word(96, AXIS - 76, "rear opening"),
      word(180, AXIS + 54, "pupil", "start"),
      word(416, AXIS + 50, "seen from here", "end"),
    ),

  wander: () =>
    frame(
      220,
      "A pupil that moves: straight ahead it is seen deep in the lens, from the side it seems to stand further forward",
      ...lens(262),
      sv("line", { x1: 150, x2: 150, y1: AXIS - 36, y2: AXIS - 16, class: "pupil" }),
      sv("line", { x1: 150, x2: 150, y1: AXIS + 16, y2: AXIS + 36, class: "pupil" }),
      sv("circle", { cx: 150, cy: AXIS, r: 4.5, class: "pupil-dot" }),
      sv("circle", { cx: 200, cy: AXIS, r: 5, class: "pic-ghost" }),
      sv("line", { x1: 200, x2: 200, y1: AXIS - 36, y2: AXIS - 16, class: "pic-ghost" }),
      sv("line", { x1: 200, x2: 200, y1: AXIS + 16, y2: AXIS + 36, class: "pic-ghost" }),
      sv("path", {
        d: path([
          [200, AXIS],
          [392, AXIS - 92],
        ]),
        class: "pic-ray",
      }),
      sv("path", {
        d: path([
          [150, AXIS],
          [404, AXIS],
        ]),
        class: "pic-ray",
      }),
      thin(150, AXIS + 36, 150, 206),
      thin(200, AXIS + 36, 200, 192),
      thin(262, AXIS + 62, 262, 206),
      ...measure(150, 200, 262, 200, "F", 0.85),
      sv("path", { d: "M154 186H190", class: "pic-measure" }),
      arrowHead(198, 186, [1, 0]),
      word(416, AXIS - 100, "from the side", "end"),
      word(416, AXIS + 18, "from ahead", "end"),
    ),

  vertex: () =>
    frame(
      220,
      "L: from the seat plane, where the hood's edge stops, forward to the middle of the front glass",
      ...lens(262),
      sv("path", { d: `M150 ${AXIS - 74}H330M150 ${AXIS + 74}H330`, class: "pic-hood" }),
      thin(190, 20, 190, 210),
      word(190, 16, "seat plane"),
      thin(258, AXIS, 258, 210),
      sv("circle", { cx: 258, cy: AXIS, r: 4, class: "pic-arrow" }),
      ...measure(190, 203, 258, 203, "L"),
      word(416, AXIS - 14, "its middle", "end"),
    ),

  vanes: () =>
    frame(
      200,
      "Vanes cut along the axis: M, how far a vane stands off the wall; N, its edge ahead of the seat plane; P, its opening",
      sv("rect", { x: 20, y: 30, width: 70, height: 140, class: "pic-body" }),
      sv("path", { d: "M90 50V150", class: "pic-glass" }),
      sv("path", { d: "M60 24H384M60 176H384", class: "pic-hood" }),
      thin(90, 12, 90, 190),
      word(90, 10, "seat plane"),
      ...[180, 260, 350].flatMap((x) =>
        [
          [25, 44, 1],
          [175, 156, -1],
        ].map(([wall, edge, way]) =>
          sv("path", {
            d: path(
              [
                [x, wall],
                [x, edge],
                [x - 3, edge],
                [x - 3 - 19, edge - 19 * way],
              ],
              true,
            ),
            class: "pic-dark",
          }),
        ),
      ),
      ...measure(90, 100, 260, 100, "N"),
      thin(260, 44, 260, 156),
      ...measure(300, 44, 300, 156, "P"),
      thin(350, 44, 408, 44),
      sv("path", { d: "M400 10V24M400 44V58", class: "pic-measure" }),
      arrowHead(400, 24, [0, 1]),
      arrowHead(400, 44, [0, -1]),
      sv("circle", { cx: 400, cy: 72, r: 10, class: "pic-letter-ground" }),
      sv("text", { x: 400, y: 76.6, "text-anchor": "middle", class: "pic-letter" }, "M"),
      thin(384, 24, 408, 24),
    ),

  petals: () =>
    frame(
      220,
      "Heights of a hood from the drawer: at the sides, at the top and bottom, and at the lowest places between, all from the seat plane",
      sv("path", {
        d: "M30 190H390V190M30 190V100C60 100 70 150 95 150C120 150 130 50 165 50H255C290 50 300 150 325 150C350 150 360 100 390 100V190",
        class: "pic-hood",
      }),
      thin(20, 190, 400, 190),
      word(60, 208, "seat plane", "start"),
      ...measure(210, 190, 210, 50, "T"),
      ...measure(325, 190, 325, 150, "C"),
      ...measure(382, 190, 382, 100, "S", 0.6),
      ...measure(95, 190, 95, 150, "C"),
    ),
};

/** The picture of this name: "front", "reach", "pupil", "parallax" or "petals". */
export function pictureOf(name) {
  return PICTURES[name]();
}

function small(...parts) {
  return sv("svg", { viewBox: "0 0 120 56", "aria-hidden": "true" }, ...parts);
}

/** Small pictures for choices: seats, rims and walls. */
export function smallPicture(name) {
  const hood = (d) => sv("path", { d, class: "pic-hood" });
  const body = (x, y, width, height) => sv("rect", { x, y, width, height, class: "pic-body" });
  const made = {
    "seat-barrel": () => small(body(6, 8, 52, 40), body(58, 12, 26, 32), hood("M40 6H108M40 50H108")),
    "seat-front": () => small(body(6, 10, 42, 36), body(48, 8, 30, 40), hood("M52 5H112M52 51H112")),
    "seat-thread": () =>
      small(
        body(6, 8, 66, 40),
        hood("M66 12H112M66 44H112"),
        sv("path", { d: "M66 12v4M70 12v4M74 12v4M66 44v-4M70 44v-4M74 44v-4", class: "pic-line" }),
      ),
    petal: () => small(hood("M6 52V30C14 30 18 40 24 40C32 40 34 8 46 8H74C86 8 88 40 96 40C102 40 106 30 114 30V52Z")),
    plain: () => small(hood("M6 52V30H114V52Z")),
    "square-cut": () => small(hood("M6 52V32H22L26 42H32L38 10H82L88 42H94L98 32H114V52Z")),
    tunnel: () => small(hood("M30 46V20H90V46ZM30 20L12 10M90 20L108 10M30 46L12 54M90 46L108 54")),
    deepest: () =>
      small(hood("M6 52V28C16 29 20 38 26 41C36 40 44 12 60 5C76 12 84 40 94 41C100 38 104 29 114 28V52Z")),
    own: () =>
      small(
        hood("M6 52V34C20 34 22 42 30 42C40 42 40 16 50 16H70C80 16 80 42 90 42C98 42 100 34 114 34V52Z"),
        sv("path", { d: "M60 50V18", class: "pic-measure" }),
        arrowHead(60, 17, [0, -1]),
      ),
    bare: () => small(hood("M6 12H114M6 46H114")),
    vanes: () =>
      small(
        hood("M6 8H114M6 50H114"),
        ...[34, 66, 98].map((x) =>
          sv("path", { d: `M${x} 9V20L${x - 11} 9ZM${x} 49V38L${x - 11} 49Z`, class: "pic-dark" }),
        ),
      ),
    ridges: () =>
      small(
        hood("M6 8H114M6 50H114"),
        ...[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11].map((k) =>
          sv("path", {
            d: `M${20 + 8 * k} 9V16L${13 + 8 * k} 9ZM${20 + 8 * k} 49V42L${13 + 8 * k} 49Z`,
            class: "pic-dark",
          }),
        ),
      ),
    landscape: () => small(sv("rect", { x: 33, y: 10, width: 54, height: 36, class: "pic-line" })),
    portrait: () => small(sv("rect", { x: 43, y: 2, width: 34, height: 52, class: "pic-line" })),
    both: () =>
      small(
        sv("rect", { x: 33, y: 10, width: 54, height: 36, class: "pic-line" }),
        sv("rect", { x: 43, y: 2, width: 34, height: 52, class: "pic-thin" }),
      ),
  };
  return made[name]();
}

/** The picture of the first screen: a petal hood on a lens, and the light of the frame that just passes it. */
export function heroPicture() {
  return sv(
    "svg",
    {
      viewBox: "0 -8 520 308",
      role: "img",
      "aria-label":
        "A hood on a lens in section: the light of the frame just passes its rim, a lamp outside the frame is kept off the glass",
    },
    sv("path", {
      d: path(
        [
          [150, 150],
          [520, 8],
          [520, 292],
        ],
        true,
      ),
      class: "pic-beam",
    }),
    sv("path", {
      d: path([
        [150, 150],
        [520, 8],
      ]),
      class: "pic-ray",
    }),
    sv("path", {
      d: path([
        [150, 150],
        [520, 292],
      ]),
      class: "pic-ray",
    }),
    sv("rect", { x: 0, y: 66, width: 190, height: 168, class: "pic-body" }),
    sv("path", { d: "M206 84Q232 150 206 216L194 216L194 84Z", class: "pic-glass" }),
    sv("rect", { x: 190, y: 70, width: 18, height: 14, class: "pic-dark" }),
    sv("rect", { x: 190, y: 216, width: 18, height: 14, class: "pic-dark" }),
    sv("line", { x1: 0, x2: 520, y1: 150, y2: 150, class: "axis" }),
    sv("line", { x1: 150, x2: 150, y1: 112, y2: 132, class: "pupil" }),
    sv("line", { x1: 150, x2: 150, y1: 168, y2: 188, class: "pupil" }),
    sv("circle", { cx: 150, cy: 150, r: 5, class: "pupil-dot" }),
    sv("path", { d: "M160 60H352M160 240H352", class: "pic-hood" }),
    sv("circle", { cx: 352, cy: 60, r: 9, class: "rim-ring" }),
    sv("circle", { cx: 352, cy: 240, r: 9, class: "rim-ring" }),
    sv("path", { d: "M372 14L350 58", class: "pic-measure" }),
    arrowHead(350, 58, [-0.447, 0.894]),
    sv("circle", { cx: 378, cy: 8, r: 12, class: "pic-arrow" }),
    sv("text", { x: 398, y: 24, class: "pic-word" }, "kept off"),
  );
}
