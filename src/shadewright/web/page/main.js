// The bench: joins state, questions and views. A change of the design or of the setting asks; an answer paints.

import { Latest, Refused, Unreachable, ask } from "./ask.js";
import { Choose } from "./choose.js";
import { Dials } from "./dials.js";
import { at, el, forgetSizes, settled } from "./dom.js";
import { Drawer } from "./drawer.js";
import { makingLists } from "./finish.js";
import { Fitting } from "./fitting.js";
import { Handwork } from "./handwork.js";
import { baked, isGiven, meshOf } from "./hoods.js";
import { fromHash, isDamage, preferences, save, savePreferences, saved, toHash } from "./keep.js";
import { onwardRow, problemList } from "./onward.js";
import { forgetColours } from "./palette.js";
import { cameraLayout, cameraPanel, plainCamera } from "./panel_camera.js";
import { hoodLayout, hoodPanel, plainHood } from "./panel_hood.js";
import { Measuring } from "./measuring.js";
import { lensLayout, lensPanel, plainLens } from "./panel_lens.js";
import { makeLayout, makePanel } from "./panel_make.js";
import { Shelf, missingWords } from "./shelf.js";
import { Store, blank } from "./store.js";
import { sayRefused, sayUnread, sayVerdict } from "./verdict.js";
import { Views, fineness } from "./views.js";
import { buildWelcome, offerToGoOn, showStarters } from "./welcome.js";
import { useInches } from "./words.js";

const STEPS = [
  ["lens", "Lens"],
  ["camera", "Camera"],
  ["hood", "Hood"],
  ["look", "Look"],
  ["choose", "Compare"],
  ["make", "Make"],
];
const MOVING = 220;
const RETRY = 1500;

class Bench {
  constructor() {
    this.store = new Store(blank());
    this.preferences = preferences();
    this.formats = [];
    this.starters = [];
    this.problems = [];
    this.estimates = [];
    this.lists = null;
    this.shelf = new Shelf(() => this.meshFound());
    this.lastChange = 0;
    this.fitting = new Fitting(() => this.fitted());
    this.looks = new Latest(
      ({ moving: _moving, ...question }) => ask("look", question),
      (answer, question) => this.painted(answer, question),
      (fault) => this.failed(fault),
    );
    this.applyPreferences();
    buildWelcome((what) => this.begin(what));
    this.buildSteps();
    this.views = new Views(this.store);
    this.dials = new Dials(this.store);
    this.handwork = new Handwork(this.store, this.views);
    this.choose = new Choose(this.store, () => this.finished(), this.shelf);
    this.drawer = new Drawer(this.store, {
      link: async () => location.origin + location.pathname + (await toHash(this.store.state)),
      said: (words) => this.toast(words),
      preferences: () => this.preferences,
      prefer: (patch) => this.prefer(patch),
      finished: () => this.finished()?.hood,
      shelf: this.shelf,
    });
    this.measuring = new Measuring(this.store, {
      design: () => this.design(),
      said: (words) => this.toast(words),
    });
    this.drawer.opened = (read) => this.opened(read);
    this.keepLater = settled(() => this.keep(), 250);
    this.validateLater = settled(() => this.validate(), 200);
    this.settle = settled(() => this.look(true), MOVING + 20);
    this.compareLater = settled(() => this.choose.follow(this.store.state), 60);
    this.store.subscribe((state, kind) => this.changed(state, kind));
    this.bindKeys();
  }

  async start() {
    addEventListener("hashchange", () => this.fromAddress());
    if (!(await this.fromAddress())) offerToGoOn(saved(), (what) => this.begin(what));
    await this.fetchLists();
    await this.fetchMaking();
  }

  async fetchLists() {
    try {
      this.formats = (await ask("formats")).formats;
      this.starters = (await ask("starters")).starters;
      this.connected();
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
      this.lost();
      return;
    }
    showStarters(this.starters, (what) => this.begin(what));
    this.rebuildPanel();
  }

  /** What the sheet Make chooses from: the finishes, and whether STEP is there. */
  async fetchMaking() {
    this.lists = await makingLists();
    // Work that goes on keeps its box: the sheet is made anew when it is opened next.
    const busy = document.querySelector(".job progress:not([hidden])") !== null;
    if (this.lists && this.store.state.step === "make" && !busy) this.rebuildPanel();
  }

  /** Open the design in the address; false where there is none. */
  async fromAddress() {
    try {
      const state = await fromHash(location.hash);
      if (!state?.lens) return false;
      this.store.replace(state);
      return true;
    } catch (fault) {
      if (!isDamage(fault)) throw fault;
      this.toast("The link is damaged and could not be opened: copy it again, whole.");
      return false;
    }
  }

  begin(what) {
    if (what === "open") this.drawer.picker.click();
    else if (what === "go on")
      this.store.replace({ ...saved(), step: saved().step === "start" ? "look" : saved().step });
    else if (what === "own")
      this.store.replace({ lens: plainLens(), camera: plainCamera(), hood: plainHood(), step: "lens" });
    else this.store.replace({ lens: what.lens, camera: what.camera, hood: what.hood, step: "look" });
    if (what !== "open") at("main").focus();
  }

  /** Documents were opened: what is still missing is put there plain, and the sheet is shown. */
  opened(read) {
    const { state } = this.store;
    const missing = {};
    if (!state.lens) missing.lens = plainLens();
    if (!state.camera) missing.camera = plainCamera();
    if (!state.hood) missing.hood = plainHood();
    if (Object.keys(missing).length) this.store.edit(missing);
    if (state.step === "start")
      this.store.turn({ step: missing.lens ? "lens" : read.lens && missing.camera ? "camera" : "look" });
  }

  changed(state, kind) {
    this.lastChange = performance.now();
    document.body.dataset.step = state.step;
    const started = state.step !== "start" && Boolean(state.lens && state.camera && state.hood);
    at("welcome").hidden = started;
    for (const id of ["verdict", "work", "dials"]) at(id).hidden = !started || state.step === "measure";
    this.measuring.follow(state, started);
    at("choose").hidden = state.step !== "choose";
    this.followSteps(state, started);
    at("undo").disabled = this.store.past.length === 0;
    at("redo").disabled = this.store.future.length === 0;
    this.keepLater();
    this.views.follow(state);
    if (!started) {
      offerToGoOn(state, (what) => this.begin(what));
      return;
    }
    if (kind === "design") {
      this.views.outdate();
      this.fitting.follow(state);
      this.validateLater();
    }
    this.followPanel(state);
    this.dials.follow(state, this.views.answer);
    // What an answer changes is drawn when it comes; only another way of looking is drawn at once.
    const looking = JSON.stringify([state.step, state.stage, state.plane, state.cut]);
    if (looking !== this.looking) this.views.draw();
    this.looking = looking;
    this.look();
    if (state.step === "choose") this.compareLater();
  }

  /** Ask for the views on the sheet; the costly ones wait until nothing moves. */
  look(quiet = false) {
    const { state } = this.store;
    if (!state.lens || state.step === "start") return;
    if (this.unread()) return;
    if (!this.meshIsHere()) return;
    const moving = !quiet && performance.now() - this.lastChange < MOVING && this.views.answer !== null;
    if (moving) this.settle();
    const shown = this.views.shown();
    // Verdict and dials need the rim and the numbers whatever is on the sheet.
    const want = [
      ...new Set([
        ...(moving ? shown.filter((name) => name !== "sky" && !(name === "solid" && this.views.solid.slow)) : shown),
        "rim",
        "numbers",
      ]),
    ];
    if (!moving && !want.includes("sky")) want.push("sky");
    const hood = isGiven(state.hood) ? state.hood : (this.fitting.made?.hood ?? state.hood);
    this.looks.want({
      moving,
      design: { lens: state.lens, camera: state.camera, hood, ...meshOf(state) },
      at: { zoom: state.at.zoom, focus: state.at.focus, f_number: state.at.stop },
      alter: { moved: state.moved, rim: state.hand },
      want,
      hints: { ...fineness(moving), plane: state.plane === -1 ? 90 : state.plane },
    });
  }

  /** Whether the mesh of the hood, if it has one, is with the program; says so where it is nowhere. */
  meshIsHere() {
    const { state } = this.store;
    const place = this.shelf.place(state);
    if (place !== "missing") return place !== "looking";
    this.views.old();
    sayRefused(missingWords(state));
    return false;
  }

  /** Whether a field holds what cannot be read; says so, and the views wait. */
  unread() {
    const { misreading } = this.store;
    if (misreading === null) return false;
    this.views.old();
    sayUnread(misreading);
    return true;
  }

  sayVerdict() {
    if (this.views.answer && !this.unread()) sayVerdict(this.views.answer, this.fitting);
  }

  meshFound() {
    this.followPanel(this.store.state);
    if (this.store.state.step === "choose") this.compareLater();
    this.validateLater();
    this.look();
  }

  painted(answer, question) {
    this.connected();
    // Asked before a field was spoilt: it is no answer to what stands there now.
    if (this.unread()) return;
    // The share let in comes with the sky, which waits until nothing moves: until then the one before stands.
    if (answer.numbers && !question.want.includes("sky"))
      answer.numbers.let_in = this.views.answer?.numbers?.let_in ?? null;
    this.views.moving = question.moving;
    this.views.take(answer);
    this.dials.follow(this.store.state, answer);
    this.handwork.follow(this.store.state);
    this.sayVerdict();
    this.markPainted();
  }

  /** Time from the last touch of a slider to this picture, for whoever measures. */
  markPainted() {
    const [mark] = performance.getEntriesByName("slider", "mark").slice(-1);
    performance.clearMarks("slider");
    if (!mark) return;
    requestAnimationFrame(() =>
      performance.measure("slider to picture", { start: mark.startTime, end: performance.now() }),
    );
  }

  failed(fault) {
    if (fault instanceof Unreachable) return this.lost();
    if (!(fault instanceof Refused)) throw fault;
    this.connected();
    // Of many meshes the program drops the oldest: the browser gives it back.
    if (fault.message.startsWith("mesh:")) {
      this.shelf.forget();
      this.look();
      return undefined;
    }
    if (this.unread()) return undefined;
    this.views.old();
    sayRefused(fault.message);
    return undefined;
  }

  fitted() {
    if (this.fitting.state === "waiting") this.lost();
    this.look();
    this.sayVerdict();
  }

  /** The hood as it stands now, ready to be made: {name, hood}; null while its rim is being worked out. */
  finished() {
    const { state } = this.store;
    if (!state.hood || this.store.misreading !== null) return null;
    if (isGiven(state.hood)) return { name: state.hood.name, hood: baked(state.hood, state) };
    const made = this.fitting.made?.hood;
    if (!made) return null;
    const { name, notes, build } = state.hood;
    return { name, hood: baked({ ...made, name, ...(notes ? { notes } : {}), ...(build ? { build } : {}) }, state) };
  }

  /** The design with the finished hood, for jobs; null where there is none. */
  design() {
    const { lens, camera } = this.store.state;
    const done = ["none", "here"].includes(this.shelf.place(this.store.state)) ? this.finished() : null;
    return done ? { lens, camera, hood: done.hood, ...meshOf(this.store.state) } : null;
  }

  async validate() {
    const { lens, camera, hood } = this.store.state;
    if (!lens || this.shelf.place(this.store.state) === "looking") return;
    try {
      const { problems, estimates } = await ask("validate", {
        design: { lens, camera, hood, ...meshOf(this.store.state) },
      });
      this.problems = problems;
      this.estimates = estimates;
      this.judgePanel();
    } catch (fault) {
      if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
    }
  }

  // -- the panel

  buildSteps() {
    at("steps").replaceChildren(
      ...STEPS.map(([name, words], k) =>
        el(
          "li",
          null,
          el(
            "button",
            {
              type: "button",
              onclick: () => this.store.turn({ step: name, stage: "" }),
              "aria-label": `${k + 1}. ${words}`,
            },
            el("span", { class: "nr", "aria-hidden": "true" }, String(k + 1)),
            el("span", { class: "word" }, words),
          ),
        ),
      ),
    );
    at("home").addEventListener("click", () => this.store.turn({ step: "start", stage: "" }));
    at("undo").addEventListener("click", () => this.store.undo());
    at("redo").addEventListener("click", () => this.store.redo());
    at("present").addEventListener("click", () => this.present());
  }

  followSteps(state, started) {
    const now = STEPS.findIndex(([name]) => name === state.step);
    [...at("steps").children].forEach((item, k) => {
      const button = item.firstElementChild;
      button.disabled = !started && !state.lens;
      item.classList.toggle("done", started && k < now);
      if (k === now) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    });
  }

  layoutKey(state) {
    const layout = {
      lens: () => lensLayout(state.lens),
      camera: () => cameraLayout(state.camera),
      hood: () => `${hoodLayout(state.hood)} ${this.shelf.place(state)}`,
      make: () => makeLayout(state.hood),
    }[state.step];
    return layout ? `${state.step} ${layout()}` : state.step;
  }

  followPanel(state) {
    if (this.panelKey !== this.layoutKey(state)) this.rebuildPanel();
    else this.form?.refresh();
    this.judgePanel();
  }

  rebuildPanel() {
    const { state } = this.store;
    const panel = at("panel");
    if (!state.lens || !state.camera || !state.hood) return;
    const sameStep = this.panelKey?.split(" ")[0] === state.step;
    this.panelKey = this.layoutKey(state);
    const held = panel.contains(document.activeElement) ? document.activeElement.id : null;
    const top = sameStep ? panel.scrollTop : 0;
    const box = document.createDocumentFragment();
    const build = {
      lens: () => lensPanel(this.store, box),
      camera: () => cameraPanel(this.store, box, this.formats),
      hood: () => hoodPanel(this.store, box, this.shelf),
      make: () => makePanel(this.store, box, { finished: () => this.design(), lists: this.lists, blocked: () => this.blocked() }),
    }[state.step];
    if (state.step === "make" && !this.lists) this.fetchMaking();
    this.form = build ? build() : null;
    this.general = el("div", { class: "problems", role: "status", hidden: true });
    if (this.form) box.firstElementChild.after(this.general);
    if (build) box.append(onwardRow(STEPS, state.step, (step) => this.store.turn({ step })));
    panel.replaceChildren(box);
    panel.scrollTop = top;
    if (held) at(held)?.focus();
    this.forgetGoneFields();
    this.judgePanel();
  }

  judgePanel() {
    if (!this.form) return;
    const left = this.form.judge(this.problems, this.estimates);
    const unread = [...this.store.unread.values()]
      .filter(({ form, named }) => form !== this.form.name || !this.form.has(named))
      .map(({ form, words, sentence }) => ({ document: form, sentence: `${words}: ${sentence}` }));
    const others = [...unread, ...this.problems.filter((problem) => problem.document !== this.form.name)];
    this.general.hidden = left.length + others.length === 0;
    this.general.replaceChildren(problemList(left, others));
    this.form.follow?.();
  }

  /** Whether nothing can be made or checked yet: something is wrong in a field, whichever sheet it is on. */
  blocked() {
    return this.store.misreading !== null || this.problems.length > 0;
  }

  /** What was typed in a field that is no longer on its sheet is gone with it. */
  forgetGoneFields() {
    for (const { form, named, step } of [...this.store.unread.values()])
      if (this.form && step === this.store.state.step && form === this.form.name && !this.form.has(named))
        this.store.misread(form, named, null);
  }

  // -- preferences, lessons, keeping

  prefer(patch) {
    this.preferences = { ...this.preferences, ...patch };
    savePreferences(this.preferences);
    this.applyPreferences();
    this.form?.refresh();
    this.views.keyOfRim = null;
    this.views.draw();
    this.dials.follow(this.store.state, this.views.answer);
    this.sayVerdict();
    this.look();
    if (this.store.state.step === "choose") this.compareLater();
    this.measuring.again();
  }

  applyPreferences() {
    const { inches, theme } = this.preferences;
    useInches(inches === true);
    if (theme === "light" || theme === "dark") document.documentElement.dataset.theme = theme;
    else delete document.documentElement.dataset.theme;
    forgetColours();
  }

  present(wanted = !("present" in document.documentElement.dataset)) {
    if (wanted) document.documentElement.dataset.present = "";
    else delete document.documentElement.dataset.present;
    at("present").setAttribute("aria-pressed", String(wanted));
    at("present").textContent = wanted ? "End the lesson" : "Lesson";
    if (wanted && !["look", "choose"].includes(this.store.state.step) && this.store.state.lens)
      this.store.turn({ step: "look" });
    else this.views.draw();
  }

  bindKeys() {
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && "present" in document.documentElement.dataset && !this.store.state.stage)
        this.present(false);
      const typing = event.target.matches?.('input[type="text"], textarea');
      if (typing || !(event.ctrlKey || event.metaKey) || event.altKey) return;
      const key = event.key.toLowerCase();
      if (key === "z" && !event.shiftKey) this.store.undo();
      else if (key === "y" || (key === "z" && event.shiftKey)) this.store.redo();
      else return;
      event.preventDefault();
    });
    const themed = () => {
      forgetColours();
      this.views.draw();
      this.measuring.paint();
    };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", themed);
    addEventListener("beforeprint", () => this.onPaper(true));
    addEventListener("afterprint", () => this.onPaper(false));
    addEventListener("pagehide", () => this.store.state.lens && save(this.store.state));
  }

  /** Lay the sheet out as on paper and draw its views at that size; paper is light, whatever the screen is. */
  onPaper(wanted) {
    document.querySelector('link[href$="print.css"]').media = wanted ? "all" : "print";
    document.documentElement.toggleAttribute("data-printing", wanted);
    if (wanted) document.documentElement.dataset.theme = "light";
    else this.applyPreferences();
    forgetColours();
    forgetSizes();
    this.views.draw();
    this.views.solid.paintNow();
  }

  async keep() {
    const { state } = this.store;
    if (!state.lens) return;
    save(state);
    const hash = await toHash(state);
    if (this.store.state === state && location.hash !== hash)
      history.replaceState(null, "", state.step === "start" ? location.pathname : hash);
    document.title = `${state.hood?.name ?? "Hood"} · shadewright bench`;
  }

  toast(words) {
    document.querySelector(".toast")?.remove();
    const toast = el("p", { class: "toast", role: "status" }, words);
    document.body.append(toast);
    setTimeout(() => toast.remove(), 6000);
  }

  lost() {
    if (this.retry) return;
    this.shelf.forget();
    at("trouble").hidden = false;
    at("trouble").textContent =
      "The program behind this page does not answer. Your design is safe here; start shadewright bench again and the page goes on by itself.";
    this.retry = setInterval(async () => {
      try {
        await ask("formats");
      } catch (fault) {
        if (fault instanceof Unreachable) return;
        if (!(fault instanceof Refused)) throw fault;
      }
      this.connected();
      this.fitting.again();
      if (this.starters.length === 0) this.fetchLists();
      this.look();
    }, RETRY);
  }

  connected() {
    clearInterval(this.retry);
    this.retry = null;
    at("trouble").hidden = true;
  }
}

new Bench().start();
