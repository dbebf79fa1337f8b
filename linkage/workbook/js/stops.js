// Stops as the shop handles them: a row each, its box, its stock, and what comes of it.

/** @import { InputHead, StopRow, Vector } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { slider } from "./controls.js";
import { h, newId, scrolled, tableOf, tell } from "./dom.js";
import { readLength } from "./typed.js";
import { saidInput, saidLength, saidTurn } from "./wording.js";

const APART = 0.5;  // mm within which two seats stand across from each other
const TOLD = 1;  // degrees of a surface that a row of a stop tells

export class StopPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const two = this.sideBySide(app.state.stops.filter((stop) => stop.on));
    this.rows = two.stops.map((stop) => this.rowOf(stop));
    this.list = tableOf("Stops", ["stop", "reached at", "spacer",
                                  ...app.head.surfaces.map((s) => s.name), "governs"]);
    this.wait = app.waitOf("spacer");
    const bare = app.state.stops.filter((stop) => !stop.on).map((s) => s.name);
    this.el = h("section", { class: "lw-stops", "aria-label": "Stops and spacers", id: newId() },
      h("div", { class: "lw-hd" }, h("h3", {}, "Stops and spacers"),
        h("span", {}, bare.length ? `without a spacer: ${bare.join(", ")}` : "")),
      h("div", { class: `lw-spacers${two.heads.length ? " lw-two" : ""}` },
        ...two.heads.map((text) => h("h4", {}, text)), ...this.rows.map((r) => r.el)), this.wait,
      app.live || !this.rows.length ? null : h("p", { class: "lw-note" }, "Angles are read from "
        + "charts worked out when this page was written."),
      app.state.stops.length ? h("details", { class: "lw-table" },
        h("summary", {}, "All stops as a table"), scrolled("Stops", this.list.table))
        : h("p", { class: "lw-note" }, "none in the file"));
  }

  // a stop left of the middle, then the one across from it; in one column where some stand alone
  /** @param {StopRow[]} stops @returns {{ stops: StopRow[], heads: string[] }} */
  sideBySide(stops) {
    const { head } = this.app, seats = stops.map((stop) => this.seatOf(stop));
    const pairs = stops.flatMap((stop, n) => {
      const here = seats[n], k = here[1] < -APART ? seats.findIndex((there, m) => m !== n
        && stops[m].input === stop.input && Math.abs(there[0] - here[0]) < APART
        && Math.abs(there[1] + here[1]) < APART && Math.abs(there[2] - here[2]) < APART) : -1;
      return k < 0 ? [] : [stop, stops[k]];
    });
    if (!pairs.length || new Set(pairs).size !== stops.length) return { stops, heads: [] };
    const grips = head.bodies.filter((b) => b.points.grip).length;
    return { stops: pairs, heads: grips === 2 ? ["Left stick", "Right stick"] : ["Left", "Right"] };
  }

  // a corner of what the spacer sits on, at neutral, mm
  /** @param {StopRow} stop @returns {Vector} */
  seatOf(stop) {
    const { head, poses } = this.app, solid = head.solids.find((s) => s.name === stop.on);
    if (!solid) return [NaN, NaN, NaN];
    const [[first, count]] = solid.pieces, { origin } = head.bodies[solid.carriers[0]];
    return [0, 1, 2].map((c) => origin[c] + Array.from({ length: count }, (_, k) =>
      poses.points[3 * (first + k) + c]).reduce((a, b) => a + b, 0) / count);
  }

  /** @param {StopRow} stop */
  rowOf(stop) {
    const { app } = this, { length, typed } = app.head, list = newId();
    const control = `spacer ${stop.name}`, per = length.mm;
    /** @param {number} mm */
    const to = (mm) => app.spacer(stop.name, mm, control);
    const one = app.known(control, slider({ name: stop.name, unit: length.name, control, list, bare: true,
      step: length.step,
      read: (text) => {
        const got = readLength(text, length.name, typed);
        return "wrong" in got ? got : { value: got.value / per };
      },
      text: (v) => String(Number(v.toFixed(4))), bound: (v) => saidLength(v * per, length),
      on: (v) => to(v * per), rest: () => app.rested(), said: () => this.saidStop(stop.name) }));
    const chips = stop.stock.map((mm) => ({ mm, el: h("button", { type: "button",
      "aria-label": `${stop.name}: use stock ${saidLength(mm, length)}`,
      "data-control": `stock ${stop.name} ${saidLength(mm, length)}`,
      onclick: () => { one.free(); to(mm); app.rested(); } },
      saidLength(mm, length).split(" ")[0].replace(/^0\./, ".")) }));
    const stock = h("div", { class: "lw-stock", role: "group",
                             "aria-label": `stock for ${stop.name}` }, ...chips.map((c) => c.el));
    const marks = h("datalist", { id: list }, ...stop.stock.map((mm) =>
      h("option", { value: Number((mm / per).toFixed(4)) })));
    const gives = h("p", { class: "lw-gives" });
    one.row.append(marks);
    return { name: stop.name, one, chips, gives,
             el: h("div", { class: "lw-spacer" }, one.row, stock, gives) };
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
    for (const { name, one, chips, gives } of this.rows) {
      const stop = app.stopNow(name);
      one.reach(0, stop.most / length.mm);
      one.show(app.spacers[name] / length.mm);
      one.enable(!ended);
      for (const { mm, el } of chips) {
        el.disabled = ended;
        el.setAttribute("aria-pressed", String(Math.abs(mm - app.spacers[name]) < 1e-6));
      }
      const turns = this.turnsOf(stop).filter(([, text]) => Math.abs(parseFloat(text)) >= TOLD);
      const governs = app.found.governs(name);
      tell(gives, [turns.map(([, text]) => text.replace("\u00b0", "")).join(" | "),
                   governs === null ? "" : governs ? app.head.words.governs : "not reached"]
        .filter(Boolean).join(", "));
    }
    this.list.table.classList.toggle("lw-stale", app.before());
    this.list.fill(app.state.stops.map(({ name }) => this.cells(app.stopNow(name))));
  }

  // what each surface does where the stop is reached
  /** @param {StopRow & { how: string }} stop @returns {[string, string][]} */
  turnsOf(stop) {
    const { app } = this, { words } = app.head, { angle } = stop;
    return app.head.surfaces.map((surface, s) => [surface.name, angle === null ? "\u2013"
      : saidTurn(stop.how !== words.sampled ? stop.deflections[surface.name]
        : app.poses.surface(s, { ...app.neutral(), [stop.input]: angle }),
        surface.words, "\u00b0", words)]);
  }

  /** @param {StopRow & { how: string }} stop */
  cells(stop) {
    const { app } = this, { words } = app.head, input = this.input(stop), { angle } = stop;
    return [stop.name, stop.error || (angle === null ? "\u2026"
      : `${saidInput(input, angle, words, 2)} ${stop.how}`),
      stop.on ? saidLength(app.spacers[stop.name], app.head.length) : "\u2013",
      ...this.turnsOf(stop).map(([, text]) => text),
      stop.governs === null ? "\u2026" : stop.governs ? words.governs : `no: ${stop.reason}`];
  }
}
