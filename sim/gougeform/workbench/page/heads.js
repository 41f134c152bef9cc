// Draws the ground heads with WebGL 2: surfaces in the colour of their grind, edge and heel as lines, the crease
// between two grinds found within each triangle from how far every grind's surface lies above the deepest.
import { floats } from "./asks.js";

const VERTEX = `#version 300 es
in vec3 at; in vec3 normal; in float part; in vec4 above;
uniform mat4 seen; uniform mat3 turn;
out vec3 vNormal; out vec4 vAbove; out float vPart;
void main() { gl_Position = seen * vec4(at, 1.0); vNormal = turn * normal; vAbove = above; vPart = part; }`;
const FRAGMENT = `#version 300 es
precision highp float;
in vec3 vNormal; in vec4 vAbove; in float vPart;
uniform vec3 tint[7]; uniform vec3 ink; uniform int grinds; uniform float grey; uniform float alpha;
out vec4 colour;
void main() {
  vec3 base; float crease = 0.0;
  if (vPart < 0.5) {
    float a[4] = float[4](vAbove.x, vAbove.y, vAbove.z, vAbove.w);
    float low = 1e9, next = 1e9; int who = 0;
    for (int i = 0; i < 4; i++) {
      if (i >= grinds) break;
      if (a[i] < low) { next = low; low = a[i]; who = i; } else next = min(next, a[i]);
    }
    base = tint[who];
    float gap = next - low;
    if (grinds > 1) crease = 1.0 - smoothstep(0.7, 1.7, gap / max(fwidth(gap), 1e-5));
  } else base = tint[int(vPart + 0.5) - 4];
  vec3 n = normalize(vNormal);
  if (n.z < 0.0) n = -n; // seen from outside, a surface never faces away
  float left = max(dot(n, normalize(vec3(-0.45, 0.75, 0.65))), 0.0);
  float right = max(dot(n, normalize(vec3(0.8, -0.1, 0.5))), 0.0);
  float light = 0.5 + 0.45 * left + 0.2 * right;
  vec3 shade = mix(base * light, ink, 0.75 * crease);
  shade = mix(shade, vec3(dot(shade, vec3(0.3, 0.6, 0.1))) * 0.6 + 0.22, grey);
  colour = vec4(shade, alpha);
}`;
const LINE_VERTEX = `#version 300 es
in vec2 corner; in vec3 from; in vec3 to;
uniform mat4 seen; uniform vec2 size; uniform float wide; uniform float lift;
void main() {
  vec4 a = seen * vec4(from, 1.0), b = seen * vec4(to, 1.0);
  vec2 way = (b.xy - a.xy) * size; float len = length(way);
  vec2 along = len > 1e-6 ? way / len : vec2(1.0, 0.0);
  vec4 p = mix(a, b, corner.x);
  p.xy += (vec2(-along.y, along.x) * corner.y + along * (corner.x * 2.0 - 1.0)) * wide / size;
  p.z -= lift; gl_Position = p;
}`;
const LINE_FRAGMENT = `#version 300 es
precision mediump float; uniform vec4 paint; out vec4 colour; void main() { colour = paint; }`;

export const LOOKS = {
  corner: ["at an angle", -0.8, 0.45],
  side: ["side", -Math.PI / 2, 0],
  above: ["above", -Math.PI / 2, Math.PI / 2],
  ahead: ["ahead", 0, 0],
  below: ["below", -Math.PI / 2, -Math.PI / 2],
};

export class Heads {
  constructor(canvas, changed) {
    this.canvas = canvas;
    this.gl = canvas.getContext("webgl2", { antialias: true, alpha: false });
    this.tools = { a: null, b: null };
    this.grey = { a: 0, b: 0 };
    this.overlay = false;
    this.changed = changed;
    this.look("corner");
    this.frames = 0;
    if (!this.gl) return;
    this.setUp();
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => {
      this.setUp();
      for (const w of ["a", "b"])
        if (this.tools[w]) this.put(w, this.tools[w].shape);
    });
    new ResizeObserver(() => this.draw()).observe(canvas);
    this.listen();
  }

  get works() { return Boolean(this.gl); }

  look(name) {
    [, this.yaw, this.pitch] = LOOKS[name];
    this.zoom = 1;
    this.draw();
  }

  setUp() {
    const gl = this.gl;
    this.surface = program(gl, VERTEX, FRAGMENT);
    this.liner = program(gl, LINE_VERTEX, LINE_FRAGMENT);
    this.corners = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, this.corners);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([0, -1, 1, -1, 0, 1, 1, 1]), gl.STATIC_DRAW);
  }

  put(which, shape) {
    const gl = this.gl;
    if (!gl) return;
    this.forget(which);
    const data = floats(shape.vertices),
      faces = floats(shape.faces, Uint32Array);
    const array = gl.createVertexArray(),
      vertices = gl.createBuffer(),
      index = gl.createBuffer();
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, vertices);
    gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
    let place = 0;
    for (const [name, count] of [
        ["at", 3],
        ["normal", 3],
        ["part", 1],
        ["above", 4]
      ]) {
      const where = gl.getAttribLocation(this.surface, name);
      if (where >= 0) {
        gl.enableVertexAttribArray(where);
        gl.vertexAttribPointer(where, count, gl.FLOAT, false, 44, place);
      }
      place += 4 * count;
    }
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, faces, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    const lines = { edge: this.line(floats(shape.lines.edge)), heel: this.line(floats(shape.lines.heel)) };
    shape.lines.lips.forEach((lip, i) => { lines["lip" + i] = this.line(floats(lip)); });
    this.tools[which] = {
      shape,
      array,
      buffers: [vertices, index],
      count: faces.length,
      lines,
      grinds: shape.grinds,
      box: shape.box
    };
    this.draw();
  }

  line(points) {
    const gl = this.gl,
      array = gl.createVertexArray(),
      buffer = gl.createBuffer();
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, this.corners);
    const corner = gl.getAttribLocation(this.liner, "corner");
    gl.enableVertexAttribArray(corner);
    gl.vertexAttribPointer(corner, 2, gl.FLOAT, false, 0, 0);
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.bufferData(gl.ARRAY_BUFFER, points, gl.STATIC_DRAW);
    for (const [name, offset] of [
        ["from", 0],
        ["to", 12]
      ]) {
      const where = gl.getAttribLocation(this.liner, name);
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, 3, gl.FLOAT, false, 12, offset);
      gl.vertexAttribDivisor(where, 1);
    }
    gl.bindVertexArray(null);
    return { array, buffer, count: points.length / 3 - 1 };
  }

  forget(which) {
    const gl = this.gl,
      old = this.tools[which];
    if (!old) return;
    gl.deleteVertexArray(old.array);
    old.buffers.forEach((one) => gl.deleteBuffer(one));
    for (const one of Object.values(old.lines)) {
      gl.deleteVertexArray(one.array);
      gl.deleteBuffer(one.buffer);
    }
    this.tools[which] = null;
  }

  draw() {
    if (!this.gl || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.paint();
    });
  }

  paint() {
    const gl = this.gl,
      canvas = this.canvas,
      fine = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.round(canvas.clientWidth * fine),
      h = Math.round(canvas.clientHeight * fine);
    if (!w || !h) return;
    if (canvas.width !== w || canvas.height !== h) {
      canvas.width = w;
      canvas.height = h;
    }
    const paper = colour("--paper");
    gl.viewport(0, 0, w, h);
    gl.disable(gl.SCISSOR_TEST);
    gl.clearColor(...paper, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const halves = this.overlay ? { a: [0, w], b: [0, w] } : {
      a: [0, Math.floor(w / 2)],
      b: [Math.floor(w /
        2), w - Math.floor(w / 2)]
    };
    const there = ["a", "b"].map((one) => this.tools[one]).filter(Boolean);
    if (!there.length) return;
    const long = Math.max(...there.map((t) => -t.box[2])),
      wide = Math.max(...there.map((t) => t.box[1]));
    for (const which of ["a", "b"]) {
      const tool = this.tools[which];
      if (!tool) continue;
      const [x, width] = halves[which];
      gl.viewport(x, 0, width, h);
      const { seen, turn } = this.camera(width / h, long, wide);
      const over = this.overlay && which === "b";
      if (over) {
        gl.enable(gl.BLEND);
        gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
      }
      gl.useProgram(this.surface);
      const at = (name) => gl.getUniformLocation(this.surface, name);
      gl.uniformMatrix4fv(at("seen"), false, seen);
      gl.uniformMatrix3fv(at("turn"), false, turn);
      gl.uniform3fv(at("tint"), ["--grind-0", "--grind-1", "--grind-2", "--grind-3", "--flute", "--bar",
        "--cut"
      ].flatMap(colour));
      gl.uniform3fv(at("ink"), colour("--ink"));
      gl.uniform1i(at("grinds"), tool.grinds);
      gl.uniform1f(at("grey"), this.grey[which]);
      gl.uniform1f(at("alpha"), over ? 0.5 : 1);
      gl.bindVertexArray(tool.array);
      gl.drawElements(gl.TRIANGLES, tool.count, gl.UNSIGNED_INT, 0);
      gl.disable(gl.BLEND);
      gl.useProgram(this.liner);
      const lay = (name) => gl.getUniformLocation(this.liner, name);
      gl.uniformMatrix4fv(lay("seen"), false, seen);
      gl.uniform2f(lay("size"), width, h);
      for (const [name, one] of Object.entries(tool.lines)) {
        const strong = name === "edge",
          own = colour(which === "a" ? "--a" : "--b");
        gl.uniform1f(lay("wide"), (strong ? 3.4 : 1.3) * fine);
        gl.uniform1f(lay("lift"), strong ? 0.004 : 0.0025);
        gl.uniform4f(lay("paint"), ...(strong || this.overlay ? own : colour("--ink")), 1);
        gl.bindVertexArray(one.array);
        gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, one.count);
      }
    }
    gl.bindVertexArray(null);
    this.frames += 1;
    canvas.dataset.frames = this.frames;
  }

  camera(aspect, long, wide) {
    const cy = Math.cos(this.yaw),
      sy = Math.sin(this.yaw),
      cp = Math.cos(this.pitch),
      sp = Math.sin(this.pitch);
    // Rows: right, up, toward the eye, in the tool's frame (y up, z toward the tip).
    const right = [cy, 0, -sy],
      toward = [sy * cp, sp, cy * cp],
      up = [-sy * sp, cp, -cy * sp];
    const middle = [0, 0, -long * 0.5];
    const reach = (axis) => wide * Math.hypot(axis[0], axis[1]) + (long / 2) * Math.abs(axis[2]);
    const scale = (0.92 * this.zoom) / Math.max(reach(right) / aspect, reach(up) / 0.86);
    const depth = 0.5 / (long + wide);
    const row = (axis, k) => [axis[0] * k, axis[1] * k, axis[2] * k, -(axis[0] * middle[0] + axis[1] *
      middle[1] + axis[2] * middle[2]) * k];
    const r = row(right, scale / aspect),
      u = row(up, scale),
      t = row(toward, -depth);
    return {
      seen: new Float32Array([r[0], u[0], t[0], 0, r[1], u[1], t[1], 0, r[2], u[2], t[2], 0, r[3], u[3] +
        0.04, t[3], 1
      ]),
      turn: new Float32Array([right[0], up[0], toward[0], right[1], up[1], toward[1], right[2], up[2],
        toward[2]
      ]),
    };
  }

  turnBy(yaw, pitch) {
    this.yaw += yaw;
    this.pitch = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, this.pitch + pitch));
    this.changed("");
    this.draw();
  }

  zoomBy(factor) {
    this.zoom = Math.max(0.4, Math.min(8, this.zoom * factor));
    this.draw();
  }

  listen() {
    const fingers = new Map();
    let spread = 0;
    const apart = () => {
      const [p, q] = [...fingers.values()];
      return Math.hypot(p[0] - q[0], p[1] - q[
        1]);
    };
    this.canvas.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      this.canvas.setPointerCapture(event.pointerId);
      if (fingers.size === 2) spread = apart();
    });
    this.canvas.addEventListener("pointermove", (event) => {
      const was = fingers.get(event.pointerId);
      if (!was) return;
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      if (fingers.size === 1) this.turnBy(-(event.clientX - was[0]) * 0.01, (event.clientY - was[1]) *
        0.01);
      else if (fingers.size === 2) {
        const now = apart();
        if (spread > 0) this.zoomBy(now / spread);
        spread = now;
      }
    });
    for (const end of ["pointerup", "pointercancel"]) this.canvas.addEventListener(end, (event) => fingers
      .delete(event.pointerId));
    this.canvas.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoomBy(Math.exp(-event.deltaY * 0.0012));
    }, { passive: false });
    this.canvas.addEventListener("keydown", (event) => {
      const step = 0.09,
        does = {
          ArrowLeft: [step, 0],
          ArrowRight: [-step, 0],
          ArrowUp: [0, -step],
          ArrowDown: [0,
            step
          ]
        } [event.key];
      if (does) this.turnBy(...does);
      else if (event.key === "+" || event.key === "=") this.zoomBy(1.15);
      else if (event.key === "-") this.zoomBy(1 / 1.15);
      else return;
      event.preventDefault();
    });
  }
}

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, text] of [
      [gl.VERTEX_SHADER, vertex],
      [gl.FRAGMENT_SHADER, fragment]
    ]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl
      .getShaderInfoLog(shader));
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  return made;
}

const known = new Map();
export function forgetColours() { known.clear(); }
export function colour(name) {
  if (!known.has(name)) {
    const text = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
    known.set(name, [1, 3, 5].map((i) => parseInt(text.slice(i, i + 2), 16) / 255));
  }
  return known.get(name);
}
