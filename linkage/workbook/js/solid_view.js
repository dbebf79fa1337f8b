// The 3-D view: the payload's solids in plain WebGL 2, to orbit by mouse and keyboard.
// solidView(host, head, shapes) fills `host`; its show(rows, touching) draws a posture: rows of
// [R | t] by body, and places in head.solids of solids that touch.

const solidView = (() => {
const SIDES = 16;               // flats round a tube
const CREASE = 0.9;             // cosine of the turn from which a corner is drawn as a line
const FIELD = 28 * Math.PI / 180;
const HOME = { round: 215, up: 20, near: 1 };  // degrees from the tail over the right; zoom
const INK = [0.13, 0.15, 0.18], PAPER = [0.965, 0.962, 0.95], STRUCTURE = [0.90, 0.89, 0.86];
const BODY = [0.50, 0.60, 0.70], ROD = [0.86, 0.80, 0.66], CHOSEN = [0.98, 0.86, 0.40];
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
uniform vec3 colour, light; uniform int kind;
in vec3 normal; out vec4 drawn;
void main() {
  float shade = kind == 0 ? 1.0 : 0.66 + 0.34 * dot(normalize(normal), light);
  bool striped = kind == 2 && mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 3.5;
  drawn = vec4(striped ? vec3(0.1) : colour * shade, 1.0);
}`;

// ---- meshes: [x, y, z, normal] a vertex, triangles, and lines of the creases

class Mesh {
  constructor() { this.spots = []; this.facings = []; this.triangles = []; this.lines = []; }

  vertex(p, n) {
    this.spots.push(p[0], p[1], p[2]);
    this.facings.push(127 * n[0], 127 * n[1], 127 * n[2], 0);
    return this.spots.length / 3 - 1;
  }

  face(corners) {
    const n = unit(cross(minus(corners[1], corners[0]), minus(corners[2], corners[0])));
    const at = corners.map((p) => this.vertex(p, n));
    for (let k = 1; k < at.length - 1; k++) this.triangles.push(at[0], at[k], at[k + 1]);
  }

  // Ends of a flat piece: the first half of its points is an outline, the rest the same swept.
  ends(points) {
    const half = points.length / 2;
    this.face(points.slice(0, half).reverse());
    this.face(points.slice(half));
  }

  // Walls between an outline and the same swept; round a hole they face the other way.
  walls(low, high, hole) {
    low.forEach((p, k) => {
      const after = (k + 1) % low.length, wall = [p, low[after], high[after], high[k]];
      this.face(hole ? wall.reverse() : wall);
    });
  }

  // Round bar from a to b with half-ball ends; a ball when they coincide.
  bar(a, b, radius) {
    const [x, y, z] = frame(minus(b, a)), rings = [];
    for (const [end, from] of [[a, -90], [b, 0]]) {
      for (let up = from; up <= from + 90; up += 30) rings.push([end, up * Math.PI / 180]);
    }
    const at = rings.map(([end, up]) => Array.from({ length: SIDES }, (_, k) => {
      const turn = 2 * Math.PI * k / SIDES, out = Math.cos(up);
      const n = [0, 1, 2].map((i) => out * (Math.cos(turn) * x[i] + Math.sin(turn) * y[i])
                                     + Math.sin(up) * z[i]);
      return this.vertex(end.map((c, i) => c + radius * n[i]), n);
    }));
    for (let r = 0; r + 1 < at.length; r++) {
      for (let k = 0; k < SIDES; k++) {
        const j = (k + 1) % SIDES;
        this.triangles.push(at[r][k], at[r][j], at[r + 1][j], at[r][k], at[r + 1][j], at[r + 1][k]);
      }
    }
  }

  line(a, b) {
    const n = [0, 0, 0];
    this.lines.push(this.vertex(a, n), this.vertex(b, n));
  }

  // Outlines of both ends of a plate or box, and a line between them at every sharp corner.
  creases(low, high) {
    const count = low.length;
    low.forEach((p, k) => {
      const after = (k + 1) % count, before = (k + count - 1) % count;
      this.line(p, low[after]);
      this.line(high[k], high[after]);
      const turn = dot(unit(minus(p, low[before])), unit(minus(low[after], p)));
      if (turn < CREASE) this.line(p, high[k]);
    });
  }
}

const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const size = (a) => Math.hypot(a[0], a[1], a[2]);
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2],
                         a[0] * b[1] - a[1] * b[0]];
const unit = (a) => { const s = size(a) || 1; return [a[0] / s, a[1] / s, a[2] / s]; };

// Right-handed x, y, z with z along a vector.
function frame(along) {
  const z = size(along) ? unit(along) : [0, 0, 1];
  const x = unit(cross(Math.abs(z[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0], z));
  return [x, cross(z, x), z];
}

// [R | t] in rows as a column-major matrix.
const ofRows = (m) => [m[0], m[4], m[8], 0, m[1], m[5], m[9], 0, m[2], m[6], m[10], 0,
                       m[3], m[7], m[11], 1];
const moved = (m, p) => [0, 4, 8].map((r) => m[r] * p[0] + m[r + 1] * p[1] + m[r + 2] * p[2]
                                            + m[r + 3]);

// ---- what there is to draw: one entry per solid, ranges into shared buffers

function meshOf(solid, shapes) {
  const mesh = new Mesh();
  const points = ([first, count]) => Array.from({ length: count }, (_, k) =>
    Array.from(shapes.subarray(3 * (first + k), 3 * (first + k) + 3)));
  const [low, high] = solid.faces.map((face) => face.map(points));
  for (const piece of solid.pieces) {
    const spots = points(piece);
    if (!low) mesh.bar(spots[0], spots[spots.length - 1], piece[2]);
    else mesh.ends(spots);
    if (low && solid.pieces.length === 1) {
      mesh.walls(spots.slice(0, spots.length / 2), spots.slice(spots.length / 2));
    }
  }
  if (low) low.forEach((loop, k) => {
    if (solid.pieces.length > 1) mesh.walls(loop, high[k], k > 0);
    mesh.creases(loop, high[k]);
  });
  return mesh;
}

// A rod's solid spans two bodies: bars of the rod's length, laid between the two ends every time.
function rodBars(solid, shapes, length) {
  const at = (k) => Array.from(shapes.subarray(3 * k, 3 * k + 3));
  return solid.pieces.map(([first, , radius]) => {
    const mesh = new Mesh();
    mesh.bar([0, 0, 0], [0, 0, length], radius);
    return { mesh, ends: [at(first), at(first + 1)] };
  });
}

function drawables(head, shapes) {
  const lengths = new Map(head.rods.map((rod) => [rod.name, rod.length]));
  return head.solids.flatMap((solid, index) => {
    const part = solid.name.slice(0, solid.name.indexOf("/"));
    const base = { index, part, carriers: solid.carriers, round: !solid.faces.length,
                   still: solid.carriers.every((b) => b === 0) };
    return solid.carriers.length > 1
      ? rodBars(solid, shapes, lengths.get(part)).map((bar) => ({ ...base, ...bar }))
      : [{ ...base, mesh: meshOf(solid, shapes), ends: null }];
  });
}

// Matrix of a drawable at a posture, or null when something that carries it is out of reach.
function placed(drawable, rows) {
  const on = drawable.carriers.map((b) => rows[b]);
  if (on.some((m) => !m.every(Number.isFinite))) return null;
  if (!drawable.ends) return ofRows(on[0]);
  const [a, b] = drawable.ends.map((p, k) => moved(on[k], p)), [x, y, z] = frame(minus(b, a));
  return [...x, 0, ...y, 0, ...z, 0, ...a, 1];
}

// ---- WebGL

function program(gl) {
  const made = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
  gl.useProgram(made);
  return Object.fromEntries(["seen", "place", "grow", "pull", "colour", "light", "kind"].map(
    (name) => [name, gl.getUniformLocation(made, name)]));
}

// All meshes in one vertex and one index buffer; each drawable learns where its own lie.
function load(gl, items) {
  let vertices = 0, indices = 0;
  for (const { mesh } of items) {
    vertices += mesh.spots.length / 3;
    indices += mesh.triangles.length + mesh.lines.length;
  }
  const bytes = new ArrayBuffer(16 * vertices), index = new Uint32Array(indices);
  const spots = new Float32Array(bytes), facings = new Int8Array(bytes);
  let v = 0, i = 0;
  for (const item of items) {
    const { mesh } = item, first = v, put = (list) => {
      const from = i;
      for (const k of list) index[i++] = first + k;
      return { from: 4 * from, count: list.length };
    };
    for (let k = 0; k < mesh.spots.length / 3; k++, v++) {
      spots.set(mesh.spots.slice(3 * k, 3 * k + 3), 4 * v);
      facings.set(mesh.facings.slice(4 * k, 4 * k + 4), 16 * v + 12);
    }
    item.triangles = put(mesh.triangles);
    item.lines = put(mesh.lines);
    delete item.mesh;
  }
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ARRAY_BUFFER, bytes, gl.STATIC_DRAW);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, index, gl.STATIC_DRAW);
  gl.enableVertexAttribArray(0);
  gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 16, 0);
  gl.enableVertexAttribArray(1);
  gl.vertexAttribPointer(1, 4, gl.BYTE, true, 16, 12);
}

// ---- the view

class View {
  constructor(host, head, shapes) {
    this.head = head;
    this.items = drawables(head, shapes);
    for (const item of this.items) item.corners = cornersOf(item.mesh.spots);
    this.touching = new Set();
    this.rows = null;
    this.toHome();
    this._build(host);
    this.gl = this.canvas.getContext("webgl2", { antialias: true });
    if (!this.gl) {
      this.words.textContent = "This browser draws no 3-D (WebGL 2 is off); use the flat views.";
      return;
    }
    this.at = program(this.gl);
    load(this.gl, this.items);
    this._listen();
  }

  show(rows, touching = []) {
    this.rows = rows;
    this.touching = new Set(touching);
    this._later();
  }

  toHome() { Object.assign(this, HOME, { chosen: "", fitted: null }); }

  close() { this.watch?.disconnect(); }

  _build(host) {
    const make = (tag, set) => Object.assign(document.createElement(tag), set);
    const bar = make("div", { className: "solid-bar" });
    this.pick = make("select", {});
    const parts = [...new Set(this.items.filter((item) => !item.still).map((i) => i.part))];
    this.pick.append(make("option", { value: "", textContent: "everything" }),
                     ...parts.map((p) => make("option", { value: p, textContent: p })));
    this.filled = make("input", { type: "checkbox" });
    const named = (text, control) => {
      const label = make("label", { textContent: text });
      label.append(control);
      return label;
    };
    bar.append(named("Look at ", this.pick), named("Fill what stands still ", this.filled));
    this.canvas = make("canvas", { tabIndex: 0, className: "solid-canvas" });
    bar.style.cssText = "display:flex;flex-wrap:wrap;gap:0.3em 1.5em;margin:0.3em 0";
    this.canvas.style.cssText = "display:block;width:100%;height:min(62vh,34rem);touch-action:none";
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", "3-D view of the controls: arrow keys turn it, plus and "
      + "minus zoom, Home shows everything again");
    this.words = make("p", { className: "solid-words" });
    this.words.setAttribute("role", "status");
    for (const control of [this.pick, this.filled, this.canvas]) {
      control.setAttribute("data-lm-suppress-shortcuts", "");  // else JupyterLab takes the keys
    }
    host.append(bar, this.canvas, this.words);
  }

  _listen() {
    const { canvas } = this;
    this.pick.onchange = () => {
      Object.assign(this, { chosen: this.pick.value, near: 1, fitted: null });
      this._later();
    };
    this.filled.onchange = () => this._later();
    canvas.onkeydown = (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || !this._key(event.key)) return;
      event.preventDefault();
      this._later();
    };
    canvas.onpointerdown = (event) => { canvas.setPointerCapture(event.pointerId); };
    canvas.onpointermove = (event) => {
      if (!canvas.hasPointerCapture(event.pointerId)) return;
      this._turn(-0.4 * event.movementX, 0.4 * event.movementY);
      this._later();
    };
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas && !canvas.matches(":focus")) return;  // page scrolls
      event.preventDefault();
      this._zoom(Math.exp(-0.002 * event.deltaY));
      this._later();
    }, { passive: false });
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    this.watch = new ResizeObserver(() => this._later());
    this.watch.observe(canvas);
  }

  _key(key) {
    const turns = { ArrowLeft: [5, 0], ArrowRight: [-5, 0], ArrowUp: [0, 5], ArrowDown: [0, -5] };
    if (turns[key]) this._turn(...turns[key]);
    else if (key === "+" || key === "=") this._zoom(1.15);
    else if (key === "-") this._zoom(1 / 1.15);
    else if (key === "Home") { this.toHome(); this.pick.value = ""; }
    else return false;
    return true;
  }

  _turn(round, up) {
    this.round = (this.round + round + 360) % 360;
    this.up = Math.min(90, Math.max(-90, this.up + up));
  }

  _zoom(by) { this.near = Math.min(40, Math.max(0.25, this.near * by)); }

  _later() {
    if (this.asked || !this.gl || !this.rows) return;
    this.asked = true;
    requestAnimationFrame(() => { this.asked = false; this._draw(); });
  }

  // Corners of the boxes about what is looked at and about all there is, as they are now.
  _corners(places) {
    const there = this.items.map((item, k) => places[k] && [item.part, item.corners.map(
      (p) => moved(asRows(places[k]), p))]).filter((found) => found);
    const chosen = there.filter(([part]) => part === this.chosen);
    return [chosen.length ? chosen : there, there].map((some) => some.flatMap(([, c]) => c));
  }

  _draw() {
    const { gl, at, canvas } = this, scale = window.devicePixelRatio || 1;
    const wide = Math.round(canvas.clientWidth * scale);
    const high = Math.round(canvas.clientHeight * scale);
    if (!wide || !high) return;
    if (canvas.width !== wide || canvas.height !== high) {
      Object.assign(canvas, { width: wide, height: high });
      this.fitted = null;
    }
    const places = this.items.map((item) => placed(item, this.rows));
    const way = this._way(), far = this._far(places, way, wide / high);
    gl.viewport(0, 0, wide, high);
    gl.clearColor(...PAPER, 1);
    gl.enable(gl.DEPTH_TEST);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const { seen, pull } = this._camera(places, way, far, wide / high);
    gl.uniformMatrix4fv(at.seen, false, seen);
    const [right, up, back] = way;
    gl.uniform3fv(at.light, unit([0, 1, 2].map((i) => back[i] + 0.4 * right[i] + 0.7 * up[i])));
    this._passes(places, [2.6 * scale / wide, 2.6 * scale / high], pull);
    this._say(places, 2 * far * Math.tan(FIELD / 2) * wide / high);
  }

  // Right, up and towards the eye as the screen has them.
  _way() {
    const round = this.round * Math.PI / 180, up = this.up * Math.PI / 180;
    const back = [Math.cos(up) * Math.cos(round), Math.cos(up) * Math.sin(round), Math.sin(up)];
    const right = [-Math.sin(round), Math.cos(round), 0];  // stays known looking straight down
    return [right, cross(back, right), back];
  }

  // Distance of the eye: what is looked at fills the picture when chosen, then zoom decides.
  _far(places, [right, up, back], aspect) {
    if (!this.fitted) {
      const [corners] = this._corners(places), target = middleOf(corners);
      const reach = Math.tan(FIELD / 2);
      this.fitted = 1.06 * Math.max(1, ...corners.map((corner) => {
        const p = minus(corner, target);
        const off = Math.max(Math.abs(dot(p, up)), Math.abs(dot(p, right)) / aspect);
        return dot(p, back) + off / reach;
      }));
    }
    return this.fitted / this.near;
  }

  _camera(places, [right, up, back], far, aspect) {
    const [corners, all] = this._corners(places), target = middleOf(corners);
    const eye = target.map((c, i) => c + far * back[i]);
    const depths = all.map((p) => dot(minus(eye, p), back));
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
  _passes(places, grow, pull) {
    const { gl, at } = this;
    const each = (draw) => this.items.forEach((item, k) => {
      if (!places[k]) return;
      gl.uniformMatrix4fv(at.place, false, places[k]);
      draw(item);
    });
    const part = (mode, { from, count }) => {
      if (count) gl.drawElements(mode, count, gl.UNSIGNED_INT, from);
    };
    gl.enable(gl.CULL_FACE);
    gl.cullFace(gl.FRONT);
    gl.uniform1f(at.pull, 0);
    gl.uniform1i(at.kind, 0);
    gl.uniform3fv(at.colour, INK);
    gl.uniform2fv(at.grow, grow);
    each((item) => item.round && part(gl.TRIANGLES, item.triangles));
    gl.uniform2fv(at.grow, [0, 0]);
    gl.cullFace(gl.BACK);
    each((item) => {
      const touches = this.touching.has(item.index);
      if (item.still && !item.round && !this.filled.checked && !touches) return;
      gl.uniform1i(at.kind, touches ? 2 : 1);
      gl.uniform3fv(at.colour, item.part === this.chosen ? CHOSEN
        : item.still ? STRUCTURE : item.ends ? ROD : BODY);
      part(gl.TRIANGLES, item.triangles);
    });
    gl.uniform1i(at.kind, 0);
    gl.uniform1f(at.pull, pull);
    each((item) => {
      gl.uniform3fv(at.colour, item.still ? [0.45, 0.45, 0.45] : INK);
      part(gl.LINES, item.lines);
    });
  }

  _say(places, across) {
    const nose = Math.round(Math.abs(this.round - 180)), up = Math.round(this.up);
    const side = nose === 0 ? "the nose" : nose === 180 ? "the tail"
      : `${nose}° ${this.round > 180 ? "left" : "right"} of the nose`;
    const from = Math.abs(up) === 90 ? `straight ${up < 0 ? "below" : "above"}`
      : `${side}, ${Math.abs(up)}° ${up < 0 ? "below" : "above"}`;
    const lost = [...new Set(this.items.filter((_, k) => !places[k]).map((item) => item.part))];
    const inch = this.head.unit === "in", wide = (inch ? across / 25.4 : across).toFixed(0);
    const words = `Seen from ${from}; looking at ${this.chosen || "everything"}, `
      + `${wide} ${this.head.unit} across.`
      + (lost.length ? ` Left out, out of reach at this stick position: ${lost.join(", ")}.` : "");
    clearTimeout(this.telling);  // a reader aloud hears where the view came to rest
    this.telling = setTimeout(() => { this.words.textContent = words; }, 150);
  }
}

const asRows = (m) => [m[0], m[4], m[8], m[12], m[1], m[5], m[9], m[13], m[2], m[6], m[10], m[14]];

function boxAbout(points) {
  return [Math.min, Math.max].map((pick) => [0, 1, 2].map(
    (i) => points.reduce((kept, p) => pick(kept, p[i]), points[0][i])));
}

function middleOf(points) {
  if (!points.length) return [0, 0, 0];
  const [low, high] = boxAbout(points);
  return low.map((c, i) => (c + high[i]) / 2);
}

function cornersOf(spots) {
  const ends = boxAbout(Array.from({ length: spots.length / 3 },
                                   (_, k) => spots.slice(3 * k, 3 * k + 3)));
  return Array.from({ length: 8 }, (_, k) => [0, 1, 2].map((i) => ends[(k >> i) & 1][i]));
}

return (host, head, shapes) => new View(host, head, shapes);
})();
