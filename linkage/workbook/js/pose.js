// Where everything is at a stick position, from the grid the page was given (format 4, see
// payload.py): a cubic through the nearest four positions, a straight line beside a NaN, and
// nothing at all across one.

/** @import { Axis, Head, Pair, Pose, Position, Vector } from "./types.js" */

/** @type {Pair[]} */
const ALONE = [[0, 1]];

/** @param {string | DataView} data */
function floatsOf(data) {
  if (typeof data === "string") {
    const text = atob(data), bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    return new Float32Array(bytes.buffer);
  }
  // a buffer from the kernel may begin anywhere: only a copy is sure to be aligned
  return new Float32Array(data.buffer.slice(data.byteOffset, data.byteOffset + data.byteLength));
}

/** @param {Axis} axis @param {number} x @returns {{ cubic: Pair[], straight: Pair[] }} */
function stencil([start, step, count], x) {
  if (count === 1) return { cubic: [[0, 1]], straight: [[0, 1]] };
  const u = Math.min(Math.max((x - start) / step, 0), count - 1);
  const i = Math.min(Math.floor(u), count - 2), f = u - i;
  /** @type {Pair[]} */
  const all = [[i, 1 - f], [i + 1, f]], straight = all.filter((n) => n[1] !== 0);
  if (count < 4) return { cubic: straight, straight };
  const first = Math.min(Math.max(i - 1, 0), count - 4);
  /** @type {Pair[]} */
  const cubic = [];
  for (let a = 0; a < 4; a++) {
    let weight = 1;
    for (let b = 0; b < 4; b++) if (b !== a) weight *= (u - first - b) / (a - b);
    if (weight !== 0) cubic.push([first + a, weight]);
  }
  return { cubic, straight };
}

/**
 * @param {Float32Array | Float64Array} grid
 * @param {number} at first of its numbers
 * @param {number} width numbers per position
 * @param {Pair[][]} nodes [position, weight] along each axis
 * @param {number[]} counts positions along each axis
 * @param {Float64Array} out
 */
function mixed(grid, at, width, nodes, counts, out) {
  for (let c = 0; c < width; c++) out[c] = 0;
  const [rows = ALONE, columns = ALONE] = nodes, across = counts[1] || 1;
  for (const [i, wi] of rows) for (const [j, wj] of columns) {
    const from = at + (i * across + j) * width, weight = wi * wj;
    for (let c = 0; c < width; c++) out[c] += weight * grid[from + c];
  }
  return out[0] === out[0];
}

export class Poses {
  /** @param {Head} head @param {string | DataView} shapes @param {string | DataView} grid */
  constructor(head, shapes, grid) {
    this.head = head;
    this.points = floatsOf(shapes);
    this.grid = floatsOf(grid);
    this.scratch = new Float64Array(1);
  }

  /** @param {Position} position */
  stencils(position) {
    return this.head.inputs.map((input) => stencil(input.axis, position[input.name] || 0));
  }

  // numbers of one body or surface; false where out of reach
  /**
   * @param {number} at
   * @param {number} width
   * @param {number[]} inputs
   * @param {ReturnType<typeof stencil>[]} stencils
   * @param {Float64Array} out
   */
  read(at, width, inputs, stencils, out) {
    const counts = inputs.map((k) => this.head.inputs[k].axis[2]);
    for (const way of /** @type {("cubic" | "straight")[]} */ (["cubic", "straight"])) {
      const nodes = inputs.map((k) => stencils[k][way]);
      if (mixed(this.grid, at, width, nodes, counts, out)) return true;
    }
    return false;
  }

  // rows of [R | t] of every body, the airframe's included
  /** @param {Position} position @returns {Pose} */
  at(position) {
    const stencils = this.stencils(position), bodies = [];
    let reached = true;
    for (const body of this.head.bodies) {
      const rows = new Float64Array(12);
      if (body.at === null) {
        rows[0] = rows[5] = rows[10] = 1;
        [rows[3], rows[7], rows[11]] = body.origin;
      } else if (!this.read(body.at, 12, body.inputs, stencils, rows)) {
        rows.fill(NaN);
        reached = false;
      }
      bodies.push(rows);
    }
    return { position: { ...position }, bodies, reached };
  }

  /**
   * @param {number} s
   * @param {Position} position
   * @param {string} [input] gearing to it; the deflection without
   */
  surface(s, position, input) {
    const surface = this.head.surfaces[s];
    const at = input === undefined ? surface.deflection : surface.gearing[input];
    if (at === undefined) return 0;
    return this.read(at, 1, surface.inputs, this.stencils(position), this.scratch)
      ? this.scratch[0] : NaN;
  }
}

/**
 * How far a body has turned from neutral against what carries it, degrees.
 * @param {ArrayLike<number>} rows of the body
 * @param {ArrayLike<number>} on of what carries it
 */
export function turnOf(rows, on) {
  const own = [0, 1, 2].map((i) => [0, 1, 2].map((j) => [0, 1, 2].reduce((sum, k) =>
    sum + on[4 * k + i] * rows[4 * k + j], 0)));
  const sine = Math.hypot(own[2][1] - own[1][2], own[0][2] - own[2][0], own[1][0] - own[0][1]);
  return Math.atan2(sine, own[0][0] + own[1][1] + own[2][2] - 1) * 180 / Math.PI;
}

/** @type {(rows: ArrayLike<number>, x: number, y: number, z: number) => Vector} */
export function carried(rows, x, y, z) {
  return [rows[0] * x + rows[1] * y + rows[2] * z + rows[3],
          rows[4] * x + rows[5] * y + rows[6] * z + rows[7],
          rows[8] * x + rows[9] * y + rows[10] * z + rows[11]];
}

/**
 * A table over positions of some inputs, read as the grid is; NaN out of reach.
 * @param {{ axes: [string, number, number, number][], values: (number | null)[] }} table
 * @param {Position} position
 */
export function readTable({ axes, values }, position) {
  const each = axes.map(([name, ...axis]) => stencil(axis, position[name] || 0));
  const counts = axes.map((axis) => axis[3]), out = new Float64Array(1);
  const known = Float64Array.from(values, (v) => (v === null ? NaN : v));
  return [each.map((s) => s.cubic), each.map((s) => s.straight)].some((nodes) =>
    mixed(known, 0, 1, nodes, counts, out)) ? out[0] : NaN;
}

// straight between the charted thicknesses; null where the chart has no contact
/** @param {[number[], (number | null)[]]} chart @param {number} t @returns {number | null} */
export function readChart([thickness, angle], t) {
  for (let n = 1; n < thickness.length; n++) {
    const [a, b] = [thickness[n - 1], thickness[n]], [from, to] = [angle[n - 1], angle[n]];
    if (t <= b + 1e-9 && from !== null && to !== null)
      return from + (to - from) * Math.max(0, t - a) / (b - a);
    if (t <= b) return null;
  }
  return null;
}
