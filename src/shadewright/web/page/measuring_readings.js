// The pupil's depth by eye: repeated readings with a pin, on a rail, or off a ruler, averaged as they are typed.

import { Latest, Refused, Unreachable, ask } from "./ask.js";
import { add, el } from "./dom.js";
import { download } from "./jobs.js";
import { plusMinus, readingsChart } from "./measuring_drawings.js";
import { listField, numberField, settingOf, stateAt, stateEntries, withinStates } from "./measuring_fields.js";
import { length } from "./words.js";

const FEWEST = 5;
const WAYS = {
  pin: "Pin",
  rail: "Rail",
  ruler: "Ruler",
};

export class ReadingsTask {
  /** bench: {store, said(words)}. changed(): the form is to be built anew. */
  constructor(bench, changed) {
    this.bench = bench;
    this.changed = changed;
    this.given = { state: 0, front_over_axis: null, width_plus_minus: 1 };
    this.pin = blankRows();
    this.rail = blankRows();
    this.ruler = Array.from({ length: 3 }, () => ({ distance: null, width: null }));
    this.answer = null;
    this.fault = "";
    this.latest = new Latest(
      (body) => ask("measure/readings", body),
      (answer) => this.take(answer, ""),
      (fault) => {
        if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
        this.take(null, fault.message);
      },
    );
  }

  form() {
    const { lens } = this.bench.store.state;
    const states = stateEntries(lens);
    withinStates(lens, [this.given]);
    if (states.length === 0)
      return el("p", { class: "ms-stop" }, "This lens lists no focal length yet: describe it at step 1, Lens.");
    const box = el("div");
    const again = () => this.ask();
    add(
      box,
      el("div", { class: "fields" }, listField(this.given, "state", "Lens set to", states, again)),
      el(
        "fieldset",
        { class: "group" },
        el("legend", null, "Pin"),
        el(
          "p",
          { class: "tell" },
          "Depth behind the front rim at which pin and pupil move as one; start anew each time.",
        ),
        rows(this.pin, "Reading by pin", again),
      ),
      el(
        "fieldset",
        { class: "group" },
        el("legend", null, "Rail"),
        el(
          "p",
          { class: "tell" },
          "The rail's reading at which a near and a far upright do not part when the camera is swung.",
        ),
        numberField(this.given, "front_over_axis", "With the front rim over the axis", {
          length: true,
          changed: again,
        }),
        rows(this.rail, "Reading on the rail", again),
      ),
      el(
        "fieldset",
        { class: "group" },
        el("legend", null, "Ruler"),
        el(
          "p",
          { class: "tell" },
          "How much of a ruler square across the view is seen from edge to edge, near and far. Distances run from the front rim.",
        ),
        this.rulerRows(again),
        numberField(this.given, "width_plus_minus", "A width is read to", { length: true, changed: again }),
      ),
    );
    return box;
  }

  rulerRows(again) {
    const box = el("div", { class: "ms-pairs" });
    const put = (row, k) =>
      box.append(
        numberField(row, "distance", `Distance ${k + 1}`, { length: true, changed: grown }),
        numberField(row, "width", `Width ${k + 1}`, { length: true, changed: grown }),
      );
    const grown = () => {
      const last = this.ruler.at(-1);
      if (last.distance !== null && last.width !== null && this.ruler.length < 30) {
        this.ruler.push({ distance: null, width: null });
        put(this.ruler.at(-1), this.ruler.length - 1);
      }
      again();
    };
    this.ruler.forEach(put);
    return box;
  }

  /** The readings as a shots document, or null where there are none. */
  shots() {
    const { lens } = this.bench.store.state;
    const { focal_length, focus_distance } = settingOf(lens.state[this.given.state]);
    const at = { focal_length, ...(focus_distance === undefined ? {} : { focus_distance }) };
    const known = (list) => list.map(({ value }) => value).filter((value) => Number.isFinite(value));
    const pin = known(this.pin);
    const rail = known(this.rail);
    const view = this.ruler.filter(({ distance, width }) => distance > 0 && width > 0);
    const shots = { document: "shots", version: 1, name: `${lens.name} readings`.slice(0, 100) };
    if (pin.length) shots.pin = [{ ...at, depths: pin }];
    if (rail.length && Number.isFinite(this.given.front_over_axis))
      shots.rail = [{ ...at, front_over_axis: this.given.front_over_axis, readings: rail }];
    if (view.length >= 2) {
      const error = this.given.width_plus_minus;
      shots.ruler = [{ ...at, view, ...(error > 0 ? { width_plus_minus: error } : {}) }];
    }
    return shots.pin || shots.rail || shots.ruler ? shots : null;
  }

  ask() {
    const { lens, camera } = this.bench.store.state;
    const shots = this.shots();
    if (shots) this.latest.want({ shots, lens, camera });
    else this.take(null, "");
  }

  take(answer, fault) {
    this.answer = answer;
    this.fault = fault;
    this.fill();
  }

  evidence() {
    this.evidenceBox = el("div", { class: "ms-evidence" });
    this.fill();
    return this.evidenceBox;
  }

  fill() {
    if (!this.evidenceBox) return;
    this.evidenceBox.replaceChildren();
    if (this.fault) add(this.evidenceBox, el("p", { class: "wrong", role: "alert" }, this.fault));
    if (!this.answer) {
      if (!this.fault) add(this.evidenceBox, howTo());
      return;
    }
    const { readings, scatter, lens_document: lens, text } = this.answer;
    const written = stateAt(lens, readings[0].focal_length, readings[0].focus_distance);
    const shown = readings.map((reading, k) => ({
      depth: reading.depth,
      error: reading.error,
      each: reading.image_distance === null ? scatter[k].map((off) => reading.depth + off) : [],
      words: `${WAYS[reading.way]}: ${plusMinus(reading.depth, reading.error)}`,
    }));
    add(
      this.evidenceBox,
      el(
        "section",
        { class: "ms-part" },
        el("h3", null, "The pupil's depth behind the front rim"),
        el(
          "ul",
          { class: "ms-depths", role: "status" },
          readings.map((reading) => el("li", null, readingWords(reading))),
        ),
        written &&
          el(
            "p",
            null,
            `Into the lens document goes ${length(written.pupil_depth, 2)}, and ${length(written.pupil_depth_plus_minus, 2)} either way, with a chance of 95 %.`,
          ),
        el(
          "figure",
          null,
          readingsChart(shown, shown.map(({ words }) => words).join("; ")),
          el(
            "figcaption",
            null,
            "Upright ticks are single readings; the dot is their mean, its bar one standard error.",
          ),
        ),
        el(
          "ul",
          { class: "ms-notes" },
          readings.flatMap(({ notes }) => notes).map((note) => el("li", null, note)),
        ),
        el(
          "div",
          { class: "row" },
          el(
            "button",
            {
              type: "button",
              onclick: () => {
                this.bench.store.edit({ lens });
                this.bench.said("The lens with its depth as read is on the bench; Undo puts the one before back.");
              },
            },
            "Use this lens",
          ),
          el(
            "button",
            {
              type: "button",
              class: "quiet",
              onclick: () => download(new Blob([text], { type: "application/toml" }), "lens-as-read.toml"),
            },
            "Download the lens document",
          ),
        ),
      ),
    );
  }
}

function readingWords({ way, depth, error, count, image_distance: far, image_distance_error: doubt }) {
  const scale = far === null ? "" : ` The image distance at the frame's edge is ${plusMinus(far, doubt)}.`;
  return `${WAYS[way]}: ${plusMinus(depth, error)}, by ${count} ${count === 1 ? "reading" : "readings"}.${scale}`;
}

function blankRows() {
  return Array.from({ length: FEWEST }, () => ({ value: null }));
}

/** Fields for single readings: another one comes when the last is filled. */
function rows(list, words, again) {
  const box = el("div", { class: "ms-readings" });
  const put = (row, k) =>
    box.append(
      numberField(row, "value", `${words} ${k + 1}`, {
        length: true,
        hidden: true,
        placeholder: String(k + 1),
        changed: grown,
      }),
    );
  const grown = () => {
    if (list.at(-1).value !== null && list.length < 60) {
      list.push({ value: null });
      put(list.at(-1), list.length - 1);
    }
    again();
  };
  list.forEach(put);
  return box;
}

function howTo() {
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, "One way is enough, several are better"),
    el(
      "p",
      null,
      `Type what you read; the mean and its doubt appear here at once. A single reading may be off by ${length(2)}: five, each started anew, tell how well you read. A ruler tells the field scale too, better than anything else.`,
    ),
  );
}
