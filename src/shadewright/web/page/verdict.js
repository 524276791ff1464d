// The verdict: one sentence, a sign that does not rest on colour, the numbers, and the same said to a screen reader when quiet.

import { at, el, settled } from "./dom.js";
import { brief, showsWords } from "./rim.js";
import { inWords, length, share, upTo } from "./words.js";

const SIGNS = { clear: "✓", shows: "✕", within: "≈", refused: "!", waiting: "…", unknown: "?" };

const aloud = settled((words) => {
  if (at("live").textContent !== words) at("live").textContent = words;
}, 900);

function put(verdict, sentence, beneath, working) {
  const box = at("verdict");
  box.dataset.verdict = verdict;
  box.classList.toggle("working", working);
  at("sign").textContent = SIGNS[verdict] ?? "";
  at("sentence").textContent = sentence;
  at("beneath").textContent = beneath;
  aloud(`${sentence} ${beneath}`);
}

/** Say that the design cannot be looked at, and why. */
export function sayRefused(sentence) {
  put("refused", "Not yet: something does not fit together.", inWords(sentence), false);
}

/** Say that a field holds what cannot be read. */
export function sayUnread(sentence) {
  put("refused", "Not yet: a field cannot be read.", sentence, false);
}

/** A sentence of the program with its lengths of the rim in the chosen unit; focal lengths stay in millimetres. */
function inUnit(sentence) {
  return sentence.replace(/(\d+\.\d\d) mm/g, (_whole, mm) => length(Number(mm), 2));
}

/** Say what an answer found. */
export function sayVerdict(answer, fitting) {
  const { numbers, rim, setting } = answer;
  if (!numbers) return;
  const working = fitting.state === "working";
  const here =
    numbers.worst_here > 0.0005
      ? `Here (${brief(setting.label)}) it takes ${upTo(numbers.worst_here)}.`
      : `Here (${brief(setting.label)}) it is clear.`;
  const where = showsWords(rim);
  const [first, ...rest] = inUnit(numbers.sentence).split(/(?<=\w)[;:] /);
  const second = rest.length ? `${rest.join("; ").replace(/^./, (letter) => letter.toUpperCase())} ` : "";
  const told = first.endsWith(".") ? first : `${first}.`;
  if (fitting.state === "refused" && !working) {
    // What is drawn is the last hood that could be had, or what the wishes bound alone: its being clear is not the news.
    put("refused", "It cannot be had as asked.", `${fitting.sentence} Of the hood drawn meanwhile: ${told}`, false);
  } else {
    const note = working ? "Working out the rim… " : "";
    put(numbers.verdict, told, note + (where && numbers.verdict !== "clear" ? `${where} ` : second) + here, working);
  }
  const rows = [
    [
      "Depth",
      numbers.shallowest === null || numbers.shallowest === numbers.depth
        ? length(numbers.depth)
        : `${length(numbers.shallowest).replace(/ \w+$/, "")} – ${length(numbers.depth)}`,
    ],
    ["Across", length(numbers.across)],
    ["Lets in", numbers.let_in === null || numbers.let_in === undefined ? "…" : share(numbers.let_in)],
    [numbers.spare < 0 ? "Too deep by" : "To spare", numbers.spare === null ? "–" : length(Math.abs(numbers.spare), 2)],
  ];
  at("numbers").replaceChildren(
    ...rows.map(([name, value]) => el("div", null, el("dt", null, name), el("dd", null, value))),
  );
}
