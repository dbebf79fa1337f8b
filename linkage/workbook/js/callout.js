// What is written over the 3-D view: the dimension line of the chosen pair, marks, names.

/** @import { Look } from "./types.js" */
/**
 * @typedef {[number, number]} Spot
 * @typedef {{ one: Spot, two: Spot, touch: boolean, short: boolean, lines: string[] }} Dimension
 * @typedef {{ at: Spot, text: string, strong: boolean }} Name
 * @typedef {{ left: number, top: number, right: number, bottom: number }} Rectangle
 */

import { prepared } from "./drawing.js";

const NARROW = 480;  // px of a picture under which only the number is written into it

/** @param {Rectangle} a @param {Rectangle} b */
const meets = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

/**
 * A place for a text of some size near a spot, clear of what is taken; null where there is none.
 * @param {Spot} spot
 * @param {number} wide
 * @param {number} tall
 * @param {{ width: number, height: number }} canvas
 * @param {Rectangle[]} taken
 * @param {number} [off] how far from the spot
 * @returns {Rectangle | null}
 */
export function placeFor([x, y], wide, tall, canvas, taken, off = 14) {
  const tries = [[x + off, y - tall - off / 2], [x - off - wide, y - tall - off / 2],
                 [x + off, y + off / 2], [x - off - wide, y + off / 2], [x - wide / 2, y - tall - off],
                 [x - wide / 2, y + off]];
  for (const [left, top] of tries) {
    const box = { left, top, right: left + wide, bottom: top + tall };
    if (left >= 2 && top >= 2 && box.right <= canvas.width - 2 && box.bottom <= canvas.height - 2
        && !taken.some((other) => meets(box, other))) return box;
  }
  return null;
}

export class Callouts {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) { this.canvas = canvas; }

  /**
   * @param {Dimension | null} dimension
   * @param {Spot[]} marks where else something touches or comes too near
   * @param {Name[]} names
   * @param {Look} look
   */
  draw(dimension, marks, names, look) {
    const { pen, width, height } = prepared(this.canvas), size = { width, height };
    /** @type {Rectangle[]} */
    const taken = [];
    pen.lineJoin = "round";
    for (const [x, y] of marks) {
      pen.strokeStyle = look.mark;
      pen.lineWidth = 2;
      diamond(pen, x, y, 7);
      taken.push({ left: x - 8, top: y - 8, right: x + 8, bottom: y + 8 });
    }
    if (dimension) this.dimension(pen, dimension, size, taken, look);
    pen.textBaseline = "top";
    pen.textAlign = "left";
    for (const { at, text, strong } of names) {
      pen.font = `${strong ? 600 : 400} 12px ${look.font}`;
      const box = placeFor(at, pen.measureText(text).width, 15, size, taken, 10);
      if (!box) continue;
      taken.push(box);
      halo(pen, text, box.left, box.top, strong ? look.ink : look.soft, look.paper);
    }
  }

  /**
   * A part while it is typed, over what is drawn already.
   * @param {import("./sketch.js").Sketch} sketch
   * @param {(place: import("./types.js").Vector) => number[] | null} on
   * @param {Look} look
   */
  sketch({ dots, lines }, on, look) {
    const pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    pen.strokeStyle = look.act;
    pen.lineWidth = 2;
    pen.setLineDash([6, 4]);
    for (const [one, two] of lines.map((ends) => ends.map(on))) {
      if (!one || !two) continue;
      pen.beginPath(); pen.moveTo(one[0], one[1]); pen.lineTo(two[0], two[1]); pen.stroke();
    }
    pen.setLineDash([]);
    pen.font = `12px ${look.font}`;
    for (const { at, text } of dots) {
      const spot = on(at);
      if (!spot) continue;
      pen.fillStyle = look.act;
      pen.beginPath(); pen.arc(spot[0], spot[1], 4, 0, 7); pen.fill();
      halo(pen, text, spot[0] + 8, spot[1] - 6, look.ink, look.paper);
    }
  }

  /**
   * @param {CanvasRenderingContext2D} pen
   * @param {Dimension} dimension
   * @param {{ width: number, height: number }} size
   * @param {Rectangle[]} taken
   * @param {Look} look
   */
  dimension(pen, { one, two, touch, short, lines }, size, taken, look) {
    const colour = touch || short ? look.mark : look.act;
    const middle = /** @type {Spot} */ ([(one[0] + two[0]) / 2, (one[1] + two[1]) / 2]);
    const way = Math.hypot(two[0] - one[0], two[1] - one[1]);
    const across = way > 1e-6 ? [(one[1] - two[1]) / way, (two[0] - one[0]) / way] : [0, 1];
    for (const [stroke, wide] of /** @type {[string, number][]} */ ([[look.paper, 6], [colour, 2]])) {
      pen.strokeStyle = stroke;
      pen.lineWidth = wide;
      if (touch) diamond(pen, ...middle, 11);
      else {
        pen.beginPath();
        pen.moveTo(...one);
        pen.lineTo(...two);
        for (const [x, y] of [one, two]) {
          pen.moveTo(x - 7 * across[0], y - 7 * across[1]);
          pen.lineTo(x + 7 * across[0], y + 7 * across[1]);
        }
        pen.stroke();
        if (short) diamond(pen, ...middle, Math.max(11, way / 2 + 8));
      }
    }
    taken.push({ left: middle[0] - 12, top: middle[1] - 12, right: middle[0] + 12,
                 bottom: middle[1] + 12 });
    if (size.width < NARROW) lines = lines.slice(0, 1);
    const fonts = lines.map((_, n) => `${n ? 400 : 700} ${n ? 12 : 16}px ${look.font}`);
    const wide = Math.max(...lines.map((text, n) => {
      pen.font = fonts[n];
      return pen.measureText(text).width;
    }));
    const box = placeFor(middle, wide + 8, 8 + 16 * lines.length, size, taken, 34)
      || placeFor(middle, wide + 8, 8 + 16 * lines.length, size, [], 20);
    if (!box) return;
    taken.push(box);
    pen.strokeStyle = colour;
    pen.lineWidth = 1.3;
    pen.beginPath();
    pen.moveTo(...middle);
    pen.lineTo(box.left > middle[0] ? box.left : box.right, box.top + 22);
    pen.stroke();
    pen.textBaseline = "top";
    pen.textAlign = "left";
    lines.forEach((text, n) => {
      pen.font = fonts[n];
      halo(pen, text, box.left + 4, box.top + (n ? 6 + 16 * n : 2), n ? look.ink : colour, look.paper);
    });
  }
}

/** @param {CanvasRenderingContext2D} pen @param {number} x @param {number} y @param {number} r */
function diamond(pen, x, y, r) {
  pen.beginPath();
  pen.moveTo(x, y - r); pen.lineTo(x + r, y); pen.lineTo(x, y + r); pen.lineTo(x - r, y);
  pen.closePath();
  pen.stroke();
}

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {string} text
 * @param {number} x
 * @param {number} y
 * @param {string} ink
 * @param {string} paper
 */
export function halo(pen, text, x, y, ink, paper) {
  pen.strokeStyle = paper;
  pen.lineWidth = 4;
  pen.lineJoin = "round";
  pen.strokeText(text, x, y);
  pen.fillStyle = ink;
  pen.fillText(text, x, y);
}
