// Surfaces as people see them: each turning in a small picture, its angle beside it.

/** @import { SurfaceHead } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { h, svg, tell } from "./dom.js";
import { saidTurn } from "./wording.js";

const HINGE = 46, REACH = 54;  // dots from the left, and to the trailing edge

/** @param {number} turn degrees @param {number} reach */
const edgeAt = (turn, reach) => {
  const a = turn * Math.PI / 180;
  return `M${HINGE} 29L${HINGE + reach * Math.cos(a)} ${29 + reach * Math.sin(a)}`;
};

export class SurfacePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.rows = app.head.surfaces.map((surface) => this.rowOf(surface));
    this.el = h("section", { class: "lw-pictures", "aria-label": "Surfaces" },
      h("div", { class: "lw-hd" }, h("h3", {}, "Surfaces"), h("span", {}, "at this stick")),
      h("ul", {}, ...this.rows.map((r) => r.el)));
  }

  /** @param {SurfaceHead} surface */
  rowOf(surface) {
    const flap = svg("path", { class: "lw-flap", d: `M${HINGE} 24L${HINGE + REACH} 28.4V29.6L`
      + `${HINGE} 34A5 5 0 0 1 ${HINGE} 24Z` });
    const limits = svg("path", { class: "lw-lims" });
    const picture = svg("svg", { viewBox: "0 0 112 58", class: "lw-picture", "aria-hidden": "true" },
      svg("path", { class: "lw-fix", d: `M6 29C10 21 20 19 ${HINGE - 4} 22V36C20 39 10 37 6 29Z` }),
      svg("path", { class: "lw-neutral", d: `M${HINGE} 29H110` }), limits, flap,
      svg("circle", { class: "lw-pin", cx: HINGE, cy: 29, r: 2.4 }));
    const turn = h("b", {}), asked = h("span", { class: "lw-asked" });
    return { flap, limits, turn, asked, el: h("li", {}, picture, h("div", {},
      h("span", { class: "lw-n" }, surface.name), turn, asked)) };
  }

  update() {
    const { app } = this, exact = app.exactNow(), { words } = app.head;
    app.head.surfaces.forEach((surface, s) => {
      const { flap, limits, turn, asked } = this.rows[s];
      const value = exact ? exact.surfaces[surface.name].deflection
        : app.poses.surface(s, app.position);
      const lost = value === null || value !== value;
      flap.setAttribute("transform", `rotate(${lost ? 0 : value} ${HINGE} 29)`);
      flap.classList.toggle("lw-gone", lost);
      const rows = app.found.required().filter((r) => r.surface === surface.name);
      limits.setAttribute("d", rows.map((r) => edgeAt(r.value, REACH)).join(""));
      const way = lost || Math.abs(/** @type {number} */ (value)) < 0.05 ? ""
        : value > 0 ? " \u25bc" : " \u25b2";
      tell(turn, saidTurn(value, surface.words, "\u00b0", words) + way);
      const sure = app.found.standing().how === "proven" ? "" : ` ${app.found.standing().how}`;
      tell(asked, rows.map((r) => `${r.ok ? sure ? "\u25d0" : "\u2713" : "\u25c6"} ${r.required}`
        + `\u00b1${r.within} ${r.word}${r.ok ? "" : ` ${words.missed}`}`).join(", ") + sure);
      asked.classList.toggle("lw-bad", rows.some((r) => !r.ok));
    });
  }
}
