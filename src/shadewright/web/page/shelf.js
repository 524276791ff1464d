// Meshes of hoods: a link holds only a mesh's fingerprint, so the browser keeps the mesh itself and gives it back to the program.

import { Refused, Unreachable, ask, send } from "./ask.js";

const BASE = "shadewright";
const SHELF = "meshes";
const MOST = 8;

function waited(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Do something with the browser's shelf of meshes; null where the browser keeps none (private windows). */
async function withShelf(mode, work) {
  let base = null;
  try {
    const opening = indexedDB.open(BASE, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore(SHELF, { keyPath: "id" });
    base = await waited(opening);
    return await work(base.transaction(SHELF, mode).objectStore(SHELF));
  } catch (fault) {
    if (!(fault instanceof DOMException)) throw fault;
    return null;
  } finally {
    base?.close();
  }
}

/** Keep a mesh in the browser under its fingerprint; of many the oldest goes. */
export async function keepMesh(id, blob) {
  await withShelf("readwrite", async (shelf) => {
    await waited(shelf.put({ id, blob, time: Date.now() }));
    const all = await waited(shelf.getAll());
    const oldest = all.sort((a, b) => b.time - a.time).slice(MOST);
    for (const entry of oldest) await waited(shelf.delete(entry.id));
  });
}

/** The mesh with this fingerprint as a Blob, or null. */
export async function meshInBrowser(id) {
  const found = await withShelf("readonly", (shelf) => waited(shelf.get(id)));
  return found?.blob ?? null;
}

/** Hand an STL to the program and keep it here; gives back its fingerprint. Raises Refused or Unreachable. */
export async function takeMesh(blob) {
  const { mesh } = await send("meshes", blob);
  await keepMesh(mesh, blob);
  return mesh;
}

/** Knows which meshes the program holds, and brings those that the browser keeps. */
export class Shelf {
  /** changed() is called when the place of a mesh has become known. */
  constructor(changed) {
    this.changed = changed;
    this.places = new Map();
  }

  /** "here", "looking" or "missing"; "none" for a design without a mesh. */
  place({ hood, mesh }) {
    if (!hood?.rim?.stl) return "none";
    if (!mesh) return "missing";
    if (!this.places.has(mesh.id)) {
      this.places.set(mesh.id, "looking");
      this.bring(mesh.id);
    }
    return this.places.get(mesh.id);
  }

  /** The program was begun anew, or has dropped a mesh: look again when one is wanted. */
  forget() {
    this.places.clear();
  }

  here(id) {
    this.places.set(id, "here");
  }

  async bring(id) {
    try {
      const { held } = await ask(`meshes/${encodeURIComponent(id)}`);
      const blob = held ? null : await meshInBrowser(id);
      const found = held || (blob !== null && (await send("meshes", blob)).mesh === id);
      this.places.set(id, found ? "here" : "missing");
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      if (fault instanceof Refused) this.places.set(id, "missing");
      else this.places.delete(id);
    }
    this.changed();
  }
}

/** What to say of a mesh that is not here. */
export function missingWords({ hood }) {
  return `Load ${hood.rim.stl} again on the sheet Hood, or open the saved design: a link holds only the fingerprint of a mesh, and neither the program nor this browser has the mesh itself.`;
}

/** A Blob's bytes as Base64 text. */
export async function asText(blob) {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  let text = "";
  for (let k = 0; k < bytes.length; k += 8190) text += btoa(String.fromCharCode(...bytes.subarray(k, k + 8190)));
  return text;
}

/** The Blob of Base64 text. Raises DOMException for what is none. */
export function fromText(text) {
  return new Blob([Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0))]);
}
