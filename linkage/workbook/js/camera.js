// Where the eye of the 3-D view is, and where it sees a place.

/** @import { Vector } from "./types.js" */
/**
 * @typedef {{ round: number, up: number, near: number, pan: Vector, flat: boolean }} Eye degrees
 *   from the tail over the right, and above; zoom; mm that the middle is moved; parallel or not
 * @typedef {{ seen: number[], pull: number, axes: Vector[], across: number }} Camera across: mm
 *   from left to right at the middle
 */

import { cross, dot, sub } from "./vectors.js";

export const FIELD = 28 * Math.PI / 180;

// Right, up and towards the eye as the screen has them.
/** @param {{ round: number, up: number }} eye @returns {Vector[]} */
export function axesOf({ round, up }) {
  const turn = round * Math.PI / 180, rise = up * Math.PI / 180;
  const back = [Math.cos(rise) * Math.cos(turn), Math.cos(rise) * Math.sin(turn), Math.sin(rise)];
  const right = [-Math.sin(turn), Math.cos(turn), 0];  // stays known looking straight down
  return [right, cross(back, right), back];
}

// Distance of the eye from which some corners about a middle fill the picture.
/** @param {Vector[]} corners @param {Vector} middle @param {Vector[]} axes @param {number} aspect */
export function distanceFor(corners, middle, [right, up, back], aspect) {
  const reach = Math.tan(FIELD / 2);
  return 1.06 * Math.max(1, ...corners.map((corner) => {
    const p = sub(corner, middle);
    return dot(p, back) + Math.max(Math.abs(dot(p, up)), Math.abs(dot(p, right)) / aspect) / reach;
  }));
}

/**
 * @param {Eye} eye
 * @param {Vector} middle what is looked at
 * @param {number} far distance of the eye
 * @param {number} aspect
 * @param {Vector[]} all corners of all there is, to set the depth by
 * @returns {Camera}
 */
export function cameraOf(eye, middle, far, aspect, all) {
  const axes = axesOf(eye), [right, up, back] = axes;
  const target = middle.map((c, i) => c + eye.pan[i]);
  const at = target.map((c, i) => c + far * back[i]);
  const depths = all.map((p) => dot(sub(at, p), back));
  const end = 1.1 * Math.max(far, ...depths), half = far * Math.tan(FIELD / 2);
  const across = 2 * half * aspect;
  if (eye.flat) {
    const first = Math.min(0, ...depths) - 10, deep = end - first;
    const rows = [[...right.map((c) => c / half / aspect), -dot(right, at) / half / aspect],
                  [...up.map((c) => c / half), -dot(up, at) / half],
                  [...back.map((c) => -2 * c / deep), 2 * (dot(back, at) - first) / deep - 1],
                  [0, 0, 0, 1]];
    return { seen: columnsOf(rows), pull: -0.001, axes, across };
  }
  const first = Math.max(0.9 * Math.min(...depths), end / 500);
  const f = 1 / Math.tan(FIELD / 2), a = (end + first) / (first - end);
  const b = 2 * end * first / (first - end);
  const rows = [[...right.map((c) => c * f / aspect), -dot(right, at) * f / aspect],
                [...up.map((c) => c * f), -dot(up, at) * f],
                [...back.map((c) => c * a), -dot(back, at) * a + b],
                [...back.map((c) => -c), dot(back, at)]];
  return { seen: columnsOf(rows), pull: 0.002 * b, axes, across };
}

/** @param {number[][]} rows */
const columnsOf = (rows) => [0, 1, 2, 3].flatMap((column) => rows.map((row) => row[column]));

// Place on a picture so wide and tall; null behind the eye.
/** @param {number[]} m @param {Vector} p @param {number} wide @param {number} tall */
export function placeOn(m, p, wide, tall) {
  /** @param {number} k */
  const row = (k) => m[k] * p[0] + m[k + 4] * p[1] + m[k + 8] * p[2] + m[k + 12];
  const w = row(3);
  return w > 1e-6 ? [(row(0) / w + 1) * wide / 2, (1 - row(1) / w) * tall / 2] : null;
}

// Degrees between, taken the short way, a share of the way on.
/** @param {number} from @param {number} to @param {number} t */
export function turned(from, to, t) {
  const way = ((to - from) % 360 + 540) % 360 - 180;
  return from + way * t;
}

// Angles from which a direction is seen end on.
/** @param {Vector} along @returns {{ round: number, up: number }} */
export function lookingAlong(along) {
  const flat = Math.hypot(along[0], along[1]);
  return { round: (Math.atan2(along[1], along[0]) * 180 / Math.PI + 360) % 360,
           up: Math.atan2(along[2], flat) * 180 / Math.PI };
}
