// The fitted hood of the present wishes: asked for when things have been quiet, remembered for undo, dropped when outdated.

import { Refused, ask } from "./ask.js";
import { settled } from "./dom.js";
import { isGiven } from "./hoods.js";

const REMEMBERED = 24;
const QUIET = 320;

/** What a fit depends on: everything but the names, and of how it is made the seat alone. */
function keyOf({ lens, camera, hood }) {
  const { name: _name, notes: _notes, made_for: _for, build, ...rest } = hood;
  return JSON.stringify([lens, camera, rest, build?.seat, build?.thread]);
}

export class Fitting {
  /** changed() is called whenever what `made` or `state` says has become different. */
  constructor(changed) {
    this.changed = changed;
    this.known = new Map();
    this.key = null;
    this.state = "none";
    this.sentence = "";
    this.stopper = null;
    this.later = settled(() => this.put(), QUIET);
  }

  /** Follow the design; asks for a new fit where there is none yet. */
  follow({ lens, camera, hood }) {
    if (!lens || !camera || !hood || isGiven(hood)) return this.rest("none", null);
    const key = keyOf({ lens, camera, hood });
    if (key === this.key) return;
    this.stopper?.abort();
    this.key = key;
    if (this.known.has(key)) {
      this.later.cancel();
      this.state = "done";
      return;
    }
    this.state = "working";
    this.question = { design: { lens, camera, hood } };
    this.later();
  }

  rest(state, key) {
    this.later.cancel();
    this.stopper?.abort();
    this.state = state;
    this.key = key;
  }

  /** The answer for the present wishes, or null: {hood, report}. */
  get made() {
    return this.key === null ? null : (this.known.get(this.key) ?? null);
  }

  async put() {
    const key = this.key;
    this.stopper = new AbortController();
    try {
      const answer = await ask("fit", this.question, { signal: this.stopper.signal });
      this.known.set(key, answer);
      if (this.known.size > REMEMBERED) this.known.delete(this.known.keys().next().value);
      if (key === this.key) this.state = "done";
    } catch (fault) {
      if (fault.name === "AbortError" || key !== this.key) return;
      this.state = fault instanceof Refused ? "refused" : "waiting";
      this.sentence = fault.message;
    }
    this.changed();
  }

  /** Ask again, after the connection was lost. */
  again() {
    if (this.state === "waiting") {
      this.state = "working";
      this.later();
    }
  }
}
