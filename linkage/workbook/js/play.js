// The stick runs by itself, and the gap of the chosen pair is drawn against the way it goes.

/** @import { Pair, Position } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { prepared } from "./drawing.js";
import { h, tell } from "./dom.js";
import { ForcePanel } from "./forces.js";
import { saidLength } from "./wording.js";

const STEPS = 180, LASTS = 6000;  // positions of a way, ms that it takes

export class PlayPanel {
  /** @param {App} app @param {{ pair: import("./types.js").InputHead[] | null }} stick */
  constructor(app, stick) {
    this.app = app;
    const { inputs } = app.head;
    this.two = stick.pair;
    /** @type {Pair[]} */
    this.hand = [];
    this.running = 0;
    this.at = 0;
    this.key = "";
    /** @type {object | null} */
    this.of = null;
    /** @type {(number | null)[]} */
    this.gaps = [];
    this.way = h("select", { "aria-label": "Way of the stick", "data-control": "way", onchange: () => {
      this.halt();
      this.at = 0;
      app.schedule();
    } }, ...(this.two ? [h("option", { value: "round" }, "round the edge")] : []),
      ...inputs.map((i) => h("option", { value: i.name }, `along ${i.name}`)),
      ...(this.two ? [h("option", { value: "hand" }, "as drawn by hand")] : []));
    this.button = h("button", { type: "button", class: "lw-play", "data-control": "play",
      "aria-label": "Play", onclick: () => (this.running ? this.halt() : this.begin()) }, "\u25b6");
    this.ghost = h("input", { type: "checkbox", "data-control": "ghosts", onchange: () => {
      app.schedule(); } });
    this.canvas = h("canvas", { role: "img", class: "lw-trace", "data-trace": "gap",
                                "aria-label": "Gap of the chosen pair along the way" });
    this.canvas.addEventListener("pointerdown", (event) => this.drag(event));
    this.canvas.addEventListener("pointermove", (event) => { if (event.buttons) this.drag(event); });
    this.said = h("p", { class: "lw-note", role: "status" });
    this.felt = new ForcePanel(app);
    this.el = h("section", { class: "lw-playing", "aria-label": "Play" },
      h("div", { class: "lw-go" }, this.button, this.way,
        h("label", { class: "lw-check" }, this.ghost, " ghosts")), this.canvas, this.said, this.felt.el);
  }

  /** @param {PointerEvent} event */
  drag(event) {
    const box = this.canvas.getBoundingClientRect();
    this.halt();
    this.at = Math.min(1, Math.max(0, (event.clientX - box.left - 6) / Math.max(1, box.width - 12)));
    this.put();
  }

  // the way in the plane of the map, and how far along it is how much of it
  /** @returns {Position[]} */
  places() {
    const { app, two } = this, { limits } = app, kind = this.way.value, now = app.neutral();
    if (kind === "hand" && two && this.hand.length > 1)
      return spread(this.hand, STEPS).map(([u, v]) => ({ ...now, [two[0].name]: u,
                                                          [two[1].name]: v }));
    if (kind === "round" || kind === "hand") {
      if (!two) return [now];
      const [[l, r], [t, b]] = two.map((i) => limits[i.name]);
      /** @type {Pair[]} */
      const corners = [[r, 0], [r, b], [l, b], [l, t], [r, t], [r, 0]];
      return spread(corners, STEPS).map(([u, v]) => ({ ...now, [two[0].name]: u, [two[1].name]: v }));
    }
    const [low, high] = limits[kind];
    return Array.from({ length: STEPS }, (_, k) => ({ ...now, [kind]: low + (high - low) * k
      / (STEPS - 1) }));
  }

  /** The way on the map. @returns {Pair[]} */
  path() {
    const { two } = this;
    if (!two || !this.running) return [];
    return this.places().map((p) => /** @type {Pair} */ ([p[two[0].name], p[two[1].name]]));
  }

  /** @param {Pair[]} line */
  drawn(line) {
    this.hand = line;
    this.key = "";
    this.app.schedule();
  }

  begin() {
    if (this.at >= 1) this.at = 0;
    if (this.way.value === "hand" && this.hand.length < 2) {
      tell(this.said, "Draw a line on the map with the stick.");
      this.app.stick.drawing = [];
      return;
    }
    const begun = performance.now() - this.at * LASTS, least = this.leastAt();
    let passed = this.at >= least;
    tell(this.button, "\u275a\u275a");
    this.button.setAttribute("aria-label", "Pause");
    const step = () => {
      const t = Math.min(1, (performance.now() - begun) / LASTS);
      this.at = !passed && t >= least ? least : t;
      this.put();
      if (!passed && t >= least) { passed = true; this.halt(); return; }
      if (t < 1) this.running = requestAnimationFrame(step);
      else this.halt();
    };
    this.running = requestAnimationFrame(step);
  }

  stop() { this.halt(); }

  halt() {
    if (!this.running) return;
    cancelAnimationFrame(this.running);
    this.running = 0;
    tell(this.button, "\u25b6");
    this.button.setAttribute("aria-label", "Play");
    this.app.rested();
  }

  put() {
    const places = this.places();
    this.app.move(places[Math.round(this.at * (places.length - 1))]);
  }

  // share of the way at which the chosen pair is nearest; 2 where there is none
  leastAt() {
    let best = -1;
    this.gaps.forEach((g, k) => {
      if (g !== null && (best < 0 || g < /** @type {number} */ (this.gaps[best]))) best = k;
    });
    return best < 0 ? 2 : best / Math.max(1, this.gaps.length - 1);
  }

  /** Positions at which ghosts of the chosen pair stand. @returns {Position[]} */
  ghosts() {
    if (!this.ghost.checked) return [];
    const places = this.places();
    return Array.from({ length: 9 }, (_, k) => places[Math.round(k * (places.length - 1) / 8)]);
  }

  update() {
    const { app } = this, n = app.chosen;
    const key = JSON.stringify([n, this.way.value, app.limits, this.hand.length]);
    const anew = key !== this.key || this.of !== app.poses;
    if (anew) {
      [this.key, this.of] = [key, app.poses];
      this.gaps = n === null ? [] : this.places().map((place) => {
        const near = app.gaps.of(app.poses.at(place), n);
        return near ? near.gap : null;
      });
      const k = this.leastAt() * (this.gaps.length - 1);
      const least = n === null || k > this.gaps.length ? null : this.gaps[Math.round(k)];
      tell(this.said, n === null ? "Choose a pair to see its gap along the way."
        : least === null ? app.head.words.lost
          : `Least along it ${app.saidGap({ gap: least })}, ${app.head.words.sampled}.`);
    }
    this.felt.update(() => this.places(), anew, this.at);
    if (!app.hidden.has(this.canvas)) this.drawTrace();
  }

  drawTrace() {
    const { app, gaps } = this, { pen, width, height } = prepared(this.canvas), look = app.colours();
    const required = app.chosen === null ? 0 : app.head.pairs[app.chosen][2];
    const known = gaps.flatMap((g) => (g === null ? [] : [Math.max(g, 0)]));
    const top = Math.max(required * 1.6, Math.min(Math.max(...known, 1), required * 4 || Infinity));
    /** @param {number} k */
    const x = (k) => 6 + (width - 12) * k / Math.max(1, gaps.length - 1);
    /** @param {number} g */
    const y = (g) => height - 8 - (height - 16) * Math.min(g, top) / top;
    pen.lineWidth = 0.8;
    pen.strokeStyle = look.soft;
    pen.beginPath(); pen.moveTo(6, y(0)); pen.lineTo(width - 6, y(0)); pen.stroke();
    if (required) {
      pen.strokeStyle = look.mark;
      pen.setLineDash([5, 3]);
      pen.beginPath(); pen.moveTo(6, y(required)); pen.lineTo(width - 6, y(required)); pen.stroke();
      pen.setLineDash([]);
      pen.font = `11px ${look.font}`;
      pen.fillStyle = look.soft;
      pen.textAlign = "right";
      pen.textBaseline = "bottom";
      pen.fillText(`${saidLength(required, app.head.length)} required`, width - 6, y(required) - 2);
    }
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1.6;
    pen.beginPath();
    let on = false;
    gaps.forEach((g, k) => {
      if (g !== null) pen[on ? "lineTo" : "moveTo"](x(k), y(Math.max(g, 0)));
      on = g !== null;
    });
    pen.stroke();
    const px = 6 + (width - 12) * Math.min(this.at, 1);
    pen.strokeStyle = look.act;
    pen.beginPath(); pen.moveTo(px, 4); pen.lineTo(px, height - 4); pen.stroke();
  }
}

/** Evenly along a line through some points. @param {Pair[]} line @param {number} count @returns {Pair[]} */
export function spread(line, count) {
  const ends = [0];
  for (let k = 1; k < line.length; k++)
    ends.push(ends[k - 1] + Math.hypot(line[k][0] - line[k - 1][0], line[k][1] - line[k - 1][1]));
  const whole = ends[ends.length - 1] || 1;
  return Array.from({ length: count }, (_, n) => {
    const at = whole * n / Math.max(1, count - 1);
    let k = 1;
    while (k < line.length - 1 && ends[k] < at) k += 1;
    const share = (at - ends[k - 1]) / ((ends[k] - ends[k - 1]) || 1);
    return /** @type {Pair} */ ([0, 1].map((c) => line[k - 1][c] + share * (line[k][c]
      - line[k - 1][c])));
  });
}
