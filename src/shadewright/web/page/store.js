// What the page is about: the design, with its past, and how it is being looked at. Views subscribe; nobody else remembers.

/** The parts that make up a design; undo and redo go over these. */
export const DESIGN = ["lens", "camera", "hood", "moved", "hand", "kept", "mesh"];
/** The parts that say how it is looked at. */
export const VIEW = ["at", "step", "stage", "plane", "cut"];
const MOST_STEPS_BACK = 200;
const SAME_GESTURE = 900;

/** A page with nothing on it yet. */
export function blank() {
  return {
    lens: null,
    camera: null,
    hood: null,
    moved: 0,
    hand: null,
    kept: [],
    mesh: null,
    at: { zoom: 0, focus: 0, stop: null },
    step: "start",
    stage: "",
    plane: 90,
    cut: false,
  };
}

function part(state, names) {
  return Object.fromEntries(names.map((name) => [name, state[name]]));
}

export class Store {
  constructor(state) {
    this.state = state;
    this.past = [];
    this.future = [];
    this.listeners = [];
    /** What was assumed in reading the lens's prescription, a sentence each. */
    this.remarks = [];
    /** Names of the parts of forms that the reader has opened. */
    this.unfolded = new Set();
    /** What stands in fields and cannot be read: {form, named, typed, sentence, step} by the field's place. */
    this.unread = new Map();
    this.gesture = { key: null, time: 0 };
  }

  /** Call `listener(state, kind)` after every change; kind is "design" or "view". */
  subscribe(listener) {
    this.listeners.push(listener);
  }

  /** Change the design. Changes with the same key in quick succession (a slider being turned) undo as one. */
  edit(patch, key = null) {
    const time = performance.now();
    const same = key !== null && key === this.gesture.key && time - this.gesture.time < SAME_GESTURE;
    if (!same) {
      this.past.push(part(this.state, DESIGN));
      if (this.past.length > MOST_STEPS_BACK) this.past.shift();
    }
    this.future = [];
    this.gesture = { key, time };
    this.state = { ...this.state, ...patch };
    this.tell("design");
  }

  /** A field of a form holds what cannot be read, or (null) can be read again: until then nothing is worked out. */
  misread(form, named, what) {
    const key = `${form}.${named}`;
    if (what) this.unread.set(key, { form, named, step: this.state.step, ...what });
    else if (!this.unread.delete(key)) return;
    this.tell("view");
  }

  /** The sentence of the first field that cannot be read; null where all can. */
  get misreading() {
    const [first] = this.unread.values();
    return first ? `${first.words}: ${first.sentence}` : null;
  }

  /** Change how the design is looked at. */
  turn(patch) {
    this.state = { ...this.state, ...patch };
    this.tell("view");
  }

  /** Put another design and view in place of this one; the old design can be undone to. */
  replace(state) {
    if (this.state.lens) this.past.push(part(this.state, DESIGN));
    this.future = [];
    this.unread.clear();
    this.gesture = { key: null, time: 0 };
    this.state = { ...blank(), ...state };
    this.tell("design");
  }

  undo() {
    this.go(this.past, this.future);
  }

  redo() {
    this.go(this.future, this.past);
  }

  go(from, to) {
    const design = from.pop();
    if (!design) return;
    to.push(part(this.state, DESIGN));
    this.unread.clear();
    this.gesture = { key: null, time: 0 };
    this.state = { ...this.state, ...design };
    this.tell("design");
  }

  tell(kind) {
    for (const listener of this.listeners) listener(this.state, kind);
  }
}

/** A copy of a document with the value at a path such as ["state", 1, "reach"] set; undefined or null takes it out. */
export function withValue(document, where, value) {
  const [head, ...rest] = where;
  const copy = Array.isArray(document) ? [...document] : { ...document };
  if (rest.length > 0) copy[head] = withValue(copy[head] ?? (typeof rest[0] === "number" ? [] : {}), rest, value);
  else if (value === null || value === undefined) delete copy[head];
  else copy[head] = value;
  // A table that holds nothing any more goes with its last field.
  const inner = copy[head];
  if (rest.length > 0 && inner && !Array.isArray(inner) && Object.keys(inner).length === 0) delete copy[head];
  return copy;
}

/** The value at a path, or undefined. */
export function valueAt(document, where) {
  return where.reduce((inner, name) => (inner === null || inner === undefined ? undefined : inner[name]), document);
}
