// The stick pad on the travel map, and the gearing curves, on canvas.

/** @import { Axis, InputHead, Limits, Look, Pair, Position, RequiredRow, SurfaceHead, TravelMap }
 *   from "./types.js" */
/** @import { Edge, Pen } from "./drawing.js" */
/** @typedef {import("./pose.js").Poses} Poses */
/** @typedef {ReturnType<typeof framed>} Framed */

import { prepared, ticksOf } from "./drawing.js";
import { trimmed } from "./wording.js";

/** @param {Axis} axis @returns {[number, number]} */
const span = ([start, step, count]) => [start, start + step * (count - 1)];
/** @param {InputHead} input @returns {[number, number]} in the unit that is shown */
const shownSpan = ({ axis, per }) => [span(axis)[0] / per, span(axis)[1] / per];

const DASHES = [[], [7, 4], [2, 3], [9, 3, 2, 3], [14, 5], [4, 2]];

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Edge} edge
 * @param {number[]} across from left to right
 * @param {number[]} range from least to greatest
 * @param {boolean} flip whether less is up
 */
function framed(canvas, edge, [left, right], [low, high], flip) {
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

/**
 * @param {HTMLCanvasElement} canvas
 * @param {{ across: InputHead, up: InputHead, position: Position, limits: Limits,
 *   wanted: Limits, map: TravelMap | null }} pad
 * @param {Look} look
 * @returns {(x: number, y: number) => [number, number]} positions at a place of the canvas
 */
export function drawPad(canvas, pad, look) {
  const { across, up, position, limits, wanted, map } = pad;
  const edge = { left: 40, right: 12, top: 20, bottom: 34 };
  const f = framed(canvas, edge, span(across.axis), span(up.axis), true), { pen, x, y } = f;
  pen.fillStyle = look.paper;
  pen.fillRect(0, 0, f.width, f.height);
  pen.fillStyle = look.grid;
  pen.fillRect(edge.left, edge.top, f.wide, f.tall);
  const [l, r] = limits[across.name], [t, b] = limits[up.name];
  pen.fillStyle = look.paper;
  pen.fillRect(x(l), y(t), x(r) - x(l), y(b) - y(t));
  if (map && map.free.length) {
    pen.beginPath();
    map.free.forEach(([u, v], n) => pen[n ? "lineTo" : "moveTo"](x(u), y(v)));
    pen.closePath();
    pen.globalAlpha = 0.35;
    pen.fillStyle = look.band;
    pen.fill();
    pen.globalAlpha = 1;
  }
  pen.setLineDash([4, 4]);
  pen.strokeStyle = look.soft;
  pen.lineWidth = 1;
  const [wl, wr] = wanted[across.name], [wt, wb] = wanted[up.name];
  pen.strokeRect(x(wl), y(wt), x(wr) - x(wl), y(wb) - y(wt));
  pen.setLineDash([]);
  pen.strokeStyle = look.ink;
  pen.lineWidth = 1.6;
  pen.strokeRect(x(l), y(t), x(r) - x(l), y(b) - y(t));
  if (map) drawBounds(pen, f, map, look);
  pen.strokeStyle = look.soft;
  pen.lineWidth = 0.7;
  pen.beginPath();
  pen.moveTo(x(0), edge.top); pen.lineTo(x(0), edge.top + f.tall);
  pen.moveTo(edge.left, y(0)); pen.lineTo(edge.left + f.wide, y(0));
  pen.stroke();
  padTicks(pen, f, edge, across, up, look);
  const px = x(position[across.name] || 0), py = y(position[up.name] || 0);
  pen.strokeStyle = look.paper;
  pen.lineWidth = 5;
  pen.beginPath(); pen.arc(px, py, 9, 0, 7); pen.stroke();
  pen.strokeStyle = look.ink;
  pen.lineWidth = 2.4;
  pen.beginPath(); pen.arc(px, py, 9, 0, 7);
  pen.moveTo(px - 14, py); pen.lineTo(px + 14, py);
  pen.moveTo(px, py - 14); pen.lineTo(px, py + 14);
  pen.stroke();
  return f.back;
}

// each boundary has a dash and a number of its own; the list beside the pad says what it is
/** @param {Pen} pen @param {Framed} frame @param {TravelMap} map @param {Look} look */
function drawBounds(pen, { x, y }, map, look) {
  pen.font = `600 11px ${look.font}`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  Object.values(map.boundaries).forEach((line, n) => {
    pen.strokeStyle = pen.fillStyle = look.mark;
    pen.lineWidth = 1.5;
    pen.setLineDash(DASHES[n % DASHES.length]);
    pen.beginPath();
    /** @type {Pair | null} */
    let before = null;
    for (const [u, v] of line) {
      const far = before && Math.hypot(u - before[0], v - before[1]) > 6;
      pen[before && !far ? "lineTo" : "moveTo"](x(u), y(v));
      before = [u, v];
    }
    pen.stroke();
    pen.setLineDash([]);
    const [u, v] = line[Math.floor(line.length / 2)];
    pen.fillStyle = look.paper;
    pen.beginPath(); pen.arc(x(u), y(v), 8, 0, 7); pen.fill();
    pen.fillStyle = look.mark;
    pen.fillText(String(n + 1), x(u), y(v));
  });
}

/**
 * @param {Pen} pen
 * @param {Framed} frame
 * @param {Edge} edge
 * @param {InputHead} across
 * @param {InputHead} up
 * @param {Look} look
 */
function padTicks(pen, { x, y, wide, tall }, edge, across, up, look) {
  pen.fillStyle = look.soft;
  pen.font = `11px ${look.font}`;
  pen.textBaseline = "top";
  pen.textAlign = "center";
  for (const t of ticksOf(...shownSpan(across), 6))
    pen.fillText(trimmed(t), x(t * across.per), edge.top + tall + 4);
  pen.textBaseline = "middle";
  pen.textAlign = "right";
  for (const t of ticksOf(...shownSpan(up), 6))
    pen.fillText(trimmed(t), edge.left - 5, y(t * up.per));
  pen.fillStyle = look.ink;
  pen.textAlign = "center";
  pen.textBaseline = "top";
  pen.fillText(`${across.name} ${across.unit}: ${across.words[0]} \u2190 \u2192 ${across.words[1]}`,
               edge.left + wide / 2, edge.top + tall + 18);
  pen.fillText(`${up.name} ${up.unit}: ${up.words[0]} \u2191 \u2193 ${up.words[1]}`,
               edge.left + wide / 2, 4);
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
  pen.fillText("TEU / TER \u2191  \u00b0", edge.left + 4, edge.top + 2);
  pen.textBaseline = "bottom";
  pen.fillText("TED / TEL \u2193  \u00b0", edge.left + 4, edge.top + tall - 2);
}
