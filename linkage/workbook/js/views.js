// The flat views and what they are framed on.

/** @import { Box, Mark, Pose } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { h, newId } from "./dom.js";
import { Drawing, VIEWS } from "./drawing.js";

export class Views {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const { head } = app, id = newId(), zoom = newId();
    /** @type {Box | null} */
    this.box = null;
    this.frame = h("select", { id, "data-control": "frame", onchange: () => {
      this.box = null; app.schedule(); } },
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
      return { which, canvas, el: h("figure", { class: `lw-figure lw-figure-${which}` }, canvas,
                                    h("figcaption", {}, VIEWS[which].name)) };
    });
    this.el = h("div", { class: "lw-views" }, ...this.all.map((v) => v.el));
    this.drawing = new Drawing(app.poses);
  }

  // other bodies or shapes
  read() {
    this.drawing = new Drawing(this.app.poses);
    this.box = null;
  }

  /** @param {Pose} pose @param {Mark[]} marks */
  draw(pose, marks) {
    const { app, drawing } = this, look = app.colours(), unit = app.head.length;
    const posed = drawing.posed(pose), frame = this.framed();
    for (const { which, canvas } of this.all) {
      if (!app.hidden.has(canvas))
        drawing.draw(canvas, which, { posed, pose, frame, marks, look, unit });
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
      return middle + side * half * 1.25 / zoom;
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
