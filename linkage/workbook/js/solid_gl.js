// What draws the 3-D view: plain WebGL 2, one vertex and one index buffer for all meshes.

/** @import { Vector } from "./types.js" */
/** @import { Drawable } from "./solid_mesh.js" */
/**
 * @typedef {WebGL2RenderingContext} Gl
 * @typedef {{ from: number, count: number }} Run
 * @typedef {Omit<Drawable, "mesh"> & { corners: Vector[], triangles: Run, lines: Run }} Item
 * @typedef {{ gl: Gl, at: Record<string, WebGLUniformLocation | null>,
 *   buffers: WebGLBuffer[] }} Scene what draws, once the view has been opened
 * @typedef {(number[] | null)[]} Places matrices of the items, null out of reach
 * @typedef {{ seen: number[], pull: number, axes: Vector[], grow: number[],
 *   cut: number[], hot: number[], colours: Record<string, Vector>,
 *   shade: (item: Item) => { colour: string, alpha: number } | null }} Picture cut: a plane
 *   [x, y, z, d], what lies past it is cut away; hot: a place and a radius about it that is red
 */

import { cornersOf } from "./solid_mesh.js";
import { unitOf } from "./vectors.js";

const VERTEX = `#version 300 es
uniform mat4 seen, place; uniform vec2 grow; uniform float pull;
layout(location = 0) in vec3 spot; layout(location = 1) in vec4 facing;
out vec3 normal, world;
void main() {
  normal = mat3(place) * facing.xyz;
  vec4 there = place * vec4(spot, 1.0);
  world = there.xyz;
  gl_Position = seen * there;
  vec2 way = (seen * vec4(normal, 0.0)).xy;
  gl_Position.xy += grow * gl_Position.w * way / max(length(way), 1e-6);
  gl_Position.z += pull;  // as if a share nearer to the eye, whatever the distance
}`;
const FRAGMENT = `#version 300 es
precision highp float;
uniform vec3 colour, light, mark; uniform vec4 cut, hot; uniform float alpha; uniform int kind;
in vec3 normal, world; out vec4 drawn;
void main() {
  if (dot(cut.xyz, world) > cut.w) discard;
  vec3 base = colour;
  if (kind == 1 && distance(world, hot.xyz) < hot.w) base = mark;
  vec3 n = normalize(normal) * (gl_FrontFacing ? 1.0 : -1.0);
  float shade = kind == 1 ? 0.58 + 0.30 * max(dot(n, light), 0.0) + 0.16 * n.z : 1.0;
  if (kind == 1 && !gl_FrontFacing) shade = 0.5;  // the inside, where a plane cuts it open
  drawn = vec4(min(base * shade, vec3(1.0)) * alpha, alpha);
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
  const names = ["seen", "place", "grow", "pull", "colour", "light", "mark", "cut", "hot", "alpha",
                 "kind"];
  return Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(made, name)]));
}

/** @param {HTMLCanvasElement} canvas @returns {Scene | null} null where the browser has no 3-D */
export function sceneOn(canvas) {
  const gl = canvas.getContext("webgl2", { antialias: true });
  return gl && { gl, at: program(gl), buffers: [gl.createBuffer(), gl.createBuffer()] };
}

// All meshes in one vertex and one index buffer; each drawable learns where its own lie.
/**
 * @param {Scene} scene
 * @param {Drawable[]} drawables
 * @returns {Item[]}
 */
export function fill({ gl, buffers }, drawables) {
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
      for (let c = 0; c < 3; c++) {
        spots[4 * v + c] = mesh.spots[3 * k + c];
        facings[16 * v + 12 + c] = mesh.facings[4 * k + c];
      }
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

/** @param {Gl} gl @param {number} mode @param {Run} run */
function part(gl, mode, { from, count }) {
  if (count) gl.drawElements(mode, count, gl.UNSIGNED_INT, from);
}

/** @param {Scene} scene @param {Picture} picture @param {Vector} ground */
function begin({ gl, at }, picture, ground) {
  const [right, up, back] = picture.axes;
  gl.viewport(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight);
  gl.clearColor(ground[0], ground[1], ground[2], 1);
  gl.enable(gl.DEPTH_TEST);
  gl.depthMask(true);
  gl.disable(gl.BLEND);
  gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
  gl.uniformMatrix4fv(at.seen, false, picture.seen);
  gl.uniform3fv(at.light, unitOf([0, 1, 2].map((i) => back[i] + 0.5 * right[i] + 0.8 * up[i])));
  gl.uniform4fv(at.cut, picture.cut);
  gl.uniform4fv(at.hot, picture.hot);
  gl.uniform3fv(at.mark, picture.colours.mark);
  gl.uniform2fv(at.grow, [0, 0]);
  gl.uniform1f(at.pull, 0);
  gl.uniform1f(at.alpha, 1);
}

// Dark shells a little larger behind round bars give them an outline; then faces and creases, what
// is see-through last.
/** @param {Scene} scene @param {Item[]} items @param {Places} places @param {Picture} picture */
export function paint(scene, items, places, picture) {
  const { gl, at } = scene, { colours } = picture;
  begin(scene, picture, colours.paper);
  const all = items.flatMap((item, k) => {
    const place = places[k], look = picture.shade(item);
    return place && look ? [{ item, place, look }] : [];
  });
  /** @param {(one: typeof all[0]) => void} draw @param {boolean} clear */
  const each = (draw, clear) => {
    for (const one of all) {
      if ((one.look.alpha < 1) !== clear) continue;
      gl.uniformMatrix4fv(at.place, false, one.place);
      draw(one);
    }
  };
  gl.enable(gl.CULL_FACE);
  gl.cullFace(gl.FRONT);
  gl.uniform1i(at.kind, 0);
  gl.uniform3fv(at.colour, colours.line);
  gl.uniform2fv(at.grow, picture.grow);
  each(({ item }) => { if (item.round) part(gl, gl.TRIANGLES, item.triangles); }, false);
  gl.uniform2fv(at.grow, [0, 0]);
  if (picture.cut[3] < 1e8) gl.disable(gl.CULL_FACE);
  gl.cullFace(gl.BACK);
  /** @param {typeof all[0]} one */
  const faces = ({ item, look }) => {
    gl.uniform1i(at.kind, 1);
    gl.uniform1f(at.alpha, look.alpha);
    gl.uniform3fv(at.colour, colours[look.colour]);
    part(gl, gl.TRIANGLES, item.triangles);
  };
  /** @param {typeof all[0]} one */
  const creases = ({ item, look }) => {
    gl.uniform1i(at.kind, 0);
    gl.uniform1f(at.alpha, Math.min(1, look.alpha * 2));
    gl.uniform3fv(at.colour, item.still ? colours.soft : colours.line);
    part(gl, gl.LINES, item.lines);
  };
  each(faces, false);
  gl.uniform1f(at.pull, picture.pull);
  each(creases, false);
  gl.uniform1f(at.pull, 0);
  gl.enable(gl.BLEND);
  gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
  gl.depthMask(false);
  each(faces, true);
  each(creases, true);
  gl.depthMask(true);
}

// The item at a place of the canvas: drawn once in numbers for colours, and read back.
/**
 * @param {Scene} scene
 * @param {Item[]} items
 * @param {Places} places
 * @param {Picture} picture
 * @param {number} x from the left, in the canvas's own dots
 * @param {number} y from the bottom
 * @returns {Item | null}
 */
export function itemAt(scene, items, places, picture, x, y) {
  const { gl, at } = scene;
  begin(scene, picture, [0, 0, 0]);
  gl.disable(gl.CULL_FACE);
  gl.uniform1i(at.kind, 0);
  items.forEach((item, k) => {
    const place = places[k];
    if (!place || !picture.shade(item)) return;
    gl.uniformMatrix4fv(at.place, false, place);
    gl.uniform3fv(at.colour, [k + 1 & 255, k + 1 >> 8 & 255, 0].map((c) => c / 255));
    part(gl, gl.TRIANGLES, item.triangles);
  });
  const seen = new Uint8Array(4);
  gl.readPixels(x, y, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, seen);
  return items[seen[0] + 256 * seen[1] - 1] || null;
}
