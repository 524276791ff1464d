// Taking it home: seat and finish, the files for the workshop, the sheet for a customer.

import { add, el } from "./dom.js";
import { Form, group, more } from "./fields.js";
import { finishFields } from "./finish.js";
import { jobBox } from "./jobs.js";
import { smallPicture } from "./pictures.js";
import { length, stops } from "./words.js";

/**
 * Build the form and the jobs. finished(): the design with its hood as it would be made, or null.
 * blocked(): whether something is wrong in a field, so that nothing can be made.
 * lists: {finishes, step}, the table of finishes and whether STEP can be written; null until they have come.
 */
export function makePanel(store, box, { finished, lists, blocked }) {
  const form = new Form(store, "hood");
  const paper = el(
    "select",
    { "aria-label": "Paper" },
    el("option", { value: "a4" }, "A4"),
    el("option", { value: "letter" }, "Letter"),
  );
  const ring = el("input", { type: "checkbox" });
  const exact = el("input", { type: "checkbox", disabled: !lists?.step });
  const options = () => ({ paper: paper.value, fit_ring: ring.checked, step: exact.checked && !ring.checked });
  const seat = form.document.build?.seat ?? "slip-on";
  add(
    box,
    el("h2", null, "Take it home"),
    el(
      "p",
      null,
      "Choose how it holds and how it is made; then have the files made. Every solid is inspected, and its own mesh is tested against the light, before a file is written.",
    ),
    group(
      "Seat",
      form.choices(
        ["build", "seat"],
        "Seat",
        [
          ["slip-on", "Slip-on", smallPicture("seat-barrel"), "pushed over the barrel"],
          ["clamp", "Clamp", smallPicture("seat-front"), "split, with a screw"],
          ["thread", "Thread", smallPicture("seat-thread"), "into the filter thread"],
        ],
        { plain: "slip-on" },
      ),
      el(
        "div",
        { class: "fields" },
        seat === "slip-on" &&
          form.list(
            ["build", "fit"],
            "How tightly",
            [
              ["loose", "loose"],
              ["sliding", "sliding"],
              ["snug", "snug"],
            ],
            { plain: "sliding" },
          ),
        seat === "thread"
          ? form.text(["build", "thread"], "Thread", { placeholder: "the lens's" })
          : form.length(["build", "seat_diameter"], "Grips", { placeholder: "the lens's seat" }),
        form.length(["build", "seat_length"], "Seat length", { placeholder: "12" }),
        form.length(["build", "thickness"], "Wall thickness", { placeholder: "2" }),
      ),
    ),
    group("Finish of the wall", el("div", { class: "fields" }, finishFields(form, lists?.finishes ?? null))),
    more(
      "Edges and printer",
      el(
        "div",
        { class: "fields" },
        form.length(["build", "rim_rounding"], "Rim's edges rounded to", { placeholder: "0.6" }),
        form.length(["build", "printer", "hole_compensation"], "Added to holes", {
          placeholder: "0.2",
          hint: "printed holes come out small",
        }),
        form.length(["build", "printer", "first_layer_spread"], "First layer spreads", { placeholder: "0.2" }),
        form.tick(["build", "index_mark"], "A mark on the outside shows which lobe is up", { plain: true }),
      ),
    ),
    el(
      "div",
      { class: "row" },
      el("label", { class: "row" }, "Paper ", paper),
      el("label", { class: "tick" }, ring, "only a short ring to try the seat with"),
    ),
    el("label", { class: "tick" }, exact, "also an exact solid for CAD programs (STEP)"),
    lists && !lists.step && stepMissing(),
    jobBox({
      title: "Check it at every setting",
      words: "Sweeps zoom, focus and aperture, and says what stays clear.",
      button: "Check",
      kind: "check",
      design: finished,
      blocked,
      after: checkWords,
    }),
    jobBox({
      title: "Files for the workshop",
      words: "Solids (STL, 3MF, and STEP where ticked above), flat template (SVG, DXF, PDF) and drawing sheet (PDF).",
      button: "Make the files",
      kind: "make",
      design: finished,
      blocked,
      options,
      after: makeWords,
    }),
    jobBox({
      title: "A sheet for the customer",
      words: "What it is, why it is shaped so, what it was checked for: one PDF.",
      button: "Write the report",
      kind: "report",
      design: finished,
      blocked,
      options,
    }),
    el(
      "p",
      { class: "cautions" },
      "Ventilate when printing, cutting, painting or flocking, and follow the makers' sheets and local rules. Check that the hood cannot fall off before it goes above people. Never aim a lens at the sun.",
    ),
  );
  const jobs = [...box.querySelectorAll(".job")];
  form.follow = () => jobs.forEach((job) => job.follow());
  return form;
}

function stepMissing() {
  return el(
    "p",
    { class: "hint" },
    "STEP is not installed with this program. In the terminal: ",
    el("code", null, "pip install shadewright[step]"),
    "; then start the bench again. STL and 3MF need nothing more.",
  );
}

function makeWords(job) {
  const { solids = [], notes = [] } = job.result ?? {};
  return [
    ...solids.map((solid) =>
      el(
        "p",
        null,
        `${solid.name}: ${solid.watertight ? "watertight" : "NOT watertight"}, ${solid.volume_cm3?.toFixed(1)} cm³, thinnest ${length(solid.thinnest, 2)}.`,
      ),
    ),
    ...notes.map((note) => el("p", { class: "soft" }, note)),
  ];
}

/** A check in words. */
export function checkWords(job) {
  const report = job.result ?? job;
  const lines = [];
  if (report.clear) {
    lines.push(`Clear at all ${report.settings.length} settings tried.`);
    lines.push(`It could be ${length(report.deeper_by, 2)} deeper, or turned ${report.turn_by}° either way.`);
  } else {
    const showing = report.settings.filter((entry) => entry.shows).length;
    lines.push(`It shows at ${showing} of ${report.settings.length} settings tried.`);
    if (report.worst_loss)
      lines.push(
        `Worst: ${stops(report.worst_loss.stops)} at ${report.worst_loss.setting}, ${report.worst_loss.where}.`,
      );
    if (report.passes) lines.push(`That is within the allowance of ${report.allowance} stop.`);
  }
  if (report.tightest) lines.push(`Tightest at ${report.tightest}.`);
  for (const range of report.clear_ranges ?? []) lines.push(rangeWords(range));
  return [...lines, ...(report.accessories ?? []), ...(report.warnings ?? [])].map((line) => el("p", null, line));
}

function rangeWords({ quantity, unit, low, high, whole }) {
  if (low === null && high === null) return `Shows at every ${quantity}.`;
  const of = (value) =>
    value === null
      ? "infinity"
      : quantity === "f-number"
        ? `f/${Number(value.toPrecision(3))}`
        : `${Number(value.toPrecision(4))} ${unit}`.trim();
  return `Clear over ${quantity}: from ${of(low)} to ${of(high)}${whole ? " (all of it)" : ""}.`;
}

/** What makes the form another one. */
export function makeLayout(hood) {
  return JSON.stringify([hood.build?.seat]);
}
