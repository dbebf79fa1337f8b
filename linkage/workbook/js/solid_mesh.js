// Meshes of the 3-D view, made from the pieces that gaps are taken between.

/** @import { Head, SolidHead, Vector } from "./types.js" */
/**
 * @typedef {{ index: number, part: string, carriers: number[], round: boolean, still: boolean,
 *   bare: boolean, mesh: Mesh, ends: Vector[] | null }} Drawable ends: of a rod, each on its own
 *   carrier; index: of the solid, -1 of what has none, which is drawn from its points alone (bare)
 */

import { carried } from "./pose.js";
import { cross, dot, sizeOf, sub, unitOf } from "./vectors.js";

const SIDES = 16;  // flats round a bar
const THIN = 4, SHEET = 3;  // mm of what has no shape in the file: radius of a bar, half a sheet
const CREASE = 0.9;  // cosine of the turn from which a corner is drawn as a line

// Vertices with their normals, triangles, and lines along the creases.
class Mesh {
  /** @type {number[]} */
  spots = [];
  /** @type {number[]} */
  facings = [];
  /** @type {number[]} */
  triangles = [];
  /** @type {number[]} */
  lines = [];

  /** @param {Vector} p @param {Vector} n */
  vertex(p, n) {
    this.spots.push(p[0], p[1], p[2]);
    this.facings.push(127 * n[0], 127 * n[1], 127 * n[2], 0);
    return this.spots.length / 3 - 1;
  }

  /** @param {Vector[]} corners */
  face(corners) {
    const n = unitOf(cross(sub(corners[1], corners[0]), sub(corners[2], corners[0])));
    const at = corners.map((p) => this.vertex(p, n));
    for (let k = 1; k < at.length - 1; k++) this.triangles.push(at[0], at[k], at[k + 1]);
  }

  // Ends of a flat piece: the first half of its points is an outline, the rest the same swept.
  /** @param {Vector[]} points */
  ends(points) {
    const half = points.length / 2;
    this.face(points.slice(0, half).reverse());
    this.face(points.slice(half));
  }

  // Walls between an outline and the same swept; round a hole they face the other way.
  /** @param {Vector[]} low @param {Vector[]} high @param {boolean} [hole] */
  walls(low, high, hole) {
    low.forEach((p, k) => {
      const after = (k + 1) % low.length, wall = [p, low[after], high[after], high[k]];
      this.face(hole ? wall.reverse() : wall);
    });
  }

  // Round bar from a to b with half-ball ends; a ball when they coincide.
  /** @param {Vector} a @param {Vector} b @param {number} radius */
  bar(a, b, radius) {
    const [x, y, z] = frameAlong(sub(b, a));
    /** @type {[Vector, number][]} */
    const ends = [[a, -90], [b, 0]];
    /** @type {[Vector, number][]} */
    const rings = [];
    for (const [end, from] of ends) {
      for (let up = from; up <= from + 90; up += 30) rings.push([end, up * Math.PI / 180]);
    }
    const at = rings.map(([end, up]) => Array.from({ length: SIDES }, (_, k) => {
      const turn = 2 * Math.PI * k / SIDES, out = Math.cos(up);
      const n = [0, 1, 2].map((i) => out * (Math.cos(turn) * x[i] + Math.sin(turn) * y[i])
                                     + Math.sin(up) * z[i]);
      return this.vertex(end.map((c, i) => c + radius * n[i]), n);
    }));
    for (let r = 0; r + 1 < at.length; r++) {
      for (let k = 0; k < SIDES; k++) {
        const j = (k + 1) % SIDES;
        this.triangles.push(at[r][k], at[r][j], at[r + 1][j], at[r][k], at[r + 1][j], at[r + 1][k]);
      }
    }
  }

  /** @param {Vector} a @param {Vector} b */
  line(a, b) {
    const n = [0, 0, 0];
    this.lines.push(this.vertex(a, n), this.vertex(b, n));
  }

  // Outlines of both ends of a plate or box, and a line between them at every sharp corner.
  /** @param {Vector[]} low @param {Vector[]} high */
  creases(low, high) {
    const count = low.length;
    low.forEach((p, k) => {
      const after = (k + 1) % count, before = (k + count - 1) % count;
      this.line(p, low[after]);
      this.line(high[k], high[after]);
      const turn = dot(unitOf(sub(p, low[before])), unitOf(sub(low[after], p)));
      if (turn < CREASE) this.line(p, high[k]);
    });
  }
}

// Right-handed x, y, z with z along a vector.
/** @param {Vector} along @returns {[Vector, Vector, Vector]} */
function frameAlong(along) {
  const z = sizeOf(along) ? unitOf(along) : [0, 0, 1];
  const x = unitOf(cross(Math.abs(z[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0], z));
  return [x, cross(z, x), z];
}

// [R | t] in rows as a column-major matrix.
/** @param {ArrayLike<number>} m */
const ofRows = (m) => [m[0], m[4], m[8], 0, m[1], m[5], m[9], 0, m[2], m[6], m[10], 0,
                       m[3], m[7], m[11], 1];
/** @param {ArrayLike<number>} m */
export const asRows = (m) => [m[0], m[4], m[8], m[12], m[1], m[5], m[9], m[13],
                                   m[2], m[6], m[10], m[14]];

/** @param {SolidHead} solid @param {Float32Array} shapes */
function meshOf(solid, shapes) {
  const mesh = new Mesh();
  /** @param {[first: number, count: number, ...rest: unknown[]]} span */
  const points = ([first, count]) => Array.from({ length: count }, (_, k) =>
    Array.from(shapes.subarray(3 * (first + k), 3 * (first + k) + 3)));
  if (solid.pieces.every(([, count]) => count === 3)) {  // a mesh or skin, seen from both sides
    for (const piece of solid.pieces) {
      const spots = points(piece);
      mesh.face(spots);
      mesh.face([...spots].reverse());
    }
    return mesh;
  }
  const [low, high] = solid.faces.map((face) => face.map(points));
  for (const piece of solid.pieces) {
    const spots = points(piece);
    if (!low) mesh.bar(spots[0], spots[spots.length - 1], piece[2]);
    else mesh.ends(spots);
    if (low && solid.pieces.length === 1) {
      mesh.walls(spots.slice(0, spots.length / 2), spots.slice(spots.length / 2));
    }
  }
  if (low) low.forEach((loop, k) => {
    if (solid.pieces.length > 1) mesh.walls(loop, high[k], k > 0);
    mesh.creases(loop, high[k]);
  });
  return mesh;
}

// A rod's solid spans two bodies: bars of the rod's length, laid between the two ends every time.
/** @param {SolidHead} solid @param {Float32Array} shapes @param {number} length */
function rodBars(solid, shapes, length) {
  /** @param {number} k */
  const at = (k) => Array.from(shapes.subarray(3 * k, 3 * k + 3));
  return solid.pieces.map(([first, , radius]) => {
    const mesh = new Mesh();
    mesh.bar([0, 0, 0], [0, 0, length], radius);
    return { mesh, ends: [at(first), at(first + 1)] };
  });
}

// What the file gives no solid of: rods by their ends, bodies by arms from the pivot to each point.
/** @param {Head} head @returns {Drawable[]} */
function bareOf(head) {
  const shaped = new Set(head.solids.flatMap((s) => s.carriers.length > 1 ? [] : s.carriers));
  const kind = { index: -1, round: true, still: false, bare: true };
  const rods = head.rods.filter((rod) => rod.radius === null).map((rod) => {
    const mesh = new Mesh();
    mesh.bar([0, 0, 0], [0, 0, rod.length], THIN);
    return { ...kind, part: rod.name, carriers: rod.ends.map(([b]) => b), mesh,
             ends: rod.ends.map(([, ...p]) => p) };
  });
  const bodies = head.bodies.flatMap((body, b) => {
    if (!b || shaped.has(b)) return [];
    const mesh = new Mesh(), places = Object.values(body.points);
    for (const place of places.length ? places : [[0, 0, 0]]) mesh.bar([0, 0, 0], place, THIN);
    return [{ ...kind, part: body.name, carriers: [b], mesh, ends: null }];
  });
  return [...rods, ...bodies];
}

// Surfaces as sheets from the hinge line to the trailing edge.
/** @param {Head} head @returns {Drawable[]} */
function sheetsOf(head) {
  return head.surfaces.map(({ name, body, middle, half, edge }) => {
    const mesh = new Mesh(), across = unitOf(cross(half, edge)).map((c) => c * SHEET);
    /** @type {(h: number, e: number, t: number) => Vector} */
    const at = (h, e, t) => middle.map((c, i) => c + h * half[i] + e * edge[i] + t * across[i]);
    /** @param {number} t */
    const loop = (t) => [at(-1, 0, t), at(1, 0, t), at(1, 1, t / 4), at(-1, 1, t / 4)];
    const [low, high] = [loop(-1), loop(1)];
    mesh.ends([...low, ...high]);
    mesh.walls(low, high);
    mesh.creases(low, high);
    return { index: -1, part: name, carriers: [body], round: false, still: false, bare: true,
             mesh, ends: null };
  });
}

/** @param {Head} head @param {Float32Array} shapes @returns {Drawable[]} */
export function drawables(head, shapes) {
  return [...solidsOf(head, shapes), ...bareOf(head), ...sheetsOf(head)];
}

/** @param {Head} head @param {Float32Array} shapes @returns {Drawable[]} */
function solidsOf(head, shapes) {
  const lengths = new Map(head.rods.map((rod) => [rod.name, rod.length]));
  return head.solids.flatMap((solid, index) => {
    const part = solid.name.slice(0, solid.name.indexOf("/"));
    /** @type {Omit<Drawable, "mesh">} */
    const base = { index, part, ends: null, bare: false, carriers: solid.carriers, round: !solid.faces.length,
                   still: solid.carriers.every((b) => b === 0) };
    return solid.carriers.length > 1
      ? rodBars(solid, shapes, lengths.get(part) || 0).map((bar) => ({ ...base, ...bar }))
      : [{ ...base, mesh: meshOf(solid, shapes) }];
  });
}

// Matrix of a drawable at a posture, or null when something that carries it is out of reach.
/**
 * @param {Omit<Drawable, "mesh">} drawable
 * @param {Float64Array[]} rows
 * @returns {number[] | null}
 */
export function placed(drawable, rows) {
  const on = drawable.carriers.map((b) => rows[b]);
  if (on.some((m) => !m.every(Number.isFinite))) return null;
  if (!drawable.ends) return ofRows(on[0]);
  const [a, b] = drawable.ends.map((p, k) => carried(on[k], p[0], p[1], p[2]));
  const [x, y, z] = frameAlong(sub(b, a));
  return [...x, 0, ...y, 0, ...z, 0, ...a, 1];
}

/** @param {Vector[]} points */
function boxAbout(points) {
  return [Math.min, Math.max].map((pick) => [0, 1, 2].map(
    (i) => points.reduce((kept, p) => pick(kept, p[i]), points[0][i])));
}

/** @param {Vector[]} points @returns {Vector} */
export function middleOf(points) {
  if (!points.length) return [0, 0, 0];
  const [low, high] = boxAbout(points);
  return low.map((c, i) => (c + high[i]) / 2);
}

/** @param {number[]} spots @returns {Vector[]} */
export function cornersOf(spots) {
  const ends = boxAbout(Array.from({ length: spots.length / 3 },
                                   (_, k) => spots.slice(3 * k, 3 * k + 3)));
  return Array.from({ length: 8 }, (_, k) => [0, 1, 2].map((i) => ends[(k >> i) & 1][i]));
}
