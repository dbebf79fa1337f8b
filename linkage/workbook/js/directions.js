// Which way every surface goes: the first thing that a page says.

import { h } from "./dom.js";

/** @typedef {import("./view.js").Workbook} App */

export class DirectionPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.el = h("section", { class: "lw-ways", "aria-label": "Directions", role: "status" });
    /** @type {unknown} */
    this.shown = undefined;
  }

  update() {
    const { directions, busy } = this.app.state, { words } = this.app.head;
    this.el.classList.toggle("lw-stale", this.app.before() || busy.includes("directions"));
    if (this.shown === directions) return;
    this.shown = directions;
    this.el.replaceChildren(h("h3", {}, "Directions"), ...(directions || []).map((way) => h("p",
      { class: way.miss ? "lw-missed" : "lw-note" },
      way.miss ? h("strong", {}, `\u25c6 ${words.missed} `) : "\u2713 ", way.text)));
  }
}
