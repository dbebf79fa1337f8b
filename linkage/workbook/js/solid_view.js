// The 3-D view, in plain WebGL 2: the live view's solids and poses, to orbit.

/** @import { Look, Vector } from "./types.js" */
/** @import { Drawable } from "./solid_mesh.js" */
/** @typedef {import("./view.js").Workbook} App */
/**
 * @typedef {WebGL2RenderingContext} Gl
 * @typedef {{ from: number, count: number }} Run
 * @typedef {Omit<Drawable, "mesh"> & { corners: Vector[], triangles: Run, lines: Run }} Item
 * @typedef {{ gl: Gl, at: Record<string, WebGLUniformLocation | null>,
 *   buffers: WebGLBuffer[] }} Scene what draws, once the view has been opened
 * @typedef {(number[] | null)[]} Places matrices of the items, null out of reach
 */

import { h, newId, tell } from "./dom.js";
import { carried } from "./pose.js";
import { asRows, cornersOf, drawables, middleOf, placed } from "./solid_mesh.js";
import { cross, dot, sub, unitOf } from "./vectors.js";

const FIELD = 28 * Math.PI / 180;
const SOLID_HOME = { round: 215, up: 20, near: 1 };  // degrees from the tail over the right; zoom
const VERTEX = `#version 300 es
uniform mat4 seen, place; uniform vec2 grow; uniform float pull;
layout(location = 0) in vec3 spot; layout(location = 1) in vec4 facing;
out vec3 normal;
void main() {
  normal = mat3(place) * facing.xyz;
  gl_Position = seen * place * vec4(spot, 1.0);
  vec2 way = (seen * vec4(normal, 0.0)).xy;
  gl_Position.xy += grow * gl_Position.w * way / max(length(way), 1e-6);
  gl_Position.z += pull;  // as if a share nearer to the eye, whatever the distance
}`;
const FRAGMENT = `#version 300 es
precision highp float;
uniform vec3 colour, light, stripe; uniform int kind;
in vec3 normal; out vec4 drawn;
void main() {
  float shade = kind == 0 ? 1.0 : 0.66 + 0.34 * dot(normalize(normal), light);
  bool striped = kind == 2 && mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 3.5;
  drawn = vec4(striped ? stripe : colour * shade, 1.0);
}`;

/** @param {Gl} gl */
function program(gl) {
  const made = gl.createProgram();
  /** @type {[number, string][]} */
  const shaders = [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]];
  for (const [kind, text] of shaders) {
    const shader = /** @type {WebGLShader} */ (gl.createShader(kind));
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS))
    throw new Error(gl.getProgramInfoLog(made) || "no 3-D");
  gl.useProgram(made);
  const names = ["seen", "place", "grow", "pull", "colour", "light", "stripe", "kind"];
  return Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(made, name)]));
}

// All meshes in one vertex and one index buffer; each drawable learns where its own lie.
/**
 * @param {Gl} gl
 * @param {WebGLBuffer[]} buffers
 * @param {Drawable[]} drawables
 * @returns {Item[]}
 */
function fill(gl, buffers, drawables) {
  let vertices = 0, indices = 0;
  for (const { mesh } of drawables) {
    vertices += mesh.spots.length / 3;
    indices += mesh.triangles.length + mesh.lines.length;
  }
  const bytes = new ArrayBuffer(16 * vertices), index = new Uint32Array(indices);
  const spots = new Float32Array(bytes), facings = new Int8Array(bytes);
  let v = 0, i = 0;
  const items = drawables.map(({ mesh, ...rest }) => {
    const first = v;
    /** @param {number[]} list */
    const put = (list) => {
      const from = i;
      for (const k of list) index[i++] = first + k;
      return { from: 4 * from, count: list.length };
    };
    for (let k = 0; k < mesh.spots.length / 3; k++, v++) {
      spots.set(mesh.spots.slice(3 * k, 3 * k + 3), 4 * v);
      facings.set(mesh.facings.slice(4 * k, 4 * k + 4), 16 * v + 12);
    }
    return { ...rest, corners: cornersOf(mesh.spots), triangles: put(mesh.triangles),
             lines: put(mesh.lines) };
  });
  gl.bindBuffer(gl.ARRAY_BUFFER, buffers[0]);
  gl.bufferData(gl.ARRAY_BUFFER, bytes, gl.STATIC_DRAW);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, buffers[1]);
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, index, gl.STATIC_DRAW);
  gl.enableVertexAttribArray(0);
  gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 16, 0);
  gl.enableVertexAttribArray(1);
  gl.vertexAttribPointer(1, 4, gl.BYTE, true, 16, 12);
  return items;
}

// The page's own colours as red, green and blue from 0 to 1.
/** @param {Look} look @returns {Record<string, Vector>} */
const coloursOf = (look) => Object.fromEntries(Object.entries(look).map(([name, css]) => {
  const hex = /^#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})$/i.exec(css);
  return [name, hex ? hex.slice(1).map((part) => parseInt(part, 16) / 255) : [0.5, 0.5, 0.5]];
}));

export class SolidPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    ({ round: this.round, up: this.up, near: this.near } = SOLID_HOME);
    this.chosen = "";
    this.fitted = 0;  // distance of the eye that what is looked at fits in, 0 until it is known
    this.asked = 0;
    /** @type {Scene | null | undefined} */
    this.scene = undefined;  // null where the browser draws no 3-D
    /** @type {Item[]} */
    this.items = [];
    /** @type {ResizeObserver | undefined} */
    this.watch = undefined;
    const pick = newId(), filled = newId();
    this.pick = h("select", { id: pick, "data-control": "look at", onchange: () => this.look() });
    this.filled = h("input", { id: filled, type: "checkbox", "data-control": "fill",
                               onchange: () => this.later() });
    this.canvas = h("canvas", { tabindex: "0", class: "lw-solid", role: "application",
      "data-view": "solid", "aria-label": "3-D view of the controls: arrow keys turn it, plus and "
      + "minus zoom, Home shows everything again" });
    this.words = h("p", { class: "lw-note", role: "status" });
    this.el = h("details", { class: "lw-solids", ontoggle: () => this.update() },
      h("summary", {}, "3-D view"),
      h("div", { class: "lw-row" }, h("label", { for: pick }, "Look at"), this.pick,
        h("label", { for: filled, class: "lw-check" }, this.filled, " fill what stands still")),
      this.canvas, this.words);
    this.listen();
  }

  // Nothing is made before the view is opened; new shapes are loaded once changes come to rest.
  update() {
    const { poses } = this.app;
    if (!this.el.open || this.scene === null) return;
    if (!this.scene) this.start();
    else if (this.poses !== poses) {
      clearTimeout(this.loading);
      this.loading = setTimeout(() => { this.load(); this.later(); }, 200);
    }
    this.later();
  }

  start() {
    const gl = this.canvas.getContext("webgl2", { antialias: true });
    if (!gl) {
      this.scene = null;
      tell(this.words, "This browser draws no 3-D (WebGL 2 is off); the flat views show the same.");
      return;
    }
    this.scene = { gl, at: program(gl), buffers: [gl.createBuffer(), gl.createBuffer()] };
    this.load();
    if (this.watch) return;  // begun again after the browser had lost what it drew with
    this.canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    this.canvas.addEventListener("webglcontextrestored", () => { this.start(); this.later(); });
    this.watch = new ResizeObserver(() => this.later());
    this.watch.observe(this.canvas);
  }

  load() {
    if (!this.scene) return;
    this.poses = this.app.poses;
    this.items = fill(this.scene.gl, this.scene.buffers,
                      drawables(this.poses.head, this.poses.points));
    const parts = new Set(this.items.filter((item) => !item.still).map((item) => item.part));
    this.pick.replaceChildren(h("option", { value: "" }, "everything"),
                              ...[...parts].map((part) => h("option", { value: part }, part)));
    this.pick.value = parts.has(this.chosen) ? this.chosen : "";
  }

  close() { this.watch?.disconnect(); }

  look() {
    [this.chosen, this.near, this.fitted] = [this.pick.value, 1, 0];
    this.later();
  }

  listen() {
    const { canvas } = this;
    canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || !this.key(event.key)) return;
      event.preventDefault();
      this.later();
    });
    canvas.addEventListener("pointerdown", (event) => canvas.setPointerCapture(event.pointerId));
    canvas.addEventListener("pointermove", (event) => {
      if (!canvas.hasPointerCapture(event.pointerId)) return;
      this.turn(-0.4 * event.movementX, 0.4 * event.movementY);
      this.later();
    });
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas) return;  // the page scrolls until it is clicked
      event.preventDefault();
      this.zoom(Math.exp(-0.002 * event.deltaY));
      this.later();
    }, { passive: false });
  }

  /** @param {string} key */
  key(key) {
    /** @type {Record<string, [number, number]>} */
    const turns = { ArrowLeft: [5, 0], ArrowRight: [-5, 0], ArrowUp: [0, 5], ArrowDown: [0, -5] };
    if (turns[key]) this.turn(turns[key][0], turns[key][1]);
    else if (key === "+" || key === "=") this.zoom(1.15);
    else if (key === "-") this.zoom(1 / 1.15);
    else if (key === "Home") {
      ({ round: this.round, up: this.up, near: this.near } = SOLID_HOME);
      [this.chosen, this.fitted] = ["", 0];
      this.pick.value = "";
    } else return false;
    return true;
  }

  /** @param {number} round @param {number} up */
  turn(round, up) {
    this.round = (this.round + round + 360) % 360;
    this.up = Math.min(90, Math.max(-90, this.up + up));
  }

  /** @param {number} by */
  zoom(by) { this.near = Math.min(40, Math.max(0.25, this.near * by)); }

  later() {
    if (this.asked || !this.scene || !this.app.pose) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.draw(); });
  }

  // Corners of the boxes about what is looked at and about all there is, as they are now.
  /** @param {Places} places */
  corners(places) {
    const there = this.items.flatMap((item, k) => {
      const place = places[k];
      if (!place) return [];
      const rows = asRows(place);
      const corners = item.corners.map((p) => carried(rows, p[0], p[1], p[2]));
      return [{ part: item.part, corners }];
    });
    const chosen = there.filter(({ part }) => part === this.chosen);
    return [chosen.length ? chosen : there, there].map((some) => some.flatMap((s) => s.corners));
  }

  draw() {
    const { canvas, scene } = this, { pose } = this.app, scale = window.devicePixelRatio || 1;
    if (!scene || !pose) return;
    const { gl, at } = scene;
        const wide = Math.round(canvas.clientWidth * scale);
    const high = Math.round(canvas.clientHeight * scale);
    if (!wide || !high) return;
    if (canvas.width !== wide || canvas.height !== high) {
      [canvas.width, canvas.height, this.fitted] = [wide, high, 0];
    }
    const places = this.items.map((item) => placed(item, pose.bodies));
    const way = this.way(), far = this.far(places, way, wide / high), [right, up, back] = way;
    const { seen, pull } = this.camera(places, way, far, wide / high);
    const colours = coloursOf(this.app.colours());
    gl.viewport(0, 0, wide, high);
    gl.clearColor(colours.paper[0], colours.paper[1], colours.paper[2], 1);
    gl.enable(gl.DEPTH_TEST);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(at.seen, false, seen);
    gl.uniform3fv(at.light, unitOf([0, 1, 2].map(
      (i) => back[i] + 0.4 * right[i] + 0.7 * up[i])));
    gl.uniform3fv(at.stripe, colours.ink);
    this.passes(scene, places, [2.6 * scale / wide, 2.6 * scale / high], pull, colours);
    this.say(places, 2 * far * Math.tan(FIELD / 2) * wide / high);
  }

  // Right, up and towards the eye as the screen has them.
  way() {
    const round = this.round * Math.PI / 180, up = this.up * Math.PI / 180;
    const back = [Math.cos(up) * Math.cos(round), Math.cos(up) * Math.sin(round), Math.sin(up)];
    const right = [-Math.sin(round), Math.cos(round), 0];  // stays known looking straight down
    return [right, cross(back, right), back];
  }

  // Distance of the eye: what is looked at fills the picture when chosen, then zoom decides.
  /** @param {Places} places @param {Vector[]} way @param {number} aspect */
  far(places, [right, up, back], aspect) {
    if (!this.fitted) {
      const [corners] = this.corners(places), target = middleOf(corners);
      const reach = Math.tan(FIELD / 2);
      this.fitted = 1.06 * Math.max(1, ...corners.map((corner) => {
        const p = sub(corner, target);
        const off = Math.max(Math.abs(dot(p, up)), Math.abs(dot(p, right)) / aspect);
        return dot(p, back) + off / reach;
      }));
    }
    return this.fitted / this.near;
  }

  /**
   * @param {Places} places
   * @param {Vector[]} way
   * @param {number} far
   * @param {number} aspect
   */
  camera(places, [right, up, back], far, aspect) {
    const [corners, all] = this.corners(places), target = middleOf(corners);
    const eye = target.map((c, i) => c + far * back[i]);
    const depths = all.map((p) => dot(sub(eye, p), back));
    const end = 1.1 * Math.max(far, ...depths);
    const near = Math.max(0.9 * Math.min(...depths), end / 500);
    const f = 1 / Math.tan(FIELD / 2), a = (end + near) / (near - end);
    const b = 2 * end * near / (near - end);
    const rows = [[...right.map((c) => c * f / aspect), -dot(right, eye) * f / aspect],
                  [...up.map((c) => c * f), -dot(up, eye) * f],
                  [...back.map((c) => c * a), -dot(back, eye) * a + b],
                  [...back.map((c) => -c), dot(back, eye)]];
    const seen = [0, 1, 2, 3].flatMap((column) => rows.map((row) => row[column]));
    return { seen, pull: 0.002 * b };
  }

  // Dark shells a little larger behind round bars give them an outline; then faces and creases.
  /**
   * @param {Scene} scene
   * @param {Places} places
   * @param {number[]} grow
   * @param {number} pull
   * @param {Record<string, Vector>} colours
   */
  passes({ gl, at }, places, grow, pull, colours) {
    const touching = this.app.touching();
    /** @param {(item: Item) => void} draw */
    const each = (draw) => this.items.forEach((item, k) => {
      const place = places[k];
      if (!place) return;
      gl.uniformMatrix4fv(at.place, false, place);
      draw(item);
    });
    /** @param {number} mode @param {Run} run */
    const part = (mode, { from, count }) => {
      if (count) gl.drawElements(mode, count, gl.UNSIGNED_INT, from);
    };
    gl.enable(gl.CULL_FACE);
    gl.cullFace(gl.FRONT);
    gl.uniform1f(at.pull, 0);
    gl.uniform1i(at.kind, 0);
    gl.uniform3fv(at.colour, colours.ink);
    gl.uniform2fv(at.grow, grow);
    each((item) => { if (item.round) part(gl.TRIANGLES, item.triangles); });
    gl.uniform2fv(at.grow, [0, 0]);
    gl.cullFace(gl.BACK);
    each((item) => {
      const touches = touching.has(item.index);
      if (item.still && !item.round && !this.filled.checked && !touches) return;
      gl.uniform1i(at.kind, touches ? 2 : 1);
      gl.uniform3fv(at.colour, colours[item.part === this.chosen ? "near"
        : item.still ? "structure" : item.ends ? "rod" : "part"]);
      part(gl.TRIANGLES, item.triangles);
    });
    gl.uniform1i(at.kind, 0);
    gl.uniform1f(at.pull, pull);
    each((item) => {
      gl.uniform3fv(at.colour, item.still ? colours.soft : colours.ink);
      part(gl.LINES, item.lines);
    });
  }

  /** @param {Places} places @param {number} across */
  say(places, across) {
    const nose = Math.round(Math.abs(this.round - 180)), up = Math.round(this.up);
    const side = nose === 0 ? "the nose" : nose === 180 ? "the tail"
      : `${nose}° ${this.round > 180 ? "left" : "right"} of the nose`;
    const from = Math.abs(up) === 90 ? `straight ${up < 0 ? "below" : "above"}`
      : `${side}, ${Math.abs(up)}° ${up < 0 ? "below" : "above"}`;
    const lost = [...new Set(this.items.filter((_, k) => !places[k]).map((item) => item.part))];
    const unit = this.app.head.length, wide = (across / unit.mm).toFixed(0);
    const words = `Seen from ${from}; looking at ${this.chosen || "everything"}, `
      + `${wide} ${unit.name} across.`
      + (lost.length ? ` Left out, out of reach at this stick position: ${lost.join(", ")}.` : "");
    clearTimeout(this.telling);  // a reader aloud hears where the view came to rest
    this.telling = setTimeout(() => { tell(this.words, words); }, 150);
  }
}
