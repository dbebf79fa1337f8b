// Stick and travel map in one: bands of the least gap, travels, faults, and where the stick is.

/** @import { InputHead, Limits, Look, Pair, Position, TravelMap, Words }
 *   from "./types.js" */
/** @import { Pen } from "./drawing.js" */
/** @import { Framed } from "./charts.js" */
/** @import { Rectangle } from "./callout.js" */
/** @import { Field } from "./field.js" */
/**
 * @typedef {{ at: Pair, text: string, loud: boolean }} Flag
 * @typedef {{ across: InputHead, up: InputHead, position: Position, limits: Limits,
 *   wanted: Limits, real: Limits, window: Limits, map: TravelMap | null, field: Field, flags: Flag[],
 *   quiet: Set<string>, pointed: string, path: Pair[], words: Words }} Pad
 */

import { halo, placeFor } from "./callout.js";
import { framed } from "./charts.js";
import { bandOf, between } from "./field.js";
import { saidInput } from "./wording.js";

const EDGE = { left: 20, right: 20, top: 20, bottom: 20 };
const FAR = 6;  // degrees (mm) between places of a boundary across which it is not one line

/** @type {WeakMap<HTMLCanvasElement, { key: string, made: HTMLCanvasElement }>} */
const MADE = new WeakMap();

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Pad} pad
 * @param {Look} look
 * @returns {(x: number, y: number) => [number, number]} positions at a place of the canvas
 */
export function drawPad(canvas, pad, look) {
  const { across, up, position, limits } = pad;
  const f = framed(canvas, EDGE, pad.window[across.name], pad.window[up.name], true);
  const { pen, x, y } = f;
  pen.fillStyle = look.b4;
  pen.fillRect(EDGE.left, EDGE.top, f.wide, f.tall);
  drawBands(canvas, f, pad, look);
  /** @type {(box: Limits) => [number, number, number, number]} */
  const box = (of) => {
    const [l, r] = of[across.name], [t, b] = of[up.name];
    return [x(l), y(t), x(r) - x(l), y(b) - y(t)];
  };
  const [left, top, wide, tall] = box(limits);
  pen.fillStyle = look.paper;
  pen.globalAlpha = 0.5;  // past the limits
  pen.beginPath();
  pen.rect(EDGE.left, EDGE.top, f.wide, f.tall);
  pen.rect(left, top, wide, tall);
  pen.fill("evenodd");
  pen.globalAlpha = 1;
  pen.strokeStyle = look.soft;
  pen.lineWidth = 0.5;
  pen.beginPath();
  pen.moveTo(x(0), EDGE.top); pen.lineTo(x(0), EDGE.top + f.tall);
  pen.moveTo(EDGE.left, y(0)); pen.lineTo(EDGE.left + f.wide, y(0));
  pen.stroke();
  if (pad.map) drawBounds(pen, f, pad, look);
  pen.setLineDash([5, 3]);
  pen.strokeStyle = look.soft;
  pen.lineWidth = 1.4;
  pen.strokeRect(...box(pad.real));
  pen.setLineDash([]);
  pen.strokeStyle = look.ink;
  pen.lineWidth = 1.5;
  pen.strokeRect(...box(pad.wanted));
  drawPath(pen, f, pad.path, look);
  drawEnds(pen, f, pad, look);
  drawFlags(pen, f, pad, look);
  ring(pen, x(position[across.name] || 0), y(position[up.name] || 0), look);
  return f.back;
}

/** @param {Pen} pen @param {number} px @param {number} py @param {Look} look */
function ring(pen, px, py, look) {
  for (const [stroke, wide] of /** @type {[string, number][]} */ ([[look.paper, 7], [look.act, 3.5]])) {
    pen.strokeStyle = stroke;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.arc(px, py, 10, 0, 7);
    pen.stroke();
  }
  pen.lineWidth = 1.2;
  pen.beginPath();
  pen.moveTo(px - 5, py); pen.lineTo(px + 5, py);
  pen.moveTo(px, py - 5); pen.lineTo(px, py + 5);
  pen.stroke();
}

// stepped bands, drawn dot by dot once for as long as the values stand; touch is hatched too
/** @param {HTMLCanvasElement} canvas @param {Framed} f @param {Pad} pad @param {Look} look */
function drawBands(canvas, f, { field }, look) {
  const wide = Math.max(1, Math.round(f.wide)), tall = Math.max(1, Math.round(f.tall));
  const key = JSON.stringify([field.version, field.key, wide, tall, look.b0, look.b4]);
  let known = MADE.get(canvas);
  if (!field.version) return;
  if (!known || known.key !== key) {
    const made = document.createElement("canvas");
    [made.width, made.height] = [wide, tall];
    const pen = /** @type {Pen} */ (made.getContext("2d")), image = pen.createImageData(wide, tall);
    const colours = [look.b0, look.b1, look.b2, look.b3, look.b4].map((css) =>
      [1, 3, 5].map((k) => parseInt(css.slice(k, k + 2), 16)));
    const paper = [1, 3, 5].map((k) => parseInt(look.paper.slice(k, k + 2), 16));
    for (let py = 0; py < tall; py++) for (let px = 0; px < wide; px++) {
      const band = bandOf(between(field.values, field.count, px / Math.max(1, wide - 1)
        * (field.count - 1), py / Math.max(1, tall - 1) * (field.count - 1)));
      const striped = (band === 0 && (px + py) % 7 < 2) || (band < 0 && (px - py + tall) % 9 < 2);
      const colour = band < 0 ? (striped ? colours[2] : paper) : striped ? paper : colours[band];
      image.data.set([...colour, 255], 4 * (py * wide + px));
    }
    pen.putImageData(image, 0, 0);
    known = { key, made };
    MADE.set(canvas, known);
  }
  f.pen.drawImage(known.made, EDGE.left, EDGE.top, f.wide, f.tall);
}

// what ends the travel: stops are thin and quiet, anything else is loud
/** @param {Pen} pen @param {Framed} frame @param {Pad} pad @param {Look} look */
function drawBounds(pen, { x, y }, { map, quiet, pointed }, look) {
  for (const [name, line] of Object.entries(/** @type {TravelMap} */ (map).boundaries)) {
    const still = quiet.has(name);
    pen.strokeStyle = name === pointed ? look.act : still ? look.soft : look.mark;
    pen.lineWidth = name === pointed ? 3 : still ? 0.8 : 2.4;
    pen.beginPath();
    /** @type {Pair | null} */
    let before = null;
    for (const [u, v] of line) {
      const far = before && Math.hypot(u - before[0], v - before[1]) > FAR;
      pen[before && !far ? "lineTo" : "moveTo"](x(u), y(v));
      before = [u, v];
    }
    pen.stroke();
  }
}

/** @param {Pen} pen @param {Framed} frame @param {Pair[]} path @param {Look} look */
function drawPath(pen, { x, y }, path, look) {
  if (path.length < 2) return;
  pen.strokeStyle = look.act;
  pen.lineWidth = 1.4;
  pen.setLineDash([2, 3]);
  pen.beginPath();
  path.forEach(([u, v], n) => pen[n ? "lineTo" : "moveTo"](x(u), y(v)));
  pen.stroke();
  pen.setLineDash([]);
}

// the ends of both inputs in words, along the four sides
/** @param {Pen} pen @param {Framed} f @param {Pad} pad @param {Look} look */
function drawEnds(pen, f, { across, up, wanted, words }, look) {
  pen.font = `12px ${look.font}`;
  pen.fillStyle = look.ink;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  /** @param {InputHead} input @param {number} end */
  const said = (input, end) => saidInput(input, wanted[input.name][end], words);
  const [cx, cy] = [EDGE.left + f.wide / 2, EDGE.top + f.tall / 2];
  pen.fillText(said(up, 0), cx, EDGE.top / 2);
  pen.fillText(said(up, 1), cx, f.height - EDGE.bottom / 2);
  for (const [end, px, turn] of [[0, EDGE.left / 2, -1], [1, f.width - EDGE.right / 2, 1]]) {
    pen.save();
    pen.translate(px, cy);
    pen.rotate(turn * Math.PI / 2);
    pen.fillText(said(across, end), 0, 0);
    pen.restore();
  }
}

// faults of other pairs where they are, with names as far as they find room
/** @param {Pen} pen @param {Framed} f @param {Pad} pad @param {Look} look */
function drawFlags(pen, f, { flags, position, across, up }, look) {
  pen.textAlign = "left";
  pen.textBaseline = "top";
  const [sx, sy] = [f.x(position[across.name] || 0), f.y(position[up.name] || 0)];
  const [cx, cy] = [EDGE.left + f.wide / 2, EDGE.top + f.tall / 2];
  /** @type {Rectangle[]} */
  const taken = [{ left: cx - 50, top: 0, right: cx + 50, bottom: EDGE.top },
    { left: cx - 50, top: f.height - EDGE.bottom, right: cx + 50, bottom: f.height },
    { left: 0, top: cy - 40, right: EDGE.left, bottom: cy + 40 },
    { left: f.width - EDGE.right, top: cy - 40, right: f.width, bottom: cy + 40 },
    { left: sx - 14, top: sy - 14, right: sx + 14, bottom: sy + 14 }];
  for (const { at, text, loud } of flags) {
    const [x, y] = [f.x(at[0]), f.y(at[1])];
    pen.strokeStyle = look.mark;
    pen.fillStyle = look.paper;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(x, y - 6); pen.lineTo(x + 6, y); pen.lineTo(x, y + 6); pen.lineTo(x - 6, y);
    pen.closePath();
    pen.fill();
    pen.stroke();
    taken.push({ left: x - 7, top: y - 7, right: x + 7, bottom: y + 7 });
    if (!loud) continue;
    pen.font = `600 11.5px ${look.font}`;
    const box = placeFor([x, y], pen.measureText(text).width, 14, f, taken, 10);
    if (!box) continue;
    taken.push(box);
    halo(pen, text, box.left, box.top, look.mark, look.paper);
  }
}
