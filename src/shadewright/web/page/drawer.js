// The drawer of the design: open and save documents, the link, units, theme, and the design as text.

import { Refused, Unreachable, ask } from "./ask.js";
import { at, el } from "./dom.js";
import { baked } from "./hoods.js";
import { download } from "./jobs.js";
import { kept, sound } from "./keep.js";
import { asText, fromText, meshInBrowser, takeMesh } from "./shelf.js";
import { LENS_FILES, readPrescription, withSurfaces } from "./traced.js";

const LARGEST = 1_000_000;
const LARGEST_DESIGN = 80_000_000;

function stem(name) {
  return (
    (name ?? "design")
      .toLowerCase()
      .normalize("NFKD")
      .replace(/[^a-z0-9]+/g, "-")
      .replace(/^-+|-+$/g, "")
      .slice(0, 60) || "design"
  );
}

export class Drawer {
  /** link(): the address of the design; said(words): tell what happened; preferences and prefer(patch): units and theme; shelf: of the meshes. */
  constructor(store, { link, said, preferences, prefer, finished, shelf }) {
    Object.assign(this, { store, link, said, preferences, prefer, finished, shelf });
    this.picker = el("input", {
      type: "file",
      multiple: true,
      accept: `${LENS_FILES},text/plain`,
      class: "unseen",
      tabindex: "-1",
      "aria-label": "Documents to open",
    });
    this.picker.addEventListener("change", async () => {
      await this.open([...this.picker.files]);
      this.picker.value = "";
    });
    this.text = el("textarea", { spellcheck: "false", "aria-label": "Document as text" });
    this.build();
  }

  build() {
    const segment = (name, value, words, now, put) =>
      el(
        "label",
        null,
        el("input", { type: "radio", name, value, checked: now === value, onchange: () => put(value) }),
        words,
      );
    const { inches, theme } = this.preferences();
    at("drawer-body").append(
      this.picker,
      el(
        "div",
        { class: "row" },
        el("button", { type: "button", class: "quiet", id: "open", onclick: () => this.picker.click() }, "Open…"),
        el(
          "button",
          { type: "button", class: "quiet", id: "save-design", onclick: () => this.saveDesign() },
          "Save the design",
        ),
        el(
          "button",
          { type: "button", class: "quiet", id: "copy-link", onclick: () => this.copyLink() },
          "Copy the link",
        ),
      ),
      el(
        "div",
        { class: "row" },
        el("span", { class: "soft" }, "Save one document:"),
        ["lens", "camera", "hood"].map((name) =>
          el(
            "button",
            { type: "button", class: "quiet", id: `save-${name}`, onclick: () => this.saveDocument(name) },
            name,
          ),
        ),
      ),
      el(
        "div",
        { class: "row" },
        el("span", { class: "soft" }, "Lengths in"),
        el(
          "div",
          { class: "segments", role: "radiogroup", "aria-label": "Unit of lengths" },
          segment("unit", "mm", "mm", inches ? "in" : "mm", () => this.prefer({ inches: false })),
          segment("unit", "in", "inch", inches ? "in" : "mm", () => this.prefer({ inches: true })),
        ),
      ),
      el(
        "div",
        { class: "row" },
        el("span", { class: "soft" }, "Light or dark"),
        el(
          "div",
          { class: "segments", role: "radiogroup", "aria-label": "Light or dark" },
          ["system", "light", "dark"].map((value) =>
            segment("theme", value, value === "system" ? "as the system" : value, theme, () =>
              this.prefer({ theme: value }),
            ),
          ),
        ),
      ),
      el(
        "div",
        { class: "row" },
        el(
          "button",
          { type: "button", class: "quiet", id: "as-text", onclick: () => this.openText() },
          "Edit as text…",
        ),
        el("button", { type: "button", class: "quiet", onclick: () => window.print() }, "Print this sheet"),
      ),
    );
    this.buildText();
    document.addEventListener("click", (event) => {
      if (!at("drawer").contains(event.target)) at("drawer").open = false;
    });
    at("drawer").addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || !at("drawer").open) return;
      at("drawer").open = false;
      at("drawer").querySelector("summary").focus();
    });
    for (const name of ["dragover", "drop"]) document.addEventListener(name, (event) => event.preventDefault());
    document.addEventListener("drop", (event) => this.open([...event.dataTransfer.files]));
  }

  buildText() {
    this.which = el(
      "select",
      { "aria-label": "Which document", onchange: () => this.fillText() },
      ["lens", "camera", "hood"].map((name) => el("option", { value: name }, name)),
    );
    this.wrong = el("p", { class: "wrong", hidden: true });
    const put = el("button", { type: "button", onclick: () => this.putText() }, "Use this");
    const leave = el(
      "button",
      { type: "button", class: "quiet", onclick: () => this.dialog.close() },
      "Leave as it was",
    );
    this.dialog = el(
      "dialog",
      { class: "sheet", "aria-label": "Document as text" },
      el("div", { class: "row" }, el("b", null, "The document as text (TOML)"), this.which),
      this.text,
      this.wrong,
      el("div", { class: "row" }, put, leave),
    );
    document.body.append(this.dialog);
  }

  async openText() {
    at("drawer").open = false;
    this.dialog.showModal();
    await this.fillText();
  }

  documentOf(name) {
    return name === "hood"
      ? (this.finished() ?? baked(this.store.state.hood, this.store.state))
      : this.store.state[name];
  }

  async fillText() {
    this.wrong.hidden = true;
    this.text.value = "";
    const name = this.which.value;
    const document_ = name === "hood" ? this.store.state.hood : this.store.state[name];
    await this.tell(
      async () => (this.text.value = document_ ? (await ask("write", { document: document_ })).text : ""),
    );
  }

  async putText() {
    await this.tell(async () => {
      const { kind, document: read } = await ask("read", { text: this.text.value });
      this.store.edit({ [kind]: read, ...(kind === "hood" ? { hand: null, moved: 0 } : {}) });
      this.dialog.close();
    });
  }

  async tell(work) {
    try {
      await work();
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      this.wrong.hidden = false;
      this.wrong.textContent = fault.message;
      this.said(fault.message);
    }
  }

  async saveDocument(name) {
    const document_ = this.documentOf(name);
    if (!document_) return this.said(`There is no ${name} yet.`);
    await this.tell(async () =>
      download(
        new Blob([(await ask("write", { document: document_ })).text], { type: "application/toml" }),
        `${stem(document_.name)}.toml`,
      ),
    );
  }

  async saveDesign() {
    const { state } = this.store;
    const design = { shadewright: "design", version: 1, ...kept(state) };
    if (state.mesh && state.hood?.rim?.stl) {
      const blob = await meshInBrowser(state.mesh.id);
      if (blob) design.mesh = { ...state.mesh, stl: await asText(blob) };
      else this.said(`The mesh ${state.hood.rim.stl} is not in this browser: the saved design only names it.`);
    }
    download(
      new Blob([JSON.stringify(design, null, 1)], { type: "application/json" }),
      `${stem(state.hood?.name)}.design.json`,
    );
  }

  async copyLink() {
    const address = await this.link();
    try {
      await navigator.clipboard.writeText(address);
      this.said(
        this.store.state.hood?.rim?.stl
          ? "The link is copied: it holds all but the mesh, which it names by its fingerprint."
          : "The link is copied: it holds the whole design.",
      );
    } catch (fault) {
      if (!(fault instanceof DOMException || fault instanceof TypeError)) throw fault;
      this.said("This browser does not let a page copy; the link stands in the address line.");
    }
  }

  /** Open documents: lens, camera and hood as TOML, a prescription in any description that is read, or a saved design. */
  async open(files) {
    const read = {};
    const later = [];
    for (const file of files) {
      try {
        if (file.name.endsWith(".json") && (await this.openDesign(file))) return this.said(`${file.name} is open.`);
        if (file.size > LARGEST) return this.said(`${file.name} is larger than any document; choose another.`);
        if (await isPrescription(file)) read.prescription = await readPrescription(file);
        else later.push(file);
      } catch (fault) {
        if (!(fault instanceof Refused || fault instanceof Unreachable || fault instanceof Unusable)) throw fault;
        return this.said(fault.message.startsWith(file.name) ? fault.message : `${file.name}: ${fault.message}`);
      }
    }
    for (const file of later) {
      try {
        const beside = read.prescription?.prescription;
        const { kind, document: found } = await ask("read", {
          text: await file.text(),
          ...(beside ? { prescription: beside } : {}),
        });
        if (!["lens", "camera", "hood"].includes(kind))
          return this.said(`${file.name} is a ${kind} document; the bench takes lens, camera, hood and prescription.`);
        read[kind] = found;
      } catch (fault) {
        if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
        return this.said(`${file.name}: ${fault.message}`);
      }
    }
    if (Object.keys(read).length === 0) return undefined;
    const { prescription, ...documents } = read;
    if (prescription && !documents.lens) documents.lens = withSurfaces(this.store.state.lens, prescription);
    if (prescription) this.store.remarks = prescription.notes;
    this.store.edit({ ...documents, ...(read.hood ? { hand: null, moved: 0 } : {}) });
    this.opened?.(documents);
    return this.said(`Opened: ${Object.keys(read).join(", ")}.`);
  }

  /** Open a saved design with the mesh that it may hold; false for JSON of another kind. Raises Unusable. */
  async openDesign(file) {
    if (file.size > LARGEST_DESIGN) throw new Unusable("is larger than any saved design; choose another.");
    let given;
    try {
      given = JSON.parse(await file.text());
    } catch (fault) {
      if (!(fault instanceof SyntaxError)) throw fault;
      throw new Unusable(`holds no design saved here: ${fault.message}.`);
    }
    if (given?.surface_group) return false;
    try {
      const state = sound(given);
      if (typeof given.mesh?.stl === "string") {
        state.mesh = { id: await takeMesh(fromText(given.mesh.stl)) };
        this.shelf.here(state.mesh.id);
      }
      this.store.replace(state);
    } catch (fault) {
      if (!(fault instanceof TypeError || fault instanceof DOMException)) throw fault;
      throw new Unusable(`holds no design saved here: ${fault.message}.`);
    }
    return true;
  }
}

/** A file that cannot be used, and why. */
class Unusable extends Error {}

/** True for a file that describes a lens by its surfaces. */
async function isPrescription(file) {
  if (!file.name.toLowerCase().endsWith(".toml")) return true;
  return /^[ \t]*document[ \t]*=[ \t]*["']prescription["']/m.test(await file.text());
}
