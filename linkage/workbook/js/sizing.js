// The dimensions that the file's size table leaves open, each on a slider between its limits, and
// the targets that they have to meet.

/** @import { SizeRow } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { slider } from "./controls.js";
import { cellsOf, h, tableOf, tell } from "./dom.js";
import { readLength, readPosition } from "./typed.js";
import { fixed, saidLength } from "./wording.js";

export class SizePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const rows = app.state.sizes || [];
    this.rows = app.live ? rows.map((row) => ({ name: row.name, one: this.rowOf(row) })) : [];
    this.list = tableOf("Targets", ["target", "wanted", "found", ""]);
    this.wait = app.waitOf("size");
    this.said = h("p", { class: "lw-note" });
    this.el = h("section", { class: "lw-sizing", "aria-label": "Sizing", hidden: !rows.length },
      h("h3", {}, "Sizing"), ...this.rows.map((r) => r.one.row), this.said, this.wait,
      this.list.table);
  }

  /** @param {SizeRow} row */
  rowOf(row) {
    const { app } = this, { length, typed } = app.head, turns = row.unit === "\u00b0";
    const per = turns ? 1 : length.mm, unit = turns ? "\u00b0" : length.name;
    const control = `size ${row.name}`;
    /** @param {number} v */
    const words = (v) => (turns ? `${fixed(v, 1)}\u00b0` : saidLength(v * per, length));
    const one = app.known(control, slider({ name: row.name, unit, control,
      step: turns ? row.step || 0.5 : row.step ? row.step / per : length.step,
      read: (text) => {
        const got = turns ? readPosition(text, /** @type {any} */ ({ unit, words: ["less", "more"] }),
                                         typed) : readLength(text, length.name, typed);
        return "wrong" in got ? got : { value: got.value / per };
      },
      text: (v) => String(Number(v.toFixed(4))).replace("-", "\u2212"), bound: words, said: words,
      on: (v) => {
        this.held = { name: row.name, value: v * per };
        app.send({ do: "size", name: row.name, value: v * per, where: control }, `size ${row.name}`);
      }, rest: () => app.rested() }));
    one.reach(row.least / per, row.greatest / per);
    return { ...one, show: (/** @type {number} */ mm) => one.show(mm / per) };
  }

  update() {
    const { app } = this, { state } = app, { words } = app.head;
    if (this.held && !app.queue.has(`size ${this.held.name}`) && !app.flying.startsWith("size"))
      this.held = null;
    for (const { name, one } of this.rows) {
      const row = (state.sizes || []).find((r) => r.name === name);
      if (row) one.show(this.held && this.held.name === name ? this.held.value : row.now);
      one.enable(!app.ended());
    }
    const targets = state.targets || [], old = state.busy.includes("targets") || app.before();
    this.list.table.hidden = !targets.length;
    this.list.table.classList.toggle("lw-stale", old);
    this.list.fill(targets.map((t) => cellsOf([t.target, t.wanted,
      old ? `${t.found} (${words.before})` : t.found, t.ok ? words.met : words.missed],
      t.ok ? "" : "lw-missed")));
    const file = state.source || "FILE";
    tell(this.said, app.live ? "Each slider ends at the limits of the file's size table, and moves "
      + `the twin too. Clearance is told by the verdict above. To have them chosen: linkage size ${
        file} --rounded --out sized.toml`
      : `As drawn; a page from disk moves none of ${(state.sizes || []).map((r) => r.name).join(", ")
      }. By hand: linkage open ${file}. To have them chosen: linkage size ${file} --rounded --out `
      + "sized.toml");
  }
}
