// Curves on canvas: what the surfaces do over the travel of an input.

/** @import { Axis, InputHead, Limits, Look, Pair, Position, RequiredRow, SurfaceHead }
 *   from "./types.js" */
/** @import { Edge, Pen } from "./drawing.js" */
/** @typedef {import("./pose.js").Poses} Poses */
/** @typedef {ReturnType<typeof framed>} Framed */

import { halo } from "./callout.js";
import { prepared, ticksOf } from "./drawing.js";
import { trimmed } from "./wording.js";

/** @param {Axis} axis @returns {[number, number]} */
export const span = ([start, step, count]) => [start, start + step * (count - 1)];
const DASHES = [[], [7, 4], [2, 3], [9, 3, 2, 3], [14, 5], [4, 2]];

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Edge} edge
 * @param {number[]} across from left to right
 * @param {number[]} range from least to greatest
 * @param {boolean} flip whether less is up
 */
export function framed(canvas, edge, [left, right], [low, high], flip) {
  const { pen, width, height } = prepared(canvas);
  const wide = width - edge.left - edge.right, tall = height - edge.top - edge.bottom;
  /** @param {number} v */
  const x = (v) => edge.left + (v - left) / (right - left) * wide;
  /** @param {number} v */
  const y = (v) => edge.top + (flip ? v - low : high - v) / (high - low) * tall;
  /** @type {(px: number, py: number) => [number, number]} */
  const back = (px, py) => [left + (px - edge.left) / wide * (right - left),
                            flip ? low + (py - edge.top) / tall * (high - low)
                              : high - (py - edge.top) / tall * (high - low)];
  return { pen, width, height, wide, tall, x, y, back };
}

// deflection of every surface an input moves, the other inputs where they are
/**
 * @param {HTMLCanvasElement} canvas
 * @param {Poses} poses
 * @param {number} k
 * @param {{ position: Position, limits: Limits }} state
 * @param {RequiredRow[]} required
 * @param {Look} look
 */
export function drawCurves(canvas, poses, k, state, required, look) {
  const { head } = poses, input = head.inputs[k], [low, high] = state.limits[input.name];
  const edge = { left: 44, right: 96, top: 12, bottom: 34 };
  /** @type {{ s: number, surface: SurfaceHead, points: Pair[] }[]} */
  const curves = [];
  head.surfaces.forEach((surface, s) => {
    if (!surface.inputs.includes(k)) return;
    /** @type {Pair[]} */
    const points = [];
    for (let n = 0; n <= 60; n++) {
      const v = low + (high - low) * n / 60;
      points.push([v, poses.surface(s, { ...state.position, [input.name]: v })]);
    }
    if (points.some((p) => Math.abs(p[1] - points[0][1]) > 1e-3 || p[1] !== p[1]))
      curves.push({ s, surface, points });
  });
  if (!curves.length) {
    const { pen, width, height } = prepared(canvas);
    pen.font = `12px ${look.font}`;
    pen.fillStyle = look.soft;
    pen.textAlign = "center";
    pen.fillText(`no surface follows ${input.name}`, width / 2, height / 2);
    return;
  }
  const values = curves.flatMap((c) => c.points.map((p) => p[1])).filter((v) => v === v);
  const bands = required.filter((r) => r.input === input.name);
  for (const r of bands) values.push(r.value - r.within, r.value + r.within);
  const most = Math.max(5, ...values.map(Math.abs)) * 1.08;
  const f = framed(canvas, edge, [low, high], [-most, most], true), { pen, x, y } = f;
  pen.fillStyle = look.paper;
  pen.fillRect(0, 0, f.width, f.height);
  curveGrid(pen, f, edge, [low, high], most, input, look);
  for (const r of bands) {
    pen.globalAlpha = 0.45;
    pen.fillStyle = look.band;
    const right = r.end === "greatest", from = right ? x(high) - f.wide * 0.12 : x(low);
    pen.fillRect(from, y(r.value + r.within), f.wide * 0.12, y(-r.within) - y(r.within));
    pen.globalAlpha = 1;
  }
  const here = state.position[input.name] || 0;
  /** @type {[number, string][]} */
  const labels = [];
  curves.forEach(({ s, surface, points }) => {
    pen.strokeStyle = look.ink;
    pen.setLineDash(DASHES[s % DASHES.length]);
    pen.lineWidth = 1.8;
    pen.beginPath();
    let drawn = false;
    for (const [u, v] of points) {
      if (v === v) pen[drawn ? "lineTo" : "moveTo"](x(u), y(v));
      drawn = v === v;
    }
    pen.stroke();
    pen.setLineDash([]);
    const value = poses.surface(s, state.position), end = points[points.length - 1][1];
    if (value === value) {
      pen.fillStyle = look.paper;
      pen.lineWidth = 2;
      pen.beginPath(); pen.arc(x(here), y(value), 5, 0, 7); pen.fill(); pen.stroke();
    }
    labels.push([end === end ? y(end) : edge.top, surface.name]);
  });
  labels.sort((a, b) => a[0] - b[0]);
  pen.fillStyle = look.ink;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  let lowest = 0;
  for (const [py, name] of labels) {
    lowest = Math.max(py, lowest + 13);
    pen.fillText(name.length > 16 ? name.slice(0, 15) + "\u2026" : name, x(high) + 6, lowest);
  }
  pen.strokeStyle = look.soft;
  pen.lineWidth = 1;
  pen.beginPath(); pen.moveTo(x(here), edge.top); pen.lineTo(x(here), edge.top + f.tall);
  pen.stroke();
}

/**
 * @param {Pen} pen
 * @param {Framed} frame
 * @param {Edge} edge
 * @param {number[]} across
 * @param {number} most
 * @param {InputHead} input
 * @param {Look} look
 */
function curveGrid(pen, { x, y, wide, tall }, edge, [low, high], most, input, look) {
  pen.font = `11px ${look.font}`;
  pen.strokeStyle = look.grid;
  pen.fillStyle = look.soft;
  pen.lineWidth = 1;
  pen.textAlign = "center";
  pen.textBaseline = "top";
  for (const t of ticksOf(low / input.per, high / input.per, wide / 50)) {
    const at = x(t * input.per);
    pen.beginPath(); pen.moveTo(at, edge.top); pen.lineTo(at, edge.top + tall); pen.stroke();
    pen.fillText(trimmed(t), at, edge.top + tall + 4);
  }
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  for (const t of ticksOf(-most, most, tall / 30)) {
    pen.beginPath(); pen.moveTo(edge.left, y(t)); pen.lineTo(edge.left + wide, y(t)); pen.stroke();
    pen.fillText(`${trimmed(Math.abs(t))}`, edge.left - 5, y(t));
  }
  pen.fillStyle = look.ink;
  pen.textAlign = "center";
  pen.textBaseline = "top";
  pen.fillText(`${input.name} ${input.unit}: ${input.words[0]} \u2190 \u2192 ${input.words[1]}`,
               edge.left + wide / 2, edge.top + tall + 18);
  pen.textAlign = "left";
  pen.textBaseline = "top";
  halo(pen, "TEU / TER \u2191  \u00b0", edge.left + 4, edge.top + 2, look.ink, look.paper);
  pen.textBaseline = "bottom";
  halo(pen, "TED / TEL \u2193  \u00b0", edge.left + 4, edge.top + tall - 2, look.ink, look.paper);
}
