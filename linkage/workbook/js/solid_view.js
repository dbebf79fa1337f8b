// The mechanism in 3-D: solids and poses of the live view, to turn, to cut open and to point at.

/** @import { Near, Vector } from "./types.js" */
/** @import { Item, Picture, Places, Scene } from "./solid_gl.js" */
/** @import { Camera, Eye } from "./camera.js" */
/** @import { Name, Spot } from "./callout.js" */
/** @typedef {import("./view.js").Workbook} App */

import { Callouts } from "./callout.js";
import { FIELD, axesOf, cameraOf, distanceFor, lookingAlong, placeOn, turned } from "./camera.js";
import { h, newId, tell } from "./dom.js";
import { SIZES, coloursOf } from "./drawing.js";
import { onHands } from "./hands.js";
import { carried } from "./pose.js";
import { fill, itemAt, paint, sceneOn } from "./solid_gl.js";
import { asRows, drawables, middleOf, placed } from "./solid_mesh.js";
import { saidLength } from "./wording.js";

const HOME = { round: 215, up: 20 };  // degrees from the tail over the right
/** @type {Record<string, { round: number, up: number }>} */
const STANDARD = { side: { round: 270, up: 0 }, top: { round: 270, up: 90 },
                   front: { round: 180, up: 0 } };
const PAIR = 115;  // mm about the closest points that a pair is framed with
const TURNING = 260;  // ms of an animated change
const GHOST = -2;  // in place of the index of a solid
const HOT = 14;  // mm about a contact that is red
const NOWHERE = [0, 0, 0, 1e9];

export class SolidPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    /** @type {Eye} */
    this.eye = { ...HOME, near: 1, pan: [0, 0, 0], flat: false };
    this.chosen = "@sticks";
    this.alone = "";  // the part on show by itself
    this.pointed = "";
    /** @type {Vector} */
    this.middle = [0, 0, 0];
    this.fitted = 0;  // distance of the eye that what is looked at fits in, 0 until it is known
    this.turning = 0;
    /** @type {Scene | null | undefined} */
    this.scene = undefined;  // null where the browser draws no 3-D
    /** @type {Item[]} */
    this.items = [];
    /** @type {Camera | null} */
    this.camera = null;
    this.canvas = h("canvas", { tabindex: "0", class: "lw-solid", role: "application",
      "data-view": "solid", "aria-label": "3-D view of the controls: arrow keys turn it, Shift and "
      + "arrow keys move it, plus and minus zoom, Home shows everything again" });
    this.over = h("canvas", { class: "lw-over", "aria-hidden": "true" });
    this.callouts = new Callouts(this.over);
    this.words = h("p", { class: "lw-note lw-from", role: "status" });
    this.place = h("p", { class: "lw-place" });
    this.el = h("div", { class: "lw-solids" }, h("div", { class: "lw-stage" }, this.canvas,
      this.over, this.place), this.words);
    this.tools = this.toolsOf();
    this.listen();
  }

  toolsOf() {
    const pick = newId(), cut = newId();
    this.pick = h("select", { id: pick, "data-control": "look at", onchange: () => {
      if (this.pick) this.look(this.pick.value); } });
    /** @param {string} name @param {string} label @param {() => void} on */
    const button = (name, label, on) => h("button", { type: "button", "data-control": name,
                                                      onclick: on }, label);
    /** @param {string} name @param {string} label @param {boolean} on */
    const check = (name, label, on) => {
      const box = h("input", { type: "checkbox", "data-control": name, checked: on,
                               onchange: () => this.draw() });
      return { box, el: h("label", { class: "lw-check" }, box, ` ${label}`) };
    };
    this.faded = check("fade", "fade", true);
    this.level = check("parallel", "parallel", false);
    this.level.box.addEventListener("change", () => {
      this.eye.flat = this.level?.box.checked || false;
      this.draw();
    });
    this.section = h("select", { id: cut, "data-control": "section",
                                 onchange: () => this.sectioned() },
      ...["whole", "cut at FS", "cut at BL", "cut at WL"].map((t, n) =>
        h("option", { value: n }, t)));
    this.depth = h("input", { type: "range", min: 0, max: 1000, value: 500, hidden: true,
      "aria-label": "where it is cut", "data-control": "section at", oninput: () => this.draw() });
    return h("div", { class: "lw-tools", role: "group", "aria-label": "View" },
      button("show pair", "Pair", () => this.look("@pair")),
      button("show sticks", "Sticks", () => this.look("@sticks")),
      button("show whole", "Whole", () => this.look("")),
      ...Object.keys(STANDARD).map((name) =>
        button(`view ${name}`, name[0].toUpperCase() + name.slice(1),
               () => this.turnTo(STANDARD[name], true))),
      button("view hinge", "Hinge", () => this.alongHinge()),
      h("label", { for: pick, class: "lw-hidden" }, "Look at"), this.pick,
      this.faded.el, this.level.el, h("label", { for: cut, class: "lw-hidden" }, "Section"),
      this.section, this.depth);
  }

  // New shapes are loaded once changes come to rest.
  update() {
    const { poses } = this.app;
    if (this.scene === null) return;
    if (this.scene === undefined) this.start();
    else if (this.poses !== poses) {
      clearTimeout(this.loading);
      this.loading = setTimeout(() => { this.load(); this.draw(); }, this.poses ? 120 : 0);
    }
    if (!this.app.hidden.has(this.canvas)) this.draw();
  }

  start() {
    this.scene = sceneOn(this.canvas);
    if (!this.scene) {
      tell(this.words, "This browser draws no 3-D (WebGL 2 is off); the flat views show the same.");
      return;
    }
    this.load();
    if (this.begun) return;  // begun again after the browser had lost what it drew with
    this.begun = true;
    this.canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    this.canvas.addEventListener("webglcontextrestored", () => {
      this.scene = undefined;
      this.start();
      this.draw();
    });
  }

  load() {
    if (!this.scene || !this.pick) return;
    this.poses = this.app.poses;
    this.items = fill(this.scene, drawables(this.poses.head, this.poses.points));
    const parts = new Set(this.items.filter((item) => !item.still).map((item) => item.part));
    this.pick.replaceChildren(h("option", { value: "" }, "everything"),
      h("option", { value: "@sticks" }, "the sticks"), h("option", { value: "@pair" }, "the pair"),
      ...[...parts].map((part) => h("option", { value: part }, part)));
    if (!this.chosen.startsWith("@") && !parts.has(this.chosen)) this.chosen = "";
    this.pick.value = this.chosen;
    this.fitted = 0;
  }

  stop() { cancelAnimationFrame(this.turning); }

  // what is typed of a new part has to be in the picture
  reframe() {
    this.fitted = 0;
    this.app.schedule();
  }

  /** @param {string} what "" everything, a part, or @sticks or @pair */
  look(what) {
    this.chosen = what;
    if (this.pick) this.pick.value = what;
    [this.eye.near, this.eye.pan, this.fitted] = [1, [0, 0, 0], 0];
    this.draw();
  }

  /** @param {{ round: number, up: number }} to @param {boolean} flat */
  turnTo(to, flat) {
    const from = { round: this.eye.round, up: this.eye.up }, begun = performance.now();
    const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.eye.flat = flat;
    if (this.level) this.level.box.checked = flat;
    cancelAnimationFrame(this.turning);
    const step = () => {
      const t = still ? 1 : Math.min(1, (performance.now() - begun) / TURNING);
      const smooth = t * t * (3 - 2 * t);
      this.eye.round = (turned(from.round, to.round, smooth) + 360) % 360;
      this.eye.up = from.up + (to.up - from.up) * smooth;
      this.fitted = this.eye.near === 1 ? 0 : this.fitted;
      this.draw();
      if (t < 1) this.turning = requestAnimationFrame(step);
    };
    step();
  }

  // along the hinge of what is looked at, or of the chosen pair's surface, else of the first
  alongHinge() {
    const { head, pose } = this.app;
    const surface = head.surfaces.find((s) => s.name === this.alone || s.name === this.chosen)
      || head.surfaces[0];
    if (!surface || !pose) return;
    const rows = pose.bodies[surface.body], [x, y, z] = surface.half;
    const still = [rows[0] * x + rows[1] * y + rows[2] * z, rows[4] * x + rows[5] * y + rows[6] * z,
                   rows[8] * x + rows[9] * y + rows[10] * z];
    this.look(surface.name);
    this.turnTo(lookingAlong(still.map((c) => -c)), true);
  }

  sectioned() {
    if (this.section && this.depth) this.depth.hidden = this.section.value === "0";
    this.draw();
  }

  /** @returns {number[]} plane past which all is cut away */
  plane() {
    const axis = Number(this.section?.value || 0) - 1;
    if (axis < 0) return NOWHERE;
    const near = this.app.chosenNear, share = (Number(this.depth?.value) - 500) / 500;
    const middle = near ? (near.one[axis] + near.two[axis]) / 2 : this.middle[axis];
    const at = middle + share * this.fitted * Math.tan(FIELD / 2) * 1.4, normal = [0, 0, 0];
    const side = this.camera && this.camera.axes[2][axis] < 0 ? -1 : 1;
    normal[axis] = side;
    return [...normal, side * at];
  }

  // paper has only what a canvas keeps: the picture is laid under what is written over it
  onPaper() {
    if (!this.scene || this.el.hidden) return;
    this.draw();
    const pen = /** @type {CanvasRenderingContext2D} */ (this.over.getContext("2d"));
    pen.save();
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.globalCompositeOperation = "destination-over";
    pen.drawImage(this.canvas, 0, 0, this.over.width, this.over.height);
    pen.restore();
  }

  listen() {
    const { canvas } = this;
    canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || !this.key(event.key, event.shiftKey))
        return;
      event.preventDefault();
      event.stopPropagation();
      this.draw();
    });
    onHands(canvas, {
      drag: (x, y, event) => {
        if (event.shiftKey || event.buttons > 1) this.move(x, y);
        else this.turn(-0.4 * x, 0.4 * y);
        this.draw();
      },
      pinch: (by, at, move) => {
        this.zoom(by, at);
        this.move(...move);
        this.draw();
      },
      tap: (at) => {
        const item = this.at(at), part = item ? item.part : "";
        this.alone = part === this.alone ? "" : part;
        this.draw();
      },
      hover: (at) => {
        this.hovering = at;
        if (this.hoverAsked) return;
        this.hoverAsked = requestAnimationFrame(() => {
          this.hoverAsked = 0;
          const item = this.hovering ? this.at(this.hovering) : null;
          const part = item ? item.part : "";
          if (part === this.pointed) return;
          this.pointed = part;
          this.draw();
        });
      } });
  }

  /** @param {string} key @param {boolean} shift */
  key(key, shift) {
    /** @type {Record<string, [number, number]>} */
    const turns = { ArrowLeft: [5, 0], ArrowRight: [-5, 0], ArrowUp: [0, 5], ArrowDown: [0, -5] };
    if (turns[key] && shift) this.move(4 * turns[key][0], -4 * turns[key][1]);
    else if (turns[key]) this.turn(turns[key][0], turns[key][1]);
    else if (key === "+" || key === "=") this.zoom(1.15);
    else if (key === "-") this.zoom(1 / 1.15);
    else if (key === "Escape") this.alone = "";
    else if (key === "Home") {
      this.eye = { ...HOME, near: 1, pan: [0, 0, 0], flat: false };
      if (this.level) this.level.box.checked = false;
      this.alone = "";
      this.look("");
    } else return false;
    return true;
  }

  /** @param {number} round @param {number} up */
  turn(round, up) {
    this.eye.round = (this.eye.round + round + 360) % 360;
    this.eye.up = Math.min(90, Math.max(-90, this.eye.up + up));
  }

  /** Shows a part by itself. @param {string} part */
  isolate(part) {
    this.alone = part;
    this.look(part);
  }

  // dots of the screen
  /** @param {number} x @param {number} y */
  move(x, y) {
    if (!this.camera) return;
    const per = this.camera.across / (this.canvas.clientWidth || 1), [right, up] = this.camera.axes;
    this.eye.pan = this.eye.pan.map((c, i) => c - per * (x * right[i] - y * up[i]));
  }

  // about a place of the canvas, which stays where it is
  /** @param {number} by @param {[number, number]} [at] */
  zoom(by, at) {
    const before = this.eye.near;
    this.eye.near = Math.min(40, Math.max(0.25, before * by));
    if (!at) return;
    const share = 1 - before / this.eye.near;
    this.move(-(at[0] - this.canvas.clientWidth / 2) * share,
              -(at[1] - this.canvas.clientHeight / 2) * share);
  }

  /** @param {[number, number]} place */
  at([x, y]) {
    const ratio = window.devicePixelRatio || 1;
    if (!this.scene || !this.last || !this.camera) return null;
    const item = itemAt(this.scene, this.items, this.last.places, this.last.picture,
                        Math.round(x * ratio), Math.round(this.canvas.height - y * ratio));
    this.app.schedule();  // what was drawn to be read back is drawn over
    return item;
  }

  // Corners of the boxes about what is looked at and about all there is, as they are now.
  /** @param {Places} places @returns {[Vector[], Vector[]]} */
  corners(places) {
    const there = this.items.flatMap((item, k) => {
      const place = places[k];
      if (!place) return [];
      const rows = asRows(place);
      return [{ item, corners: item.corners.map((p) => carried(rows, p[0], p[1], p[2])) }];
    });
    const all = there.flatMap((s) => s.corners), { views } = this.app, near = this.app.chosenNear;
    if (this.chosen === "@pair" && near) {
      const middle = near.one.map((c, i) => (c + near.two[i]) / 2);
      return [[-1, 1].flatMap((x) => [-1, 1].flatMap((y) => [-1, 1].map((z) =>
        [middle[0] + x * PAIR, middle[1] + y * PAIR, middle[2] + z * PAIR]))), all];
    }
    if (this.chosen.startsWith("@")) {
      const driven = views.driven(), { low, high } = views.drawing.boxOf(views.farthest(),
                                                                         (b) => driven.has(b));
      return [Array.from({ length: 8 }, (_, k) => [0, 1, 2].map((i) =>
        ((k >> i) & 1 ? high : low)[i])), all];
    }
    const some = there.filter(({ item }) => item.part === this.chosen).flatMap((s) => s.corners);
    return [some.length ? some : all, all];
  }

  draw() {
    const { canvas, scene, app } = this, { pose } = app, scale = window.devicePixelRatio || 1;
    if (!scene || !pose) return;
    const box = SIZES.get(canvas) || { width: canvas.clientWidth, height: canvas.clientHeight };
    const wide = Math.round(box.width * scale), high = Math.round(box.height * scale);
    if (!wide || !high) return;
    if (canvas.width !== wide || canvas.height !== high)
      [canvas.width, canvas.height, this.fitted] = [wide, high, 0];
    const places = this.placesAt(pose.bodies), sketch = this.app.adding?.sketch();
    const typed = (sketch?.dots || []).map((dot) => dot.at);
    const [corners, all] = this.corners(places).map((some) =>
      (this.items.length || !typed.length ? [...some, ...typed] : aboutAll(typed)));
    if (!this.fitted) {
      this.middle = middleOf(corners);
      this.fitted = distanceFor(corners, this.middle, axesOf(this.eye), wide / high);
    }
    this.camera = cameraOf(this.eye, this.middle, this.fitted / this.eye.near, wide / high, all);
    const picture = this.pictureOf(scale, wide, high);
    const ghosts = this.ghostsOf();
    paint(scene, [...this.items, ...ghosts.items], [...places, ...ghosts.places], picture);
    this.last = { places, picture };
    this.writeOver(picture, places, box.width, box.height);
    if (sketch) this.callouts.sketch(sketch, (p) => placeOn(picture.seen, p, box.width, box.height),
                                     app.colours());
    tell(this.place, this.app.saidPlace());
    this.say(places, this.camera.across);
  }

  /** @param {Float64Array[]} bodies @returns {Places} */
  placesAt(bodies) { return this.items.map((item) => placed(item, bodies)); }

  // what moves of the chosen pair, at places along the way that is played
  ghostsOf() {
    const { app } = this, two = app.chosen === null ? [] : app.head.pairs[app.chosen].slice(0, 2);
    const moving = this.items.filter((item) => !item.still && (two.includes(item.index)
      || (item.part === this.alone && this.alone !== "")));
    /** @type {{ items: Item[], places: Places }} */
    const ghosts = { items: [], places: [] };
    for (const place of moving.length ? app.play.ghosts() : []) {
      const { bodies } = app.poses.at(place);
      for (const item of moving) {
        ghosts.items.push({ ...item, index: GHOST, part: "" });
        ghosts.places.push(placed(item, bodies));
      }
    }
    return ghosts;
  }

  /** @param {number} scale @param {number} wide @param {number} high @returns {Picture} */
  pictureOf(scale, wide, high) {
    const { app } = this, near = app.chosenNear, camera = /** @type {Camera} */ (this.camera);
    const { seen, pull, axes } = camera;
    const hot = near && near.gap <= 1e-6 ? [...near.one.map((c, i) => (c + near.two[i]) / 2), HOT]
      : [0, 0, 0, -1];
    const two = app.chosen === null ? [] : app.head.pairs[app.chosen].slice(0, 2);
    const touching = app.found.touching();
    return { seen, pull, axes, hot, cut: this.plane(), grow: [2.2 * scale / wide, 2.2 * scale / high],
      colours: coloursOf(app.colours()), shade: (item) => this.shade(item, two, touching) };
  }

  /** @param {Item} item @param {unknown[]} two @param {Set<unknown>} touching */
  shade(item, two, touching) {
    if (item.index === GHOST) return { colour: "act", alpha: 0.16 };
    const mine = two.includes(item.index) && item.index >= 0;
    if (this.alone && item.part !== this.alone && !mine)
      return item.still ? null : { colour: "structure", alpha: 0.14 };
    if (mine) return { colour: item.still ? "pick2" : "pick",
                       alpha: item.still && !item.round ? 0.62 : 1 };
    if (item.part === this.chosen || item.part === this.alone) return { colour: "act", alpha: 1 };
    const colour = touching.has(item.index) ? "pick2" : item.still ? "structure"
      : item.ends ? "rod" : "part";
    if (item.still && !item.round) return { colour, alpha: this.faded?.box.checked ? 0.13 : 1 };
    return { colour, alpha: item.part === this.pointed ? 0.99 : 1 };
  }

  /** @param {Picture} picture @param {Places} places @param {number} wide @param {number} tall */
  writeOver(picture, places, wide, tall) {
    const { app } = this, near = app.chosenNear;
    /** @param {Vector} p */
    const on = (p) => /** @type {Spot | null} */ (placeOn(picture.seen, p, wide, tall));
    /** @type {Name[]} */
    const names = [];
    for (const part of new Set([this.pointed, this.alone].filter(Boolean))) {
      const k = this.items.findIndex((item, n) => item.part === part && places[n]);
      const place = k < 0 ? null : places[k];
      if (!place) continue;
      const at = part === this.pointed && this.hovering ? this.hovering
        : on(middleOf(this.items[k].corners.map((p) => carried(asRows(place), p[0], p[1], p[2]))));
      if (at) names.push({ at, text: part, strong: part === this.alone });
    }
    const marks = app.found.marks().filter((m) => m.pair !== app.chosen).flatMap((m) => {
      const spot = on(m.at);
      return spot ? [spot] : [];
    });
    const one = near && on(near.one), two = near && on(near.two);
    const dimension = near && one && two ? this.dimensionOf(near, one, two) : null;
    this.callouts.draw(dimension, marks, names, app.colours());
  }

  /** @param {Near} near @param {Spot} one @param {Spot} two */
  dimensionOf(near, one, two) {
    const { app } = this, [i, j, required, rule] = app.head.pairs[near.pair];
    const touch = near.gap <= 1e-6, free = rule === "stop" || rule === "waived";
    return { one, two, touch, short: !touch && !free && near.gap < required,
             lines: [app.saidGap(near), app.head.solids[i].name, `to ${app.head.solids[j].name}`,
                     free ? rule : `${saidLength(required, app.head.length)} required`] };
  }

  /** @param {Places} places @param {number} across */
  say(places, across) {
    const { round, up } = this.eye, nose = Math.round(Math.abs(round - 180)), rise = Math.round(up);
    const side = nose === 0 ? "the nose" : nose === 180 ? "the tail"
      : `${nose}\u00b0 ${round > 180 ? "left" : "right"} of the nose`;
    const from = Math.abs(rise) === 90 ? `straight ${rise < 0 ? "below" : "above"}`
      : `${side}, ${Math.abs(rise)}\u00b0 ${rise < 0 ? "below" : "above"}`;
    const lost = [...new Set(this.items.filter((_, k) => !places[k]).map((item) => item.part))];
    const unit = this.app.head.length, wide = (across / unit.mm).toFixed(0);
    const what = { "": "everything", "@sticks": "the sticks", "@pair": "the pair" }[this.chosen]
      || this.chosen;
    const sheets = this.app.head.surfaces.some((s) => s.chord === null) ? ", chord" : "";
    const borne = this.app.state.loads?.[this.alone];
    const words = `Seen from ${from}; looking at ${what}, ${wide} ${unit.name} across.`
      + (this.alone ? ` ${this.alone} by itself${borne ? `: ${borne}` : ""}.` : "")
      + (this.app.head.surfaces.length ? ` Span${sheets} of surfaces: not in the file, stand-in.`
        : "")
      + (lost.length ? ` Left out, out of reach at this stick position: ${lost.join(", ")}.` : "");
    clearTimeout(this.telling);  // a reader aloud hears where the view came to rest
    this.telling = setTimeout(() => { tell(this.words, words); }, 150);
  }
}

// corners of a room about a few places, so that one alone is seen from some way off
/** @param {Vector[]} places @returns {Vector[]} */
const aboutAll = (places) => places.flatMap((p) => [-PAIR, PAIR].flatMap((d) => p.map((_, c) =>
  p.map((v, i) => (i === c ? v + d : v)))));
