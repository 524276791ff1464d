// A design is its address: deflated into the part after #, which no server sees, and kept in the browser as well.

import { DESIGN, VIEW, blank } from "./store.js";

const KEY = "shadewright.bench";
const PREFERENCES = "shadewright.preferences";
const LONGEST = 200_000;
const LARGEST = 2_000_000;

async function through(bytes, stream) {
  const reader = new Blob([bytes]).stream().pipeThrough(stream).getReader();
  const parts = [];
  let size = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    size += value.length;
    // A short address can inflate without end; what is larger than any design is refused.
    if (size > LARGEST) {
      await reader.cancel();
      throw new RangeError("the link holds more than any design does");
    }
    parts.push(value);
  }
  return new Uint8Array(await new Blob(parts).arrayBuffer());
}

function toText(bytes) {
  let text = "";
  for (let k = 0; k < bytes.length; k += 4096) text += String.fromCharCode(...bytes.subarray(k, k + 4096));
  return btoa(text).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

function fromText(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
}

/** What of a state is kept. */
export function kept(state) {
  return Object.fromEntries([...DESIGN, ...VIEW].map((name) => [name, state[name]]));
}

/** A state as the part of an address after "#". */
export async function toHash(state) {
  const bytes = new TextEncoder().encode(JSON.stringify(kept(state)));
  return `#d=${toText(await through(bytes, new CompressionStream("deflate-raw")))}`;
}

/** The state in an address, or null where it holds none. Raises for one that is damaged. */
export async function fromHash(hash) {
  const found = /^#d=([A-Za-z0-9_-]+)$/.exec(hash);
  if (!found) return null;
  if (found[1].length > LONGEST) throw new RangeError("the link is longer than any design's");
  const bytes = await through(fromText(found[1]), new DecompressionStream("deflate-raw"));
  return sound(JSON.parse(new TextDecoder().decode(bytes)));
}

/** True for what a damaged link or file raises when it is read. */
export function isDamage(fault) {
  return [TypeError, SyntaxError, RangeError, DOMException].some((kind) => fault instanceof kind);
}

function isTable(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

function finite(value, other) {
  return typeof value === "number" && Number.isFinite(value) ? value : other;
}

/** A state made of what is usable in `given`; documents themselves are judged by the server. Raises where there is none. */
export function sound(given) {
  if (!isTable(given)) throw new TypeError("it holds no design");
  const state = blank();
  for (const name of ["lens", "camera", "hood"]) if (isTable(given[name])) state[name] = given[name];
  state.moved = finite(given.moved, 0);
  if (
    Array.isArray(given.hand) &&
    given.hand.every((pair) => Array.isArray(pair) && pair.length === 2 && pair.every(Number.isFinite))
  )
    state.hand = given.hand;
  if (Array.isArray(given.kept))
    state.kept = given.kept.filter((entry) => isTable(entry) && isTable(entry.hood)).slice(0, 3);
  if (isTable(given.mesh) && typeof given.mesh.id === "string") state.mesh = { id: given.mesh.id };
  if (isTable(given.at)) {
    state.at = { zoom: finite(given.at.zoom, 0), focus: finite(given.at.focus, 0), stop: finite(given.at.stop, null) };
  }
  if (typeof given.step === "string") state.step = given.step;
  if (typeof given.stage === "string") state.stage = given.stage;
  state.plane = finite(given.plane, 90);
  state.cut = given.cut === true;
  return state;
}

/** Keep a state in the browser; where it refuses (private windows), the address alone holds it. */
export function save(state) {
  try {
    localStorage.setItem(KEY, JSON.stringify(kept(state)));
  } catch (fault) {
    if (!(fault instanceof DOMException)) throw fault;
  }
}

/** The state kept in the browser, or null. */
export function saved() {
  const text = read(KEY);
  if (!text) return null;
  try {
    return sound(JSON.parse(text));
  } catch (fault) {
    if (fault instanceof SyntaxError || fault instanceof TypeError) return null;
    throw fault;
  }
}

function read(key) {
  try {
    return localStorage.getItem(key);
  } catch (fault) {
    if (fault instanceof DOMException) return null;
    throw fault;
  }
}

/** Preferences of this browser: units and theme. */
export function preferences() {
  const plain = { inches: false, theme: "system" };
  try {
    return { ...plain, ...JSON.parse(read(PREFERENCES) ?? "{}") };
  } catch (fault) {
    if (fault instanceof SyntaxError) return plain;
    throw fault;
  }
}

export function savePreferences(wanted) {
  try {
    localStorage.setItem(PREFERENCES, JSON.stringify(wanted));
  } catch (fault) {
    if (!(fault instanceof DOMException)) throw fault;
  }
}
