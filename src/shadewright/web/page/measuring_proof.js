// Proof of a finished hood: pairs of photographs without it and with it, the loss that they show, and how the hood sits.

import { add, el } from "./dom.js";
import { diameterOf } from "./hoods.js";
import { Naming, dropPlace } from "./measuring_drop.js";
import { drawMissed, plusMinus, tubeScene } from "./measuring_drawings.js";
import { listField, numberField, settingOf, stateEntries, unreadable, withinStates } from "./measuring_fields.js";
import { downloadButton, fileList, runButton } from "./measuring_run.js";
import { drawSensor } from "./sensor.js";
import { stops } from "./words.js";

const MOST_PAIRS = 12;
const SIGNS = {
  clear: ["✓", "clear"],
  "within the allowance": ["≈", "within"],
  shows: ["✕", "shows"],
  unsettled: ["?", "within"],
};
const SENTENCES = {
  clear: "The hood is clear: no shade was found",
  "within the allowance": "What shows stays within the allowance",
  shows: "The hood shows",
  unsettled: "The photographs cannot tell",
};
const SEAT = [
  ["turn", "Turned anticlockwise, from behind", "°"],
  ["forward", "Forward", "mm"],
  ["right", "To the right", "mm"],
  ["up", "Up", "mm"],
];

export class ProofTask {
  /** bench: {store, design()}; changed(): the form is to be built anew. */
  constructor(bench, changed) {
    this.bench = bench;
    this.changed = changed;
    this.pairs = [this.pair()];
    this.wishes = { allowance: null };
    this.outcome = null;
  }

  pair() {
    return { state: 0, focal_length: null, f_number: null, bare: [], hood: [] };
  }

  form() {
    const { lens } = this.bench.store.state;
    const design = this.bench.design();
    if (!design)
      return el(
        "p",
        { class: "ms-stop" },
        "There is no finished hood on the bench yet: fit one, or open its document, at step 3, Hood.",
      );
    const states = stateEntries(lens);
    withinStates(lens, this.pairs);
    const box = el("div");
    add(
      box,
      el("p", null, "The hood to be proved is the one on the bench: ", el("b", null, design.hood.name), "."),
      this.pairs.map((pair, k) => this.pairPart(pair, k, states, design)),
      el(
        "div",
        { class: "row ms-after" },
        this.pairs.length < MOST_PAIRS &&
          el(
            "button",
            {
              type: "button",
              class: "quiet",
              onclick: () => {
                this.pairs.push({ ...this.pair(), state: this.pairs.at(-1).state });
                this.changed();
              },
            },
            "Another pair",
          ),
      ),
      el(
        "div",
        { class: "fields" },
        numberField(this.wishes, "allowance", "Loss allowed", {
          sign: "stop",
          placeholder: String(design.hood.wishes?.allowance ?? 0),
        }),
      ),
      (this.run ??= runButton({
        button: "Prove it",
        kind: "proof",
        body: () => this.body(),
        done: (job) => {
          this.outcome = job;
          this.fill();
        },
      })),
    );
    return box;
  }

  pairPart(pair, k, states, design) {
    const { lens } = this.bench.store.state;
    const rim = design.hood.rim ?? {};
    const deep = Math.max(rim.depth ?? 0, ...(rim.points ?? []).map((point) => point[1]));
    const changed = () => this.run?.forgive();
    const drawn = (hood) =>
      tubeScene(lens, hood ? { inner_diameter: diameterOf(design.hood) ?? undefined, length: deep || 20 } : null, {
        reach: lens.state?.[pair.state]?.reach ?? 0,
        depth: lens.state?.[pair.state]?.pupil_depth ?? null,
        longest: deep,
        across: diameterOf(design.hood) ?? 0,
        hood: true,
      });
    return el(
      "fieldset",
      { class: "group" },
      el("legend", null, `Pair ${k + 1}`),
      el(
        "div",
        { class: "fields" },
        // A traced lens lists no focal lengths: what it was set to is typed.
        states.length
          ? listField(pair, "state", "Lens set to", states, () => this.changed())
          : numberField(pair, "focal_length", "Focal length", { sign: "mm" }),
        numberField(pair, "f_number", "At f/", { placeholder: String(lens.state?.[pair.state]?.f_number ?? "") }),
      ),
      el(
        "ol",
        { class: "ms-places" },
        el(
          "li",
          null,
          dropPlace({
            title: "Without the hood",
            words: "The wall alone.",
            drawing: drawn(false),
            frames: pair.bare,
            changed,
          }),
        ),
        el(
          "li",
          null,
          dropPlace({
            title: "With the hood",
            words: "Nothing touched but the hood.",
            drawing: drawn(true),
            frames: pair.hood,
            changed,
          }),
        ),
      ),
      this.pairs.length > 1 &&
        el(
          "button",
          {
            type: "button",
            class: "plain",
            onclick: () => {
              this.pairs.splice(k, 1);
              this.changed();
            },
          },
          `Take pair ${k + 1} out`,
        ),
    );
  }

  /** The question, or a sentence that says what is missing. */
  body() {
    const bad = unreadable(...this.pairs, this.wishes);
    if (bad) return bad;
    const design = this.bench.design();
    if (!design) return "There is no finished hood on the bench.";
    const naming = new Naming();
    const setting = [];
    for (const [k, pair] of this.pairs.entries()) {
      if (!pair.bare.length || !pair.hood.length)
        return `Pair ${k + 1} is not whole: drop a photograph without the hood and one with it.`;
      const state = design.lens.state?.[pair.state] ?? { focal_length: pair.focal_length };
      if (!(state.focal_length > 0) || !(pair.f_number ?? state.f_number))
        return `Say at which focal length and f-number pair ${k + 1} was taken.`;
      setting.push({
        ...settingOf(state, pair.f_number),
        bare: naming.all(pair.bare),
        with_hood: naming.all(pair.hood),
      });
    }
    const shots = { document: "shots", version: 1, name: `Proof of ${design.hood.name}`.slice(0, 100), setting };
    const { allowance } = this.wishes;
    return { design, shots, frames: naming.frames, ...(allowance === null ? {} : { allowance }) };
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
      this.evidenceBox.append(howTo());
      return;
    }
    const { result } = this.outcome;
    add(
      this.evidenceBox,
      banner(result, this.outcome),
      result.pairs.map((pair) => pairShown(pair)),
      seatPart(result),
      fileList(this.outcome),
    );
    requestAnimationFrame(() => this.paint());
  }

  paint() {
    if (!this.outcome || !this.evidenceBox?.isConnected) return;
    const canvases = [...this.evidenceBox.querySelectorAll("canvas")];
    this.outcome.result.maps.forEach((map, k) => {
      const [seen, expected, missed] = canvases.slice(3 * k, 3 * k + 3);
      const common = { ...map, first: null, own: [0] };
      drawSensor(seen, common, { spoken: false });
      drawSensor(expected, { ...common, loss: map.fitted }, { spoken: false });
      drawMissed(missed, map, mostOf(map.missed), "stops");
    });
  }
}

/** A round end for the scale of a map of differences. */
function mostOf(values) {
  const most = Math.max(0, ...values.map((value) => Math.abs(value ?? 0)));
  return [0.05, 0.1, 0.2, 0.5, 1, 2].find((end) => end >= 0.8 * most) ?? 3;
}

function banner(result, job) {
  const [sign, verdict] = SIGNS[result.finding];
  return el(
    "section",
    { class: "ms-banner", "data-verdict": verdict },
    el("span", { class: "sign", "aria-hidden": "true" }, sign),
    el(
      "div",
      null,
      el("h3", { tabindex: "-1" }, `${SENTENCES[result.finding]}.`),
      el(
        "p",
        null,
        `By ${result.pairs.length} ${result.pairs.length === 1 ? "pair" : "pairs"} of photographs; ${result.allowance > 0 ? `${stops(result.allowance)} was allowed` : "no loss was allowed"}.`,
      ),
      result.notes.length > 0 &&
        el(
          "ul",
          { class: "ms-notes" },
          result.notes.map((note) => el("li", null, note)),
        ),
      el(
        "div",
        { class: "row" },
        downloadButton(job, "-proof.pdf", "Contact sheet (PDF)", { quiet: false }),
        downloadButton(job, ".proof.json", "Record (JSON)"),
      ),
    ),
  );
}

function pairShown(pair) {
  const would =
    pair.floor === null
      ? "no loss would have been found for certain"
      : `a loss from ${pair.floor.toFixed(3)} stop on would have been found`;
  const words = pair.shows
    ? `Shade at the ${pair.where}: from ${stops(pair.low)} to ${stops(pair.high)} with 95 % confidence; ${(100 * pair.area).toFixed(1)} % of the frame is touched. Here ${would}.`
    : `No shade was found; ${would}.`;
  const figure = (caption) =>
    el(
      "figure",
      null,
      el("canvas", { role: "img", "aria-label": `${pair.setting}, ${caption}. ${words}` }),
      el("figcaption", null, caption),
    );
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, `${pair.setting}: ${pair.finding}`),
    el("p", null, words),
    el(
      "div",
      { class: "ms-maps" },
      figure("loss as photographed"),
      figure("loss as worked out, as the hood sits"),
      figure("photographed less worked out"),
    ),
    el("p", { class: "soft" }, `${pair.bare} against ${pair.with_hood}`),
  );
}

function seatPart({ seating, turn_range: range }) {
  if (!seating) return el("p", { class: "soft" }, "A hood known only as a mesh: how it sits was not fitted.");
  const told = SEAT.filter(([name]) => seating[name].told);
  const shown = (value, error, measure) =>
    measure === "mm" ? plusMinus(value, error) : `${value.toFixed(1).replace("-", "−")}° ± ${error.toFixed(1)}°`;
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, "How the hood sits, against its document"),
    told.length === 0
      ? el(
          "p",
          null,
          `Nothing shows that would tell; turns from ${range[0].toFixed(0)}° to ${range[1].toFixed(0)}° would look alike.`,
        )
      : el(
          "table",
          { class: "ms-values" },
          el(
            "tbody",
            null,
            SEAT.map(([name, words, measure]) =>
              el(
                "tr",
                null,
                el("th", { scope: "row" }, words),
                el(
                  "td",
                  null,
                  seating[name].told ? shown(seating[name].value, seating[name].error, measure) : "not told",
                ),
              ),
            ),
          ),
        ),
    el(
      "p",
      { class: "soft" },
      "A pupil depth that is wrong in the lens document looks the same as a hood that sits too far forward or back.",
    ),
  );
}

function howTo() {
  const steps = [
    "Tripod, an evenly lit plain wall, out of focus if it has any texture; manual exposure, raw if you can.",
    "At each setting that matters (shortest focal length, widest and smallest aperture, nearest focus): bare, then with the hood on. Touch nothing else.",
    "Drop each pair on its drawings, and prove.",
  ];
  return el(
    "section",
    { class: "ms-part" },
    el("h3", null, "How the pairs are taken"),
    el(
      "ol",
      { class: "ms-how" },
      steps.map((step) => el("li", null, step)),
    ),
  );
}
