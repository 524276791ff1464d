// Which tubes to cut for a lens: the lengths whose shadows tell most, with their templates.

import { add, el, sv } from "./dom.js";
import { tubeScene } from "./measuring_drawings.js";
import { listField, numberField, stateEntries, unreadable, withinStates } from "./measuring_fields.js";
import { downloadButton, fileList, runButton } from "./measuring_run.js";
import { focal, length } from "./words.js";

export class TubesTask {
  /** bench: {store}; changed(): build anew; use(tubes): take the tubes to the fit. */
  constructor(bench, changed, use) {
    this.bench = bench;
    this.changed = changed;
    this.use = use;
    this.given = { state: 0, count: 2, inner_diameter: null, thickness: 0.5, seat_length: 10 };
    this.outcome = null;
  }

  form() {
    const { lens } = this.bench.store.state;
    const states = stateEntries(lens);
    withinStates(lens, [this.given]);
    if (states.length === 0)
      return el(
        "p",
        { class: "ms-stop" },
        "This lens is known by its surfaces, or lists no focal length yet: describe it by form at step 1, Lens.",
      );
    const box = el("div");
    const counts = [
      [1, "one"],
      [2, "two"],
      [3, "three"],
      [4, "four"],
    ];
    add(
      box,
      el(
        "div",
        { class: "fields" },
        listField(this.given, "state", "For the lens at", states, () => {}),
        listField(this.given, "count", "How many tubes", counts, () => {}),
        numberField(this.given, "inner_diameter", "Inside diameter", {
          length: true,
          placeholder: "the seat's",
          hint: "what your card or pipe gives",
        }),
        numberField(this.given, "thickness", "Card's thickness", { length: true }),
        numberField(this.given, "seat_length", "Reaches back by", { length: true, hint: "over the barrel" }),
      ),
      (this.run ??= runButton({
        button: "Propose tubes",
        kind: "tubes",
        body: () => this.body(),
        done: (job) => {
          this.outcome = job;
          this.fill();
        },
      })),
    );
    return box;
  }

  body() {
    const bad = unreadable(this.given);
    if (bad) return bad;
    const { lens, camera } = this.bench.store.state;
    const { state, count, inner_diameter: across, thickness, seat_length: back } = this.given;
    return {
      lens,
      camera,
      count: Number(count),
      focal_length: lens.state[state].focal_length,
      thickness: thickness ?? 0.5,
      seat_length: back ?? 10,
      ...(across === null ? {} : { inner_diameter: across }),
    };
  }

  evidence() {
    this.evidenceBox = el("div", { class: "ms-evidence" });
    this.fill();
    return this.evidenceBox;
  }

  fill() {
    if (!this.evidenceBox) return;
    this.evidenceBox.replaceChildren();
    if (!this.outcome) {
      this.evidenceBox.append(
        el(
          "section",
          { class: "ms-part" },
          el("h3", null, "Two tubes tell more than one"),
          el(
            "p",
            null,
            "One tube's shadow leaves the pupil's depth tied to the focal length; a second of another length parts them. The lengths proposed are those whose shadows hold the most information about this lens on this camera.",
          ),
        ),
      );
      return;
    }
    const { result } = this.outcome;
    const { lens } = this.bench.store.state;
    const longest = Math.max(...result.tubes.map((tube) => tube.length));
    const state = lens.state?.[this.given.state] ?? {};
    const scene = {
      reach: state.reach ?? 0,
      depth: state.pupil_depth ?? null,
      longest,
      across: result.tubes[0].inner_diameter,
    };
    add(
      this.evidenceBox,
      el(
        "section",
        { class: "ms-part" },
        el(
          "h3",
          null,
          `Cut ${result.tubes.length === 1 ? "this tube" : "these tubes"} for ${focal(result.focal_length)}`,
        ),
        el(
          "ol",
          { class: "ms-cut" },
          result.tubes.map((tube, k) =>
            el(
              "li",
              null,
              tubeScene(lens, tube, scene),
              el(
                "b",
                null,
                `${length(tube.inner_diameter)} inside, its end ${length(tube.length, 0)} ahead of the seat plane`,
              ),
              el(
                "div",
                { class: "row" },
                downloadButton(this.outcome, `-tube-${k + 1}.pdf`, "Template (PDF)"),
                downloadButton(this.outcome, `-tube-${k + 1}.svg`, "Template (SVG)"),
              ),
            ),
          ),
        ),
        doubtPart(result),
        el(
          "p",
          { class: "soft" },
          "Print templates at 100 %, line the tubes matt black, and measure what you cut: that goes into the fit, not what was asked for. Mind the knife, and ventilate when you glue or paint.",
        ),
        el(
          "div",
          { class: "row" },
          el("button", { type: "button", onclick: () => this.use(result.tubes) }, "Go on with these tubes"),
        ),
        fileList(this.outcome),
      ),
    );
  }
}

function doubtPart(result) {
  const most = result.expected_depth_error_of_one;
  const row = (words, value) =>
    el(
      "tr",
      null,
      el("th", { scope: "row" }, words),
      el("td", null, `± ${length(value, 2)}`),
      el(
        "td",
        { class: "ms-bar", "aria-hidden": "true" },
        sv(
          "svg",
          { viewBox: "0 0 120 12" },
          sv("rect", { x: 0, y: 2, width: (118 * value) / most, height: 8, class: "ms-doubt-bar" }),
        ),
      ),
    );
  return el(
    "table",
    { class: "ms-values" },
    el("caption", null, "How well the pupil's depth would be known (one standard error, tubes cut to 0.1 mm)"),
    el(
      "tbody",
      null,
      row("by the best single tube", most),
      result.tubes.length > 1 &&
        row(`by these ${["", "", "two", "three", "four"][result.tubes.length]} together`, result.expected_depth_error),
    ),
  );
}
