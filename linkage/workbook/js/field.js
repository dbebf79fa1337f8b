// The least gap at each stick position, sampled in idle moments, and the bands it is shown in.

/** @import { InputHead, Limits, Position } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

const NODES = 25;  // positions along each of the two inputs
const SLICE = 9;  // ms at a time, so that the hand on the stick never waits
const LOOKED = 24;  // nearest pairs of a position among which the scarcest is looked for

/**
 * Which band a share of what is required falls in: touching, short, to twice, to thrice, more.
 * @param {number} ratio gap over what is required
 */
export function bandOf(ratio) {
  if (!(ratio > 1e-6)) return ratio === ratio ? 0 : -1;
  return ratio < 1 ? 1 : ratio < 2 ? 2 : ratio < 3 ? 3 : 4;
}

/**
 * Between four nodes, straight along both ways.
 * @param {Float32Array} values
 * @param {number} count nodes along each way
 * @param {number} u from 0 to count - 1
 * @param {number} v the same, the slower way
 */
export function between(values, count, u, v) {
  const i = Math.min(Math.max(Math.floor(u), 0), count - 2);
  const j = Math.min(Math.max(Math.floor(v), 0), count - 2), f = u - i, g = v - j;
  const at = j * count + i;
  return (values[at] * (1 - f) + values[at + 1] * f) * (1 - g)
    + (values[at + count] * (1 - f) + values[at + count + 1] * f) * g;
}

export class Field {
  /** @param {App} app @param {InputHead[]} pair across, up */
  constructor(app, pair) {
    this.app = app;
    this.pair = pair;
    this.count = NODES;
    this.values = new Float32Array(NODES * NODES).fill(NaN);
    this.key = "";
    /** @type {number | null} */
    this.chosen = null;
    this.done = NODES * NODES;
    this.version = 0;
    /** @type {object | null} */
    this.of = null;
    /** @type {Limits} */
    this.window = {};
  }

  // starts anew when it is of another pair, other shapes or other positions of a third input
  /** @param {number | null} chosen @param {Limits} window what the map shows */
  want(chosen, window) {
    const { app } = this, rest = app.head.inputs.filter((i) => !this.pair.includes(i))
      .map((i) => app.position[i.name]);
    const key = JSON.stringify([chosen, rest, window]);
    if (key === this.key && this.of === app.poses) return;
    this.window = window;
    [this.key, this.of, this.done, this.chosen] = [key, app.poses, 0, chosen];
    this.free = app.worthALook().filter((n) => {
      const [, , required, rule] = app.head.pairs[n];
      return rule !== "stop" && rule !== "waived" && required > 0;
    });
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.step(), 60);
  }

  stop() { clearTimeout(this.timer); }

  /** @param {number} k */
  place(k) {
    /** @type {Position} */
    const place = { ...this.app.position };
    this.pair.forEach(({ name }, n) => {
      const node = n ? Math.floor(k / NODES) : k % NODES, [low, high] = this.window[name];
      place[name] = low + (high - low) * node / (NODES - 1);
    });
    return place;
  }

  /** @param {Position} place */
  ratioAt(place) {
    const { app, chosen } = this, pose = app.poses.at(place);
    if (chosen !== null) {
      const near = app.gaps.of(pose, chosen);
      return near ? near.gap / Math.max(app.head.pairs[chosen][2], 1e-3) : NaN;
    }
    const own = app.found.missedInFile().flatMap((n) => app.gaps.of(pose, n) || []);
    const near = [...own, ...app.gaps.nearest(pose, LOOKED, this.free || [])];
    return near.length ? Math.min(...near.map((n) => n.gap / app.head.pairs[n.pair][2])) : NaN;
  }

  step() {
    const end = performance.now() + SLICE;
    while (this.done < NODES * NODES && performance.now() < end) {
      this.values[this.done] = this.ratioAt(this.place(this.done));
      this.done += 1;
    }
    if (this.done < NODES * NODES) { this.timer = setTimeout(() => this.step(), 0); return; }
    this.version += 1;
    this.app.root.dataset.mapped = String(this.version);
    this.app.schedule();
  }
}
