// The rim of a hood that exists: drawn on a paper strip, photographed on the printed sheet, taken as a hood on the bench.

import { Refused, fetchFile } from "./ask.js";
import { add, el } from "./dom.js";
import { dropPlace } from "./measuring_drop.js";
import { rimChart, rimKey } from "./measuring_drawings.js";
import { numberField, textField, unreadable } from "./measuring_fields.js";
import { downloadButton, fileList, runButton, takeHome } from "./measuring_run.js";
import { stripPicture } from "./measuring_pictures.js";
import { length } from "./words.js";

export class StripTask {
  /** bench: {store, said(words)}. */
  constructor(bench) {
    this.bench = bench;
    this.given = { diameter: null, inner_diameter: null, edge: 0, check_line: 100 };
    this.words = { name: "Traced hood" };
    this.frames = [];
    this.outcome = null;
  }

  form() {
    const box = el("div");
    add(
      box,
      el(
        "ol",
        { class: "ms-how" },
        el("li", null, "Print the sheet at 100 % and measure its check line."),
        el(
          "li",
          null,
          "Wrap a strip of white paper round the hood, straight edge on the seat end. Draw along the rim with a dark pen; mark top, right, bottom and left.",
        ),
        el(
          "li",
          null,
          "Cut it at right and left, lay both halves on the sheet, outside up, and photograph it from straight above.",
        ),
      ),
      (this.sheetRun ??= runButton({
        button: "Get the sheet",
        kind: "sheet",
        body: () => ({}),
        done: (job) => takeHome(job.id, job.files[0].name),
      })),
      dropPlace({
        title: "The sheet with both halves on it",
        words: "A photograph or a scan.",
        drawing: stripPicture(),
        frames: this.frames,
        many: false,
        changed: () => this.run?.forgive(),
      }),
      el(
        "div",
        { class: "fields ms-after" },
        numberField(this.given, "diameter", "Outside diameter", { length: true, hint: "where the strip was wrapped" }),
        numberField(this.given, "inner_diameter", "Inside diameter", {
          length: true,
          placeholder: "4 mm less",
          hint: "at the rim",
        }),
        numberField(this.given, "edge", "Edge ahead of seat", { length: true, hint: "the strip's straight edge" }),
        numberField(this.given, "check_line", "Check line", { length: true, hint: "as printed" }),
        textField(this.words, "name", "Name"),
      ),
      (this.run ??= runButton({
        button: "Read the strip",
        kind: "strip",
        body: () => this.body(),
        done: (job) => {
          this.outcome = job;
          return this.fill();
        },
      })),
    );
    return box;
  }

  body() {
    const bad = unreadable(this.given);
    if (bad) return bad;
    if (this.frames.length === 0) return "The photograph of the sheet is missing: drop it on its drawing.";
    const { diameter, inner_diameter: inner, edge, check_line: line } = this.given;
    if (!(diameter > 0)) return "Say how wide the hood is across, where the strip was wrapped.";
    return {
      frame: this.frames[0].id,
      file: this.frames[0].name,
      diameter,
      edge: edge ?? 0,
      check_line: line ?? 100,
      name: this.words.name || "Traced hood",
      ...(inner === null ? {} : { inner_diameter: inner }),
    };
  }

  evidence() {
    this.evidenceBox = el("div", { class: "ms-evidence" });
    this.fill();
    return this.evidenceBox;
  }

  async fill() {
    if (!this.evidenceBox) return;
    this.evidenceBox.replaceChildren();
    if (!this.outcome) {
      this.evidenceBox.append(
        el(
          "section",
          { class: "ms-part" },
          el("h3", null, "The rim appears here"),
          el(
            "p",
            null,
            "It can then be checked against your lens like any other, compared with a hood worked out for it, and made again. Hoods of up to 142 mm across can be read.",
          ),
        ),
      );
      return;
    }
    const { result } = this.outcome;
    const heights = result.rim.map((row) => row[1]);
    const worst = Math.max(...result.rim.map((row) => row[2]));
    const line = {
      azimuth: result.rim.map((row) => row[0]),
      z: heights,
      band: result.rim.map((row) => 2 * row[2]),
      stroke: "r0",
      words: "the rim; the band is two standard errors",
    };
    const picture = el("img", {
      alt: "Both halves of the strip seen straight on, with the line that was found in them",
      class: "ms-picture",
    });
    add(
      this.evidenceBox,
      el(
        "section",
        { class: "ms-part" },
        el(
          "h3",
          null,
          `The rim stands ${length(Math.min(...heights))} to ${length(Math.max(...heights))} ahead of the seat`,
        ),
        el(
          "p",
          null,
          `It is known to about ${length(2 * worst)}; the sheet's marks met to ${length(result.sheet_error, 2)}.`,
        ),
        el("figure", null, rimChart([line], "The rim as read, unrolled"), rimKey([line])),
        el(
          "div",
          { class: "row" },
          el(
            "button",
            {
              type: "button",
              onclick: () => {
                this.bench.store.edit({ hood: result.hood_document, hand: null, moved: 0, mesh: null });
                this.bench.said(
                  "The traced hood is on the bench: Look shows whether it shows; Undo puts the one before back.",
                );
              },
            },
            "Take it as the hood",
          ),
          downloadButton(this.outcome, ".toml", "Download the hood document"),
        ),
        el("details", { class: "more" }, el("summary", null, "Where the line was found"), picture),
        fileList(this.outcome),
      ),
    );
    await this.show(picture);
  }

  async show(picture) {
    const name = this.outcome.files.find((file) => file.name.endsWith("-strip.png"))?.name;
    if (!name) return;
    try {
      picture.src = URL.createObjectURL(await fetchFile(this.outcome.id, name));
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      picture.replaceWith(el("p", { class: "wrong" }, fault.message));
    }
  }
}
