// Three views by stations, on canvas.

/** @import { Box, LengthUnit, Look, Mark, Pose, SolidHead, Vector } from "./types.js" */
/** @typedef {import("./pose.js").Poses} Poses */
/**
 * @typedef {{ name: string, x: number, y: number, depth: number, far: number, across: string,
 *   up: string }} View
 * @typedef {CanvasRenderingContext2D} Pen
 * @typedef {{ left: number, right: number, top: number, bottom: number }} Edge
 * @typedef {(p: Vector) => [number, number]} Flat where a place is on the canvas
 * @typedef {{ i: number, solid: SolidHead, kind: "rod" | "part" | "structure" }} Item
 * @typedef {{ bars: [Vector[], number][], faces: Vector[][][] }} Lines
 * @typedef {Item & Lines} Posed
 */

import { carried } from "./pose.js";
import { trimmed } from "./wording.js";

const CLOSE_TO = 3;  // dots from a bar at which it is pointed at

export const VIEWS = {
  side: { name: "Side, seen from the left", x: 0, y: 2, depth: 1, far: 1, across: "FS", up: "WL" },
  top: { name: "Top, seen from above", x: 0, y: 1, depth: 2, far: -1, across: "FS", up: "BL" },
  front: { name: "Front to back, looking forward", x: 1, y: 2, depth: 0, far: -1, across: "BL",
           up: "WL" },
};

/** @param {Element} el @returns {Look} */
export function lookOf(el) {
  const style = getComputedStyle(el);
  /** @param {string} name */
  const colour = (name) => style.getPropertyValue(`--lw-${name}`).trim();
  const names = ["paper", "ink", "soft", "line", "structure", "part", "rod", "mark", "near", "band",
                 "grid", "pick", "pick2", "act", "ok", "b0", "b1", "b2", "b3", "b4"];
  return /** @type {Look} */ ({ ...Object.fromEntries(names.map((n) => [n, colour(n)])),
                                font: style.fontFamily });
}

// The page's own colours as red, green and blue from 0 to 1.
/** @param {Look} look @returns {Record<string, Vector>} */
export const coloursOf = (look) => Object.fromEntries(Object.entries(look).map(([name, css]) => {
  const hex = /^#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})$/i.exec(css);
  return [name, hex ? hex.slice(1).map((part) => parseInt(part, 16) / 255) : [0.5, 0.5, 0.5]];
}));

// sizes are told by an observer: to ask for them while drawing would lay the page out each time
/** @type {WeakMap<Element, { width: number, height: number }>} */
export const SIZES = new WeakMap();

/** @param {HTMLCanvasElement} canvas @returns {Pen} */
const penOf = (canvas) => /** @type {Pen} */ (canvas.getContext("2d"));

/** @param {HTMLCanvasElement} canvas */
export function prepared(canvas) {
  const box = SIZES.get(canvas) || canvas.getBoundingClientRect();
  SIZES.set(canvas, box);
  const ratio = window.devicePixelRatio || 1;
  const width = Math.max(1, Math.round(box.width * ratio));
  const height = Math.max(1, Math.round(box.height * ratio));
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  const pen = penOf(canvas);
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, box.width, box.height);
  return { pen, width: box.width, height: box.height };
}

/** @param {number} low @param {number} high @param {number} most */
export function ticksOf(low, high, most) {
  const raw = (high - low) / Math.max(1, most), ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5].map((k) => k * ten).find((k) => k >= raw) || 10 * ten, ticks = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + 1e-9 * step; n++)
    ticks.push(n * step);
  return ticks;
}

export class Drawing {
  /** @param {Poses} poses */
  constructor(poses) {
    this.poses = poses;
    /** @type {Map<number, Lines>} */
    this.still = new Map();
    /** @type {Map<string, { key: string, made: HTMLCanvasElement }>} */
    this.grounds = new Map();
    /** @param {number} body */
    const of = (body) => (poses.head.bodies[body].name === "airframe" ? 0 : 1);
    /** @type {Item[]} */
    this.solids = poses.head.solids.map((solid, i) => ({
      i, solid, kind: solid.carriers.length > 1 ? "rod" : of(solid.carriers[0]) ? "part"
        : "structure" }));
  }

  /** @param {Item} item @param {Pose} pose @returns {Lines} */
  lines(item, pose) {
    const { solid } = item;
    const known = item.kind === "structure" ? this.still.get(item.i) : undefined;
    if (known) return known;
    /** @param {number} first @param {number} count */
    const put = (first, count) => {
      const found = [];
      for (let n = first; n < first + count; n++) {
        const b = solid.carriers.length > 1 ? solid.carriers[n - first] : solid.carriers[0];
        found.push(carried(pose.bodies[b], this.poses.points[3 * n], this.poses.points[3 * n + 1],
                           this.poses.points[3 * n + 2]));
      }
      return found;
    };
    /** @type {Lines} */
    const made = { bars: solid.bars.map(([f, c, r]) => [put(f, c), r]),
                   faces: solid.faces.map((face) => face.map(([f, c]) => put(f, c))) };
    if (item.kind === "structure") this.still.set(item.i, made);
    return made;
  }

  // every solid's lines at a pose, shared by the three views
  /** @param {Pose} pose @returns {Posed[]} */
  posed(pose) {
    return this.solids.map((item) => ({ ...item, ...this.lines(item, pose) }));
  }

  // a box about some bodies and rods over some poses, mm
  /** @param {Pose[]} poses @param {(b: number) => boolean} wanted @returns {Box} */
  boxOf(poses, wanted) {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    /** @param {Vector} p */
    const add = (p) => { for (let c = 0; c < 3; c++) if (p[c] === p[c]) {
      low[c] = Math.min(low[c], p[c]); high[c] = Math.max(high[c], p[c]); } };
    for (const pose of poses) {
      for (const [b, body] of this.poses.head.bodies.entries()) {
        if (!wanted(b)) continue;
        const places = Object.values(body.points);
        if (b) places.push([0, 0, 0]);
        for (const [x, y, z] of places) add(carried(pose.bodies[b], x, y, z));
      }
      for (const item of this.posed(pose)) {
        if (item.solid.carriers.every(wanted)) {
          for (const [points] of item.bars) points.forEach(add);
          for (const face of item.faces) face[0].forEach(add);
        }
      }
    }
    return low[0] === Infinity ? { low: [-100, -100, -100], high: [100, 100, 100] } : { low, high };
  }

  /**
   * @param {HTMLCanvasElement} canvas
   * @param {keyof typeof VIEWS} which
   * @param {{ posed: Posed[], pose: Pose, frame: Box, marks: Mark[], look: Look,
   *   unit: LengthUnit }} what
   */
  draw(canvas, which, { posed, pose, frame, marks, look, unit }) {
    const { pen, width, height } = prepared(canvas), view = VIEWS[which];
    const edge = { left: 54, right: 10, top: 10, bottom: 24 };
    const low = [frame.low[view.x], frame.low[view.y]];
    const high = [frame.high[view.x], frame.high[view.y]];
    const wide = width - edge.left - edge.right, tall = height - edge.top - edge.bottom;
    const scale = 0.94 * Math.min(wide / Math.max(high[0] - low[0], 1),
                                  tall / Math.max(high[1] - low[1], 1));
    const middle = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2];
    /** @type {Flat} */
    const at = (p) => [edge.left + wide / 2 + (p[view.x] - middle[0]) * scale,
                       edge.top + tall / 2 - (p[view.y] - middle[1]) * scale];
    const still = this.background(canvas, which, frame, look, unit, (ground) => {
      ground.fillStyle = look.paper;
      ground.fillRect(0, 0, width, height);
      this.stations(ground, view, { edge, wide, tall, scale, middle }, look, unit);
      ground.beginPath();
      ground.rect(edge.left, edge.top, wide, tall);
      ground.clip();
      for (const item of this.layers(posed, view, frame, true))
        this.solid(ground, item, at, scale, look);
    });
    pen.drawImage(still, 0, 0, width, height);
    pen.save();
    pen.beginPath();
    pen.rect(edge.left, edge.top, wide, tall);
    pen.clip();
    for (const item of this.layers(posed, view, frame, false))
      this.solid(pen, item, at, scale, look);
    /** @param {Vector} p */
    const near = (p) => p[view.depth] >= frame.low[view.depth]
      && p[view.depth] <= frame.high[view.depth];
    this.bare(pen, pose, at, look, near);
    for (const mark of marks.filter((one) => near(one.at)))
      this.mark(pen, mark, at, look, { edge, wide, tall });
    pen.restore();
    return { scale, at };
  }

  /**
   * The solid drawn at a place of a view, what moves before what stands still.
   * @param {Posed[]} posed
   * @param {Flat} at
   * @param {number} scale
   * @param {[number, number]} place
   */
  nameAt(posed, at, scale, [x, y]) {
    const moving = posed.filter((item) => item.kind !== "structure");
    const still = posed.filter((item) => item.kind === "structure");
    return [...moving, ...still].find((item) =>
      item.bars.some(([points, radius]) => awayFrom(points.map(at), x, y)
        < Math.max(radius * scale, 1) + CLOSE_TO)
      || item.faces.some((face) => face.filter((loop) => inside(loop.map(at), x, y)).length % 2))
      ?.solid.name || "";
  }

  // solids within the framed depth, the farthest first
  /**
   * @param {Posed[]} posed
   * @param {View} view
   * @param {Box} frame
   * @param {boolean} still
   */
  layers(posed, view, frame, still) {
    return posed.filter((item) => (item.kind === "structure") === still
        && within(item, view.depth, frame))
      .map((item) => ({ item, depth: depthOf(item, view) }))
      .sort((a, b) => (b.depth - a.depth) * view.far).map(({ item }) => item);
  }

  // stations and structure, drawn once for as long as nothing but the stick moves
  /**
   * @param {HTMLCanvasElement} canvas
   * @param {string} which
   * @param {Box} frame
   * @param {Look} look
   * @param {LengthUnit} unit
   * @param {(pen: Pen) => void} draw
   */
  background(canvas, which, frame, look, unit, draw) {
    const { width, height } = canvas;
    const key = JSON.stringify([width, height, frame.low, frame.high, look, unit.name]);
    const known = this.grounds.get(which);
    if (known && known.key === key) return known.made;
    const made = document.createElement("canvas"), pen = penOf(made);
    [made.width, made.height] = [width, height];
    const ratio = window.devicePixelRatio || 1;
    pen.scale(ratio, ratio);
    draw(pen);
    this.grounds.set(which, { key, made });
    return made;
  }

  /**
   * @param {Pen} pen
   * @param {View} view
   * @param {{ edge: Edge, wide: number, tall: number, scale: number, middle: number[] }} place
   * @param {Look} look
   * @param {LengthUnit} unit
   */
  stations(pen, view, place, look, unit) {
    const per = unit.mm, { edge, wide, tall, scale, middle } = place;
    pen.font = `11px ${look.font}`;
    pen.lineWidth = 1;
    const half = [wide / 2 / scale, tall / 2 / scale];
    const x = ticksOf((middle[0] - half[0]) / per, (middle[0] + half[0]) / per, wide / 70);
    const y = ticksOf((middle[1] - half[1]) / per, (middle[1] + half[1]) / per, tall / 45);
    pen.strokeStyle = look.grid;
    pen.fillStyle = look.soft;
    pen.textBaseline = "top";
    pen.textAlign = "center";
    for (const t of x) {
      const px = edge.left + wide / 2 + (t * per - middle[0]) * scale;
      pen.beginPath(); pen.moveTo(px, edge.top); pen.lineTo(px, edge.top + tall); pen.stroke();
      if (px < edge.left + wide - 62) pen.fillText(trimmed(t), px, edge.top + tall + 5);
    }
    pen.textAlign = "right";
    pen.fillText(`${view.across} ${unit.name}`, edge.left + wide, edge.top + tall + 5);
    pen.textBaseline = "middle";
    for (const t of y) {
      const py = edge.top + tall / 2 - (t * per - middle[1]) * scale;
      pen.beginPath(); pen.moveTo(edge.left, py); pen.lineTo(edge.left + wide, py); pen.stroke();
      if (py > edge.top + 20) pen.fillText(trimmed(t), edge.left - 5, py);
    }
    pen.textBaseline = "top";
    pen.fillText(`${view.up} ${unit.name}`, edge.left - 5, edge.top);
  }

  /**
   * @param {Pen} pen
   * @param {Posed} item
   * @param {Flat} at
   * @param {number} scale
   * @param {Look} look
   */
  solid(pen, item, at, scale, look) {
    const faint = item.kind === "structure";
    pen.lineJoin = "round";
    pen.lineCap = "round";
    /** @param {Vector[][]} face */
    const trace = (face) => {
      for (const loop of face) {
        loop.forEach((p, n) => pen[n ? "lineTo" : "moveTo"](...at(p)));
        pen.closePath();
      }
    };
    pen.globalAlpha = faint ? 0.14 : 0.85;
    pen.fillStyle = look[item.kind];
    for (const face of item.faces) {
      pen.beginPath();
      trace(face);
      pen.fill("evenodd");
    }
    if (item.faces.length) {
      pen.globalAlpha = faint ? 0.55 : 1;
      pen.strokeStyle = look.line;
      pen.lineWidth = faint ? 0.5 : 0.8;
      pen.beginPath();
      item.faces.forEach(trace);
      pen.stroke();
    }
    for (const [points, radius] of item.bars) {
      const path = () => {
        pen.beginPath();
        points.forEach((p, n) => pen[n ? "lineTo" : "moveTo"](...at(p)));
        if (points.length === 1) pen.lineTo(...at(points[0]));
        pen.stroke();
      };
      const thick = Math.max(2 * radius * scale, 1.4);
      pen.globalAlpha = faint ? 0.5 : 1;
      pen.strokeStyle = look.line;
      pen.lineWidth = thick;
      path();
      if (thick > 3) {
        pen.strokeStyle = look[item.kind];
        pen.lineWidth = thick - 1.8;
        path();
      }
    }
    pen.globalAlpha = 1;
  }

  // rods without a solid, lines to a body's points where it has no solid, joints and rod ends
  /**
   * @param {Pen} pen
   * @param {Pose} pose
   * @param {Flat} at
   * @param {Look} look
   * @param {(p: Vector) => boolean} near
   */
  bare(pen, pose, at, look, near) {
    const { head } = this.poses;
    const solid = new Set(head.solids.map((s) => s.carriers.length === 1 ? s.carriers[0] : -1));
    pen.strokeStyle = look.line;
    pen.lineWidth = 1.6;
    /** @param {Vector} a @param {Vector} b */
    const line = (a, b) => {
      pen.beginPath(); pen.moveTo(...at(a)); pen.lineTo(...at(b)); pen.stroke();
    };
    head.bodies.forEach((body, b) => {
      if (b && !solid.has(b)) {
        const pivot = carried(pose.bodies[b], 0, 0, 0);
        for (const [x, y, z] of Object.values(body.points))
          line(pivot, carried(pose.bodies[b], x, y, z));
      }
    });
    pen.fillStyle = look.paper;
    for (const rod of head.rods) {
      const [p, q] = rod.ends.map(([b, x, y, z]) => carried(pose.bodies[b], x, y, z));
      if (rod.radius === null) line(p, q);
      for (const end of [p, q].filter(near)) {
        pen.beginPath(); pen.arc(...at(end), 2.6, 0, 7); pen.fill(); pen.stroke();
      }
    }
    head.bodies.forEach((body, b) => {
      const pivot = carried(pose.bodies[b], 0, 0, 0);
      if (!b || !near(pivot)) return;
      const [x, y] = at(pivot);
      pen.beginPath();
      pen.moveTo(x - 4, y); pen.lineTo(x + 4, y); pen.moveTo(x, y - 4); pen.lineTo(x, y + 4);
      pen.stroke();
    });
  }

  // where two solids touch or are too near: a shape of its own for each, and words
  /**
   * @param {Pen} pen
   * @param {Mark} mark
   * @param {Flat} at
   * @param {Look} look
   * @param {{ edge: Edge, wide: number, tall: number }} place
   */
  mark(pen, mark, at, look, { edge, wide, tall }) {
    const [x, y] = at(mark.at);
    if (!(x > edge.left && x < edge.left + wide && y > edge.top && y < edge.top + tall)) return;
    pen.strokeStyle = pen.fillStyle = mark.touch ? look.mark : look.near;
    pen.lineWidth = 2.2;
    pen.beginPath();
    if (mark.touch) {
      pen.moveTo(x, y - 9); pen.lineTo(x + 9, y); pen.lineTo(x, y + 9); pen.lineTo(x - 9, y);
      pen.closePath();
    } else pen.arc(x, y, 8, 0, 7);
    pen.stroke();
    pen.font = `600 11px ${look.font}`;
    const size = pen.measureText(mark.text).width;
    const tx = Math.min(Math.max(x + 13, edge.left + 3), edge.left + wide - size - 6);
    const ty = Math.min(Math.max(y - 14 + mark.row * 17, edge.top + 10), edge.top + tall - 10);
    pen.globalAlpha = 0.9;
    pen.fillStyle = look.paper;
    pen.fillRect(tx - 3, ty - 8, size + 6, 16);
    pen.globalAlpha = 1;
    pen.fillStyle = mark.touch ? look.mark : look.near;
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    pen.fillText(mark.text, tx, ty);
  }
}

// how far a place is from a chain of straight lines
/** @param {[number, number][]} chain @param {number} x @param {number} y */
function awayFrom(chain, x, y) {
  let least = Infinity;
  chain.forEach(([ax, ay], k) => {
    const [bx, by] = chain[Math.min(k + 1, chain.length - 1)], [dx, dy] = [bx - ax, by - ay];
    const t = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
    least = Math.min(least, Math.hypot(ax + t * dx - x, ay + t * dy - y));
  });
  return least;
}

/** @param {[number, number][]} loop @param {number} x @param {number} y */
function inside(loop, x, y) {
  let is = false;
  loop.forEach(([ax, ay], k) => {
    const [bx, by] = loop[(k + 1) % loop.length];
    if ((ay > y) !== (by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax)) is = !is;
  });
  return is;
}

// whether a solid lies within the framed depth, so that far parts don't hide near ones
/** @param {Posed} item @param {number} axis @param {Box} frame */
function within(item, axis, frame) {
  let low = Infinity, high = -Infinity;
  /** @param {Vector} p */
  const add = (p) => { low = Math.min(low, p[axis]); high = Math.max(high, p[axis]); };
  for (const [points] of item.bars) points.forEach(add);
  for (const face of item.faces) face[0].forEach(add);
  return high >= frame.low[axis] && low <= frame.high[axis];
}

/** @param {Posed} item @param {View} view */
function depthOf(item, view) {
  const points = item.bars.length ? item.bars[0][0] : item.faces[0][0];
  return points.reduce((sum, p) => sum + p[view.depth], 0) / points.length;
}
