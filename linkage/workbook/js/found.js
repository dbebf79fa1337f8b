// What is missed as things stand on the page, where, and what the page has to say of how sure it is.

/** @import { Mark, Missed, Position, RequiredRow } from "./types.js" */
/** @import { Standing } from "./standing.js" */
/** @import { Place } from "./bar.js" */
/** @typedef {import("./view.js").Workbook} App */

import { standingOf } from "./standing.js";
import { saidInput, saidLength } from "./wording.js";

const CLOSE = 3;  // marks that the drawings show
const SAMPLES = 11;  // positions of an input that are sampled
const LOOKED_AT = 40;  // nearest pairs of each, besides those that the file misses
const TURN_TAKEN = 9;  // ms at a time

export class Found {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.key = "";
    /** @type {Map<number, { gap: number, place: Position }>} */
    this.sampled = new Map();
    this.sampledKey = "";
    this.done = false;
    /** @type {Standing | null} */
    this.known = null;
    /** @type {object | null} */
    this.of = null;
    /** @type {object | null} */
    this.quietOf = null;
    /** @type {Set<string>} */
    this.still = new Set();
  }

  stop() { clearTimeout(this.timer); }

  /** @returns {Standing} */
  standing() {
    const { app } = this, { state } = app;
    const key = JSON.stringify([state.serial, state.heard, app.spacers, [...app.cuts], this.sampledKey,
                                this.done, state.verdict?.old, app.before(), state.busy]);
    if (this.known && key === this.key && this.of === state) return this.known;
    [this.key, this.of] = [key, state];
    this.known = app.live ? this.ofKernel() : this.ofFile();
    return this.known;
  }

  /** @returns {Standing} */
  ofKernel() {
    const { verdict, proof, required, busy } = this.app.state;
    const how = !verdict ? "waiting" : verdict.old || busy.includes("verdict") || this.app.before()
      ? "before" : "proven";
    return { missed: verdict ? verdict.missed : [], verdict, proof, required, how, why: "" };
  }

  /** @returns {Standing} */
  ofFile() {
    const { app } = this, { state } = app;
    /** @type {[string, number, number][]} */
    const spacers = state.stops.filter((s) => s.on).map((s) => [s.name, s.thickness,
                                                                app.spacers[s.name]]);
    const faces = new Set(app.head.pairs.flatMap(([i, j, , rule]) => rule === "stop"
      ? [app.head.solids[i].name, app.head.solids[j].name] : []));
    const standing = standingOf(state, spacers, app.cuts, faces);
    if (standing.how !== "sampled") return standing;
    this.sample(JSON.stringify([app.spacers, [...app.cuts]]));
    return { ...standing, missed: [...this.sampled].map(([n, { gap, place }]) =>
      this.missOf(n, gap, place)) };
  }

  /** @param {number} n @param {number} gap @param {Position} place @returns {Missed} */
  missOf(n, gap, place) {
    const { app } = this, { length, words } = app.head, required = app.head.pairs[n][2];
    const where = app.head.inputs.map((i) => saidInput(i, place[i.name], words))
      .filter((t) => t !== words.neutral).join(", ");
    return { kind: "clearance", what: app.pairName(n), where, decided: true,
             text: `${gap <= 1e-6 ? words.contact : saidLength(gap, length)} `
               + `(${saidLength(required, length)} required)` };
  }

  // the pairs short of what is required somewhere in the travel that the stops leave here
  /** @param {string} key */
  sample(key) {
    if (key === this.sampledKey) return;
    [this.sampledKey, this.done] = [key, false];
    const { app } = this, ends = app.head.inputs.slice(0, 2).map(({ name }) =>
      [this.endOf(name, 0), this.endOf(name, 1)]);
    const count = SAMPLES ** ends.length;
    /** @type {Map<number, { gap: number, place: Position }>} */
    const short = new Map();
    const free = app.worthALook().filter((n) => app.head.pairs[n][2] > 0
      && !["stop", "waived"].includes(app.head.pairs[n][3]));
    const known = this.missedInFile();
    let k = 0;
    clearTimeout(this.timer);
    const step = () => {
      const end = performance.now() + TURN_TAKEN;
      for (; k < count && performance.now() < end; k++) {
        const place = { ...app.neutral() };
        ends.forEach(([low, high], n) => {
          const node = n ? Math.floor(k / SAMPLES) : k % SAMPLES;
          place[app.head.inputs[n].name] = low + (high - low) * node / (SAMPLES - 1);
        });
        const pose = app.poses.at(place);
        const own = known.flatMap((n) => app.gaps.of(pose, n) || []);
        for (const near of [...own, ...app.gaps.nearest(pose, LOOKED_AT, free)]) {
          const before = short.get(near.pair);
          if (near.gap < app.head.pairs[near.pair][2] && (!before || near.gap < before.gap))
            short.set(near.pair, { gap: near.gap, place });
        }
      }
      if (k < count) { this.timer = setTimeout(step, 0); return; }
      this.sampled = short;
      this.done = true;
      app.schedule();
    };
    this.timer = setTimeout(step, 80);
  }

  /** Pairs that the file as it stands misses. */
  missedInFile() {
    const { app } = this;
    return (app.state.verdict?.missed || []).filter((m) => m.kind === "clearance")
      .map((m) => app.names.indexOf(m.what)).filter((n) => n >= 0);
  }

  /** Misses with the place to go to. @returns {Place[]} */
  misses() {
    const { app } = this, standing = this.standing();
    return standing.missed.map((miss) => {
      const n = miss.kind === "clearance" ? app.names.indexOf(miss.what) : -1;
      const pair = n < 0 ? null : n, known = n < 0 ? undefined : this.sampled.get(n);
      const short = n < 0 ? miss.what : miss.what.split(" | ").map((t) => t.split("/")[1]).join(", ");
      return { pair, short, miss, place: standing.how === "sampled" && known ? known.place
        : n < 0 ? this.placeOf(miss) : standing.proof?.rows[miss.what]?.place || null };
    });
  }

  // where to go for what is no clearance
  /** @param {Missed} miss @returns {Position | null} */
  placeOf(miss) {
    const { state } = this.app;
    const way = (state.directions || []).find((d) => d.miss && (d.text === miss.text
      || d.text.includes(miss.what)));
    if (miss.kind === "direction" && way) return way.place;
    const row = this.required().find((r) => !r.ok && miss.what.startsWith(r.surface));
    return row && row.at !== null && row.input ? { [row.input]: row.at } : null;
  }

  /** Names of the pairs that are stops. */
  quiet() {
    const { app } = this;
    if (this.quietOf !== app.head) {
      this.quietOf = app.head;
      this.still = new Set(app.names.filter((_, n) => app.head.pairs[n][3] === "stop"));
    }
    return this.still;
  }

  /** Where an end of an input is: at its first stop, else as wanted. @param {string} name @param {number} end */
  endOf(name, end) {
    const { app } = this, side = end ? "greatest" : "least";
    const angles = app.state.stops.filter((s) => s.input === name && s.side === side)
      .flatMap((s) => { const { angle } = app.stopNow(s.name); return angle === null ? [] : [angle]; });
    return angles.length ? (end ? Math.min(...angles) : Math.max(...angles))
      : app.state.limits[name][end];
  }

  /** Whether a stop is the first of its end; null where that is not known. @param {string} name */
  governs(name) {
    const { app } = this, stop = app.state.stops.find((s) => s.name === name);
    const now = app.stopNow(name);
    if (!stop || now.angle === null) return null;
    if (now.governs !== null && this.standing().how === "proven" && !this.moved())
      return now.governs;
    const row = this.row();
    if (row) return row.governs[name] ?? null;
    return Math.abs(now.angle - this.endOf(stop.input, stop.side === "greatest" ? 1 : 0)) < 1e-3;
  }

  moved() {
    const { app } = this;
    return app.state.stops.some((s) => s.on && Math.abs(app.spacers[s.name] - s.thickness) > 1e-9);
  }

  /** Whether a page from disk is changed from its file: what was worked out with it is the file's. */
  changed() { return !this.app.live && (this.moved() || this.app.cuts.size > 0); }

  // the shipped proof of the spacers as they are, if there is one
  row() {
    const { app } = this, { verdict } = this.standing();
    return app.live ? undefined : app.state.stock.find((row) => row.verdict === verdict);
  }

  /** Required travels as things stand here. @returns {RequiredRow[]} */
  required() {
    const { app } = this, { required } = this.standing();
    if (required) return required;
    return app.state.required.map((r) => {
      const s = app.head.surfaces.findIndex((surface) => surface.name === r.surface);
      if (!r.input || s < 0) return r;
      const at = this.endOf(r.input, r.end === "greatest" ? 1 : 0);
      const found = Math.sign(r.value) * app.poses.surface(s, { ...app.neutral(), [r.input]: at });
      return { ...r, at, found, ok: Math.abs(found - r.required) <= r.within + 1e-9 };
    });
  }

  /** What proves what is only sampled here. */
  command() {
    const { app } = this, file = app.state.source || "FILE";
    return `write it into the file, then linkage ${file}`;
  }

  // places in head.solids of those that touch another that they should not
  touching() {
    return new Set(this.app.near.filter((near) => near.gap <= 1e-6
      && this.app.head.pairs[near.pair][3] !== "waived").flatMap(
      (near) => this.app.head.pairs[near.pair].slice(0, 2)));
  }

  /** @returns {Mark[]} */
  marks() {
    /** @type {Mark[]} */
    const found = [];
    for (const near of this.app.near) {
      const [, , required, rule] = this.app.head.pairs[near.pair], touch = near.gap <= 1e-6;
      if (!touch && (rule === "stop" || near.gap >= required)) continue;
      if (found.length === CLOSE) break;
      found.push({ touch, row: found.length, pair: near.pair,
        at: near.one.map((v, c) => (v + near.two[c]) / 2),
        text: `${this.app.pairName(near.pair)}: ${touch ? "touch" : this.app.saidGap(near)}` });
    }
    return found;
  }
}
