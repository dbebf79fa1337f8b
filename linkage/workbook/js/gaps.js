// Gaps at the drawn position: the distance of convex hulls by E. Gilbert, D. Johnson and
// S. Keerthi, 1988, less the radii.  Good for a drawing and a list; what is quoted comes from the
// library's exact solve.

/** @import { Near, Pair, Piece as Taken, Pose, Vector } from "./types.js" */
/** @typedef {import("./pose.js").Poses} Poses */
/**
 * @typedef {{ ends: Vector[], radius: number }} Held
 * @typedef {{ held: Held, spine: Vector[], spineSeen: number, share?: Pair }} Spined
 * @typedef {Spined & { id: number, local: Vector[], world: Vector[], radius: number,
 *   seen: number }} Piece
 * @typedef {{ carriers: number[], pieces: Piece[], whole: Spined }} Solid
 * @typedef {{ count: number, ways: Map<number, Vector>, last: number[] }} Known
 * @typedef {{ a: Vector, b: Vector, w: Vector }} Corner
 * @typedef {{ size: number, v: Vector, picked: number[], shares: number[] }} Foot
 */

import { carried } from "./pose.js";
import { along, dot, sub } from "./vectors.js";

/** @type {Pair} */
const WHOLE = [-1, -1];  // of a pair of which nothing is left out

// nearest points of two lines' ends, after C. Ericson, Real-Time Collision Detection, 5.1.9
/** @param {Vector} p1 @param {Vector} q1 @param {Vector} p2 @param {Vector} q2 */
function segmentGap(p1, q1, p2, q2) {
  const d1 = sub(q1, p1), d2 = sub(q2, p2), r = sub(p1, p2);
  const a = dot(d1, d1), e = dot(d2, d2), f = dot(d2, r), c = dot(d1, r), b = dot(d1, d2);
  /** @param {number} x */
  const clip = (x) => Math.min(Math.max(x, 0), 1);
  const den = a * e - b * b;
  let s = den > 1e-12 * a * e ? clip((b * f - c * e) / den) : 0;
  let t = e > 1e-18 ? (b * s + f) / e : 0;
  if (t < 0 || t > 1 || e <= 1e-18) {
    t = clip(t);
    s = a > 1e-18 ? clip((b * t - c) / a) : 0;
  }
  const one = along(p1, q1, s), two = along(p2, q2, t), gap = sub(two, one);
  return { d: Math.sqrt(dot(gap, gap)), one, two };
}

// the same distance alone, without making anything: it is asked for thousands of pairs a step
/** @param {Vector} p1 @param {Vector} q1 @param {Vector} p2 @param {Vector} q2 */
function segmentDistance(p1, q1, p2, q2) {
  const ux = q1[0] - p1[0], uy = q1[1] - p1[1], uz = q1[2] - p1[2];
  const vx = q2[0] - p2[0], vy = q2[1] - p2[1], vz = q2[2] - p2[2];
  const rx = p1[0] - p2[0], ry = p1[1] - p2[1], rz = p1[2] - p2[2];
  const a = ux * ux + uy * uy + uz * uz, e = vx * vx + vy * vy + vz * vz;
  const b = ux * vx + uy * vy + uz * vz, c = ux * rx + uy * ry + uz * rz;
  const f = vx * rx + vy * ry + vz * rz, den = a * e - b * b;
  let s = den > 1e-12 * a * e ? Math.min(Math.max((b * f - c * e) / den, 0), 1) : 0;
  let t = e > 1e-18 ? (b * s + f) / e : 0;
  if (t < 0 || t > 1 || e <= 1e-18) {
    t = Math.min(Math.max(t, 0), 1);
    s = a > 1e-18 ? Math.min(Math.max((b * t - c) / a, 0), 1) : 0;
  }
  const x = rx + s * ux - t * vx, y = ry + s * uy - t * vy, z = rz + s * uz - t * vz;
  return Math.sqrt(x * x + y * y + z * z);
}

/** @param {Vector[]} points @param {Vector} way */
function supported(points, way) {
  let best = -Infinity, found = 0;
  for (let i = 0; i < points.length; i++) {
    const value = dot(points[i], way);
    if (value > best) { best = value; found = i; }
  }
  return points[found];
}

// the point of a simplex nearest the origin, as shares of its corners; only corners that count
/** @param {Corner[]} corners @returns {Foot} */
function nearestOf(corners) {
  const n = corners.length;
  /** @type {Foot | null} */
  let best = null;
  for (let set = 1; set < 1 << n; set++) {
    const picked = [];
    for (let i = 0; i < n; i++) if (set >> i & 1) picked.push(i);
    const shares = sharesOf(picked.map((i) => corners[i].w));
    if (!shares || shares.some((k) => k < -1e-12)) continue;
    const v = [0, 0, 0];
    picked.forEach((i, k) => { for (let c = 0; c < 3; c++) v[c] += shares[k] * corners[i].w[c]; });
    const size = dot(v, v);
    if (!best || size < best.size * (1 - 1e-14)) best = { size, v, picked, shares };
  }
  return /** @type {Foot} */ (best);  // one corner alone always has a foot
}

// shares with which the foot of the origin lies on the flat through 1 to 4 points
/** @param {Vector[]} w @returns {number[] | null} */
function sharesOf(w) {
  if (w.length === 1) return [1];
  const edges = w.slice(1).map((p) => sub(p, w[0])), right = edges.map((e) => -dot(e, w[0]));
  const matrix = edges.map((e) => edges.map((g) => dot(e, g)));
  const n = edges.length;
  for (let i = 0; i < n; i++) {
    let pivot = i;
    for (let k = i; k < n; k++) if (Math.abs(matrix[k][i]) > Math.abs(matrix[pivot][i])) pivot = k;
    [matrix[i], matrix[pivot]] = [matrix[pivot], matrix[i]];
    [right[i], right[pivot]] = [right[pivot], right[i]];
    if (!(Math.abs(matrix[i][i]) > 1e-13 * dot(edges[i], edges[i]))) return null;
    for (let k = i + 1; k < n; k++) {
      const f = matrix[k][i] / matrix[i][i];
      for (let c = i; c < n; c++) matrix[k][c] -= f * matrix[i][c];
      right[k] -= f * right[i];
    }
  }
  const x = new Array(n).fill(0);
  for (let i = n - 1; i >= 0; i--) {
    let value = right[i];
    for (let c = i + 1; c < n; c++) value -= matrix[i][c] * x[c];
    x[i] = value / matrix[i][i];
  }
  return [1 - x.reduce((s, k) => s + k, 0), ...x];
}

/** @param {Vector[]} one @param {Vector[]} two */
function hullGap(one, two) {
  if (one.length <= 2 && two.length <= 2)
    return segmentGap(one[0], one[one.length - 1], two[0], two[two.length - 1]);
  /** @param {Vector} way @returns {Corner} */
  const meet = (way) => {
    const a = supported(one, [-way[0], -way[1], -way[2]]), b = supported(two, way);
    return { a, b, w: sub(a, b) };
  };
  /** @type {Corner[]} */
  let corners = [{ a: one[0], b: two[0], w: sub(one[0], two[0]) }];
  let near = nearestOf(corners);
  for (let turn = 0; turn < 60 && near.size > 1e-18; turn++) {
    const next = meet(near.v);
    if (near.size - dot(near.v, next.w) <= 1e-11 * near.size
        || corners.some((c) => c.a === next.a && c.b === next.b)) break;
    corners = [...near.picked.map((i) => corners[i]), next];
    const better = nearestOf(corners);
    if (!(better.size < near.size)) break;
    near = better;
    corners = near.picked.map((i) => corners[i]);
    near.picked = corners.map((_, i) => i);
    if (corners.length === 4) { near.size = 0; break; }
  }
  /** @param {"a" | "b"} side */
  const mean = (side) => {
    const p = [0, 0, 0];
    near.picked.forEach((i, k) => {
      for (let c = 0; c < 3; c++) p[c] += near.shares[k] * corners[i][side][c];
    });
    return p;
  };
  return { d: near.size > 1e-18 ? Math.sqrt(near.size) : 0, one: mean("a"), two: mean("b") };
}

// a line and a radius about some points that hold them all
/** @param {Vector[]} points @param {number} radius @returns {Held} */
function capsuleOf(points, radius) {
  const middle = [0, 1, 2].map((c) => points.reduce((s, p) => s + p[c], 0) / points.length);
  /** @param {Vector} from */
  const farthest = (from) => {
    let far = -1, found = from;
    for (const p of points) {
      const d = sub(p, from);
      if (dot(d, d) > far) { far = dot(d, d); found = p; }
    }
    return found;
  };
  const a = farthest(middle), b = farthest(a), way = sub(b, a), size = Math.sqrt(dot(way, way));
  if (size < 1e-9) return { ends: [a, a], radius };
  const u = way.map((k) => k / size);
  let aside = 0, low = Infinity, high = -Infinity;
  for (const p of points) {
    const d = sub(p, middle), t = dot(d, u), off = Math.sqrt(Math.max(0, dot(d, d) - t * t));
    aside = Math.max(aside, off); low = Math.min(low, t); high = Math.max(high, t);
  }
  const half = Math.max(0, (high - low) / 2 - aside), centre = (low + high) / 2;
  /** @param {number} t */
  const end = (t) => middle.map((m, c) => m + t * u[c]);
  const ends = [end(centre - half), end(centre + half)];
  const reach = Math.max(...points.map((p) => segmentGap(p, p, ends[0], ends[1]).d));
  return { ends, radius: radius + reach + 1e-6 };
}

export class Gaps {
  // what was found before a small change makes a good guess after it
  /** @param {Poses} poses @param {Known} [before] */
  constructor(poses, before) {
    this.poses = poses;
    /** @type {Float64Array[]} */
    this.bodies = [];
    this.stamp = 0;
    this.count = 0;
    /** @param {{ carriers: number[], pieces: Taken[] }} solid @returns {Solid} */
    const made = (solid) => {
      const pieces = solid.pieces.map(([first, count, radius, share]) => {
        /** @type {Vector[]} */
        const local = [];
        for (let i = first; i < first + count; i++)
          local.push([...poses.points.subarray(3 * i, 3 * i + 3)]);
        const held = solid.carriers.length > 1 ? { ends: local, radius } : capsuleOf(local, radius);
        return { id: this.count++, local, radius, held, share, seen: -1, spineSeen: -1,
                 world: local, spine: held.ends };
      });
      const whole = solid.carriers.length > 1 ? pieces[0].held
        : capsuleOf(pieces.flatMap((p) => p.local), Math.max(...pieces.map((p) => p.radius)));
      return { carriers: solid.carriers, pieces, whole: { held: whole, spineSeen: -1,
                                                           spine: whole.ends } };
    };
    /** @type {Solid[]} */
    this.solids = poses.head.solids.map(made);
    /** @type {Solid[]} */
    this.kept = poses.head.kept.map(made);  // less what is meant to touch at a joint
    const alike = before && before.count === this.count ? before : null;
    /** @type {Map<number, Vector>} */
    this.ways = alike ? alike.ways : new Map();
    /** @type {number[]} */
    this.last = alike ? alike.last : [];
  }

  // the two solids of a pair
  /** @param {number} n @returns {[Solid, Solid]} */
  sides(n) {
    const [one, two, , , , kept = WHOLE] = this.poses.head.pairs[n];
    return [kept[0] < 0 ? this.solids[one] : this.kept[kept[0]],
            kept[1] < 0 ? this.solids[two] : this.kept[kept[1]]];
  }

  // a piece of a rod lies at shares of the way between the rod's two ends
  /** @param {Solid} solid @param {Vector[]} points @param {Pair} [share] @returns {Vector[]} */
  placed(solid, points, share) {
    const of = solid.carriers, rows = this.bodies;
    const at = points.map(([x, y, z], i) => carried(rows[of.length > 1 ? of[i] : of[0]], x, y, z));
    return share ? share.map((t) => along(at[0], at[1], t)) : at;
  }

  /** @param {Solid} solid @param {Piece} piece */
  corners(solid, piece) {
    if (piece.seen !== this.stamp) {
      piece.world = this.placed(solid, piece.local, piece.share);
      piece.seen = this.stamp;
    }
    return piece.world;
  }

  /** @param {Solid} solid @param {Spined} item */
  spine(solid, item) {
    if (item.spineSeen !== this.stamp) {
      item.spine = this.placed(solid, item.held.ends, item.share);
      item.spineSeen = this.stamp;
    }
    return item.spine;
  }

  /** @param {Solid} one @param {Spined} a @param {Solid} two @param {Spined} b */
  lower(one, a, two, b) {
    const [p, q] = this.spine(one, a), [r, s] = this.spine(two, b);
    return segmentDistance(p, q, r, s) - a.held.radius - b.held.radius;
  }

  // how far apart two pieces surely are, by the way between them found last
  /**
   * @param {Solid} one
   * @param {Piece} a
   * @param {Solid} two
   * @param {Piece} b
   * @param {Vector} way
   */
  apart(one, a, two, b, way) {
    let near = Infinity, far = -Infinity;
    for (const p of this.corners(two, b)) near = Math.min(near, dot(p, way));
    for (const p of this.corners(one, a)) far = Math.max(far, dot(p, way));
    return near - far - a.radius - b.radius;
  }

  /**
   * @param {Solid} one
   * @param {Solid} two
   * @param {number} limit
   * @returns {Omit<Near, "pair"> | null} null where nothing is nearer than the limit
   */
  exact(one, two, limit) {
    /** @type {[number, Piece, Piece][]} */
    const tries = [];
    for (const a of one.pieces) for (const b of two.pieces) {
      const low = this.lower(one, a, two, b);
      if (low < limit) tries.push([low, a, b]);
    }
    tries.sort((p, q) => p[0] - q[0]);
    let least = limit;
    /** @type {Omit<Near, "pair"> | null} */
    let best = null;
    for (const [low, a, b] of tries) {
      if (low > least) break;
      const key = a.id * this.count + b.id, way = this.ways.get(key);
      if (way && this.apart(one, a, two, b, way) >= least) continue;
      const found = hullGap(this.corners(one, a), this.corners(two, b));
      if (found.d > 1e-6)
        this.ways.set(key, sub(found.two, found.one).map((k) => k / found.d));
      const gap = found.d - a.radius - b.radius;
      if (gap < least) {
        least = gap;
        const share = (/** @type {number} */ r) => (found.d > 1e-6 ? r / found.d : 0);
        best = { gap, one: along(found.one, found.two, share(a.radius)),
                 two: along(found.two, found.one, share(b.radius)) };
      }
    }
    return best;
  }

  /** One pair at a pose; null out of reach. @param {Pose} pose @param {number} n @returns {Near | null} */
  of(pose, n) {
    this.bodies = pose.bodies;
    this.stamp += 1;
    const best = this.exact(...this.sides(n), Infinity);
    return best && { pair: n, ...best };
  }

  // the nearest of some pairs at a pose, nearest first: {pair, gap, one, two}, mm
  /**
   * @param {Pose} pose
   * @param {number} count
   * @param {number[]} wanted pairs to look at
   * @returns {Near[]}
   */
  nearest(pose, count, wanted) {
    this.bodies = pose.bodies;
    this.stamp += 1;
    /** @type {Map<number, number>} */
    const lows = new Map();
    for (const n of wanted) {
      const [one, two] = this.sides(n);
      const low = this.lower(one, one.whole, two, two.whole);
      if (low === low) lows.set(n, low);
    }
    // those found last are most likely the nearest again, and rule the others out quickly
    const sorted = [...lows].sort((p, q) => p[1] - q[1]).map(([n]) => n);
    /** @type {Near[]} */
    const found = [];
    for (const n of new Set([...this.last.filter((k) => lows.has(k)), ...sorted])) {
      const limit = found.length >= count ? found[count - 1].gap : Infinity;
      if (/** @type {number} */ (lows.get(n)) >= limit) continue;
      const best = this.exact(...this.sides(n), limit);
      if (!best) continue;
      found.push({ pair: n, ...best });
      found.sort((p, q) => p.gap - q.gap);
    }
    this.last = found.slice(0, count).map((one) => one.pair);
    return found.slice(0, count);
  }
}
