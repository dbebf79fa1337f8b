// The page's own arithmetic: places from the grid, gaps of hulls, charts.

import assert from "node:assert/strict";
import { test } from "node:test";

import { Gaps } from "../../linkage/workbook/js/gaps.js";
import { Poses, carried, readChart } from "../../linkage/workbook/js/pose.js";
import { ticksOf } from "../../linkage/workbook/js/drawing.js";

const view = (numbers) => new DataView(new Float32Array(numbers).buffer);
const still = (name) => ({ name, on: 0, inputs: [], origin: [0, 0, 0], at: null, points: {} });
const row = (x) => (x === x ? [1, 0, 0, x, 0, 1, 0, 0, 0, 0, 1, 0] : Array(12).fill(NaN));

// one body that slides along x as f of the input, on a grid of some positions
function sliding(f, positions) {
  const head = { inputs: [{ name: "slide", axis: [positions[0], positions[1] - positions[0],
                                                  positions.length] }],
                 bodies: [still("airframe"), { ...still("lever"), at: 0, inputs: [0] }],
                 surfaces: [], solids: [], pairs: [], rods: [] };
  return new Poses(head, view([]), view(positions.flatMap((u) => row(f(u)))));
}

test("a cubic of the grid is met to rounding between its positions", () => {
  const f = (u) => 0.02 * u ** 3 - 0.3 * u * u + u, poses = sliding(f, [-4, -2, 0, 2, 4, 6]);
  for (const u of [-4, -3.3, -0.5, 0, 1.7, 5.9, 6])
    assert.ok(Math.abs(poses.at({ slide: u }).bodies[1][3] - f(u)) < 1e-5);
});

test("a place beside one out of reach is straight, across one it is out of reach", () => {
  const poses = sliding((u) => (u > 3 ? NaN : u * u), [-4, -2, 0, 2, 4, 6]);
  assert.equal(poses.at({ slide: 1 }).bodies[1][3], 2);  // straight from 0 to 4
  assert.ok(Number.isNaN(poses.at({ slide: 3 }).bodies[1][3]));
  assert.equal(poses.at({ slide: 3 }).reached, false);
});

test("[R | t] carries a place", () => {
  assert.deepEqual(carried([0, -1, 0, 5, 1, 0, 0, 6, 0, 0, 1, 7], 1, 2, 3), [3, 7, 10]);
});

test("a chart is read straight between its thicknesses", () => {
  const chart = [[0, 1, 2, 3], [20, 18, 17, null]];
  assert.deepEqual([0, 0.5, 1.5, 2, 2.5].map((t) => readChart(chart, t)),
                   [20, 19, 17.5, 17, null]);
});

test("ticks are 1, 2 or 5 of a ten and within the range", () => {
  assert.deepEqual(ticksOf(-20, 20, 5).map((t) => t + 0), [-20, -10, 0, 10, 20]);
  assert.deepEqual(ticksOf(0.05, 1, 5).map((t) => Math.round(t * 10)), [2, 4, 6, 8, 10]);
});

// boxes of random places: their gap is a formula, the distance of intervals along three axes
test("gaps of boxes are those of the formula (300 seeded pairs)", () => {
  let seed = 7;
  const next = () => { seed = (seed * 1103515245 + 12345) % 2147483648; return seed / 2147483648; };
  for (let n = 0; n < 300; n++) {
    const boxes = [0, 1].map(() => [0, 1, 2].map(() => {
      const low = 20 * next();
      return [low, low + 5 * next() + 0.1].map(Math.fround);
    }));
    const corners = boxes.map((box) => Array.from({ length: 8 }, (_, k) =>
      [0, 1, 2].map((c) => box[c][(k >> c) & 1])));
    const solid = (first) => ({ name: "a/b", carriers: [0], pieces: [[first, 8, 0]], bars: [],
                                faces: [] });
    const head = { inputs: [], bodies: [still("airframe")], surfaces: [], rods: [],
                   solids: [solid(0), solid(8)], kept: [],
                   pairs: [[0, 1, 0, "part", [], [-1, -1]]] };
    const poses = new Poses(head, view(corners.flat(2)), view([]));
    const [near] = new Gaps(poses).nearest(poses.at({}), 1, [0]);
    const off = [0, 1, 2].map((c) => Math.max(0, boxes[0][c][0] - boxes[1][c][1],
                                              boxes[1][c][0] - boxes[0][c][1]));
    assert.ok(Math.abs(Math.max(near.gap, 0) - Math.hypot(...off)) < 1e-5, `pair ${n}`);
  }
});
