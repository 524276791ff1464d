// Hoods side by side: two or three candidates at the present setting, their numbers, and the advice with its reasons.

import { Refused, Unreachable, ask } from "./ask.js";
import { at, el, path, sv } from "./dom.js";
import { SHAPES, meshOf } from "./hoods.js";
import { missingWords } from "./shelf.js";
import { runJob } from "./jobs.js";
import { drawSensor } from "./sensor.js";
import { drawSky } from "./sky.js";
import { count, length, share, stops } from "./words.js";

const MOST = 3;
const LOOKING = "Looking at each of them…";
/** Reasons that are shown at once. */
const FIRST = 2;

const listed = (sentences) =>
  el(
    "ul",
    null,
    sentences.map((sentence) => el("li", null, sentence)),
  );

export class Choose {
  /** present(): the hood as it now stands {name, hood}, or null; shelf: of the meshes. */
  constructor(store, present, shelf) {
    this.store = store;
    this.shelf = shelf;
    this.present = present;
    this.advice = null;
    this.answers = new Map();
    this.turn = 0;
    this.build();
  }

  build() {
    this.weighButton = el("button", { type: "button", onclick: () => this.weigh() }, "Compare the shapes for me");
    this.keepButton = el(
      "button",
      { type: "button", class: "quiet", onclick: () => this.keep() },
      "Put the present hood beside them",
    );
    this.stopButton = el("button", { type: "button", class: "quiet", hidden: true }, "Stop");
    this.bar = el("progress", { max: 1, value: 0, "aria-label": "Comparing the shapes" });
    this.bar.hidden = true;
    this.said = el("p", { class: "soft", role: "status" });
    this.legend = el("span", { class: "soft", hidden: true }, "★ best of these");
    this.columns = el("div", { class: "columns" });
    this.advised = el("div");
    at("choose").append(
      el(
        "div",
        { class: "lead-line" },
        this.weighButton,
        this.keepButton,
        this.stopButton,
        this.said,
        this.legend,
      ),
      this.bar,
      this.advised,
      this.columns,
    );
  }

  /** Put the present hood beside the others; the oldest makes room. */
  keep() {
    const now = this.present();
    if (!now) {
      this.said.textContent = "There is no finished hood yet.";
      return;
    }
    const { kept } = this.store.state;
    const same = kept.filter((entry) => JSON.stringify(entry.hood) !== JSON.stringify(now.hood));
    const taken = new Set(same.map((entry) => entry.name));
    let { name } = now;
    for (let k = 2; taken.has(name); k++) name = `${now.name} ${k}`;
    const { mesh } = this.store.state;
    const held = mesh && now.hood.rim?.stl ? { mesh } : {};
    this.store.edit({ kept: [...same, { name, hood: now.hood, ...held }].slice(-MOST) });
  }

  /** Have the program weigh plain, petal and tunnel for the same wishes. */
  async weigh() {
    const { lens, camera, hood } = this.store.state;
    if (this.store.misreading !== null) {
      this.said.textContent = `${this.store.misreading} Put it right first.`;
      return;
    }
    const stopper = new AbortController();
    this.stopButton.onclick = () => stopper.abort();
    this.stopButton.hidden = this.bar.hidden = false;
    this.weighButton.disabled = true;
    try {
      const told = (job) => {
        this.bar.value = job.share ?? 0;
        const words = job.state === "waiting" ? "waiting for its turn: other work is being done" : job.sentence;
        this.said.textContent = words ? `${words.replace(/^./, (letter) => letter.toUpperCase())}…` : "";
      };
      const job = await runJob("weigh", { lens, camera, hood }, {}, told, stopper.signal);
      if (job.state === "failed") throw new Refused(job.sentence, 422, job);
      if (job.state === "cancelled") {
        this.said.textContent = "Stopped.";
        return;
      }
      const { result } = job;
      if (Object.keys(result.hoods).length === 0) {
        this.said.textContent = `None of the shapes can be had for these wishes. ${(result.left_out ?? []).join(" ")}`;
        return;
      }
      // The columns come when each hood has been looked at: until then that is said, and the bar stays.
      this.stopButton.hidden = true;
      this.bar.removeAttribute("value");
      this.said.textContent = LOOKING;
      this.advice = { ...result, key: JSON.stringify([lens, camera]) };
      this.store.edit({
        kept: Object.entries(result.hoods)
          .slice(0, MOST)
          .map(([name, made]) => ({ name, hood: made })),
      });
      // A newer question may take this one's place: the columns then come with its answers.
      const stood = new Promise((resolve) => (this.stood = resolve));
      this.follow(this.store.state);
      await stood;
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      this.said.textContent = fault.message;
    } finally {
      this.stopButton.hidden = this.bar.hidden = true;
      this.weighButton.disabled = false;
    }
  }

  /** Look at every candidate at the present setting and draw the columns. */
  async follow(state) {
    const turn = ++this.turn;
    const question = (entry) => ({
      design: { lens: state.lens, camera: state.camera, hood: entry.hood, ...meshOf(entry) },
      at: { zoom: state.at.zoom, focus: state.at.focus, f_number: state.at.stop },
      want: ["sensor", "rim", "sky", "numbers"],
      hints: { columns: 49, rows: 33, cells: 61, plane: 90 },
    });
    const found = [];
    const fresh = state.kept.length > 0 && this.legend.hidden && this.columns.querySelector(".candidate") === null;
    if (fresh) this.columns.replaceChildren(el("p", { class: "lead soft" }, LOOKING));
    for (const entry of state.kept) {
      const place = this.shelf.place(entry);
      if (place === "missing") found.push({ ...entry, fault: missingWords(entry) });
      // A mesh that is being brought: the comparison follows again when it is here.
      if (place === "missing" || place === "looking") continue;
      try {
        found.push({ ...entry, answer: await ask("look", question(entry)) });
      } catch (fault) {
        if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
        found.push({ ...entry, fault: fault.message });
      }
      // A newer setting is being asked for: its answers will come.
      if (turn !== this.turn) return;
    }
    this.show(found, state);
  }

  show(found, state) {
    this.stood?.();
    if (this.said.textContent === LOOKING) this.said.textContent = "";
    this.legend.hidden = found.length < 2;
    if (found.length === 0) {
      this.columns.replaceChildren(
        el(
          "p",
          { class: "lead soft" },
          "Nothing to compare yet. Have plain, petal and tunnel worked out for your wishes, or put up to three hoods of your own beside each other.",
        ),
      );
      this.advised.replaceChildren();
      return;
    }
    const current = this.advice?.key === JSON.stringify([state.lens, state.camera]) ? this.advice.candidates : [];
    const rows = measuresOf(found, current);
    const names = found.map((entry) => entry.name).join("|");
    if (this.columnNames !== names || this.columns.childElementCount !== found.length) {
      this.columns.replaceChildren(...found.map((entry, k) => this.column(entry, k)));
      this.columnNames = names;
    }
    found.forEach((entry, k) => this.fill(this.columns.children[k], entry, rows, k, state));
    this.showAdvice(state);
  }

  column(entry, k) {
    return el(
      "article",
      { class: "candidate", "aria-labelledby": `candidate-${k}` },
      el("h2", { id: `candidate-${k}` }, el("span", null, titleOf(entry.name))),
      el(
        "div",
        { class: "acts" },
        el("button", { type: "button", class: "take" }, "Take this one"),
        el("button", { type: "button", class: "quiet drop" }, "Take away"),
      ),
      el(
        "div",
        { class: "pair" },
        el("canvas", { class: "c-sensor", role: "img" }),
        el("canvas", { class: "c-sky", role: "img" }),
      ),
      el("p", { class: "names" }, "the sensor's view · where light gets in · the rim unrolled"),
      sv("svg", { class: "c-rim", "aria-hidden": "true" }),
      el("table", null, el("tbody")),
      el("p", { class: "wrong", hidden: true }),
    );
  }

  fill(column, entry, rows, k, state) {
    const part = (name) => column.querySelector(name);
    const advised = this.isAdvised(entry, state);
    column.classList.toggle("advised", advised);
    part("h2").replaceChildren(
      el("span", null, titleOf(entry.name)),
      ...(advised ? [el("span", { class: "badge" }, "advised")] : []),
    );
    part(".take").onclick = () => {
      this.store.edit({ hood: entry.hood, mesh: entry.mesh ?? null, hand: null, moved: 0 });
      this.store.turn({ step: "look" });
    };
    part(".drop").onclick = () => this.store.edit({ kept: state.kept.filter((other) => other.name !== entry.name) });
    part(".wrong").hidden = !entry.fault;
    part(".wrong").textContent = entry.fault ?? "";
    if (entry.fault) return;
    const { sensor, sky, rim, setting } = entry.answer;
    drawSensor(part(".c-sensor"), sensor, { plain: true });
    part(".c-sensor").setAttribute(
      "aria-label",
      `${titleOf(entry.name)}: the sensor's view at ${setting.label}: ${sensor.worst < 0.0005 ? "clear" : `worst loss ${stops(sensor.worst)}`}`,
    );
    drawSky(part(".c-sky"), sky, { plain: true });
    part(".c-sky").setAttribute(
      "aria-label",
      `${titleOf(entry.name)}: lets in ${share(sky.let_in)} of the light from outside the frame`,
    );
    outline(part(".c-rim"), rim, rows.highest);
    part("tbody").replaceChildren(
      ...rows.lines.map(({ name, values, words, best }) =>
        el(
          "tr",
          null,
          el("th", { scope: "row" }, name),
          el(
            "td",
            best === values[k] && best !== null ? { class: "best" } : null,
            words[k],
            best === values[k] && best !== null ? el("span", { class: "unseen" }, " (best)") : null,
          ),
        ),
      ),
    );
  }

  isAdvised(entry, state) {
    return Boolean(
      this.advice &&
      this.advice.key === JSON.stringify([state.lens, state.camera]) &&
      entry.name === this.advice.choice,
    );
  }

  showAdvice(state) {
    const { advice } = this;
    if (!advice || advice.key !== JSON.stringify([state.lens, state.camera])) {
      this.advised.replaceChildren();
      return;
    }
    this.advised.replaceChildren(
      el(
        "section",
        { class: "advice", "aria-label": "Advice" },
        el("h2", null, `Advised: ${titleOf(advice.choice)}`),
        listed(advice.reasons.slice(0, FIRST)),
        advice.reasons.length > FIRST &&
          el(
            "details",
            { open: this.advised.querySelector("details")?.open },
            el("summary", null, count(advice.reasons.length - FIRST, "more reason")),
            listed(advice.reasons.slice(FIRST)),
          ),
        advice.left_out.length > 0 && el("p", { class: "soft" }, `Left out: ${advice.left_out.join(" ")}`),
      ),
    );
  }
}

function titleOf(name) {
  return SHAPES[name]?.[0] ?? name;
}

/** Rows of the table: for each its values, words, and the best value where one is better. */
function measuresOf(found, weighed) {
  const answers = found.map((entry) => entry.answer);
  const line = (name, read, write, better = null) => {
    const values = answers.map((answer) => (answer ? read(answer) : null));
    const usable = values.filter((value) => value !== null && value !== undefined);
    const differ = usable.length > 1 && Math.max(...usable) - Math.min(...usable) > 1e-3;
    const best = better && differ ? (better === "least" ? Math.min(...usable) : Math.max(...usable)) : null;
    return {
      name,
      values,
      words: values.map((value) => (value === null || value === undefined ? "–" : write(value))),
      best,
    };
  };
  const heights = answers.flatMap((answer) =>
    answer ? (answer.rim?.made ?? Object.values(answer.rim?.lips ?? {})) : [],
  );
  return {
    highest: Math.max(10, ...heights),
    lines: [
      line("Light let in, here", (a) => a.sky.let_in, share, "least"),
      line(
        "Less stray light",
        (a) => (a.sky.let_in > 0 ? -Math.log2(a.sky.let_in) : null),
        (value) => stops(value),
        "most",
      ),
      ...surroundings(found, weighed),
      line("Worst loss, here", (a) => a.sensor.worst, stops, "least"),
      line(
        "To spare, all settings",
        (a) => a.numbers.spare,
        (value) => (value < 0 ? `${length(-value, 2)} too deep` : length(value, 2)),
      ),
      line("Deepest", (a) => a.numbers.depth, length),
      line("Shallowest", (a) => a.numbers.shallowest, length, "most"),
      line("Across", (a) => a.numbers.across, length, "least"),
    ],
  };
}

const PLACES = { overcast: "overcast sky", "low-sun": "low sun", window: "a bright window" };

/** Rows for the named surroundings in which the candidates were weighed: by how much less veiled the picture is. */
function surroundings(found, weighed) {
  const of = (entry, place) =>
    weighed
      .find((candidate) => candidate.hood === entry.name)
      ?.surroundings?.find((known) => known.surroundings === place)?.drop ?? null;
  return Object.entries(PLACES).flatMap(([place, words]) => {
    const values = found.map((entry) => of(entry, place));
    if (values.every((value) => value === null)) return [];
    const known = values.filter((value) => value !== null);
    const best = known.length > 1 && Math.max(...known) - Math.min(...known) > 5e-3 ? Math.max(...known) : null;
    return [
      {
        name: `Less veil: ${words}`,
        values,
        words: values.map((value) => (value === null ? "–" : stops(value))),
        best,
      },
    ];
  });
}

/** The silhouette of a rim, unrolled, on a scale that all candidates share. */
function outline(picture, rim, highest) {
  picture.setAttribute("viewBox", "0 0 360 100");
  picture.setAttribute("preserveAspectRatio", "none");
  const y = (z) => 98 - (92 * Math.max(z, 0)) / highest;
  let points = [];
  if (rim?.made) points = rim.made.map((z, k) => [(k * 360) / rim.made.length, y(z)]);
  else if (rim?.lips) {
    for (const [lip, from, to] of [
      ["right", 0, 35],
      ["top", 35, 145],
      ["left", 145, 215],
      ["bottom", 215, 325],
      ["right", 325, 360],
    ])
      points.push([from, y(rim.lips[lip])], [to, y(rim.lips[lip])]);
  }
  if (points.length) points.push([360, points[0][1]]);
  picture.replaceChildren(
    sv("path", { d: path([[0, 98], ...points, [360, 98]], true), class: "pic-body" }),
    sv("path", { d: path(points), class: "pic-line", "vector-effect": "non-scaling-stroke" }),
  );
}
