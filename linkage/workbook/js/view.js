// The workbook: one state, drawn once per frame.

/** @import { Exact, Look, Model, Near, Pose, Position, Request, State, StopRow }
 *   from "./types.js" */

import { AddPart, FilePanel } from "./add_part.js";
import { Bar } from "./bar.js";
import { Box } from "./controls.js";
import { DirectionPanel } from "./directions.js";
import { h, tell } from "./dom.js";
import { SIZES, lookOf } from "./drawing.js";
import { Found } from "./found.js";
import { Gaps } from "./gaps.js";
import { headOf, limitsOf, namesOf, shapeOf, spacersOf, watchSight } from "./heads.js";
import { layOut } from "./layout.js";
import { LimitPanel } from "./limits.js";
import { Link, SLOW } from "./link.js";
import { PairPanel } from "./pair_panel.js";
import { Parts, Saving } from "./parts.js";
import { PlayPanel } from "./play.js";
import { Poses, readChart } from "./pose.js";
import { ClearancePanel, ReadoutPanel } from "./readouts.js";
import { headWith } from "./reliefs.js";
import { SizePanel } from "./sizing.js";
import { SolidPanel } from "./solid_view.js";
import { StickPanel } from "./stick.js";
import { StopPanel } from "./stops.js";
import { SurfacePanel } from "./surfaces.js";
import { themeOf, watchTheme } from "./theme.js";
import { Views } from "./views.js";
import { saidInput, saidLength, saidTime } from "./wording.js";

const LISTED = 14, TICK = 500;
export class Workbook {
  /** @param {Model} model @param {HTMLElement} el @param {() => void} again makes the page anew */
  constructor(model, el, again) {
    this.model = model;
    this.again = again;
    this.made = shapeOf(headOf(model), model.get("state"));
    this.live = Boolean(model.get("live"));
    /** @type {Map<string, Request & { n?: number }>} */
    this.queue = new Map();
    /** @type {Map<string, Box>} */
    this.boxes = new Map();
    /** @type {Map<string, HTMLElement>} */
    this.notes = new Map();
    /** @type {Map<HTMLElement, string[]>} */
    this.waits = new Map();
    this.flying = "";  // the kind of the request that has no answer yet
    this.unread = false;
    this.drawn = 0;
    this.frameAsked = 0;
    /** @type {Look | null} */
    this.look = null;
    /** @type {Pose | null} */
    this.pose = null;
    /** @type {Near[]} */
    this.near = [];
    this.root = h("div", { class: "lw", role: "region", "aria-label": "Control system workbook" });
    this.root.dataset.theme = themeOf();
    el.append(this.root);
    this.link = this.live ? new Link(model, this.root, () => this.tick()) : null;
    /** @type {Set<string>} */
    this.cuts = new Set();  // solids relieved on a page from disk
    this.head = headOf(model);
    this.poses = new Poses(this.head, model.get("shapes"), model.get("grid"));
    this.gaps = new Gaps(this.poses);
    /** @type {number | null} */
    this.chosen = null;  // pair
    /** @type {Near | null} */
    this.chosenNear = null;
    this.names = namesOf(this.head);
    this.state = model.get("state");
    this.takenAt = performance.now();
    this.limits = limitsOf(this.state);
    this.spacers = spacersOf(this.state);
    this.position = { ...this.neutral(), ...model.get("moved_to") };
    this.sent = this.state.heard;
    /** @type {object | null} */
    this.looked = null;
    this.worth = [...this.head.pairs.keys()];
    this.hidden = new Set();
    this.note = h("p", { class: "lw-message", role: "alert" });
    this.band = h("p", { class: "lw-band", role: "alert" });
    this.lost = this.noteOf("drawing");
    this.found = new Found(this);
    this.views = new Views(this);
    this.solid = new SolidPanel(this);
    this.bar = new Bar(this);
    this.ways = new DirectionPanel(this);
    this.stick = new StickPanel(this);
    this.play = new PlayPanel(this, this.stick);
    this.readout = new ReadoutPanel(this);
    const limits = new LimitPanel(this), stops = new StopPanel(this);
    const clearance = new ClearancePanel(this), pair = new PairPanel(this);
    const surfaces = new SurfacePanel(this), sizing = new SizePanel(this);
    this.panels = [this.bar, this.ways, this.stick, this.play, limits, this.readout, stops,
                   clearance, pair, surfaces, sizing, this.solid];
    this.adding = this.live ? new AddPart(this) : null;
    this.kernel = this.live ? [new Parts(this), new Saving(this), new FilePanel(this)] : [];
    this.sections = { stick: this.stick.el, play: this.play.el, limits: limits.el, stops: stops.el,
      clearance: clearance.el, pair: pair.el, surfaces: surfaces.el, sizing: sizing.el };
    layOut(this, pair);
    this.handlers = this.listen();
    this.watch = this.watchSizes();
    this.sight = watchSight(this.root, this.hidden, () => this.schedule());
    this.unwatch = watchTheme((theme, now) => {
      this.root.dataset.theme = theme;
      this.recolour();
      if (now) { this.hidden.clear(); this.draw(); this.solid.onPaper(); }
    });
    this.ticking = this.live ? setInterval(() => this.tick(), TICK) : undefined;
    this.schedule();
    this.rested();
  }

  read() {
    const head = headOf(this.model), state = this.model.get("state");
    if (!head.inputs.every(({ name }) => state.limits[name])) return;  // its state is on its way
    if (shapeOf(head, state) !== this.made) {
      this.again();
      return;
    }
    const { model } = this, chosen = this.chosen === null ? "" : this.names[this.chosen];
    this.head = headWith(head, this.cuts);
    this.poses = new Poses(this.head, model.get("shapes"), model.get("grid"));
    this.gaps = new Gaps(this.poses, this.gaps);
    this.names = namesOf(this.head);
    this.near = [];
    const at = this.names.indexOf(chosen);
    this.chosen = at < 0 ? null : at;
    this.unread = false;
    this.views.read();
  }

  /** @param {State} state */
  take(state) {
    [this.state, this.takenAt] = [state, performance.now()];
    [this.limits, this.spacers] = [limitsOf(state), spacersOf(state)];
  }

  /** @returns {Position} */
  neutral() { return Object.fromEntries(this.head.inputs.map((i) => [i.name, 0])); }
  /** @param {number} n */
  pairName(n) { return this.names[n]; }
  /** @param {{ gap: number }} near */
  saidGap(near) {
    return near.gap <= 1e-6 ? this.head.words.contact : saidLength(near.gap, this.head.length);
  }

  saidPlace() {
    const { words } = this.head;
    const all = this.head.inputs.map((i) => saidInput(i, this.position[i.name], words));
    return all.filter((said) => said !== words.neutral).join(", ") || words.neutral;
  }

  /** @returns {Exact | null} */
  exactNow() {
    const exact = this.model.get("exact");
    return exact && exact.serial === this.state.serial && !this.before()
      && this.head.inputs.every((i) =>
        Math.abs((exact.position[i.name] || 0) - this.position[i.name]) < 1e-9) ? exact : null;
  }

  // whether what is on show is from before, as no kernel answers now
  before() {
    return Boolean(this.link) && ["silent", "cut", "ended"].includes(this.link?.stand() || "");
  }
  ended() { return this.link?.stand() === "ended"; }

  colours() { return this.look || (this.look = lookOf(this.root)); }

  /**
   * A stop as it is now: exact when the kernel has answered, else read from its chart.
   * @param {string} name
   * @returns {StopRow & { how: string }}
   */
  stopNow(name) {
    const stop = /** @type {StopRow} */ (this.state.stops.find((s) => s.name === name));
    const t = this.spacers[name], { words } = this.head;
    const known = this.before() ? words.before : words.exact;
    if (Math.abs(t - stop.thickness) < 1e-9)
      return { ...stop, how: stop.angle === null ? "" : known };
    const angle = stop.chart ? readChart(stop.chart, t) : null;
    return { ...stop, angle, how: words.sampled, governs: null,
             error: angle === null && stop.chart ? "no contact there" : "" };
  }

  /**
   * A control whose box an answer finds by its name.
   * @template {Box | { box: Box }} Control
   * @param {string} name
   * @param {Control} control
   */
  known(name, control) {
    this.boxes.set(name, control instanceof Box ? control : control.box);
    return control;
  }

  /** A place for what is said about one control. @param {string} name */
  noteOf(name) {
    const note = h("p", { class: "lw-beside", role: "alert" });
    this.notes.set(name, note);
    return note;
  }

  /** A place that says how long an answer to such requests is awaited. @param {...string} kinds */
  waitOf(...kinds) {
    const wait = h("p", { class: "lw-wait", role: "status" });
    this.waits.set(wait, kinds);
    return wait;
  }

  /** @param {string} where @param {string} text @param {boolean} refused */
  say(where, text, refused) {
    const box = this.boxes.get(where);
    if (box) box.say(text, refused);
    else tell(this.notes.get(where) || this.note, text);
  }

  /** @param {number | null} pair */
  choose(pair) {
    this.chosen = pair;
    this.stick.everything = false;
    if (this.solid.chosen === "@pair") this.solid.look("@pair");
    this.schedule();
    this.rested();
  }

  /** @param {Position} place */
  moveTo(place) {
    this.play.halt();
    this.move({ ...this.neutral(), ...place });
    this.rested();
  }

  // the stick goes to the place, the pair is framed and its closest points are marked
  /** @param {{ pair: number | null, place: Position | null }} to */
  goTo({ pair, place }) {
    if (place) this.moveTo(place);
    this.chosen = pair;
    this.stick.everything = false;
    this.schedule();
    if (pair === null) return;
    this.draw();
    this.solid.look("@pair");
    this.root.querySelector(".lw-mech")?.scrollIntoView({ block: "nearest" });
  }

  /** A relief is cut, or put back. @param {string} solid @param {boolean} on */
  cut(solid, on) {
    if (this.live) { this.send({ do: on ? "cut" : "undo", solid, where: "cure" }, "cut"); return; }
    this.cuts[on ? "add" : "delete"](solid);
    this.unread = true;
    this.schedule();
    this.rested();
  }

  listen() {
    const { model } = this, unread = () => { this.unread = true; this.schedule(); };
    /** @type {[string, (...got: any[]) => void][]} */
    const handlers = [
      ["change:head", unread], ["change:shapes", unread], ["change:grid", unread],
      ["change:state", () => this.heard()],
      ["change:exact", () => this.schedule()],
      ["change:moved_to", () => {
        this.move({ ...this.neutral(), ...model.get("moved_to") });
        this.rested();
      }],
      ["change:note", () => this.noted()],
      ["msg:custom", (answer) => this.answered(answer.heard)]];
    for (const [name, call] of handlers) model.on(name, call);
    return handlers;
  }

  watchSizes() {
    const watch = new ResizeObserver((seen) => {
      for (const { target, contentRect } of seen)
        if (target !== this.root) SIZES.set(target, contentRect);
      this.recolour();
    });
    for (const element of [this.root, ...this.root.querySelectorAll("canvas")])
      watch.observe(element);
    return watch;
  }

  recolour() {
    this.look = null;
    this.schedule();
  }

  close() {
    for (const [name, call] of this.handlers) this.model.off(name, call);
    clearInterval(this.ticking);
    this.link?.close();
    for (const seen of [this.watch, this.sight]) seen.disconnect();
    for (const one of [this.solid, this.found, this.stick.field, this.play]) one?.stop();
    this.unwatch();
  }

  // what only time changes: waits, ages, and whether anybody answers
  tick() {
    const { link } = this;
    if (!link) return;
    if (link.due() && document.visibilityState === "visible") this.send({ do: "ping" }, "ping");
    const stand = link.stand(), waited = link.waited() || 0;
    tell(this.band, link.band());
    const old = saidTime(performance.now() - this.takenAt);
    const words = waited < SLOW ? "" : `Being worked out for ${saidTime(waited)}; what is shown is `
      + `from before, ${old} old.`;
    for (const [wait, kinds] of this.waits)
      tell(wait, stand === "ended" ? `From before, ${old} old: ${link.why()}; run the cell again.`
        : kinds.some((kind) => this.flying.startsWith(kind)) ? words : "");
    if (this.root.dataset.link !== stand) {
      this.root.dataset.link = stand;
      for (const panel of [...this.kernel, this.adding]) panel?.enable();
    }
    if (stand !== "ready" || this.state.busy.length) this.schedule();
  }

  /**
   * How long one of the slow answers is worked out, and how old the one on show is; "" when it is
   * up to date.
   * @param {string} phase
   * @param {string} name
   */
  waiting(phase, name) {
    const { ages, busy, failed } = this.state, since = performance.now() - this.takenAt;
    const old = ages[phase] === undefined ? ""
      : ` The one on show is ${saidTime(1000 * ages[phase] + since)} old.`;
    if (this.ended())
      return busy.includes(phase) ? `${name}: the kernel ended before it was worked out.`
        : `${name}: from before the kernel ended.${old}`;
    if (failed && this.state[/** @type {"proof" | "map"} */ (phase)]?.old !== false)
      return `${name}: not worked out, ${failed}.`;
    if (!busy.includes(phase)) return "";
    const begun = 1000 * (ages.begun || 0) + since;
    return `${name}: being worked out\u2026${begun >= SLOW ? ` ${saidTime(begun)} so far.` : ""}`
      + (begun >= SLOW ? old : "");
  }

  // an answer of the kernel: taken as it is, but for what the hand has moved on since
  heard() {
    const state = this.model.get("state"), { limits, spacers } = this;
    if (shapeOf(headOf(this.model), state) !== this.made) {
      this.unread = true;
      this.schedule();
      return;
    }
    const before = this.state.serial;
    this.take(state);
    this.answered(state.heard);
    if (this.queue.has("limits") || this.flying) this.limits = limits;
    for (const name of Object.keys(spacers))
      if (this.queue.has(`spacer ${name}`) || this.flying) this.spacers[name] = spacers[name];
    this.move({});
    for (const panel of this.kernel) panel.update(state);
    this.flush();
    if (state.serial !== before) this.rested();
  }

  /** @param {number} heard */
  answered(heard) {
    if (!(heard >= this.sent)) return;
    this.flying = "";
    this.link?.answered();
    this.flush();
    this.tick();
  }

  // what the kernel says about a request, beside the control that it is about
  noted() {
    const { where = "", text = "", refused = false } = this.model.get("note");
    this.say(where, text, refused);
  }

  /** @param {Position} to */
  move(to) {
    for (const [name, value] of Object.entries({ ...this.position, ...to })) {
      const [low, high] = this.limits[name];
      this.position[name] = Math.min(Math.max(value, low), high);
    }
    this.schedule();
  }

  /** @param {string} name @param {number} end @param {number} value @param {string} where */
  limit(name, end, value, where) {
    const at = this.position[name];
    this.limits[name][end] = value;
    this.move({});
    const input = this.head.inputs.find((i) => i.name === name);
    if (input && this.position[name] !== at)
      this.say(where, "the stick has moved with it, to "
        + saidInput(input, this.position[name], this.head.words), false);
    this.send({ do: "limits", limits: this.limits, where }, "limits");
  }

  /** @param {string} name @param {number} mm @param {string} where */
  spacer(name, mm, where) {
    this.spacers[name] = mm;
    this.schedule();
    this.send({ do: "spacers", spacers: { [name]: mm }, where }, `spacer ${name}`);
  }

  /**
   * One request is on its way at a time; of those that wait, the newest of a kind is kept.
   * @param {Request} request
   * @param {string} kind
   */
  send(request, kind) {
    if (!this.live) return;
    this.queue.delete(kind);
    this.queue.set(kind, request);
    this.flush();
  }

  flush() {
    const next = this.queue.entries().next().value;
    if (this.flying || !next || this.ended()) return;
    const [kind, request] = next;
    this.queue.delete(kind);
    this.sent += 1;
    this.flying = kind;
    this.link?.asked();
    this.model.send({ ...request, n: this.sent });
  }

  /** Asks, and gives the number that the answer will have. @param {Request} request */
  ask(request) {
    const number = this.sent + 1 + this.queue.size;
    this.send(request, `${request.do} ${request.address || ""} ${request.what || ""}`);
    return number;
  }

  // when input rests, the numbers at this position are asked for, to be quoted
  rested() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      this.readout.say();
      this.send({ do: "exact", position: { ...this.position }, where: "stick",
                  pairs: [...new Set([...this.near.map((near) => near.pair),
                                      ...(this.chosen === null ? [] : [this.chosen])])]
                    .map((n) => this.pairName(n)) }, "exact");
    }, 120);
  }

  schedule() {
    if (this.frameAsked) return;
    this.frameAsked = requestAnimationFrame(() => { this.frameAsked = 0; this.draw(); });
  }

  draw() {
    if (!this.root.isConnected) return;
    if (this.unread) this.read();
    if (this.unread || !this.root.isConnected) return;  // not yet, or made anew
    const pose = this.pose = this.poses.at(this.position);
    this.near = this.gaps.nearest(pose, LISTED, this.worthALook());
    this.chosenNear = this.chosen === null ? null : this.gaps.of(pose, this.chosen);
    this.views.draw(pose, this.found.marks());
    for (const panel of this.panels) panel.update();
    tell(this.lost, pose.reached ? "" : "Out of reach: a rod does not reach here, so what it "
      + "drives is not drawn.");
    this.drawn += 1;
    this.root.dataset.drawn = String(this.drawn);
    this.root.dataset.answered = String(this.state.heard);
  }

  // pairs that the proof hasn't shown to stay far apart in these limits; all while it has none
  worthALook() {
    const { proof } = this.state, sure = proof && !proof.old && this.head.inputs.every(({ name }) =>
      this.limits[name][0] >= proof.limits[name][0] - 1e-9
      && this.limits[name][1] <= proof.limits[name][1] + 1e-9);
    const key = sure ? proof : this.head;
    if (this.looked !== key) {
      this.looked = key;
      this.worth = [...this.head.pairs.keys()].filter((n) => this.head.pairs[n][3] !== "waived"
        && (!sure || proof.rows[this.names[n]]));
    }
    return this.worth;
  }
}

/** @param {{ model: Model, el: HTMLElement }} place */
function render({ model, el }) {
  /** @type {Workbook} */
  let book;
  const make = () => { book = new Workbook(model, el, again); };
  const again = () => {
    const { position, adding } = book, kind = adding?.held();
    book.close();
    book.root.remove();
    make();
    if (kind) book.adding?.goOn(kind);
    book.move(Object.fromEntries(Object.entries(position).filter(([n]) => n in book.limits)));
  };
  make();
  return () => book.close();
}

export default { render };
