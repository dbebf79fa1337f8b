// The chosen pair: how near, how near it ever comes, what is asked, and what cures it.

/** @import { Cure, StockRow } from "./types.js" */
/** @import { Place } from "./bar.js" */
/** @typedef {import("./view.js").Workbook} App */

import { focusOn, h, tell } from "./dom.js";
import { rowsKept, saidCost } from "./standing.js";
import { saidLength } from "./wording.js";

const NEAREST = 7;

export class PairPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.key = this.keyCures = this.keyNear = "";
    this.chips = h("div", { class: "lw-which", role: "group", "aria-label": "What is missed" });
    this.name = h("h3", { class: "lw-pairname" });
    /** @type {Record<string, { big: HTMLElement, how: HTMLElement }>} */
    this.cells = {};
    const cells = ["here", "least", "required"].map((key, n) => {
      const big = h("b"), how = h("small");
      this.cells[key] = { big, how };
      return h("div", {}, h("span", {}, ["Gap here", "Least, all travel", "Required"][n]), big, how);
    });
    this.least = h("p", { class: "lw-note" });
    this.there = h("button", { type: "button", "data-control": "go to the least",
                               onclick: () => this.goThere() }, "Go there");
    this.big = h("div", { class: "lw-big", role: "status" });
    this.cures = h("ul", { class: "lw-cures", "aria-label": "What cures it" });
    this.near = h("ul", { class: "lw-nearest", "aria-label": "Nearest here" });
    this.note = app.noteOf("cure");
    this.body = h("div", { class: "lw-pairbody" }, this.name,
      h("div", { class: "lw-three" }, ...cells), h("div", { class: "lw-row" }, this.least, this.there));
    this.el = h("section", { class: "lw-pair", "aria-label": "Pair" }, this.chips,
      this.body, this.cures, this.note, h("h3", {}, "Nearest here"), this.near);
  }

  update() {
    const { app } = this, misses = app.found.misses();
    const key = JSON.stringify([misses.map((m) => [m.miss, m.pair]), app.chosen]);
    if (key !== this.key) {
      this.key = key;
      this.chips.hidden = !misses.length;
      this.chips.replaceChildren(...misses.map((miss, n) => h("button", { type: "button",
        "data-control": `miss ${n + 1}`,
        "aria-pressed": String(miss.pair !== null && miss.pair === app.chosen),
        onclick: () => app.goTo(miss) }, h("i", { "aria-hidden": "true" }, "\u25c6 "),
        h("b", {}, miss.miss.text.split(",")[0].split(" (")[0]), h("span", {}, miss.short))));
    }
    this.body.hidden = app.chosen === null;
    if (app.chosen !== null) this.updatePair(app.chosen);
    this.updateCures();
    this.updateNear();
    this.updateBig(misses);
  }

  /** @param {number} n */
  updatePair(n) {
    const { app } = this, { words, length } = app.head, name = app.pairName(n);
    const [, , required, rule] = app.head.pairs[n], near = app.chosenNear, exact = app.exactNow();
    tell(this.name, name.replace(" | ", " to "));
    const sure = exact && exact.gaps[name] !== undefined;
    const gap = sure ? exact.gaps[name] : near ? near.gap : NaN;
    const { here, least, required: asked } = this.cells, free = rule === "stop" || rule === "waived";
    tell(here.big, gap === null || gap !== gap ? words.lost : gap <= 1e-6 ? words.touch
      : saidLength(gap, length));
    here.big.classList.toggle("lw-bad", !free && gap < required);
    tell(here.how, sure ? words.exact : words.sampled);
    const standing = app.found.standing(), row = standing.proof?.rows[name];
    tell(least.big, row ? row.least <= 0 ? words.touch : saidLength(row.proven, length) : "\u2013");
    least.big.classList.toggle("lw-bad", Boolean(row && !row.ok));
    tell(least.how, row ? `${standing.how === "proven" ? "\u2713 " : ""}${standing.how}`
      : standing.how === "sampled" ? "no proof here" : "far, or under way");
    tell(asked.big, free ? "\u2013" : saidLength(required, length));
    tell(asked.how, rule);
    tell(this.least, row ? `Least at ${row.at}.` : "");
    this.there.hidden = !row;
  }

  goThere() {
    const { app } = this, row = app.chosen === null ? null
      : app.found.standing().proof?.rows[app.pairName(app.chosen)];
    if (row) app.goTo({ pair: app.chosen, place: row.place });
  }

  updateCures() {
    const { app } = this, { state } = app, name = app.chosen === null ? "" : app.pairName(app.chosen);
    const cures = (state.cures || []).filter((c) => c.pairs.some((p) => p.pair === name));
    const stock = (state.stock || []).filter((row) => rowsKept(row, state, name)).slice(0, 3);
    const key = JSON.stringify([name, cures, stock.map((r) => [r.stop, r.thickness]), [...app.cuts],
                                app.ended(), app.spacers]);
    if (key === this.keyCures) return;
    this.keyCures = key;
    const focused = document.activeElement?.getAttribute("data-control");
    this.cures.replaceChildren(...cures.map((c) => this.cutOf(c, name)),
                               ...stock.map((r) => this.stockOf(r)));
    if (focused) focusOn(this.cures, focused);
  }

  /** @param {Cure} cure @param {string} name */
  cutOf(cure, name) {
    const { app } = this, { length } = app.head, on = app.cuts.has(cure.solid);
    const pair = cure.pairs.find((p) => p.pair === name);
    return h("li", { class: "lw-best" }, h("div", {}, h("b", {}, `Cut a relief, ${cure.area}`),
      h("span", {}, `in ${cure.solid}; ${app.live ? "worked out" : "\u2713 proven"}: `
        + `${saidLength(pair ? pair.after : NaN, length)} after, no travel lost`)),
      h("button", { type: "button", "data-control": `cut ${cure.solid}`, disabled: app.ended(),
                    onclick: () => app.cut(cure.solid, !on) }, on ? "Undo" : "Cut it"));
  }

  /** @param {StockRow} row */
  stockOf(row) {
    const { app } = this, { length } = app.head;
    const on = Math.abs(app.spacers[row.stop] - row.thickness) < 1e-9;
    const stop = app.state.stops.find((s) => s.name === row.stop);
    return h("li", {}, h("div", {}, h("b", {}, `${row.stop}: ${saidLength(row.thickness, length)}`),
      h("span", {}, saidCost(row, app.state))),
      h("button", { type: "button", "data-control": `fit ${row.stop} ${saidLength(row.thickness, length)}`,
        onclick: () => app.spacer(row.stop, on && stop ? stop.thickness : row.thickness, "cure") },
        on ? "Undo" : "Fit it"));
  }

  updateNear() {
    const { app } = this, { length, words } = app.head;
    if (!app.pose) return;
    const free = app.worthALook().filter((n) => app.head.pairs[n][2] > 0
      && !["stop", "waived"].includes(app.head.pairs[n][3]));
    const rows = app.gaps.nearest(app.pose, NEAREST, free);
    const key = rows.map((n) => n.pair).join();
    if (key !== this.keyNear) {
      this.keyNear = key;
      this.near.replaceChildren(...rows.map((n) => h("li", {}, h("button", { type: "button",
        onclick: () => app.choose(n.pair) }, h("span", {}, app.pairName(n.pair)), h("b"),
        h("em")))));
    }
    rows.forEach((n, k) => {
      const [, b, em] = /** @type {HTMLButtonElement} */ (this.near.children[k].firstChild).children;
      const required = app.head.pairs[n.pair][2], bad = n.gap < required;
      tell(b, n.gap <= 1e-6 ? words.touch : saidLength(n.gap, length));
      b.className = bad ? "lw-bad" : "";
      tell(em, `${bad ? "\u25c6 " : ""}${saidLength(required, length).split(" ")[0]}`);
    });
  }

  // on a small screen: one thing, at arm's length
  /** @param {Place[]} misses */
  updateBig(misses) {
    const { app } = this, near = app.chosenNear, { length } = app.head;
    const required = near ? app.head.pairs[near.pair][2] : 0, bad = near && near.gap < required;
    const touch = near && near.gap <= 1e-6;
    this.big.className = `lw-big ${bad ? "lw-bad" : ""}`;
    tell(this.big, near ? `${bad ? "\u25c6" : "\u25d0"} ${touch ? app.head.words.touch
      : saidLength(near.gap, length)}: ${app.pairName(near.pair).replace(" | ", " to ")}, `
      + `${saidLength(required, length)} required`
      : misses.length ? `\u25c6 ${misses.length} missed: press it above` : app.saidPlace());
  }
}
