// The finish of a hood's inside: a table of finishes, how much each sends back, and who says so.

import { Refused, Unreachable, ask } from "./ask.js";
import { el, path, sv } from "./dom.js";
import { share } from "./words.js";

const OTHER = "another finish";

/** What making chooses from: {finishes, step}, the table and whether STEP can be written; null where nobody answers. */
export async function makingLists() {
  try {
    const [finishes, { step }] = await Promise.all([ask("finishes"), ask("about")]);
    return { finishes, step };
  } catch (fault) {
    if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
    return null;
  }
}

/** The fields of the finish. table: {angles, usual, finishes}, or null until it has come. */
export function finishFields(form, table) {
  const where = ["build", "finish"];
  if (!table) return form.text(where, "Finish of the inside", { placeholder: "as weighing assumes", most: 100 });
  const known = (name) => table.finishes.find((entry) => entry.name === name);
  const now = () => {
    const value = form.value(where);
    if (value === undefined || value === null) return "";
    return known(value) ? value : "other";
  };
  const choice = form.list(
    where,
    "Finish of the inside",
    [
      ["", "not chosen"],
      ...table.finishes.map((entry) => [entry.name, `${entry.name}, ${share(entry.reflectance[0])}`]),
      ["other", "another, by its name"],
    ],
    { wide: true, now, put: (value) => form.put(where, value === "" ? null : value === "other" ? OTHER : value) },
  );
  const own = form.text(where, "Its name", {
    wide: true,
    most: 100,
    keepEmpty: true,
    hint: "Written on drawing and report. Comparing takes finishes of the table, and those that the hood document describes.",
  });
  const told = el("div", { class: "wide finish", role: "group", "aria-label": "What the finish sends back" });
  const show = () => {
    own.hidden = now() !== "other";
    const entry = known(now() || table.usual);
    told.hidden = now() === "other";
    told.replaceChildren(
      ...(entry && now() !== "other" ? [curve(table, entry), ...words(table, entry, now() !== "")] : []),
    );
  };
  show();
  form.watch(show);
  return [choice, own, told];
}

function words(table, entry, chosen) {
  const grazing = entry.reflectance[table.angles.indexOf(80)];
  const range = entry.low === null ? "" : ` Expect ${share(entry.low)} to ${share(entry.high)} straight on.`;
  const assumed = chosen ? "" : `Not chosen: ${entry.name} is assumed. `;
  return [
    el(
      "p",
      null,
      `${assumed}Sends back ${share(entry.reflectance[0])} of light straight on, ${share(grazing)} at 80°, ${share(entry.from_everywhere)} of light from everywhere.${range}`.replaceAll(
        " %",
        "\u00a0%",
      ),
    ),
    el("p", { class: "hint" }, `Where this is from: ${entry.source}.`),
  ];
}

/** Reflectance over the angle from the normal: this finish heavy, the others thin. */
function curve({ angles, finishes }, chosen) {
  const top = chosen.reflectance[0] > 0.5 ? 1 : 0.6;
  const to = (angle, value) => [46 + (angle / 85) * 356, 106 - (Math.min(value, top) / top) * 92];
  const line = (entry, name) =>
    sv("path", { d: path(entry.reflectance.map((value, k) => to(angles[k], value))), class: name });
  const label = (x, y, text, anchor) => sv("text", { x, y, "text-anchor": anchor, class: "pic-word" }, text);
  return sv(
    "svg",
    {
      viewBox: "0 0 420 144",
      class: "measure",
      role: "img",
      "aria-label": `Share of light that ${chosen.name} sends back, over the angle from straight on to grazing; the other finishes thin`,
    },
    [0, 0.5, 1].map((part) => {
      const [, y] = to(0, part * top);
      return [
        sv("line", { x1: 46, x2: 402, y1: y, y2: y, class: "pic-thin" }),
        label(40, y + 4, `${Math.round(100 * part * top)} %`, "end"),
      ];
    }),
    finishes
      .filter((entry) => entry !== chosen && entry.reflectance[0] <= top)
      .map((entry) => line(entry, "pic-other")),
    line(chosen, "pic-chosen"),
    label(46, 124, "straight on", "start"),
    label(to(45, 0)[0], 124, "45°", "middle"),
    label(402, 124, "85°, grazing", "end"),
  );
}
