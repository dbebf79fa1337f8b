// What stands beside the drawing: the stick, limits, spacers and their tables.

/** @import { InputHead, RequiredRow, StopRow, TravelMap, Vector } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { drawPad } from "./charts.js";
import { slider } from "./controls.js";
import { cellsOf, h, newId, scrolled, tableOf, tell } from "./dom.js";
import { readLength, readPosition } from "./typed.js";
import { boxText, fixed, saidInput, saidLength, saidTurn } from "./wording.js";

/**
 * A slider for positions of an input.
 * @param {App} app
 * @param {InputHead} input
 * @param {{ name: string, control: string, on: (value: number) => void, rest: () => void }} options
 */
function positionSlider(app, input, options) {
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
    this.sliders = inputs.map((input) => positionSlider(app, input, {
      name: input.name, control: `stick ${input.name}`,
      on: (v) => app.move({ [input.name]: v }), rest: () => app.rested() }));
    // what a third input moves too can't be drawn without a kernel
    this.still = inputs.filter((input) => input.held && !app.live).map((i) => i.name);
    this.words = app.noteOf("stick");
    this.el = h("section", { class: "lw-stick", "aria-label": "Stick" }, h("h3", {}, "Stick"),
                this.pair ? this.padOf(this.pair) : null, ...this.sliders.map((s) => s.row),
                h("div", { class: "lw-row" }, h("button", { type: "button", "data-control":
                  "neutral", onclick: () => this.toNeutral() }, "Neutral")), this.words);
    if (this.still.length) this.el.append(h("p", { class: "lw-note" },
      `Held at neutral on a page from disk: ${this.still.join(", ")}.`));
    this.legend = h("ol", { class: "lw-legend", "aria-label": "What bounds the travel" });
    this.mapped = h("p", { class: "lw-note" });
    this.map = h("div", { class: "lw-mapped" }, this.mapped, this.legend);
    this.el.append(this.map);
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
    /** @param {Record<string, number>} to */
    const move = (to) => { for (const one of this.sliders) one.free(); app.move(to); };
    this.listen(pad, [across, up], move);
    pad.addEventListener("keydown", (event) => {
      /** @type {Record<string, Vector>} */
      const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const steps = event.shiftKey ? 50 : 5, way = ways[event.key], at = app.position;
      if (way) move({ [across.name]: at[across.name] + way[0] * steps * across.step * across.per,
                      [up.name]: at[up.name] + way[1] * steps * up.step * up.per });
      else if (event.key === "Home") move(app.neutral());
      else return;
      event.preventDefault();
      event.stopPropagation();
      app.rested();
    });
    return h("div", {}, pad, h("p", { class: "lw-note", id: hint },
      "Drag, or arrow keys (Shift: ten times as far; Home: neutral). Line: limits. Dashes: travel in "
      + "the file. Shaded: free of contact from neutral."));
  }

  /**
   * @param {HTMLElement} pad
   * @param {InputHead[]} pair
   * @param {(to: Record<string, number>) => void} move
   */
  listen(pad, [across, up], move) {
    const { app } = this;
    /** @param {PointerEvent} event */
    const to = (event) => {
      if (!this.canvas || !this.back) return;
      const box = this.canvas.getBoundingClientRect();
      const [u, v] = this.back(event.clientX - box.left, event.clientY - box.top);
      move({ [across.name]: u, [up.name]: v });
    };
    let held = false;
    pad.addEventListener("pointerdown", (event) => {
      held = true;
      pad.setPointerCapture(event.pointerId);
      to(event);
    });
    pad.addEventListener("pointermove", (event) => { if (held) to(event); });
    for (const name of ["pointerup", "pointercancel"])
      pad.addEventListener(name, () => { if (held) app.rested(); held = false; });
  }

  update() {
    const { app } = this;
    this.sliders.forEach((one, k) => {
      const input = app.head.inputs[k], [low, high] = app.limits[input.name];
      one.reach(low, high);
      one.show(app.position[input.name]);
      one.enable(!this.still.includes(input.name));
    });
    if (this.pair && this.canvas) this.updatePad(this.pair, this.canvas);
  }

  /** @param {InputHead[]} pair @param {HTMLCanvasElement} canvas */
  updatePad([across, up], canvas) {
    const { app } = this, { map } = app.state, { wanted } = app.state, { position, limits } = app;
    if (!app.hidden.has(canvas))
      this.back = drawPad(canvas, { across, up, position, limits, wanted, map }, app.colours());
    canvas.setAttribute("aria-label", `Travel map: stick at ${app.saidPlace()}`);
    if (map !== this.shown) {
      this.shown = map;
      const names = map ? Object.keys(map.boundaries) : [];
      this.legend.replaceChildren(...names.map((n) => h("li", {}, n)));
    }
    this.map.classList.toggle("lw-stale", Boolean(map && map.old) || app.before());
    const waits = app.waiting("map", "Travel map");
    tell(this.mapped, [waits, !map ? waits ? "" : "Travel map: none."
      : `${(100 * map.usable).toFixed(1)} % of the wanted rectangle is free of contact from `
      + `neutral on${map.old ? " (before the last change)" : ""}. `
      + (Object.keys(map.boundaries).length ? "Bounded by:" : "Nothing bounds it.")]
      .filter(Boolean).join(" "));
  }
}

export class LimitPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.rows = app.head.inputs.flatMap((input) => [0, 1].map((end) => {
      const [start, step, count] = input.axis;
      const control = `limit ${input.name} ${end ? "greatest" : "least"}`;
      const one = app.known(control, positionSlider(app, input, {
        name: `${input.name} limit ${input.words[end]}`, control,
        on: (v) => app.limit(input.name, end, v, control), rest: () => app.rested() }));
      if (end) one.reach(0, start + step * (count - 1));
      else one.reach(start, 0);
      return { one, input, end };
    }));
    this.list = tableOf("Required travels, up to the stops or else these limits",
                        ["surface", "required", "found", ""]);
    this.wait = app.waitOf("limit");
    this.el = h("section", { class: "lw-limits", "aria-label": "Travel limits" },
                h("h3", {}, "Travel limits"), ...this.rows.map((r) => r.one.row), this.wait,
                app.live ? null : h("p", { class: "lw-note" }, "This page works from disk: limits "
                  + "clip the drawing here; travels and proof stand as worked out when it was "
                  + "written."), this.list.table);
  }

  update() {
    const { app } = this, { words } = app.head;
    for (const { one, input, end } of this.rows) {
      one.show(app.limits[input.name][end]);
      one.enable(!app.ended());
    }
    this.list.table.classList.toggle("lw-stale", app.before());
    this.list.fill(app.state.required.map((r) => {
      const { found, how } = this.found(r);
      const ok = found !== null && Math.abs(found - r.required) <= r.within + 1e-9;
      return cellsOf([r.surface, `${r.required}\u00b1${r.within}\u00b0 ${r.word}`,
        found === null ? "\u2013" : `${fixed(found, 2)}\u00b0 ${how}`,
        ok ? words.met : words.missed], ok ? "" : "lw-missed");
    }));
  }

  /**
   * What a surface reaches within the limits, the other inputs at neutral.
   * @param {RequiredRow} r
   * @returns {{ found: number | null, how: string }}
   */
  found(r) {
    const { app } = this, [low, high] = app.limits[r.input] || [0, 0], { words } = app.head;
    const same = app.head.inputs.every(({ name }) => [0, 1].every((end) =>
      app.limits[name][end] === app.state.limits[name][end]));
    if (same && r.found !== null) return { found: r.found, how: words.exact };
    const s = app.head.surfaces.findIndex((surface) => surface.name === r.surface);
    let best = -Infinity;
    for (let n = 0; n <= 60; n++) {
      const at = { ...app.neutral(), [r.input]: low + (high - low) * n / 60 };
      const value = Math.sign(r.value) * app.poses.surface(s, at);
      if (value > best) best = value;
    }
    return { found: best === -Infinity ? null : best, how: words.sampled };
  }
}

export class StopPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.rows = app.state.stops.filter((stop) => stop.on).map((stop) => this.rowOf(stop));
    this.list = tableOf("Stops", ["stop", "reached at", "spacer",
                                  ...app.head.surfaces.map((s) => s.name), "governs"]);
    this.wait = app.waitOf("spacer");
    this.el = h("section", { class: "lw-stops", "aria-label": "Stops and spacers" },
      h("h3", {}, "Stops and spacers"), ...this.rows.map((r) => r.el), this.wait,
      app.live || !this.rows.length ? null : h("p", { class: "lw-note" }, "This page works from "
        + "disk: angles are read from charts worked out when it was written."),
      app.state.stops.length ? scrolled("Stops", this.list.table)
        : h("p", { class: "lw-note" }, "none in the file"));
  }

  /** @param {StopRow} stop */
  rowOf(stop) {
    const { app } = this, { length, typed } = app.head, list = newId();
    const control = `spacer ${stop.name}`, per = length.mm;
    /** @param {number} mm */
    const to = (mm) => app.spacer(stop.name, mm, control);
    const one = app.known(control, slider({ name: control, unit: length.name, control, list,
      step: length.step,
      read: (text) => {
        const got = readLength(text, length.name, typed);
        return "wrong" in got ? got : { value: got.value / per };
      },
      text: (v) => String(Number(v.toFixed(4))), bound: (v) => saidLength(v * per, length),
      on: (v) => to(v * per), rest: () => app.rested(), said: () => this.saidStop(stop.name) }));
    const stock = h("div", { class: "lw-stock", role: "group",
                             "aria-label": `stock for ${stop.name}` }, "stock:",
      ...stop.stock.map((mm) => h("button", { type: "button",
        "aria-label": `${stop.name}: use stock ${saidLength(mm, length)}`,
        "data-control": `stock ${stop.name} ${saidLength(mm, length)}`,
        onclick: () => { one.free(); to(mm); app.rested(); } }, saidLength(mm, length))));
    const marks = h("datalist", { id: list }, ...stop.stock.map((mm) =>
      h("option", { value: Number((mm / per).toFixed(4)) })));
    return { name: stop.name, one, stock,
             el: h("div", { class: "lw-spacer" }, one.row, marks, stock) };
  }

  /** @param {StopRow} stop */
  input(stop) {
    return /** @type {InputHead} */ (this.app.head.inputs.find((i) => i.name === stop.input));
  }

  /** @param {string} name */
  saidStop(name) {
    const { app } = this, stop = app.stopNow(name), input = this.input(stop);
    if (stop.error) return stop.error;
    return stop.angle === null ? "\u2026"
      : `${saidInput(input, stop.angle, app.head.words, 2)} (${stop.how})`;
  }

  update() {
    const { app } = this, { length } = app.head, ended = app.ended();
    for (const { name, one, stock } of this.rows) {
      one.reach(0, app.stopNow(name).most / length.mm);
      one.show(app.spacers[name] / length.mm);
      one.enable(!ended);
      for (const button of stock.querySelectorAll("button")) button.disabled = ended;
    }
    this.list.table.classList.toggle("lw-stale", app.before());
    this.list.fill(app.state.stops.map(({ name }) => this.cells(app.stopNow(name))));
  }

  /** @param {StopRow & { how: string }} stop */
  cells(stop) {
    const { app } = this, { words } = app.head, input = this.input(stop), { angle } = stop;
    const turns = app.head.surfaces.map((surface, s) => angle === null ? "\u2013"
      : saidTurn(stop.how !== words.sampled ? stop.deflections[surface.name]
        : app.poses.surface(s, { ...app.neutral(), [stop.input]: angle }),
        surface.words, "\u00b0", words));
    return [stop.name, stop.error || (angle === null ? "\u2026"
      : `${saidInput(input, angle, words, 2)} ${stop.how}`),
      stop.on ? saidLength(app.spacers[stop.name], app.head.length) : "\u2013", ...turns,
      stop.governs === null ? "\u2026" : stop.governs ? words.governs : `no: ${stop.reason}`];
  }
}
