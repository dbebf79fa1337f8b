// The workbook: one state, drawn once per frame.

import { h, newId, tell } from "./dom.js";
import { Drawing, SIZES, VIEWS, lookOf } from "./drawing.js";
import { Gaps } from "./gaps.js";
import { ClearancePanel, LimitPanel, ReadoutPanel, StickPanel, StopPanel } from "./panels.js";
import { Parts, Saving } from "./parts.js";
import { Poses, readChart } from "./pose.js";
import { SolidPanel } from "./solid_view.js";
import { saidInput, saidLength } from "./wording.js";

const LISTED = 14, CLOSE = 3;

class Workbook {
  constructor(model, el) {
    this.model = model;
    this.live = Boolean(model.get("live"));
    this.queue = new Map();
    this.root = h("div", { class: "lw", role: "region", "aria-label": "Control system workbook" });
    el.append(this.root);
    this.read();
    this.position = { ...this.neutral(), ...model.get("moved_to") };
    this.take(model.get("told"));
    this.sent = this.told.heard;
    this.build();
    this.listen();
    this.schedule();
    this.rested();
  }

  read() {
    const { model } = this;
    this.head = model.get("head");
    this.unit = this.head.unit;
    this.poses = new Poses(this.head, model.get("shapes"), model.get("grid"));
    this.gaps = new Gaps(this.poses, this.gaps);
    this.unread = false;
    this.drawing = new Drawing(this.poses);
    this.names = this.head.pairs.map(([i, j]) =>
      `${this.head.solids[i].name} | ${this.head.solids[j].name}`);
    this.box = null;
    this.near = [];
  }

  take(told) {
    this.told = told;
    this.limits = Object.fromEntries(Object.entries(told.limits).map(([n, t]) => [n, [...t]]));
    this.spacers = Object.fromEntries(told.stops.map((s) => [s.name, s.thickness]));
  }

  neutral() { return Object.fromEntries(this.head.inputs.map((i) => [i.name, 0])); }
  pairName(n) { return this.names[n]; }
  saidGap(near) { return near.gap <= 1e-6 ? "contact" : saidLength(near.gap, this.unit); }
  saidPlace() {
    const moved = this.head.inputs.filter((i) => saidInput(i, this.position[i.name]) !== "neutral")
      .map((i) => saidInput(i, this.position[i.name]));
    return moved.length ? moved.join(", ") : "neutral";
  }

  exactNow() {
    const exact = this.model.get("exact");
    return exact && exact.serial === this.told.serial && this.head.inputs.every((i) =>
      Math.abs((exact.position[i.name] || 0) - this.position[i.name]) < 1e-9) ? exact : null;
  }

  // a stop as it is now: exact when the kernel has answered, else read from its chart
  stopNow(name) {
    const stop = this.told.stops.find((s) => s.name === name), t = this.spacers[name];
    if (Math.abs(t - stop.thickness) < 1e-9)
      return { ...stop, how: stop.angle === null ? "" : "exact" };
    const angle = stop.chart ? readChart(stop.chart, t) : null;
    return { ...stop, angle, how: "sampled", governs: null, error: angle === null && stop.chart
      ? "no contact there" : "" };
  }

  build() {
    this.root.replaceChildren();
    const { head } = this, id = newId(), zoom = newId();
    this.note = h("p", { class: "lw-message", role: "alert" });
    this.frame = h("select", { id, "data-control": "frame", onchange: () => {
      this.box = null; this.schedule(); } },
      h("option", { value: "sticks" }, "the stick and what rides with it"),
      h("option", { value: "all" }, "the whole system"),
      h("option", { value: "pair" }, "the nearest pair"),
      ...head.bodies.slice(1).map((body, b) => h("option", { value: b + 1 }, body.name)));
    this.zoom = h("input", { id: zoom, type: "range", min: 0.5, max: 8, step: 0.1, value: 1,
                             "aria-valuetext": "1.0 times", "data-control": "zoom" });
    this.zoom.addEventListener("input", () => {
      this.zoom.setAttribute("aria-valuetext", `${Number(this.zoom.value).toFixed(1)} times`);
      this.schedule();
    });
    this.views = Object.entries(VIEWS).map(([which, view]) => {
      const canvas = h("canvas", { role: "img", class: `lw-view lw-${which}`, "data-view": which });
      return { which, canvas, el: h("figure", { class: `lw-figure lw-figure-${which}` }, canvas,
                                    h("figcaption", {}, view.name)) };
    });
    this.panels = [StickPanel, LimitPanel, ReadoutPanel, StopPanel, ClearancePanel, SolidPanel]
      .map((Panel) => new Panel(this));
    this.readout = this.panels[2];
    const [stick, limits, readout, stops, clearance, solid] = this.panels;
    this.solid = solid;
    this.kernel = this.live ? [new Parts(this), new Saving(this)] : [];
    this.root.append(
      h("header", { class: "lw-head" }, h("h2", {}, head.title),
        h("p", { class: "lw-caution" }, h("strong", {}, "Caution. "), head.caution)),
      this.note,
      h("div", { class: "lw-main" },
        h("div", { class: "lw-left" }, stick.el, limits.el),
        h("div", { class: "lw-right" },
          h("div", { class: "lw-row" }, h("label", { for: id }, "Frame the drawing on"), this.frame,
            h("label", { for: zoom }, "Zoom"), this.zoom,
            h("span", { class: "lw-key" }, "\u25c7 touching  \u25cb nearer than required  "
              + "+ pivot  \u25e6 rod end")),
          h("div", { class: "lw-views" }, ...this.views.map((v) => v.el)), solid.el,
          readout.el, clearance.el)),
      h("div", { class: "lw-below" }, stops.el,
        this.live ? h("div", {}, ...this.kernel.map((k) => k.el)) : null),
      h("p", {}, "Worked out apart: loads and margins (linkage loads FILE, notebook 6); rods, "
        + "tolerances, play and wires (linkage rig FILE, notebook 7); sizing (linkage size FILE, "
        + "notebook 8); all in one report (linkage FILE --out DIR)."));
    for (const panel of this.kernel) panel.update(this.told);
  }

  listen() {
    const { model } = this;
    this.handlers = [
      ...["head", "shapes", "grid"].map((name) => [`change:${name}`, () => {
        this.unread = true; this.schedule(); }]),
      ["change:told", () => this.heard()],
      ["change:exact", () => this.schedule()],
      ["change:moved_to", () => {
        this.move({ ...this.neutral(), ...model.get("moved_to") });
        this.rested();
      }],
      ["change:message", () => tell(this.note, model.get("message"))]];
    for (const [name, call] of this.handlers) model.on(name, call);
    this.redraw = () => { this.look = null; this.schedule(); };
    this.watch = new ResizeObserver((seen) => {
      for (const { target, contentRect } of seen)
        if (target !== this.root) SIZES.set(target, contentRect);
      this.redraw();
    });
    // what is scrolled out of sight is drawn when it comes into sight
    this.hidden = new Set();
    this.sight = new IntersectionObserver((seen) => {
      for (const { target, isIntersecting } of seen)
        this.hidden[isIntersecting ? "delete" : "add"](target);
      this.schedule();
    });
    this.watch.observe(this.root);
    for (const canvas of this.root.querySelectorAll("canvas")) {
      this.watch.observe(canvas);
      this.sight.observe(canvas);
    }
    this.dark = window.matchMedia("(prefers-color-scheme: dark)");
    this.dark.addEventListener("change", this.redraw);
  }

  close() {
    for (const [name, call] of this.handlers) this.model.off(name, call);
    this.watch.disconnect();
    this.solid.close();
    this.sight.disconnect();
    this.dark.removeEventListener("change", this.redraw);
  }

  // an answer of the kernel: taken as it is, but for what the hand has moved on since
  heard() {
    const told = this.model.get("told"), { limits, spacers } = this, before = this.told.serial;
    this.take(told);
    if (told.heard >= this.sent) this.flying = false;
    if (this.queue.has("limits") || this.flying) this.limits = limits;
    for (const name of Object.keys(spacers))
      if (this.queue.has(`spacer ${name}`) || this.flying) this.spacers[name] = spacers[name];
    this.move({});
    for (const panel of this.kernel) panel.update(told);
    this.flush();
    if (told.serial !== before) this.rested(this.model.get("message"));
  }

  move(to) {
    for (const [name, value] of Object.entries({ ...this.position, ...to })) {
      const [low, high] = this.limits[name];
      this.position[name] = Math.min(Math.max(value, low), high);
    }
    this.schedule();
  }

  limit(name, end, value) {
    const input = this.head.inputs.find((i) => i.name === name), [start, step, count] = input.axis;
    const bounds = end ? [0, start + step * (count - 1)] : [start, 0];
    this.limits[name][end] = Math.min(Math.max(value, bounds[0]), bounds[1]);
    this.move({});
    this.send({ do: "limits", limits: this.limits }, "limits");
  }

  spacer(name, mm) {
    const stop = this.told.stops.find((s) => s.name === name);
    this.spacers[name] = Math.min(Math.max(mm, 0), stop.most);
    this.schedule();
    this.send({ do: "spacers", spacers: { [name]: this.spacers[name] } }, `spacer ${name}`);
  }

  // one request is on its way at a time; of those that wait, the newest of a kind is kept
  send(request, kind) {
    if (!this.live) return;
    this.queue.delete(kind);
    this.queue.set(kind, request);
    this.flush();
  }

  flush() {
    if (this.flying || !this.queue.size) return;
    const [kind, request] = this.queue.entries().next().value;
    this.queue.delete(kind);
    this.sent += 1;
    this.flying = true;
    this.model.send({ ...request, n: this.sent });
  }

  ask(request) {
    this.send(request, `${request.do} ${request.address || ""} ${request.what || ""}`);
  }

  // when input rests, the numbers at this position are asked for, to be quoted
  rested(wrong) {
    tell(this.note, wrong || "");
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      this.readout.say();
      this.send({ do: "exact", position: { ...this.position },
                  pairs: this.near.map((near) => this.pairName(near.pair)) }, "exact");
    }, 120);
  }

  schedule() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => { this.waiting = 0; this.draw(); });
  }

  draw() {
    if (!this.root.isConnected) return;
    if (this.unread) this.read();
    this.look = this.look || lookOf(this.root);
    const pose = this.pose = this.poses.at(this.position);
    this.near = this.gaps.nearest(pose, LISTED, this.worthALook());
    const posed = this.drawing.posed(pose), frame = this.framed(pose), marks = this.marks();
    for (const { which, canvas } of this.views) {
      if (!this.hidden.has(canvas))
        this.drawing.draw(canvas, which, posed, pose, frame, marks, this.look, this.unit);
      canvas.setAttribute("aria-label", `${VIEWS[which].name}, stick at ${this.saidPlace()}`
        + (marks.length ? `; ${marks.map((m) => m.text).join("; ")}` : "")
        + (pose.reached ? "" : "; out of reach"));
    }
    for (const panel of this.panels) panel.update();
    if (!pose.reached) tell(this.note, "Out of reach: a rod does not reach here, so what it "
      + "drives is not drawn.");
    else if (this.note.textContent.startsWith("Out of reach")) tell(this.note, "");
    this.drawn = (this.drawn || 0) + 1;
    this.root.dataset.drawn = this.drawn;
    this.root.dataset.answered = this.told.heard;
  }

  // pairs that the proof hasn't shown to stay far apart in these limits; all while it has none
  worthALook() {
    const { proof } = this.told, sure = proof && this.head.inputs.every(({ name }) =>
      this.limits[name][0] >= proof.limits[name][0] - 1e-9
      && this.limits[name][1] <= proof.limits[name][1] + 1e-9);
    const key = sure ? proof : this.head;
    if (this.looked !== key) {
      this.looked = key;
      this.worth = [...this.head.pairs.keys()].filter((n) => this.head.pairs[n][3] !== "waived"
        && (!sure || proof.rows[this.names[n]]));
    }
    return this.worth;
  }

  // places in head.solids of those that touch another that they should not
  touching() {
    return new Set(this.near.filter((near) => near.gap <= 1e-6
      && this.head.pairs[near.pair][3] !== "waived").flatMap(
      (near) => this.head.pairs[near.pair].slice(0, 2)));
  }

  marks() {
    const found = [];
    for (const near of this.near) {
      const [, , required, rule] = this.head.pairs[near.pair], touch = near.gap <= 1e-6;
      if (!touch && (rule === "stop" || near.gap >= required)) continue;
      if (found.length === CLOSE) break;
      found.push({ touch, row: found.length, at: near.one.map((v, c) => (v + near.two[c]) / 2),
                   text: `${this.pairName(near.pair)}: ${touch ? "touch" : this.saidGap(near)}` });
    }
    return found;
  }

  framed(pose) {
    const on = this.frame.value, zoom = Number(this.zoom.value);
    if (on === "pair" || !this.box) {
      const driven = this.driven();
      const home = this.farthest();
      if (on === "pair" && this.near.length) {
        const { one, two } = this.near[0];
        this.box = { low: one.map((v, c) => Math.min(v, two[c]) - 60),
                     high: one.map((v, c) => Math.max(v, two[c]) + 60) };
      } else if (on === "all") this.box = this.drawing.boxOf(home, (b) => b > 0);
      else if (on === "sticks" || on === "pair")
        this.box = this.drawing.boxOf(home, (b) => driven.has(b));
      else this.box = this.drawing.boxOf(home, (b) => b === Number(on));
    }
    const spread = (side) => this.box.low.map((v, c) => {
      const middle = (v + this.box.high[c]) / 2, half = Math.max((this.box.high[c] - v) / 2, 20);
      return middle + side * half * 1.25 / zoom;
    });
    return { low: spread(-1), high: spread(1) };
  }

  // neutral and the ends of each travel, so that what is framed stays in the frame
  farthest() {
    const ends = this.head.inputs.flatMap(({ name, travel }) =>
      travel.map((end) => ({ ...this.neutral(), [name]: end })));
    return [this.neutral(), ...ends].map((place) => this.poses.at(place));
  }

  // bodies that an input moves itself, and those they carry
  driven() {
    const { bodies } = this.head, found = new Set(this.head.driven);
    bodies.forEach((body, b) => { if (b && found.has(body.on)) found.add(b); });
    return found.size ? found : new Set(bodies.keys());
  }
}

function render({ model, el }) {
  const book = new Workbook(model, el);
  return () => book.close();
}

export default { render };
