// Fields of forms, each bound to a place in a document: typed values go in, sentences and estimates come back beside them.

import { el } from "./dom.js";
import { valueAt, withValue } from "./store.js";
import { bare, inWords, shownLength, typedLength, unit } from "./words.js";

let serial = 0;

/** "state[2].reach" for ["state", 1, "reach"]. */
export function fieldName(where) {
  return where.reduce(
    (text, part) => (typeof part === "number" ? `${text}[${part + 1}]` : text ? `${text}.${part}` : part),
    "",
  );
}

/**
 * A form over one document of the design: makes fields, and later shows problems, estimates and changed values in them.
 *
 * name: "lens", "camera" or "hood".
 */
export class Form {
  constructor(store, name) {
    this.store = store;
    this.name = name;
    this.fields = [];
  }

  get document() {
    return this.store.state[this.name];
  }

  /** Put a value at a place of the document; null takes it out. */
  put(where, value) {
    this.store.edit({ [this.name]: withValue(this.document, where, value) }, `${this.name}.${fieldName(where)}`);
  }

  value(where) {
    return valueAt(this.document, where);
  }

  field(where, words, { letter, hint, wide = false, id }, control, refresh) {
    const named = fieldName(where);
    const wrong = el("p", { class: "wrong", id: `${id}-wrong`, hidden: true });
    const assumed = el("p", { class: "assumed", id: `${id}-assumed`, hidden: true });
    const told = hint && el("p", { class: "hint", id: `${id}-hint` }, hint);
    const input = control.matches("input, select, textarea")
      ? control
      : control.querySelector("input, select, textarea");
    input.id = id;
    this.fields.push({ where, named, input, wrong, assumed, hint: told, refresh });
    return el(
      "div",
      { class: wide ? "field wide" : "field" },
      el("label", { for: id }, letter && el("i", { class: "letter", "aria-hidden": "true" }, letter), words),
      control,
      assumed,
      told,
      wrong,
    );
  }

  /** A length in the chosen unit; left empty it is taken out of the document. */
  length(where, words, options = {}) {
    return this.number(where, words, { suffix: () => unit(), show: shownLength, read: typedLength, ...options });
  }

  /** A number; left empty it is taken out of the document. */
  number(where, words, options = {}) {
    const id = `f${++serial}`;
    const show = options.show ?? ((value) => (value === undefined || value === null ? "" : String(value)));
    const read = options.read ?? ((text) => (text.trim() === "" ? null : Number(text.trim().replace(",", "."))));
    const suffix = options.suffix ?? (() => options.unit ?? "");
    const sign = el("span", { "aria-hidden": "true" }, suffix());
    const input = el("input", {
      type: "text",
      inputmode: "decimal",
      autocomplete: "off",
      placeholder: options.placeholder,
      value: show(this.value(where)),
      oninput: () => {
        const value = read(input.value);
        const bad = Number.isNaN(value);
        const sentence = bad ? `"${input.value}" is no number; write digits and at most one point.` : "";
        input.dataset.unreadable = bad ? "yes" : "";
        this.complain(where, sentence);
        this.store.misread(this.name, fieldName(where), bad ? { typed: input.value, words, sentence } : null);
        if (bad) return;
        if (options.put) options.put(value);
        else this.put(where, options.kept ? options.kept(value) : value);
      },
    });
    const box = this.field(where, words, { ...options, id }, el("div", { class: "with-unit" }, input, sign), () => {
      sign.textContent = suffix();
      if (document.activeElement !== input) input.value = show(this.value(where));
    });
    const unread = this.store.unread.get(`${this.name}.${fieldName(where)}`);
    if (unread) {
      input.value = unread.typed;
      input.dataset.unreadable = "yes";
      this.complain(where, unread.sentence);
    }
    return box;
  }

  /** Across a circle whose radius the document holds. */
  across(where, words, options = {}) {
    return this.length(where, words, {
      show: (radius) => shownLength(Number.isFinite(radius) ? 2 * radius : null),
      read: (text) => (typedLength(text) === null ? null : typedLength(text) / 2),
      ...options,
    });
  }

  /** Call `work` whenever the document has changed. */
  watch(work) {
    this.fields.push({ where: [], named: "", input: el("input"), wrong: el("p"), assumed: null, refresh: work });
  }

  /** A field that is bound to nothing, for a sum: {field, read}. */
  loose(words, { unit: measured = "", value = "", length = false }) {
    const id = `f${++serial}`;
    const input = el("input", { type: "text", inputmode: "decimal", autocomplete: "off", value, id });
    const sign = el("span", { "aria-hidden": "true" }, length ? unit() : measured);
    this.watch(() => length && (sign.textContent = unit()));
    return {
      field: el(
        "div",
        { class: "field" },
        el("label", { for: id }, words),
        el("div", { class: "with-unit" }, input, sign),
      ),
      read: () => (length ? typedLength(input.value) : Number(input.value.trim().replace(",", "."))),
    };
  }

  /** One half of a pair such as [right, up]: left empty it counts as 0, and a pair of noughts is taken out. */
  half(where, place, words, options = {}) {
    const { as = "length", ...rest } = options;
    const put = (value) => {
      const pair = [...(this.value(where) ?? [0, 0])];
      pair[place] = value ?? 0;
      this.put(where, pair.some((entry) => entry !== 0) ? pair : null);
    };
    const shown = (show) => (value) => (value === 0 ? "" : show(value));
    const plain = (value) => (value === undefined || value === null ? "" : String(value));
    return this[as]([...where, place], words, {
      placeholder: "0",
      show: shown(as === "length" ? shownLength : plain),
      ...rest,
      put,
    });
  }

  text(where, words, options = {}) {
    const id = `f${++serial}`;
    const input = el("input", {
      type: "text",
      autocomplete: "off",
      maxlength: options.most ?? 200,
      placeholder: options.placeholder,
      value: this.value(where) ?? "",
      oninput: () => this.put(where, input.value === "" && !options.keepEmpty ? null : input.value),
    });
    return this.field(where, words, { ...options, id }, input, () => {
      if (document.activeElement !== input) input.value = this.value(where) ?? "";
    });
  }

  /** A list to choose from: [[value, words], ...]; the value "" takes the field out. */
  list(where, words, choices, options = {}) {
    const id = `f${++serial}`;
    const input = el(
      "select",
      { onchange: () => (options.put ?? ((value) => this.put(where, value === "" ? null : value)))(input.value) },
      choices.map(([value, name]) => el("option", { value }, name)),
    );
    const now = () => (options.now ? options.now() : (this.value(where) ?? options.plain ?? ""));
    input.value = now();
    return this.field(where, words, { ...options, id }, input, () => (input.value = now()));
  }

  tick(where, words, options = {}) {
    const input = el("input", {
      type: "checkbox",
      onchange: () => this.put(where, input.checked === (options.plain ?? false) ? null : input.checked),
    });
    const refresh = () => (input.checked = this.value(where) ?? options.plain ?? false);
    refresh();
    const wrong = el("p", { class: "wrong", hidden: true });
    this.fields.push({ where, named: fieldName(where), input, wrong, assumed: null, refresh });
    return el(
      "div",
      { class: options.wide === false ? "" : "wide" },
      el("label", { class: "tick" }, input, words),
      wrong,
    );
  }

  /** A few choices with pictures: [[value, words, picture, small print], ...]. */
  choices(where, legend, entries, { now, put, plain }) {
    const group = `g${++serial}`;
    const current = now ?? (() => this.value(where) ?? plain);
    const inputs = entries.map(([value, words, picture, hint]) => {
      const input = el("input", {
        type: "radio",
        name: group,
        value,
        onchange: () => (put ?? ((chosen) => this.put(where, chosen)))(value),
      });
      return [value, input, el("label", { class: "choice" }, input, picture, words, hint && el("small", null, hint))];
    });
    const refresh = () => inputs.forEach(([value, input]) => (input.checked = value === current()));
    refresh();
    const wrong = el("p", { class: "wrong", hidden: true });
    this.fields.push({ where, named: fieldName(where), input: inputs[0][1], wrong, assumed: null, refresh });
    return el(
      "div",
      { class: "wide" },
      el(
        "div",
        { class: "choices", role: "radiogroup", "aria-label": legend },
        inputs.map(([, , label]) => label),
      ),
      wrong,
    );
  }

  /** Whether a field of this name is on the form. */
  has(named) {
    return this.fields.some((field) => field.named === named);
  }

  complain(where, sentence) {
    const named = fieldName(where);
    for (const field of this.fields) if (field.named === named) mark(field, sentence);
  }

  /** Bring fields in line with the document. */
  refresh() {
    for (const field of this.fields) {
      const { input } = field;
      if (input.dataset.unreadable === "yes") {
        if (this.store.unread.has(`${this.name}.${field.named}`)) continue;
        // Undone, or another design: what was typed went with it.
        input.dataset.unreadable = "";
        mark(field, "");
        input.value = "";
        if (document.activeElement === input) input.blur();
      }
      field.refresh();
    }
  }

  /** Whether a problem is of this field; one of a whole table belongs to the field that its sentence names first. */
  belongs(problem, field) {
    if (problem.field === field.named) return true;
    const table = `${problem.field}.`;
    if (!problem.field || !field.named.startsWith(table) || this.fields.some(({ named }) => named === problem.field))
      return false;
    return `: ${problem.sentence}`.includes(`: ${field.named.slice(table.length)} `);
  }

  /** Show problems [{document, field, sentence}] and estimates beside their fields; gives back the problems that have none. */
  judge(problems, estimates) {
    const mine = problems.filter((problem) => problem.document === this.name);
    const left = new Set(mine);
    for (const field of this.fields) {
      if (field.input.dataset.unreadable === "yes") continue;
      const hit = mine.filter((problem) => this.belongs(problem, field));
      mark(field, hit.map((problem) => inWords(problem.sentence)).join(" "));
      hit.forEach((problem) => left.delete(problem));
      if (!field.assumed) continue;
      const guess = estimates.find(
        (estimate) => estimate.field === field.named || estimate.field === lastTwo(field.named),
      );
      const empty = this.value(field.where) === undefined || this.value(field.where) === null;
      field.assumed.hidden = !(guess && empty);
      if (guess && empty) field.assumed.textContent = guessWords(guess);
    }
    return [...left];
  }
}

/** "state.reach" for "state[2].reach": some estimates hold for all states. */
function lastTwo(named) {
  return named.replace(/\[\d+\]/g, "");
}

function guessWords({ low, high, unit: measure }) {
  if (measure !== "mm") return `not measured: ${low} to ${high} ${measure} is assumed`;
  return low === high
    ? `not measured: ${bare(low)} ${unit()} is assumed`
    : `not measured: anything from ${bare(low)} to ${bare(high)} ${unit()} is allowed for`;
}

function mark(field, sentence) {
  field.wrong.hidden = sentence === "";
  field.wrong.textContent = sentence;
  if (sentence) field.input.setAttribute("aria-invalid", "true");
  else field.input.removeAttribute("aria-invalid");
  const described = [
    sentence && field.wrong.id,
    field.assumed && !field.assumed.hidden && field.assumed.id,
    field.hint && field.hint.id,
  ].filter(Boolean);
  if (described.length) field.input.setAttribute("aria-describedby", described.join(" "));
  else field.input.removeAttribute("aria-describedby");
}

/** A titled group of fields. */
export function group(title, ...children) {
  return el("fieldset", { class: "group" }, el("legend", null, title), ...children);
}

/** Something that opens when wanted. */
export function more(title, ...children) {
  return el("details", { class: "more" }, el("summary", null, title), ...children);
}
