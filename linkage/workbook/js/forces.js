// What the hand feels along the way that is played: read from a table that the library worked out.

/** @import { Look, Position } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { prepared } from "./drawing.js";
import { h, tell } from "./dom.js";
import { readTable } from "./pose.js";

const STROKES = [[], [6, 3], [2, 2]], SLIGHT = 0.05;  // of the file's unit of force: nothing to tell

export class ForcePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.canvas = h("canvas", { role: "img", class: "lw-trace lw-force", "data-trace": "force" });
    this.now = h("p", { class: "lw-hand", "data-said": "force" });
    this.against = h("p", { class: "lw-note" });
    this.el = h("div", { class: "lw-felt", hidden: true }, this.now, this.canvas, this.against);
    /** @type {[string, number[]][]} */
    this.curves = [];
    /** @type {object | null | undefined} */
    this.of = null;
  }

  /** Force of each input's grip at a position, + in the input's own sense; NaN where it is not known.
   * @param {Position} position @returns {[string, number][]} */
  at(position) {
    const { forces } = this.app.state;
    return Object.entries(forces ? forces.inputs : {}).map(([name, table]) => {
      const held = table.axes.map(([axis]) => axis);
      const off = Object.entries(position).some(([n, v]) => !held.includes(n) && Math.abs(v) > 1e-9);
      return [name, off ? NaN : readTable(table, position)];
    });
  }

  /** @param {string} name @param {number} force */
  said(name, force) {
    const { app } = this, input = app.head.inputs.find((i) => i.name === name);
    const unit = app.state.forces?.unit || "";
    if (force !== force || !input) return `${name} not known here`;
    if (Math.abs(force) < SLIGHT) return `${name} 0`;
    return `${input.signed ? `${name} ` : ""}${Math.abs(force).toFixed(1)} ${unit} ${
      input.words[force < 0 ? 0 : 1]}`;
  }

  /** @param {() => Position[]} places the way @param {boolean} anew whether it is another one @param {number} share */
  update(places, anew, share) {
    const { app } = this, { forces } = app.state;
    this.el.hidden = !forces;
    if (!forces) return;
    if (anew || this.of !== forces) {
      this.of = forces;
      const each = places().map((place) => this.at(place));
      this.curves = Object.keys(forces.inputs).map((name, n) => [name, each.map((e) => e[n][1])]);
      tell(this.against, `Without friction, against the file's air or springs, ${
        app.head.words.sampled}.`);
    }
    const old = forces.old || app.before();
    tell(this.now, `Hand: ${this.at(app.position).map(([n, f]) => this.said(n, f)).join(", ")}`
      + (old ? ` (${app.head.words.before})` : ""));
    this.el.classList.toggle("lw-stale", old);
    if (!app.hidden.has(this.canvas)) this.draw(app.colours(), share);
  }

  /** @param {Look} look @param {number} share */
  draw(look, share) {
    const { app, curves } = this, { pen, width, height } = prepared(this.canvas);
    const known = curves.flatMap(([, line]) => line.filter((f) => f === f).map(Math.abs));
    const most = Math.max(1, ...known), unit = app.state.forces?.unit || "";
    this.canvas.setAttribute("aria-label", `Hand's force along the way, up to ${
      most.toFixed(1)} ${unit}`);
    const wide = width - 74;
    /** @param {number} k @param {number[]} line */
    const x = (k, line) => 6 + (wide - 6) * k / Math.max(1, line.length - 1);
    /** @param {number} f */
    const y = (f) => height / 2 - (height / 2 - 5) * f / most;
    pen.lineWidth = 0.8;
    pen.strokeStyle = look.soft;
    pen.beginPath(); pen.moveTo(6, y(0)); pen.lineTo(wide, y(0)); pen.stroke();
    pen.font = `11px ${look.font}`;
    pen.textBaseline = "middle";
    let lowest = -Infinity;
    /** @type {[number, string][]} */
    const names = curves.map(([name, line]) => [y(line.findLast((f) => f === f) || 0), name]);
    for (const [at, name] of names.sort((a, b) => a[0] - b[0])) {
      lowest = Math.max(lowest + 12, Math.min(Math.max(at, 6), height - 6 - 12 * (names.length - 1)));
      pen.fillStyle = look.ink;
      pen.fillText(name.length > 10 ? `${name.slice(0, 9)}\u2026` : name, wide + 6, lowest);
    }
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1.4;
    curves.forEach(([, line], n) => {
      pen.setLineDash(STROKES[n % STROKES.length]);
      pen.beginPath();
      let on = false;
      line.forEach((f, k) => {
        if (f === f) pen[on ? "lineTo" : "moveTo"](x(k, line), y(f));
        on = f === f;
      });
      pen.stroke();
    });
    pen.setLineDash([]);
    const px = 6 + (wide - 6) * Math.min(share, 1);
    pen.strokeStyle = look.act;
    pen.beginPath(); pen.moveTo(px, 2); pen.lineTo(px, height - 2); pen.stroke();
  }
}
