// The flat views and what they are framed on.

/** @import { Box, Mark, Pose } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { h, newId, tell } from "./dom.js";
import { Drawing, VIEWS } from "./drawing.js";
import { onHands } from "./hands.js";

export class Views {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const { head } = app, id = newId(), zoom = newId();
    /** @type {Box | null} */
    this.box = null;
    this.off = [0, 0, 0];  // mm that the frame has been moved by hand
    /** @type {Map<string, ReturnType<Drawing["draw"]>>} */
    this.drawn = new Map();
    /** @type {ReturnType<Drawing["posed"]>} */
    this.posed = [];
    this.frame = h("select", { id, "data-control": "frame", onchange: () => {
      [this.box, this.off] = [null, [0, 0, 0]];
      app.schedule();
    } },
      h("option", { value: "sticks" }, "the stick and what rides with it"),
      h("option", { value: "all" }, "the whole system"),
      h("option", { value: "pair" }, "the nearest pair"),
      ...head.bodies.slice(1).map((body, b) => h("option", { value: b + 1 }, body.name)));
    this.zoom = h("input", { id: zoom, type: "range", min: 0.5, max: 8, step: 0.1, value: 1,
                             "aria-valuetext": "1.0 times", "data-control": "zoom" });
    this.zoom.addEventListener("input", () => {
      this.zoom.setAttribute("aria-valuetext", `${Number(this.zoom.value).toFixed(1)} times`);
      app.schedule();
    });
    this.row = h("div", { class: "lw-row" }, h("label", { for: id }, "Frame the drawing on"),
      this.frame, h("label", { for: zoom }, "Zoom"), this.zoom,
      h("span", { class: "lw-key" }, "\u25c7 touching  \u25cb nearer than required  "
        + "+ pivot  \u25e6 rod end"));
    const all = /** @type {(keyof typeof VIEWS)[]} */ (Object.keys(VIEWS));
    this.all = all.map((which) => {
      const canvas = h("canvas", { role: "img", class: `lw-view lw-${which}`, "data-view": which });
      const said = h("figcaption", {}, VIEWS[which].name);
      this.listen(canvas, which, said);
      return { which, canvas, el: h("figure", { class: `lw-figure lw-figure-${which}` }, canvas,
                                    said) };
    });
    this.el = h("div", { class: "lw-views" }, ...this.all.map((v) => v.el));
    this.drawing = new Drawing(app.poses);
  }

  /** @param {HTMLCanvasElement} canvas @param {keyof typeof VIEWS} which @param {HTMLElement} said */
  listen(canvas, which, said) {
    const view = VIEWS[which];
    /** @param {number} x @param {number} y */
    const move = (x, y) => {
      const scale = this.drawn.get(which)?.scale || 1;
      this.off = this.off.map((c, i) => c - (i === view.x ? x / scale : i === view.y ? -y / scale : 0));
      this.app.schedule();
    };
    onHands(canvas, { drag: move, tap: (at) => {
      const name = this.nameAt(which, at);
      this.app.solid.alone = name.split("/")[0];
    }, hover: (at) => {
      const name = at ? this.nameAt(which, at) : "";
      tell(said, name ? `${view.name}: ${name}` : view.name);
    }, pinch: (by, [x, y], [dx, dy]) => {
      const before = Number(this.zoom.value);
      this.zoom.value = String(before * by);
      const share = 1 - before / Number(this.zoom.value);
      move(dx - (x - canvas.clientWidth / 2) * share, dy - (y - canvas.clientHeight / 2) * share);
    } });
  }

  /** @param {string} which @param {[number, number]} place */
  nameAt(which, place) {
    const drawn = this.drawn.get(which);
    return drawn ? this.drawing.nameAt(this.posed, drawn.at, drawn.scale, place) : "";
  }

  // other bodies or shapes
  read() {
    this.drawing = new Drawing(this.app.poses);
    this.box = null;
  }

  /** @param {Pose} pose @param {Mark[]} marks */
  draw(pose, marks) {
    const { app, drawing } = this, look = app.colours(), unit = app.head.length;
    if (this.el.hidden) return;
    const posed = this.posed = drawing.posed(pose), frame = this.framed();
    for (const { which, canvas } of this.all) {
      if (!app.hidden.has(canvas))
        this.drawn.set(which, drawing.draw(canvas, which,
                                           { posed, pose, frame, marks, look, unit }));
      canvas.setAttribute("aria-label", `${VIEWS[which].name}, stick at ${app.saidPlace()}`
        + (marks.length ? `; ${marks.map((m) => m.text).join("; ")}` : "")
        + (pose.reached ? "" : `; ${app.head.words.lost}`));
    }
  }

  /** @returns {Box} */
  framed() {
    const zoom = Number(this.zoom.value);
    const box = this.box = this.frame.value === "pair" || !this.box ? this.boxNow() : this.box;
    /** @param {number} side */
    const spread = (side) => box.low.map((v, c) => {
      const middle = (v + box.high[c]) / 2, half = Math.max((box.high[c] - v) / 2, 20);
      return middle + this.off[c] + side * half * 1.25 / zoom;
    });
    return { low: spread(-1), high: spread(1) };
  }

  /** @returns {Box} */
  boxNow() {
    const on = this.frame.value, { near } = this.app;
    if (on === "pair" && near.length) {
      const { one, two } = near[0];
      return { low: one.map((v, c) => Math.min(v, two[c]) - 60),
               high: one.map((v, c) => Math.max(v, two[c]) + 60) };
    }
    const home = this.farthest(), driven = this.driven();
    if (on === "all") return this.drawing.boxOf(home, (b) => b > 0);
    if (on === "sticks" || on === "pair") return this.drawing.boxOf(home, (b) => driven.has(b));
    return this.drawing.boxOf(home, (b) => b === Number(on));
  }

  // neutral and the ends of each travel, so that what is framed stays in the frame
  farthest() {
    const { app } = this, ends = app.head.inputs.flatMap(({ name, travel }) =>
      travel.map((end) => ({ ...app.neutral(), [name]: end })));
    return [app.neutral(), ...ends].map((place) => app.poses.at(place));
  }

  // bodies that an input moves itself, and those they carry
  driven() {
    const { bodies, driven } = this.app.head, all = new Set(driven);
    bodies.forEach((body, b) => { if (b && all.has(body.on)) all.add(b); });
    return all.size ? all : new Set(bodies.keys());
  }
}
