// Draws a scene of gougeform.show with WebGL 2, turns it, and steps its frames: the knob along the path or the profile.
// Parallel projection, as in the program's pictures; lines of any width; what is ground by now is told for every pixel.
const SURFACE = `#version 300 es
in vec3 at; in vec3 normal; in float when;
uniform mat4 seen; uniform mat3 turn;
out vec3 vNormal; out float vWhen;
void main() { gl_Position = seen * vec4(at, 1.0); vNormal = turn * normal; vWhen = when; }`;
const PAINT = `#version 300 es
precision highp float;
in vec3 vNormal; in float vWhen;
uniform vec3 tint, before; uniform float now; uniform vec3 lights[3]; uniform vec3 strong; uniform vec2 share;
out vec4 colour;
void main() {
  vec3 n = normalize(gl_FrontFacing ? vNormal : -vNormal);
  float light = share.x;
  for (int i = 0; i < 3; i++) light += share.y * strong[i] * max(dot(n, lights[i]), 0.0);
  colour = vec4((vWhen > now ? before : tint) * min(light, 1.25), 1.0);
}`;
const LINE = `#version 300 es
in vec2 corner; in vec3 from; in vec3 to;
uniform mat4 seen; uniform vec2 size; uniform float wide, lift;
void main() {
  vec4 a = seen * vec4(from, 1.0), b = seen * vec4(to, 1.0);
  vec2 way = (b.xy - a.xy) * size; float len = length(way);
  vec2 along = len > 1e-6 ? way / len : vec2(1.0, 0.0);
  vec4 p = mix(a, b, corner.x);
  p.xy += (vec2(-along.y, along.x) * corner.y + 0.5 * along * (corner.x * 2.0 - 1.0)) * wide / size;
  p.z -= lift; gl_Position = p;
}`;
const INK = `#version 300 es
precision mediump float; uniform vec3 paint; out vec4 colour; void main() { colour = vec4(paint, 1.0); }`;
const DEEP = 4000; // mm before and behind the middle that are drawn

export const rgb = (text) => [1, 3, 5].map((i) => parseInt(text.slice(i, i + 2), 16) / 255);

export function unpacked(one) {
  if (Array.isArray(one)) return one.map(unpacked);
  if (one === null || typeof one !== "object") return one;
  if ("data" in one) {
    const bytes = Uint8Array.from(atob(one.data), (c) => c.charCodeAt(0));
    return new (one.kind === "f4" ? Float32Array : Uint32Array)(bytes.buffer);
  }
  if ("set" in one) return new Set(one.set);
  return Object.fromEntries(Object.entries(one).map(([key, value]) => [key, unpacked(value)]));
}

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const add = (a, b, k = 1) => [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]];
const unit = (a) => { const n = Math.hypot(...a); return a.map((v) => v / n); };
const turned = (pose, v) => [0, 1, 2].map((i) => pose[4 * i] * v[0] + pose[4 * i + 1] * v[1] + pose[4 * i + 2] * v[2]);
const moved = (pose, v) => turned(pose, v).map((x, i) => x + pose[4 * i + 3]);

export class Viewer {
  // told(): is called after every painting, for words that stand on the picture.
  constructor(canvas, scene, colours, light, told = () => {}) {
    Object.assign(this, { canvas, scene, colours, light, told, frame: scene.first, zoom: 1, off: [0, 0], painted: 0 });
    const gl = (this.gl = canvas.getContext("webgl2", { antialias: true, alpha: false, preserveDrawingBuffer: true }));
    if (!gl) return;
    this.fill();
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => { this.fill(); this.draw(); });
    new ResizeObserver(() => this.draw()).observe(canvas);
    this.listen();
    this.look(0);
  }

  fill() {
    const gl = this.gl;
    this.surface = program(gl, SURFACE, PAINT);
    this.liner = program(gl, LINE, INK);
    this.corners = buffer(gl, new Float32Array([0, -0.5, 1, -0.5, 0, 0.5, 1, 0.5]));
    this.bodies = this.scene.bodies.map((body) => ({
      name: body.name,
      surfaces: body.surfaces.map((one) => this.put(one)),
      lines: body.lines.map((one) => this.line(one)),
    }));
  }

  put(one) {
    const gl = this.gl, array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const when = one.when ?? new Float32Array(one.points.length / 3).fill(-1e9);
    for (const [name, data, count] of [["at", one.points, 3], ["normal", one.normals, 3], ["when", when, 1]]) {
      buffer(gl, data);
      const where = gl.getAttribLocation(this.surface, name);
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, count, gl.FLOAT, false, 0, 0);
    }
    const index = gl.createBuffer();
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, index);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, one.faces, gl.STATIC_DRAW);
    gl.bindVertexArray(null);
    return { array, count: one.faces.length, meaning: one.meaning, before: one.before || one.meaning };
  }

  line(one) {
    const gl = this.gl, array = gl.createVertexArray();
    gl.bindVertexArray(array);
    gl.bindBuffer(gl.ARRAY_BUFFER, this.corners);
    const corner = gl.getAttribLocation(this.liner, "corner");
    gl.enableVertexAttribArray(corner);
    gl.vertexAttribPointer(corner, 2, gl.FLOAT, false, 0, 0);
    const data = buffer(gl, one.ends);
    for (const [name, offset] of [["from", 0], ["to", 12]]) {
      const where = gl.getAttribLocation(this.liner, name);
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, 3, gl.FLOAT, false, 24, offset);
      gl.vertexAttribDivisor(where, 1);
    }
    gl.bindVertexArray(null);
    return { array, data, count: one.ends.length / 6, meaning: one.meaning, width: one.width, through: one.through };
  }

  // One of the scene's own views.
  look(number) {
    const view = this.scene.views[number];
    Object.assign(this, { view, right: [...view.right], up: [...view.up], middle: [...view.middle], zoom: 1, off: [0, 0] });
    this.draw();
  }

  step(number) {
    this.frame = Math.max(0, Math.min(this.scene.frames.length - 1, number));
    this.draw();
  }

  draw() {
    if (!this.gl || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.paint(); });
  }

  // Right, up, toward the eye, the middle, and px per mm, in the scene's frame.
  camera() {
    const { view, canvas } = this, moment = this.scene.frames[this.frame], ride = view.rides && moment.poses[view.rides];
    const go = ride ? (v) => turned(ride, v) : (v) => v;
    const right = go(this.right), up = go(this.up), middle = ride ? moved(ride, this.middle) : this.middle;
    const fit = Math.min(canvas.clientWidth / view.box[2], canvas.clientHeight / view.box[3]);
    return { right, up, toward: cross(right, up), middle, scale: view.scale * fit * this.zoom };
  }

  // Where a place of the scene is on the canvas, px.
  place(point) {
    const c = this.camera(), off = add(point, c.middle, -1);
    return [
      this.canvas.clientWidth / 2 + c.scale * dot(off, c.right) + this.off[0],
      this.canvas.clientHeight / 2 - c.scale * dot(off, c.up) + this.off[1],
    ];
  }

  paint() {
    const { gl, canvas } = this, fine = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.round(canvas.clientWidth * fine), h = Math.round(canvas.clientHeight * fine);
    if (!w || !h) return;
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    gl.viewport(0, 0, w, h);
    gl.clearColor(...rgb(this.colours.paper), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const c = this.camera(), moment = this.scene.frames[this.frame];
    const x = (2 * c.scale) / canvas.clientWidth, y = (2 * c.scale) / canvas.clientHeight, z = -1 / DEEP;
    const row = (axis, k, off) => [axis[0] * k, axis[1] * k, axis[2] * k, -dot(axis, c.middle) * k + off];
    const camera = [
      row(c.right, x, (2 * this.off[0]) / canvas.clientWidth), row(c.up, y, (-2 * this.off[1]) / canvas.clientHeight),
      row(c.toward, z, 0), [0, 0, 0, 1],
    ];
    const seen = (pose) => {
      const out = new Float32Array(16);
      for (let i = 0; i < 4; i++) for (let j = 0; j < 4; j++) {
        let sum = 0;
        for (let k = 0; k < 4; k++) sum += camera[i][k] * (pose ? pose[4 * k + j] : Number(k === j));
        out[4 * j + i] = sum;
      }
      return out;
    };
    const there = this.bodies.filter((body) => moment.poses[body.name] && !this.view.without.has(body.name));
    const at = (name) => gl.getUniformLocation(this.surface, name), lay = (name) => gl.getUniformLocation(this.liner, name);
    const tint = (meaning) => rgb(this.colours[meaning]);
    gl.useProgram(this.surface);
    gl.uniform3fv(at("lights"), this.light.lights.flatMap(([place]) => unit(place)));
    gl.uniform3fv(at("strong"), this.light.lights.map(([, strength]) => strength));
    gl.uniform2fv(at("share"), this.light.share);
    gl.uniform1f(at("now"), moment.now);
    for (const body of there) {
      const pose = moment.poses[body.name], red = moment.red.has(body.name) && tint("touches");
      const columns = [0, 1, 2].flatMap((j) => {
        const axis = [pose[j], pose[4 + j], pose[8 + j]];
        return [dot(c.right, axis), dot(c.up, axis), dot(c.toward, axis)];
      });
      gl.uniformMatrix4fv(at("seen"), false, seen(pose));
      gl.uniformMatrix3fv(at("turn"), false, columns);
      for (const one of body.surfaces) {
        gl.uniform3fv(at("tint"), red || tint(one.meaning));
        gl.uniform3fv(at("before"), red || tint(one.before));
        gl.bindVertexArray(one.array);
        gl.drawElements(gl.TRIANGLES, one.count, gl.UNSIGNED_INT, 0);
      }
    }
    gl.useProgram(this.liner);
    gl.uniform2f(lay("size"), w, h);
    const passing = moment.lines.map((one) => this.line(one));
    const rule = (one, pose) => {
      gl.uniformMatrix4fv(lay("seen"), false, seen(pose));
      gl.uniform1f(lay("wide"), 2 * Math.max(one.width * fine * Math.sqrt(canvas.clientWidth / this.scene.size[0]), 1));
      gl.uniform1f(lay("lift"), one.through ? 0.9 : 0.1 / DEEP);
      gl.uniform3fv(lay("paint"), tint(one.meaning));
      gl.bindVertexArray(one.array);
      gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, one.count);
    };
    for (const body of there) for (const one of body.lines) rule(one, moment.poses[body.name]);
    for (const one of passing) { rule(one, null); gl.deleteVertexArray(one.array); gl.deleteBuffer(one.data); }
    gl.bindVertexArray(null);
    canvas.dataset.painted = this.painted += 1;
    this.told(c.scale);
  }

  // Turn the picture about what points up in life, and about its own right-hand axis.
  turnBy(round, over) {
    const ride = this.view.rides && this.scene.frames[this.frame].poses[this.view.rides];
    let pole = [...this.scene.up];
    if (ride) pole = [0, 1, 2].map((j) => ride[j] * pole[0] + ride[4 + j] * pole[1] + ride[8 + j] * pole[2]);
    const spin = (v, axis, angle) => {
      const s = Math.sin(angle), k = 1 - Math.cos(angle);
      return add(add(add(v, v, -k), cross(axis, v), s), axis, k * dot(axis, v));
    };
    this.right = spin(spin(this.right, pole, round), this.right, over);
    this.up = spin(spin(this.up, pole, round), unit(this.right), over);
    this.right = unit(this.right);
    this.up = unit(add(this.up, this.right, -dot(this.up, this.right)));
    this.draw();
  }

  zoomBy(factor) { this.zoom = Math.max(0.2, Math.min(40, this.zoom * factor)); this.draw(); }

  shiftBy(x, y) { this.off = [this.off[0] + x, this.off[1] + y]; this.draw(); }

  listen() {
    const canvas = this.canvas, fingers = new Map();
    let spread = 0;
    const apart = () => { const [p, q] = [...fingers.values()]; return Math.hypot(p[0] - q[0], p[1] - q[1]); };
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      canvas.setPointerCapture(event.pointerId);
      if (fingers.size === 2) spread = apart();
    });
    canvas.addEventListener("pointermove", (event) => {
      const was = fingers.get(event.pointerId);
      if (!was) return;
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      const x = event.clientX - was[0], y = event.clientY - was[1];
      if (fingers.size === 2) { const now = apart(); if (spread > 0) this.zoomBy(now / spread); spread = now; }
      if (fingers.size === 2 || event.shiftKey || event.buttons & 2) this.shiftBy(x / fingers.size, y / fingers.size);
      else this.turnBy(-x * 0.008, -y * 0.008);
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (event) => fingers.delete(event.pointerId));
    canvas.addEventListener("wheel", (event) => { event.preventDefault(); this.zoomBy(Math.exp(-event.deltaY * 0.0012)); }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const does = { ArrowLeft: [0.09, 0], ArrowRight: [-0.09, 0], ArrowUp: [0, 0.09], ArrowDown: [0, -0.09] }[event.key];
      if (does) this.turnBy(...does);
      else if (event.key === "+" || event.key === "=") this.zoomBy(1.15);
      else if (event.key === "-") this.zoomBy(1 / 1.15);
      else return;
      event.preventDefault();
    });
  }
}

function buffer(gl, data) {
  const made = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, made);
  gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
  return made;
}

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  return made;
}
