// What stands round a form: its problems above, and the way back and on beneath.

import { el } from "./dom.js";
import { inWords } from "./words.js";

/** Buttons to the steps before and after this one. steps: [[name, words], ...]; go(name) turns to a step. */
export function onwardRow(steps, step, go) {
  const now = steps.findIndex(([name]) => name === step);
  const [before, after] = [steps[now - 1], steps[now + 1]];
  return el(
    "div",
    { class: "onward" },
    before
      ? el("button", { type: "button", class: "quiet", onclick: () => go(before[0]) }, `Back: ${before[1]}`)
      : el("span"),
    after && el("button", { type: "button", onclick: () => go(after[0]) }, `On: ${after[1]}`),
  );
}

/** Problems that no field of the form shows, its own first, those of other documents by their name. */
export function problemList(own, others) {
  return el("ul", null, [
    ...own.map((problem) => el("li", null, inWords(problem.sentence))),
    ...others.map((problem) => el("li", null, `${problem.document}: ${inWords(problem.sentence)}`)),
  ]);
}
