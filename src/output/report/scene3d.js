"use strict";
(() => {
  const canvas = document.getElementById("view");
  const source = document.getElementById("scene-data");
  if (!canvas || !source) return;
  const data = JSON.parse(source.textContent);
  const gl = canvas.getContext("webgl2", { antialias: true, alpha: true, premultipliedAlpha: true, preserveDrawingBuffer: true });
  if (!gl) {
    canvas.hidden = true;
    document.getElementById("nogl").hidden = false;
    return;
  }
  const SIDES = 10;
  const NAMES = document.getElementById("labels");

  // Data: 16-bit integers, little-endian.
  const shorts = (i) => {
    const text = atob(data.blobs[i]);
    const bytes = Uint8Array.from(text, (c) => c.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Float32Array.from({ length: bytes.length / 2 }, (_, k) => view.getInt16(2 * k, true));
  };
  const q = data.quantum_mm;
  const local = (at) => at.map((x, i) => x - data.middle_mm[i]);

  const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const unit = (a) => { const n = Math.hypot(...a) || 1; return [a[0] / n, a[1] / n, a[2] / n]; };

  // A tube round a line: sections square to it, turned as little as can be from one to the next.
  const tubeMesh = (values, wider) => {
    const nodes = [];
    for (let i = 0; i + 3 < values.length; i += 4) {
      nodes.push({ at: [values[i] * q, values[i + 1] * q, values[i + 2] * q], r: values[i + 3] * q * wider });
    }
    if (nodes.length < 2) return null;
    const at = [], normal = [], index = [];
    let across = null;
    for (let i = 0; i < nodes.length; i += 1) {
      const along = unit(sub(nodes[Math.min(i + 1, nodes.length - 1)].at, nodes[Math.max(i - 1, 0)].at));
      let start = across || (Math.abs(along[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]);
      across = unit(sub(start, along.map((x) => x * dot(start, along))));
      const second = cross(along, across);
      for (let k = 0; k < SIDES; k += 1) {
        const a = (2 * Math.PI * k) / SIDES;
        const out = [0, 1, 2].map((j) => Math.cos(a) * across[j] + Math.sin(a) * second[j]);
        normal.push(...out);
        at.push(...[0, 1, 2].map((j) => nodes[i].at[j] + nodes[i].r * out[j]));
      }
      if (i === 0) continue;
      for (let k = 0; k < SIDES; k += 1) {
        const a = (i - 1) * SIDES + k, b = (i - 1) * SIDES + ((k + 1) % SIDES);
        index.push(a, b, a + SIDES, b, b + SIDES, a + SIDES);
      }
    }
    return { at, normal, index, mode: gl.TRIANGLES };
  };
  const cornersMesh = (values) => {
    const at = Array.from(values, (x) => x * q);
    const normal = [], index = [];
    const sums = new Map();
    const keyOf = (i) => values[3 * i] + "," + values[3 * i + 1] + "," + values[3 * i + 2];
    const count = at.length / 3;
    for (let i = 0; i < count; i += 3) {
      const p = [0, 1, 2].map((k) => at.slice(3 * (i + k), 3 * (i + k) + 3));
      const n = cross(sub(p[1], p[0]), sub(p[2], p[0]));
      for (let k = 0; k < 3; k += 1) {
        const key = keyOf(i + k), sum = sums.get(key) || [0, 0, 0];
        sums.set(key, [sum[0] + n[0], sum[1] + n[1], sum[2] + n[2]]);
        index.push(i + k);
      }
    }
    for (let i = 0; i < count; i += 1) normal.push(...unit(sums.get(keyOf(i))));
    return { at, normal, index, mode: gl.TRIANGLES };
  };
  const wiresMesh = (values) => {
    const lines = values[0], at = [], normal = [], index = [];
    let from = 1 + lines;
    for (let w = 0; w < lines; w += 1) {
      const n = values[1 + w];
      for (let i = 0; i < n; i += 1) {
        const k = at.length / 3;
        at.push(values[from] * q, values[from + 1] * q, values[from + 2] * q);
        normal.push(0, 0, 0);
        from += 3;
        if (i) index.push(k - 1, k);
      }
    }
    return { at, normal, index, mode: gl.LINES };
  };

  // Programme: light from the eye; walls clear where seen face on, denser at their outline.
  const VERTEX = `#version 300 es
uniform mat4 see; uniform mat4 turn;
in vec3 at; in vec3 normal; out vec3 n; out vec3 p;
void main(){ vec4 e = turn * vec4(at, 1.0); p = e.xyz; n = mat3(turn) * normal; gl_Position = see * e; }`;
  const FRAGMENT = `#version 300 es
precision highp float;
uniform vec4 colour; uniform float glass;
in vec3 n; in vec3 p; out vec4 o;
void main(){
  float plain = step(dot(n, n), 1e-6);
  vec3 u = plain > 0.5 ? vec3(0.0, 0.0, 1.0) : normalize(n);
  float f = abs(dot(u, normalize(-p)));
  float light = mix(0.42 + 0.58 * f, 0.95, plain);
  float a = colour.a * mix(1.0, 0.22 + 0.78 * pow(1.0 - f, 1.6), glass);
  o = vec4(colour.rgb * mix(light, 1.0, glass) * a, a);
}`;
  const shader = (kind, text) => {
    const s = gl.createShader(kind);
    gl.shaderSource(s, text);
    gl.compileShader(s);
    if (!gl.getShaderParameter(s, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(s));
    return s;
  };
  const programme = gl.createProgram();
  gl.attachShader(programme, shader(gl.VERTEX_SHADER, VERTEX));
  gl.attachShader(programme, shader(gl.FRAGMENT_SHADER, FRAGMENT));
  gl.bindAttribLocation(programme, 0, "at");
  gl.bindAttribLocation(programme, 1, "normal");
  gl.linkProgram(programme);
  gl.useProgram(programme);
  const place = Object.fromEntries(["see", "turn", "colour", "glass"].map((n) => [n, gl.getUniformLocation(programme, n)]));

  const kept = new Map();
  const buffer = (kind, values) => {
    const b = gl.createBuffer();
    gl.bindBuffer(kind, b);
    gl.bufferData(kind, values, gl.STATIC_DRAW);
  };
  const shape = (name, make) => {
    if (!kept.has(name)) {
      const mesh = make();
      let ready = null;
      if (mesh) {
        const array = gl.createVertexArray();
        gl.bindVertexArray(array);
        buffer(gl.ARRAY_BUFFER, new Float32Array(mesh.at));
        gl.enableVertexAttribArray(0);
        gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 0, 0);
        buffer(gl.ARRAY_BUFFER, new Float32Array(mesh.normal));
        gl.enableVertexAttribArray(1);
        gl.vertexAttribPointer(1, 3, gl.FLOAT, false, 0, 0);
        buffer(gl.ELEMENT_ARRAY_BUFFER, new Uint32Array(mesh.index));
        ready = { array, count: mesh.index.length, mode: mesh.mode };
      }
      kept.set(name, ready);
    }
    return kept.get(name);
  };
  const tube = (i, wider) => shape("t" + i + "," + wider, () => tubeMesh(shorts(i), wider));
  const wires = (i) => shape("w" + i, () => wiresMesh(shorts(i)));

  const colourOf = (name) => {
    const text = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
    const bits = parseInt(text.slice(1), 16);
    return [(bits >> 16) & 255, (bits >> 8) & 255, bits & 255].map((c) => c / 255);
  };
  let colours = null;
  const readColours = () => {
    colours = { wall: colourOf("--wall-line"), clot: colourOf("--clot"), plaque: colourOf("--plaque"), devices: data.names.map((_, i) => colourOf("--d" + i)) };
  };

  // Camera.
  const camera = { yaw: 0.5, pitch: 0.12, radius: 300, at: [0, 0, 0] };
  let step = 0;
  let follow = false;
  const look = (name) => {
    const view = data.views.find((v) => v.name === name) || data.views[0];
    camera.at = local(view.at_mm);
    camera.radius = view.radius_mm;
    draw();
  };
  const matrices = () => {
    const [cy, sy, cp, sp] = [Math.cos(camera.yaw), Math.sin(camera.yaw), Math.cos(camera.pitch), Math.sin(camera.pitch)];
    // x to the patient's left, y to the back, z to the head; from the front the left is on the right
    const right = [cy, sy, 0];
    const back = [sy * cp, -cy * cp, sp];
    const up = cross(back, right);
    const width = canvas.width, height = canvas.height;
    const angle = 0.5;
    const distance = (1.08 * camera.radius) / Math.sin(angle / 2) / Math.min(1, width / height);
    const eye = [0, 1, 2].map((i) => camera.at[i] + back[i] * distance);
    const turn = [
      right[0], up[0], back[0], 0, right[1], up[1], back[1], 0, right[2], up[2], back[2], 0,
      -dot(right, eye), -dot(up, eye), -dot(back, eye), 1,
    ];
    const near = Math.max(0.5, distance - 900), far = distance + 1200;
    const f = 1 / Math.tan(angle / 2);
    const see = [
      (f * height) / width, 0, 0, 0, 0, f, 0, 0, 0, 0, (far + near) / (near - far), -1, 0, 0, (2 * far * near) / (near - far), 0,
    ];
    return { turn, see, right, up, back, distance };
  };
  const onScreen = (at, m) => {
    const e = [0, 1, 2].map((i) => m.turn[i] * at[0] + m.turn[4 + i] * at[1] + m.turn[8 + i] * at[2] + m.turn[12 + i]);
    if (e[2] > -0.5) return null;
    return [0.5 + (0.5 * m.see[0] * e[0]) / -e[2], 0.5 - (0.5 * m.see[5] * e[1]) / -e[2]];
  };

  const put = (shapeOf, colour, alpha, glass) => {
    if (!shapeOf) return;
    gl.bindVertexArray(shapeOf.array);
    gl.uniform4f(place.colour, colour[0], colour[1], colour[2], alpha);
    gl.uniform1f(place.glass, glass);
    gl.drawElements(shapeOf.mode, shapeOf.count, gl.UNSIGNED_INT, 0);
  };
  const paint = () => {
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.max(1, Math.round(canvas.clientWidth * ratio)), height = Math.max(1, Math.round(canvas.clientHeight * ratio));
    if (canvas.width !== width || canvas.height !== height) { canvas.width = width; canvas.height = height; }
    if (!colours) readColours();
    const now = data.steps[step];
    if (follow && now.devices.length) {
      const led = now.devices.find((d) => d[5]) || now.devices[now.devices.length - 1];
      camera.at = local(led[4]);
      camera.radius = Math.min(camera.radius, 45);
    }
    const m = matrices();
    gl.viewport(0, 0, width, height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthMask(true);
    gl.disable(gl.BLEND);
    gl.uniformMatrix4fv(place.see, false, m.see);
    gl.uniformMatrix4fv(place.turn, false, m.turn);
    // from far away a wire is thinner than a point of the screen: draw what is thin no thinner than that
    const wider = camera.radius > 150 ? 2 : camera.radius > 60 ? 1.4 : 1;
    for (const clot of now.clots) put(tube(clot, 1), colours.clot, 1, 0);
    for (const [device, body, struts, balloon] of now.devices) {
      put(tube(body, wider), colours.devices[device], 1, 0);
      if (struts !== null) put(wires(struts), colours.devices[device], 1, 0);
      if (balloon !== null) put(tube(balloon, 1), colours.devices[device], 1, 0);
    }
    for (const [device, struts] of now.stents) put(wires(struts), colours.devices[device], 1, 0);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    gl.enable(gl.CULL_FACE);
    for (const side of [gl.FRONT, gl.BACK]) {
      gl.cullFace(side);
      for (const plaque of now.plaques) put(tube(plaque, 1), colours.plaque, 0.5, 1);
      put(tube(data.wall, 1), colours.wall, 0.75, 1);
      for (const [mesh] of data.branches) put(shape("b" + mesh, () => cornersMesh(shorts(mesh))), colours.wall, 0.35, 1);
    }
    gl.disable(gl.CULL_FACE);
    gl.depthMask(true);
    names(now, m);
    canvas.dataset.drawn = [step + 1, camera.yaw.toFixed(3), camera.pitch.toFixed(3), camera.radius.toFixed(1)].join(" ");
  };
  const names = (now, m) => {
    const wanted = data.labels.map((l) => ({ text: l.name, at: local(l.at_mm), kind: "" }));
    for (const [device, , , , tip, moved] of now.devices) {
      if (moved) wanted.unshift({ text: data.names[device], at: local(tip), kind: "moved" });
    }
    const taken = [];
    const shown = [];
    for (const { text, at, kind } of wanted) {
      const xy = onScreen(at, m);
      if (!xy || xy[0] < 0.02 || xy[0] > 0.9 || xy[1] < 0.03 || xy[1] > 0.97) continue;
      const x = xy[0] * canvas.clientWidth, y = xy[1] * canvas.clientHeight;
      if (taken.some(([a, b]) => Math.abs(a - x) < 110 && Math.abs(b - y) < 17)) continue;
      taken.push([x, y]);
      const name = document.createElement("span");
      name.textContent = text;
      name.className = kind;
      // shares of the picture: they stay where they are when it is printed at another size
      name.style.left = 100 * xy[0] + "%";
      name.style.top = 100 * xy[1] + "%";
      shown.push(name);
    }
    NAMES.replaceChildren(...shown);
  };
  let waiting = false;
  const draw = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; paint(); });
  };

  // Turning, moving, zooming.
  const turn = (dx, dy) => {
    camera.yaw -= dx;
    camera.pitch = Math.min(1.5, Math.max(-1.5, camera.pitch + dy));
    draw();
  };
  const zoom = (factor) => { camera.radius = Math.min(900, Math.max(3, camera.radius * factor)); draw(); };
  const move = (dx, dy) => {
    const m = matrices();
    const per = (2 * camera.radius) / canvas.clientHeight;
    camera.at = camera.at.map((x, i) => x + per * (-dx * m.right[i] + dy * m.up[i]));
    unfollow();
    draw();
  };
  const followButton = document.querySelector("[data-follow]");
  const unfollow = () => { follow = false; followButton.setAttribute("aria-pressed", "false"); };
  const fingers = new Map();
  canvas.addEventListener("pointerdown", (e) => { canvas.setPointerCapture(e.pointerId); fingers.set(e.pointerId, [e.clientX, e.clientY]); canvas.focus({ preventScroll: true }); });
  canvas.addEventListener("pointermove", (e) => {
    const last = fingers.get(e.pointerId);
    if (!last) return;
    const [dx, dy] = [e.clientX - last[0], e.clientY - last[1]];
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)[1];
      const before = Math.hypot(last[0] - other[0], last[1] - other[1]);
      const after = Math.hypot(e.clientX - other[0], e.clientY - other[1]);
      if (before > 0 && after > 0) zoom(before / after);
      move(dx / 2, dy / 2);
    } else if (e.buttons === 2 || e.shiftKey) move(dx, dy);
    else turn(dx * 0.008, dy * 0.008);
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (e) => fingers.delete(e.pointerId));
  canvas.addEventListener("contextmenu", (e) => e.preventDefault());
  // the page scrolls on until the picture has been chosen
  canvas.addEventListener("wheel", (e) => {
    if (document.activeElement !== canvas && !e.ctrlKey) return;
    e.preventDefault();
    zoom(Math.exp(e.deltaY * 0.0012));
  }, { passive: false });
  const KEYS = {
    ArrowLeft: () => turn(0.12, 0), ArrowRight: () => turn(-0.12, 0), ArrowUp: () => turn(0, 0.1), ArrowDown: () => turn(0, -0.1),
    "+": () => zoom(0.85), "=": () => zoom(0.85), "-": () => zoom(1.18),
    a: () => move(40, 0), d: () => move(-40, 0), w: () => move(0, 40), s: () => move(0, -40),
  };
  canvas.addEventListener("keydown", (e) => {
    const act = KEYS[e.key.length === 1 ? e.key.toLowerCase() : e.key];
    if (!act || e.ctrlKey || e.altKey || e.metaKey) return;
    e.preventDefault();
    act();
  });
  for (const button of document.querySelectorAll("[data-view]")) button.addEventListener("click", () => { unfollow(); look(button.dataset.view); });
  for (const button of document.querySelectorAll("[data-turn]")) {
    button.addEventListener("click", () => { camera.yaw = (Number(button.dataset.turn) * Math.PI) / 180; camera.pitch = 0; draw(); });
  }
  followButton.addEventListener("click", () => { follow = !follow; followButton.setAttribute("aria-pressed", String(follow)); draw(); });
  document.addEventListener("step", (e) => { step = e.detail - 1; draw(); });
  const recolour = () => { colours = null; draw(); };
  document.addEventListener("look", recolour);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", recolour);
  new ResizeObserver(draw).observe(canvas);
  // paper waits for nothing: what is to be seen there is drawn before
  addEventListener("beforeprint", paint);
  step = Number(document.getElementById("slider").value) - 1;
  look(data.first_view);
})();
