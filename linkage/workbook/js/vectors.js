// Places and ways in space, three numbers each.

/** @import { Vector } from "./types.js" */

/** @type {(a: Vector, b: Vector) => Vector} */
export const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
/** @type {(a: Vector, b: Vector) => number} */
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
/** @type {(a: Vector, b: Vector, t: number) => Vector} */
export const along = (a, b, t) => [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]),
                                   a[2] + t * (b[2] - a[2])];
/** @type {(a: Vector, b: Vector) => Vector} */
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2],
                                a[0] * b[1] - a[1] * b[0]];
/** @type {(a: Vector) => number} */
export const sizeOf = (a) => Math.hypot(a[0], a[1], a[2]);
/** @type {(a: Vector) => Vector} */
export const unitOf = (a) => { const s = sizeOf(a) || 1; return [a[0] / s, a[1] / s, a[2] / s]; };
