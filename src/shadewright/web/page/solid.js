// The hood and the front of the lens in space: turned, brought near, cut open, or seen from the sensor's side. WebGL, our own.

import { meshOf } from "./mesh.js";
import { colours, rgb } from "./palette.js";
import { length } from "./words.js";

const CORNERS = `
attribute vec3 corner; attribute vec3 normal; attribute float kind;
uniform mat4 view; uniform vec3 eye;
varying vec3 place; varying vec3 facing; varying float what;
void main() { place = corner; facing = normal; what = kind; gl_Position = view * vec4(corner, 1.0); }`;

const DOTS = `
precision mediump float;
uniform vec3 eye; uniform vec3 lamp; uniform float cut; uniform vec3 inside; uniform vec3 outside; uniform vec3 cutColour;
varying vec3 place; varying vec3 facing; varying float what;
void main() {
  if (cut > 0.5 && what < 4.5 && place.x > 0.0) discard;
  vec3 towards = normalize(eye - place);
  vec3 n = normalize(facing);
  bool back = !gl_FrontFacing;
  vec3 base = what < 0.5 ? inside : what < 1.5 ? outside : what < 2.5 ? outside * 1.25 : what < 3.5 ? vec3(0.34, 0.36, 0.40)
    : what < 4.5 ? vec3(0.45, 0.62, 0.80) : vec3(0.95, 0.55, 0.15);
  if (back) n = -n;
  // The back of a closed wall is seen only where it is cut open.
  if (cut > 0.5 && back && what < 3.5) { gl_FragColor = vec4(what < 2.5 ? cutColour : vec3(0.55, 0.56, 0.58), 1.0); return; }
  float light = 0.42 + 0.5 * max(dot(n, normalize(lamp)), 0.0) + 0.16 * max(dot(n, towards), 0.0);
  float shine = what > 3.5 && what < 4.5 ? 0.5 * pow(max(dot(reflect(-normalize(lamp), n), towards), 0.0), 24.0) : 0.0;
  gl_FragColor = vec4(base * light + shine, what > 3.5 && what < 4.5 ? 0.55 : 1.0);
}`;

const LINE_CORNERS =
  "attribute vec3 corner; uniform mat4 view; void main() { gl_Position = view * vec4(corner, 1.0); }";
const LINE_DOTS = "precision mediump float; uniform vec3 colour; void main() { gl_FragColor = vec4(colour, 1.0); }";

function program(gl, corners, dots) {
  const made = gl.createProgram();
  for (const [kind, text] of [
    [gl.VERTEX_SHADER, corners],
    [gl.FRAGMENT_SHADER, dots],
  ]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  return gl.getProgramParameter(made, gl.LINK_STATUS) ? made : null;
}

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unitOf = (a) => {
  const size = Math.hypot(...a) || 1;
  return a.map((value) => value / size);
};

/** Where the eye stands: the axes of its picture and the matrix that draws it. Seat axes are left-handed: x right from behind. */
function looking(eye, target, tangent, aspect, near, far) {
  const ahead = unitOf(target.map((value, k) => value - eye[k]));
  const right = unitOf(cross([0, 1, 0], ahead));
  const up = cross(ahead, right);
  const sx = 1 / (tangent * Math.max(aspect, 1)),
    sy = 1 / (tangent * Math.max(1 / aspect, 1));
  const q = far / (far - near);
  const rows = [
    [...right.map((value) => value * sx), -dot(right, eye) * sx],
    [...up.map((value) => value * sy), -dot(up, eye) * sy],
    [...ahead.map((value) => value * (2 * q - 1)), -dot(ahead, eye) * (2 * q - 1) - 2 * q * near],
    [...ahead, -dot(ahead, eye)],
  ];
  const matrix = new Float32Array(16);
  for (let r = 0; r < 4; r++) for (let c = 0; c < 4; c++) matrix[4 * c + r] = rows[r][c];
  return { matrix, right, up, ahead };
}

/** Greatest distance from the axis, and the least and greatest z, of corners. */
function boundsOf(corners) {
  let radius = 20,
    back = 0,
    front = 1;
  for (let k = 0; k < corners.length; k += 3) {
    radius = Math.max(radius, Math.hypot(corners[k], corners[k + 1]));
    back = Math.min(back, corners[k + 2]);
    front = Math.max(front, corners[k + 2]);
  }
  return { radius, back, front };
}

/** A live drawing in space on a canvas. Where the browser has no WebGL, `ready` is false and the words beside it stand alone. */
export class SolidView {
  constructor(canvas) {
    this.canvas = canvas;
    this.gl = canvas.getContext("webgl", { antialias: true, preserveDrawingBuffer: true, alpha: true });
    this.turn = 38;
    this.rise = 24;
    this.near = 1;
    this.fromSensor = false;
    this.cut = false;
    this.data = null;
    this.pending = false;
    if (this.gl) this.prepare();
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => {
      this.prepare();
      this.show(this.data);
    });
  }

  get ready() {
    return Boolean(this.gl && this.faces && this.lines);
  }

  /** True where triangles are drawn by the processor itself, so that each picture takes a while. */
  get slow() {
    if (this.known === undefined) {
      const names = this.gl?.getExtension("WEBGL_debug_renderer_info");
      const drawer = this.gl
        ? String(this.gl.getParameter(names ? names.UNMASKED_RENDERER_WEBGL : this.gl.RENDERER))
        : "";
      this.known = /swiftshader|llvmpipe|software|basic render/i.test(drawer);
    }
    return this.known;
  }

  prepare() {
    const gl = this.gl;
    this.faces = program(gl, CORNERS, DOTS);
    this.lines = program(gl, LINE_CORNERS, LINE_DOTS);
    this.buffers = {
      corner: gl.createBuffer(),
      normal: gl.createBuffer(),
      kind: gl.createBuffer(),
      line: gl.createBuffer(),
    };
  }

  /** Take new data (the answer's `solid`), rebuild the triangles and draw. */
  show(data) {
    if (!data) return;
    this.data = data;
    if (!this.ready) return;
    const gl = this.gl;
    const mesh = meshOf(data);
    this.parts = { hood: mesh.hood, opaque: mesh.opaque, count: mesh.count };
    for (const [name, values] of [
      ["corner", mesh.corners],
      ["normal", mesh.normals],
      ["kind", mesh.kinds],
    ]) {
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers[name]);
      gl.bufferData(gl.ARRAY_BUFFER, values, gl.DYNAMIC_DRAW);
    }
    this.extent = boundsOf(mesh.corners);
    this.draw();
  }

  /** Draw at the next repaint. */
  draw() {
    if (this.pending || !this.data || !this.ready) return;
    this.pending = true;
    requestAnimationFrame(() => {
      this.pending = false;
      this.paint();
    });
  }

  /** Draw within this moment, for paper. */
  paintNow() {
    if (this.data && this.ready) this.paint();
  }

  eye() {
    const { radius, back, front } = this.extent;
    if (this.fromSensor) {
      const z = this.data.pupil?.z ?? -radius;
      return {
        eye: [0, 0, z],
        target: [0, 0, z + 10],
        tangent: this.outlook() / this.near,
        near: 0.5,
        far: 60 * radius,
      };
    }
    const middle = [0, 0, 0.5 * (front + back)];
    const away = (3.4 * Math.hypot(radius, 0.5 * (front - back))) / this.near;
    const rise = (this.rise * Math.PI) / 180,
      turn = (this.turn * Math.PI) / 180;
    const direction = [Math.cos(rise) * Math.sin(turn), Math.sin(rise), Math.cos(rise) * Math.cos(turn)];
    return {
      eye: middle.map((value, k) => value + away * direction[k]),
      target: middle,
      tangent: 0.3,
      near: 0.02 * away,
      far: 6 * away,
    };
  }

  /** Half the height of what is seen from the pupil, as a tangent: the frame and something round it. */
  outlook() {
    const frame = this.data.frame_slopes;
    if (!frame || frame.length === 0) return 1.1;
    return 1.35 * Math.max(...frame.map(([x, y]) => Math.max(Math.abs(y), Math.abs(x) * 0.75)));
  }

  paint() {
    const gl = this.gl,
      canvas = this.canvas;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const width = Math.round(canvas.clientWidth * ratio),
      height = Math.round(canvas.clientHeight * ratio);
    if (width < 2 || height < 2) return;
    if (canvas.width !== width || canvas.height !== height) {
      canvas.width = width;
      canvas.height = height;
    }
    gl.viewport(0, 0, width, height);
    gl.clearColor(0, 0, 0, 0);
    gl.enable(gl.DEPTH_TEST);
    // Seat axes are left-handed, so that faces seen from outside run clockwise on the screen.
    gl.frontFace(gl.CW);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const from = this.eye();
    const sight = looking(from.eye, from.target, from.tangent, width / height, from.near, from.far);
    this.paintFaces(sight, from.eye);
    if (this.fromSensor) this.paintFrame(sight);
  }

  paintFaces(sight, eye) {
    const gl = this.gl,
      dark = colours().dark === "1";
    gl.useProgram(this.faces);
    const place = (name) => gl.getUniformLocation(this.faces, name);
    gl.uniformMatrix4fv(place("view"), false, sight.matrix);
    gl.uniform3fv(place("eye"), eye);
    gl.uniform3fv(
      place("lamp"),
      sight.up.map((u, k) => u * 0.9 - sight.right[k] * 0.55 - sight.ahead[k] * 0.8),
    );
    gl.uniform1f(place("cut"), this.cut && !this.fromSensor ? 1 : 0);
    gl.uniform3fv(place("inside"), dark ? [0.33, 0.35, 0.38] : [0.25, 0.26, 0.29]);
    gl.uniform3fv(place("outside"), dark ? [0.56, 0.6, 0.66] : [0.47, 0.5, 0.55]);
    gl.uniform3fv(
      place("cutColour"),
      rgb(colours().mark).map((value) => value / 255),
    );
    for (const [name, size] of [
      ["corner", 3],
      ["normal", 3],
      ["kind", 1],
    ]) {
      const attribute = gl.getAttribLocation(this.faces, name);
      gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers[name]);
      gl.enableVertexAttribArray(attribute);
      gl.vertexAttribPointer(attribute, size, gl.FLOAT, false, 0, 0);
    }
    gl.disable(gl.BLEND);
    // From the sensor's side the lens itself would stand in the way; what matters is the hood against the frame.
    gl.drawArrays(gl.TRIANGLES, 0, this.fromSensor ? this.parts.hood : this.parts.opaque);
    if (this.fromSensor || this.parts.count === this.parts.opaque) return;
    gl.enable(gl.BLEND);
    gl.blendFuncSeparate(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA, gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.drawArrays(gl.TRIANGLES, this.parts.opaque, this.parts.count - this.parts.opaque);
    gl.disable(gl.BLEND);
  }

  paintFrame(sight) {
    const frame = this.data.frame_slopes;
    if (!frame || frame.length < 2) return;
    const gl = this.gl,
      z = this.data.pupil?.z ?? 0,
      far = 20 * this.extent.radius;
    const points = new Float32Array([...frame, frame[0]].flatMap(([x, y]) => [x * far, y * far, z + far]));
    gl.useProgram(this.lines);
    gl.uniformMatrix4fv(gl.getUniformLocation(this.lines, "view"), false, sight.matrix);
    gl.uniform3fv(
      gl.getUniformLocation(this.lines, "colour"),
      rgb(colours().blue).map((value) => value / 255),
    );
    const attribute = gl.getAttribLocation(this.lines, "corner");
    gl.bindBuffer(gl.ARRAY_BUFFER, this.buffers.line);
    gl.bufferData(gl.ARRAY_BUFFER, points, gl.DYNAMIC_DRAW);
    gl.enableVertexAttribArray(attribute);
    gl.vertexAttribPointer(attribute, 3, gl.FLOAT, false, 0, 0);
    gl.disable(gl.DEPTH_TEST);
    gl.drawArrays(gl.LINE_STRIP, 0, points.length / 3);
  }
}

/** What the drawing in space shows, in words. */
export function solidWords(data, view) {
  if (!data) return "";
  if (data.kind === "mesh")
    return `The hood of the file, ${data.triangles} triangles${data.vertices ? "" : "; too many to be drawn here"}.`;
  const heights = data.kind === "round" ? data.rim.map(([, z]) => z) : Object.values(data.lips);
  const shape = data.kind === "round" ? "A round hood" : "A rectangular tunnel";
  const from = view.fromSensor
    ? "seen from the middle of the pupil, as the sensor sees it: the blue outline is the frame; what of the hood lies inside it shows"
    : view.cut
      ? "with its right half cut away"
      : "with the front of the lens";
  const least = Math.min(...heights),
    most = Math.max(...heights);
  return `${shape}, ${most - least < 0.05 ? "" : `${length(least)} to `}${length(most)} deep, ${from}.`;
}
