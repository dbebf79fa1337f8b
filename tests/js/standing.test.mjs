// What the page from disk may call proven, and what it has to call sampled.

import assert from "node:assert/strict";
import { test } from "node:test";

import { bandOf, between } from "../../linkage/workbook/js/field.js";
import { spread } from "../../linkage/workbook/js/play.js";
import { headWith } from "../../linkage/workbook/js/reliefs.js";
import { barOf, rowsKept, saidCost, standingOf } from "../../linkage/workbook/js/standing.js";
import { axesOf, cameraOf, distanceFor, lookingAlong, placeOn, turned }
  from "../../linkage/workbook/js/camera.js";

const miss = (what) => ({ kind: "clearance", what, text: "touch", where: "", decided: true });
const verdict = (...missed) => ({ sentence: "", build: "as drawn", old: false, missed, unknown: [],
                                  met: [], covers: [], pairs: 9, ways: [3, 3], bare: [] });
const state = { verdict: verdict(miss("a | pan"), miss("b | frame")), proof: { rows: {
  "a | pan": { least: -1, proven: -1, ok: false }, "b | frame": { least: 2, proven: 2, ok: false } } },
  required: [{ ok: true }], cures: [
    { solid: "pan", area: "", pairs: [{ pair: "a | pan", required: 6, after: 6.1 }] },
    { solid: "frame", area: "", pairs: [{ pair: "b | frame", required: 12, after: 12.1 }] }],
  stock: [{ stop: "aft", thickness: 3, verdict: verdict(miss("b | frame")), proof: { rows: {} },
            required: [{ ok: false }], governs: {} }] };
const asked = (spacers, cuts = [], faces = []) =>
  standingOf(state, spacers, new Set(cuts), new Set(faces));

test("the file as it stands is proven, and green nowhere where it is missed", () => {
  const standing = asked([["aft", 2, 2]]);
  assert.equal(standing.how, "proven");
  assert.deepEqual(barOf(standing, state.required, "").map((p) => [p.key, p.state]),
    [["missed", "bad"], ["directions", "ok"], ["travels", "ok"], ["proof", "ok"]]);
});

test("a spacer from stock has its own proof, any other is sampled and amber with the command", () => {
  assert.equal(asked([["aft", 2, 3]]).missed.length, 1);
  assert.equal(asked([["aft", 2, 3]]).how, "proven");
  const typed = asked([["aft", 2, 2.9]]);
  assert.equal(typed.how, "sampled");
  const parts = barOf(typed, state.required, "linkage it.toml");
  assert.ok(parts.every((p) => p.state !== "ok"), JSON.stringify(parts));
  assert.ok(parts.at(-1).small.includes("linkage it.toml"));
  assert.equal(parts[0].big, "None seen missed");
});

test("what the proof is over, and what is missed besides clearances, is said as it is", () => {
  const standing = asked([["aft", 2, 2]]);
  assert.equal(barOf(standing, [], "", true).at(-1).small, "over what the stops leave");
  assert.equal(barOf(standing, [], "", false).at(-1).small, "over the wanted travel");
  const none = barOf({ ...standing, proof: null }, [], "", false).at(-1);
  assert.deepEqual([none.state, none.big], ["open", "No clearance proof"]);
  const late = { kind: "travel", what: "flap up", text: "", where: "", decided: true };
  const parts = barOf({ ...standing, missed: [late] }, [], "", true);
  assert.equal(parts[0].small, "0 of 9 clearances, 1 other");
});

test("two spacers, or a spacer and a cut, are sampled", () => {
  assert.equal(asked([["aft", 2, 3], ["left", 1, 2]]).how, "sampled");
  assert.equal(asked([["aft", 2, 3]], ["pan"]).how, "sampled");
});

test("reliefs cure what they are proven to cure and no more", () => {
  assert.deepEqual(asked([], ["pan"]).missed.map((m) => m.what), ["b | frame"]);
  assert.equal(asked([], ["pan"]).proof.rows["a | pan"].proven, 6.1);
  assert.equal(asked([], ["pan", "frame"]).missed.length, 0);
  assert.equal(asked([], ["pan", "frame"]).how, "proven");
  // where a stop sits on a plate, what its cut lets through was proven of its own pairs alone
  assert.equal(asked([], ["pan", "frame"], ["pan"]).how, "sampled");
  assert.equal(asked([], ["pan"], ["pan"]).how, "sampled");
  assert.equal(asked([], ["frame"], ["pan"]).how, "proven");
  assert.equal(state.proof.rows["a | pan"].proven, -1);
});

test("nothing is green while the answer is on its way, old, or not decided", () => {
  const none = standingOf({ ...state, verdict: null }, [], new Set(), new Set());
  assert.ok(barOf(none, [], "").every((p) => p.state === "open"));
  const old = { ...asked([]), how: "before" };
  assert.ok(barOf(old, state.required, "").every((p) => p.state !== "ok"));
  const open = { ...asked([]), missed: [{ ...miss("a"), decided: false }] };
  assert.equal(barOf(open, state.required, "")[0].state, "open");
  assert.equal(barOf(open, state.required, "").at(-1).state, "open");
});

test("a spacer is offered for a pair only where it cures it", () => {
  assert.equal(rowsKept(state.stock[0], state, "a | pan"), true);
  assert.equal(rowsKept(state.stock[0], state, "b | frame"), false);
});

test("a spacer that breaks another pair or a travel is offered with what it breaks", () => {
  const row = { ...state.stock[0], required: [] };
  assert.equal(saidCost(row, state), "\u2713 proven");
  assert.equal(saidCost({ ...row, required: [{ ok: true, surface: "flap" }] }, state),
               "\u2713 proven; travels kept");
  const broken = verdict(miss("b | frame"), miss("c | d"), miss("flap up"));
  const short = [{ ok: false, surface: "flap" }];
  assert.equal(saidCost({ ...row, verdict: broken, required: short }, state),
               "\u25c6 loses flap, c | d");
});

test("none missed says what was not asked at all", () => {
  const none = { ...verdict(), aside: ["not asked for: load, servo", "clearance waived: a"] };
  const parts = barOf({ ...asked([]), missed: [], verdict: none }, [], "");
  assert.equal(parts[0].big, "None missed");
  assert.ok(parts[0].small.endsWith(", no loads"));
  const left = parts.find((p) => p.key === "unjudged");
  assert.deepEqual([left.big, left.state], ["2 not judged", "open"]);
});

test("a head with a relief has its pieces, and the pairs what is kept of it", () => {
  const head = { offered: [{ solid: 1, name: "p/q", pieces: [[7, 8, 0]], faces: [], kept: { 0: 5 } }],
                 solids: [{ name: "a" }, { name: "p/q", pieces: [] }],
                 pairs: [[0, 1, 6, "slot", []], [0, 2, 6, "slot", []]] };
  const cut = headWith(head, new Set(["p/q"]));
  assert.deepEqual(cut.solids[1].pieces, [[7, 8, 0]]);
  assert.deepEqual(cut.pairs[0][5], [-1, 5]);
  assert.equal(cut.pairs[1], head.pairs[1]);
  assert.equal(headWith(head, new Set()), head);
});

test("bands are stepped at what is required, and out of reach is none", () => {
  assert.deepEqual([-1, 0, 0.5, 1, 1.9, 2, 3, NaN].map(bandOf), [0, 0, 1, 2, 2, 3, 4, -1]);
  assert.equal(between(new Float32Array([0, 1, 2, 3]), 2, 0.5, 0.5), 1.5);
});

test("a way is gone along evenly", () => {
  assert.deepEqual(spread([[0, 0], [2, 0], [2, 2]], 5), [[0, 0], [1, 0], [2, 0], [2, 1], [2, 2]]);
});

test("the eye: a cube's corners fit the picture, parallel and not, and the middle is the middle", () => {
  const corners = Array.from({ length: 8 }, (_, k) => [0, 1, 2].map((i) => 50 + ((k >> i) & 1) * 80));
  const middle = [90, 90, 90];
  for (const flat of [false, true]) for (const [round, up] of [[215, 24], [270, 90], [180, 0]]) {
    const eye = { round, up, near: 1, pan: [0, 0, 0], flat };
    const far = distanceFor(corners, middle, axesOf(eye), 1.5);
    const { seen } = cameraOf(eye, middle, far, 1.5, corners);
    const [x, y] = placeOn(seen, middle, 600, 400);
    assert.ok(Math.hypot(x - 300, y - 200) < 1e-6);
    for (const corner of corners) {
      const [u, v] = placeOn(seen, corner, 600, 400);
      assert.ok(u > 0 && u < 600 && v > 0 && v < 400, `${flat} ${round} ${u} ${v}`);
    }
  }
});

test("parallel is true: equal lengths across the view are equal on it, near and far", () => {
  const eye = { round: 270, up: 0, near: 1, pan: [0, 0, 0], flat: true };
  const { seen } = cameraOf(eye, [0, 0, 0], 1000, 1, [[0, -400, 0], [0, 400, 0]]);
  const wide = (y) => placeOn(seen, [100, y, 0], 500, 500)[0] - placeOn(seen, [0, y, 0], 500, 500)[0];
  assert.ok(Math.abs(wide(-300) - wide(300)) < 1e-9);
});

test("angles go the short way, and a hinge is looked along", () => {
  assert.equal(turned(350, 10, 0.5), 360);
  assert.deepEqual(lookingAlong([0, 1, 0]), { round: 90, up: 0 });
});
