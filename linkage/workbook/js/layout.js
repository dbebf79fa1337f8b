// Where everything stands: one screen at a desk, one column with the drawing pinned on a bench.

/** @typedef {import("./view.js").Workbook} App */

import { h } from "./dom.js";
import { Keypad } from "./keypad.js";

const BENCH = 640;  // px up to which there is one column
const ICONS = [["stick", "Stick"], ["pair", "Pair"], ["stops", "Stops"], ["surfaces", "Surfaces"]];

/** @param {App} app @param {{ big: HTMLElement }} pair */
export function layOut(app, pair) {
  const { head, views, sections, solid } = app, wide = !(app.root.clientWidth <= BENCH && app.root.clientWidth);
  const flat = h("button", { type: "button", "data-control": "flat views", "aria-pressed": "false",
    onclick: () => {
      views.el.hidden = views.row.hidden = !views.el.hidden;
      solid.el.hidden = !views.el.hidden;
      flat.setAttribute("aria-pressed", String(!views.el.hidden));
      app.schedule();
    } }, "Flat");
  solid.tools.insertBefore(flat, solid.tools.children[3]);
  const { adding } = app;
  if (adding) solid.tools.prepend(h("button", { type: "button", "data-control": "new part",
    onclick: () => adding.toggle() }, "Add a part"));
  views.el.hidden = views.row.hidden = true;
  const tabs = h("nav", { class: "lw-tabs", "aria-label": "Parts of the page" },
    ...ICONS.map(([key, text]) => h("button", { type: "button", "data-control": `tab ${key}`,
      onclick: () => sections[/** @type {keyof typeof sections} */ (key)].scrollIntoView(
        { block: "start" }) }, text)));
  app.root.append(app.bar.el, app.bar.more, app.band, app.note,
    h("div", { class: "lw-screen" },
      h("section", { class: "lw-mech", "aria-label": "Mechanism" }, solid.tools, solid.el,
        views.row, views.el, app.lost),
      pair.big,
      sections.stops,
      h("div", { class: "lw-side" }, sections.stick, sections.play, sections.surfaces),
      h("div", { class: "lw-third" }, sections.pair, app.ways.el), adding && adding.el),
    h("p", { class: "lw-caution" }, h("strong", {}, "Caution. "), head.caution),
    moreOf("Numbers: surfaces, clearance, limits, travel map", wide, "numbers",
           h("div", { class: "lw-numbers" }, app.readout.el, sections.clearance, sections.limits, sections.sizing,
             h("section", { "aria-label": "Travel map" }, app.stick.map))),
    app.live ? moreOf("Parts and saving", wide, "parts",
      h("div", { class: "lw-numbers" }, ...app.kernel.map((k) => k.el))) : "",
    h("p", { class: "lw-note" }, "Worked out apart: loads and margins (linkage loads FILE, notebook "
      + "6); rods, tolerances, play and wires (linkage rig FILE, notebook 7); sizing (linkage size "
      + "FILE, notebook 8); all in one report (linkage FILE --out DIR)."),
    tabs, new Keypad(app).el);
  for (const panel of app.kernel) panel.update(app.state);
}

/** @param {string} title @param {boolean} open @param {string} name @param {Node} what */
function moreOf(title, open, name, what) {
  return h("details", { class: "lw-more", open, "data-more": name }, h("summary", {}, title), what);
}
