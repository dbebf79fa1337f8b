// The stick: its map, its boxes, what bounds it.

/** @import { InputHead, Limits, Pair, TravelMap, Vector } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { span } from "./charts.js";
import { slider } from "./controls.js";
import { h, newId, tell } from "./dom.js";
import { Field } from "./field.js";
import { drawPad } from "./pad.js";
import { readPosition } from "./typed.js";
import { boxText, saidInput, saidLength } from "./wording.js";

const PAST = 2;  // degrees (mm) that the map shows past all travels
const POINTED = 9;  // dots within which a line of the map is pointed at

/**
 * A slider for positions of an input.
 * @param {App} app
 * @param {InputHead} input
 * @param {{ name: string, control: string, on: (value: number) => void, rest: () => void }} options
 */
export function positionSlider(app, input, options) {
  const { typed, words } = app.head;
  const { per, unit, step } = input, said = (/** @type {number} */ v) =>
    saidInput(input, v * per, words);
  const one = slider({ ...options, unit, step, bound: said, said,
    read: (text) => {
      const got = readPosition(text, input, typed);
      return "wrong" in got ? got : { value: got.value / per };
    },
    text: (v) => boxText(input, v * per), on: (v) => options.on(v * per) });
  return { ...one, show: (/** @type {number} */ to) => one.show(to / per),
    reach: (/** @type {number} */ least, /** @type {number} */ most) =>
      one.reach(least / per, most / per) };
}

export class StickPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const { inputs } = app.head;
    const named = ["roll", "pitch"].flatMap((n) => inputs.filter((i) => i.name === n));
    /** @type {TravelMap | null | undefined} */
    this.shown = undefined;
    this.pair = named.length === 2 ? named : inputs.length > 1 ? inputs.slice(0, 2) : null;
    this.field = this.pair && app.head.pairs.length ? new Field(app, this.pair) : null;
    this.pointed = "";
    /** @type {Pair[] | null} */
    this.drawing = null;
    this.sliders = inputs.map((input) => positionSlider(app, input, {
      name: input.name, control: `stick ${input.name}`,
      on: (v) => app.move({ [input.name]: v }), rest: () => app.rested() }));
    // what a third input moves too can't be drawn without a kernel
    this.still = inputs.filter((input) => input.held && !app.live).map((i) => i.name);
    this.words = app.noteOf("stick");
    this.which = ["this pair", "all pairs"].map((name, n) => h("button", { type: "button",
      "data-control": `map of ${name}`, "aria-pressed": String(n === 1),
      onclick: () => { this.all = n === 1; this.everything = this.all; app.schedule(); } },
      n ? "All pairs" : "This pair"));
    this.all = true;
    this.everything = false;  // asked for although a pair is chosen
    this.el = h("section", { class: "lw-stick", "aria-label": "Stick" },
      h("div", { class: "lw-hd" }, h("h3", {}, "Stick"),
        this.field ? h("div", { class: "lw-seg", role: "group", "aria-label": "Map of" },
                       ...this.which) : null,
        h("button", { type: "button", "data-control": "neutral",
                      onclick: () => this.toNeutral() }, "Neutral")),
      this.pair ? this.padOf(this.pair) : null,
      h("div", { class: "lw-boxes" }, ...this.sliders.map((s) => s.row)), this.words);
    if (this.still.length) this.el.append(h("p", { class: "lw-note" },
      `Held at neutral on a page from disk: ${this.still.join(", ")}.`));
    this.legend = h("ol", { class: "lw-legend", "aria-label": "What bounds the travel" });
    this.mapped = h("p", { class: "lw-note" });
    this.map = h("div", { class: "lw-mapped" }, h("h3", {}, "Travel map"), this.mapped, this.legend);
  }

  toNeutral() {
    for (const one of this.sliders) one.free();
    this.app.move(this.app.neutral());
    this.app.rested();
  }

  /** @param {InputHead[]} pair */
  padOf([across, up]) {
    const { app } = this, hint = newId();
    this.canvas = h("canvas", { role: "img", class: "lw-pad-canvas" });
    const pad = h("div", { class: "lw-pad", tabindex: "0", role: "group", "data-control": "pad",
      "aria-describedby": hint,
      "aria-label": `Stick pad, ${across.name} across, ${across.unit}, and ${up.name} up and `
        + `down, ${up.unit}` },
      this.canvas);
    this.listen(pad, [across, up]);
    pad.addEventListener("keydown", (event) => {
      /** @type {Record<string, Vector>} */
      const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const steps = event.shiftKey ? 50 : 5, way = ways[event.key], at = app.position;
      if (way) this.to({ [across.name]: at[across.name] + way[0] * steps * across.step * across.per,
                         [up.name]: at[up.name] + way[1] * steps * up.step * up.per });
      else if (event.key === "Home") this.to(app.neutral());
      else return;
      event.preventDefault();
      event.stopPropagation();
      app.rested();
    });
    this.key = h("p", { class: "lw-bands", "aria-label": "Least gap" });
    this.under = h("p", { class: "lw-note lw-under", role: "status" });
    return h("div", {}, pad, this.key, this.under, h("p", { class: "lw-hidden", id: hint },
      "Drag, or arrow keys (Shift: ten times as far; Home: neutral). Line: wanted travel. Dashes: "
      + "what the stops leave. Bands: least gap, sampled."));
  }

  /** @param {Record<string, number>} to */
  to(to) {
    for (const one of this.sliders) one.free();
    this.app.move(to);
  }

  /** @param {HTMLElement} pad @param {InputHead[]} pair */
  listen(pad, [across, up]) {
    const { app } = this;
    /** @param {PointerEvent} event @returns {[number, number, number, number] | null} */
    const at = (event) => {
      if (!this.canvas || !this.back) return null;
      const box = this.canvas.getBoundingClientRect();
      const [px, py] = [event.clientX - box.left, event.clientY - box.top];
      return [...this.back(px, py), box.width, box.height];
    };
    /** @param {PointerEvent} event */
    const to = (event) => {
      const place = at(event);
      if (!place) return;
      if (this.drawing) this.drawing.push([place[0], place[1]]);
      this.to({ [across.name]: place[0], [up.name]: place[1] });
    };
    let held = false;
    pad.addEventListener("pointerdown", (event) => {
      held = true;
      pad.setPointerCapture(event.pointerId);
      app.play?.halt();
      to(event);
    });
    pad.addEventListener("pointermove", (event) => {
      if (held) { to(event); return; }
      const place = at(event);
      if (place) this.point(place, [across, up]);
    });
    pad.addEventListener("pointerleave", () => { this.say("", ""); });
    for (const name of ["pointerup", "pointercancel"])
      pad.addEventListener(name, () => {
        if (held) app.rested();
        held = false;
        if (this.drawing) app.play?.drawn(this.drawing);
        this.drawing = null;
      });
  }

  // what is under the pointer: a boundary by its name, else the nearest pair there
  /** @param {[number, number, number, number]} place @param {InputHead[]} pair */
  point([u, v, wide, tall], [across, up]) {
    const { app } = this, map = this.mapNow();
    const range = (/** @type {number[]} */ ends) => ends[1] - ends[0];
    const window = this.window([across, up]);
    const [perU, perV] = [wide / range(window[across.name]), tall / range(window[up.name])];
    for (const [name, line] of Object.entries(map ? map.boundaries : {}))
      if (line.some(([a, b]) => Math.hypot((a - u) * perU, (b - v) * perV) < POINTED)) {
        this.say(`${name}: ${app.found.quiet().has(name) ? "a stop" : "contact"} here`, name);
        return;
      }
    const pose = app.poses.at({ ...app.position, [across.name]: u, [up.name]: v });
    const chosen = this.ofPair();
    const near = chosen === null ? app.gaps.nearest(pose, 1, app.worthALook().filter((n) =>
      app.head.pairs[n][3] !== "stop"))[0] : app.gaps.of(pose, chosen);
    this.say(near ? `${app.pairName(near.pair)}: ${app.saidGap(near)} there`
      : app.head.words.lost, "");
  }

  /** @param {string} text @param {string} name */
  say(text, name) {
    if (this.under) tell(this.under, text);
    if (this.pointed !== name) { this.pointed = name; this.app.schedule(); }
  }

  /** The pair that the map is of; null for all. @returns {number | null} */
  ofPair() { return this.all ? null : this.app.chosen; }

  update() {
    const { app } = this;
    this.sliders.forEach((one, k) => {
      const input = app.head.inputs[k], [low, high] = app.limits[input.name];
      one.reach(low, high);
      one.show(app.position[input.name]);
      one.enable(!this.still.includes(input.name));
    });
    this.all = app.chosen === null || this.everything;
    this.which.forEach((button, n) => {
      button.setAttribute("aria-pressed", String((n === 1) === this.all));
      button.disabled = n === 0 && app.chosen === null;
    });
    if (this.pair && this.canvas) this.updatePad(this.pair, this.canvas);
    this.updateBounds();
  }

  /** @param {InputHead[]} pair @param {HTMLCanvasElement} canvas */
  updatePad([across, up], canvas) {
    const { app, field } = this, { wanted } = app.state, { position, limits } = app;
    const map = this.mapNow();
    const window = this.window([across, up]);
    if (field) field.want(this.ofPair(), window);
    if (!app.hidden.has(canvas))
      this.back = drawPad(canvas, { across, up, position, limits, wanted, map,
        real: this.real(), window, quiet: app.found.quiet(), flags: this.flags([across, up]),
        pointed: this.pointed, path: app.play ? app.play.path() : [],
        words: app.head.words,
        field: field || /** @type {any} */ ({ version: 0 }) }, app.colours());
    canvas.setAttribute("aria-label", `Travel map: stick at ${app.saidPlace()}`);
    if (this.key) this.keyOf(this.key);
  }

  // the map without what a cut made here, or another spacer, has moved away
  /** @returns {TravelMap | null} */
  mapNow() {
    const { app } = this, { map } = app.state;
    if (!map || !app.found.changed()) return map;
    return { ...map, boundaries: Object.fromEntries(Object.entries(map.boundaries).filter(([name]) =>
      !(app.found.moved() && app.found.quiet().has(name)) && !name.split(" | ").some((solid) => app.cuts.has(solid)))) };
  }

  /** @param {HTMLElement} key */
  keyOf(key) {
    const { app } = this, chosen = this.ofPair(), { length } = app.head;
    const required = chosen === null ? 0 : app.head.pairs[chosen][2];
    /** @param {number} n */
    const upTo = (n) => (chosen === null ? ["", "short", "to 2\u00d7", "to 3\u00d7"][n]
      : `to ${saidLength(n * required, length).split(" ")[0].replace(/^0\./, ".")}`);
    const texts = ["touch", upTo(1), upTo(2), upTo(3), "more"];
    if (key.textContent === texts.join("")) return;
    key.replaceChildren(...texts.map((t, n) => h("span", { class: `lw-b${n}` }, t)));
  }

  // what the map shows: all travels, and a little past them
  /** @param {InputHead[]} pair @returns {Limits} */
  window(pair) {
    const { app } = this, real = this.real();
    return Object.fromEntries(pair.map(({ name, axis }) => {
      const [start, end] = span(axis), all = [real, app.limits, app.state.wanted].map((b) => b[name]);
      return [name, [Math.max(start, Math.min(...all.map((b) => b[0])) - PAST),
                     Math.min(end, Math.max(...all.map((b) => b[1])) + PAST)]];
    }));
  }

  // where each end really is: at the first stop of that end, else where it is wanted
  /** @returns {Limits} */
  real() {
    const { app } = this;
    return Object.fromEntries(app.head.inputs.map(({ name }) => [name, [0, 1].map((end) =>
      app.found.endOf(name, end))]));
  }

  // faults of other pairs, where they are
  /** @param {InputHead[]} pair */
  flags([across, up]) {
    const { app } = this;
    return app.found.misses().flatMap((miss) => {
      if (!miss.place || (miss.pair !== null && miss.pair === app.chosen)) return [];
      /** @type {Pair} */
      const at = [miss.place[across.name] || 0, miss.place[up.name] || 0];
      return [{ at, text: miss.short, loud: true }];
    });
  }

  updateBounds() {
    const { app } = this, { map } = app.state;
    if (map !== this.shown) {
      this.shown = map;
      const names = map ? Object.keys(map.boundaries) : [], quiet = app.found.quiet();
      this.legend.replaceChildren(...names.map((n) => h("li", {},
        quiet.has(n) ? `${n} (a stop)` : n)));
    }
    const other = app.found.changed();
    this.map.classList.toggle("lw-stale", Boolean(map && map.old) || app.before() || other);
    const waits = app.waiting("map", "Travel map");
    tell(this.mapped, [waits, !map ? waits ? "" : "Travel map: none."
      : `${(100 * map.usable).toFixed(1)} % of the wanted rectangle is free of contact from `
      + `neutral on${map.old ? " (before the last change)" : other ? " (in the file as it is)" : ""}. `
      + (Object.keys(map.boundaries).length ? "Bounded by:" : "Nothing bounds it.")]
      .filter(Boolean).join(" "));
  }
}
