// What is typed of a new part, drawn while it is typed: places as dots, and lines between them.

/** @import { Head, Pose, Vector } from "./types.js" */
/** @typedef {{ dots: { at: Vector, text: string }[], lines: [Vector, Vector][] }} Sketch */

import { carried } from "./pose.js";
import { readLength } from "./typed.js";

/**
 * @param {string} text three numbers with commas between them
 * @param {Head} head
 * @returns {Vector | null} mm
 */
export function placeTyped(text, head) {
  const parts = text.replaceAll(";", ",").split(",").filter((t) => t.trim());
  const read = parts.map((t) => readLength(t, head.length.name, head.typed));
  return parts.length === 3 && read.every((r) => "value" in r)
    ? read.map((r) => ("value" in r ? r.value : NaN)) : null;
}

/**
 * Where a point of a part stands now.
 * @param {string} address part/point
 * @param {Head} head
 * @param {Pose} pose
 * @returns {Vector | null}
 */
export function pointAt(address, head, pose) {
  const [part, point] = address.trim().split("/"), b = head.bodies.findIndex((x) => x.name === part);
  const place = b < 0 ? undefined : point === "pivot" ? [0, 0, 0] : head.bodies[b].points[point];
  return place ? carried(pose.bodies[b], place[0], place[1], place[2]) : null;
}

/**
 * @param {Record<string, string>} fields what is typed, by key
 * @param {Head} head
 * @param {Pose} pose
 * @returns {Sketch}
 */
export function sketchOf(fields, head, pose) {
  const ends = ["from", "to"].map((key) => (fields[key] ? pointAt(fields[key], head, pose) : null));
  const dots = Object.entries(fields).flatMap(([key, text]) => {
    const at = key === "from" ? ends[0] : key === "to" ? ends[1] : placeTyped(text, head);
    return at ? [{ at, text: key }] : [];
  });
  /** @param {string} key */
  const spot = (key) => dots.find((d) => d.text === key)?.at;
  const [pivot, corner, opposite] = [spot("pivot"), spot("corner"), spot("opposite")];
  /** @type {[Vector, Vector][]} */
  const lines = pivot ? dots.filter((d) => d.at !== pivot).map((d) => [pivot, d.at]) : [];
  if (ends[0] && ends[1]) lines.push([ends[0], ends[1]]);
  if (corner && opposite) lines.push(...edgesOf(corner, opposite));
  return { dots, lines };
}

/** @param {Vector} one @param {Vector} other @returns {[Vector, Vector][]} */
function edgesOf(one, other) {
  /** @param {number} k @returns {Vector} */
  const corner = (k) => [0, 1, 2].map((c) => ((k >> c) & 1 ? other : one)[c]);
  return [0, 1, 2].flatMap((c) => Array.from({ length: 8 }, (_, k) => k).filter((k) => !((k >> c) & 1))
    .map((k) => /** @type {[Vector, Vector]} */ ([corner(k), corner(k | (1 << c))])));
}
