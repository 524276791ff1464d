// The drawer of the design: open and save documents, the link, units, theme, and the design as text.

import { Refused, Unreachable, ask } from "./ask.js";
import { at, el } from "./dom.js";
import { baked } from "./hoods.js";
import { download } from "./jobs.js";
import { kept, sound } from "./keep.js";

const LARGEST = 1_000_000;

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
  /** link(): the address of the design; said(words): tell what happened; preferences and prefer(patch): units and theme. */
  constructor(store, { link, said, preferences, prefer, finished }) {
    Object.assign(this, { store, link, said, preferences, prefer, finished });
    this.picker = el("input", {
      type: "file",
      multiple: true,
      accept: ".toml,.json,text/plain",
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

  saveDesign() {
    const text = JSON.stringify({ shadewright: "design", version: 1, ...kept(this.store.state) }, null, 1);
    download(new Blob([text], { type: "application/json" }), `${stem(this.store.state.hood?.name)}.design.json`);
  }

  async copyLink() {
    const address = await this.link();
    try {
      await navigator.clipboard.writeText(address);
      this.said("The link is copied: it holds the whole design.");
    } catch (fault) {
      if (!(fault instanceof DOMException || fault instanceof TypeError)) throw fault;
      this.said("This browser does not let a page copy; the link stands in the address line.");
    }
  }

  /** Open documents: any of lens, camera and hood as TOML, or a saved design. */
  async open(files) {
    const read = {};
    for (const file of files) {
      if (file.size > LARGEST) return this.said(`${file.name} is larger than any document; choose another.`);
      const text = await file.text();
      if (file.name.endsWith(".json")) {
        try {
          this.store.replace(sound(JSON.parse(text)));
        } catch (fault) {
          if (!(fault instanceof SyntaxError || fault instanceof TypeError)) throw fault;
          return this.said(`${file.name} holds no design saved here: ${fault.message}.`);
        }
        return this.said(`${file.name} is open.`);
      }
      try {
        const { kind, document: found } = await ask("read", { text });
        read[kind] = found;
      } catch (fault) {
        if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
        return this.said(`${file.name}: ${fault.message}`);
      }
    }
    if (Object.keys(read).length === 0) return undefined;
    this.store.edit({ ...read, ...(read.hood ? { hand: null, moved: 0 } : {}) });
    this.opened?.(read);
    return this.said(`Opened: ${Object.keys(read).join(", ")}.`);
  }
}
