// A view in parallel projection, turned like a part on a turntable: mouse, touch and keyboard.

import * as THREE from "three";

export const STANDARD = {
  corner: { words: "Corner", az: -60, el: 32 },
  above: { words: "From above", az: -90, el: 90 },
  below: { words: "From below", az: -90, el: -90 },
  front: { words: "Front", az: -90, el: 0 },
  side: { words: "Side", az: 0, el: 0 },
};

const rad = (d) => (d * Math.PI) / 180;

export class View {
  constructor({ flat = false } = {}) {
    this.flat = flat;
    this.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, 0.1, 10);
    this.target = [0, 0, 0];
    this.centre = [0, 0, 0];
    this.extent = [1, 1, 1];
    this.radius = 1;
    this.half = 1;
    this.width = 1;
    this.height = 1;
    this.turn(flat ? "above" : "corner");
  }

  turn(name) {
    this.az = STANDARD[name].az;
    this.el = STANDARD[name].el;
  }

  setPart(mesh) {
    this.centre = mesh.centre;
    this.extent = mesh.hi.map((v, k) => v - mesh.lo[k]);
    this.radius = mesh.radius;
    this.fit();
  }

  get basis() {
    const [ca, sa, ce, se] = [Math.cos(rad(this.az)), Math.sin(rad(this.az)), Math.cos(rad(this.el)), Math.sin(rad(this.el))];
    return { right: [-sa, ca, 0], up: [-se * ca, -se * sa, ce], out: [ce * ca, ce * sa, se] };
  }

  /** Show the whole part with a margin for labels. */
  fit() {
    this.target = [...this.centre];
    const { right, up } = this.basis;
    const spread = (axis) => axis.reduce((sum, v, k) => sum + Math.abs(v) * this.extent[k], 0) / 2;
    const aspect = this.width / Math.max(this.height, 1);
    const [w, t] = [spread(right), spread(up)];
    this.half = Math.max(t * 1.3, (w * 1.09) / aspect, this.radius * 0.05);
    if (this.fitFor) this.half = Math.max(this.half, this.fitFor);
  }

  apply() {
    const { right, up, out } = this.basis;
    const c = this.camera;
    const aspect = this.width / Math.max(this.height, 1);
    const far = this.radius * 6 + Math.hypot(...this.target.map((v, k) => v - this.centre[k]));
    c.left = -this.half * aspect;
    c.right = this.half * aspect;
    c.top = this.half;
    c.bottom = -this.half;
    c.near = 0.01 * this.radius;
    c.far = far * 2;
    const m = new THREE.Matrix4().makeBasis(new THREE.Vector3(...right), new THREE.Vector3(...up), new THREE.Vector3(...out));
    c.quaternion.setFromRotationMatrix(m);
    c.position.set(...this.target.map((v, k) => v + out[k] * far));
    c.updateMatrixWorld();
    c.updateProjectionMatrix();
  }

  /** Pixels per mm. */
  get scale() {
    return this.height / (2 * this.half);
  }

  /** Pixel position in the pane of a point [mm]; z grows towards the eye. */
  project(q) {
    const { right, up, out } = this.basis;
    const d = q.map((v, k) => v - this.target[k]);
    const dot = (a) => a[0] * d[0] + a[1] * d[1] + a[2] * d[2];
    return [this.width / 2 + dot(right) * this.scale, this.height / 2 - dot(up) * this.scale, dot(out)];
  }

  ray(x, y) {
    const { right, up, out } = this.basis;
    const u = (x - this.width / 2) / this.scale;
    const v = (this.height / 2 - y) / this.scale;
    const far = this.radius * 8;
    return { origin: this.target.map((t, k) => t + right[k] * u + up[k] * v + out[k] * far), direction: out.map((o) => -o) };
  }

  pan(dx, dy) {
    const { right, up } = this.basis;
    this.target = this.target.map((t, k) => t - (right[k] * dx - up[k] * dy) / this.scale);
  }

  rotate(dx, dy) {
    if (this.flat) return this.pan(dx, dy);
    this.az -= dx * 0.35;
    this.el = Math.min(90, Math.max(-90, this.el + dy * 0.35));
  }

  zoom(factor, x = this.width / 2, y = this.height / 2) {
    const before = this.scale;
    this.half = Math.min(this.radius * 8, Math.max(this.radius * 0.002, this.half * factor));
    const k = 1 / before - 1 / this.scale;
    const { right, up } = this.basis;
    this.target = this.target.map((t, i) => t + right[i] * (x - this.width / 2) * k + up[i] * (this.height / 2 - y) * k);
  }
}

let scrolled = -1e9;
if (typeof window !== "undefined") window.addEventListener("scroll", () => (scrolled = performance.now()), { passive: true });

/** Hands of the person on one pane. `seen` is called after every change, `picked(x, y)` for a click, `hovered(x, y)` for a move. */
export function hands(pane, view, { seen, picked, hovered, left }) {
  const fingers = new Map();
  let moved = 0;
  const here = (e) => {
    const r = pane.getBoundingClientRect();
    return [e.clientX - r.left, e.clientY - r.top];
  };
  pane.addEventListener("pointerdown", (e) => {
    if (fingers.size === 0) moved = 0;
    fingers.set(e.pointerId, here(e));
    pane.setPointerCapture(e.pointerId);
    pane.dataset.by = "hand";
    pane.focus({ preventScroll: true });
  });
  pane.addEventListener("pointermove", (e) => {
    const [x, y] = here(e);
    if (!fingers.has(e.pointerId)) return hovered?.(x, y);
    const [px, py] = fingers.get(e.pointerId);
    const [dx, dy] = [x - px, y - py];
    moved += Math.hypot(dx, dy);
    if (fingers.size === 2) {
      const [other] = [...fingers].filter(([id]) => id !== e.pointerId).map(([, q]) => q);
      const [before, now] = [Math.hypot(px - other[0], py - other[1]), Math.hypot(x - other[0], y - other[1])];
      view.zoom(before / Math.max(now, 1), (x + other[0]) / 2, (y + other[1]) / 2);
      view.pan(dx / 2, dy / 2);
    } else if (moved > 3) {
      if (e.shiftKey || e.buttons === 2 || e.buttons === 4) view.pan(dx, dy);
      else view.rotate(dx, dy);
    }
    fingers.set(e.pointerId, [x, y]);
    seen();
  });
  const up = (e) => {
    if (fingers.delete(e.pointerId) && moved <= 3 && e.type === "pointerup" && e.button === 0) picked?.(...here(e));
  };
  pane.addEventListener("pointerup", up);
  pane.addEventListener("pointercancel", up);
  pane.addEventListener("pointerleave", () => fingers.size === 0 && left?.());
  pane.addEventListener("contextmenu", (e) => e.preventDefault());
  pane.addEventListener(
    "wheel",
    (e) => {
      if (!e.ctrlKey && performance.now() - scrolled < 300) return; // the page is being scrolled past the picture
      e.preventDefault();
      view.zoom(Math.exp(Math.sign(e.deltaY) * Math.min(Math.abs(e.deltaY), 120) * 0.0015), ...here(e));
      seen();
    },
    { passive: false },
  );
  pane.addEventListener("blur", () => delete pane.dataset.by);
  pane.addEventListener("keydown", (e) => {
    delete pane.dataset.by;
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const step = e.shiftKey ? 40 : 14;
    const turn = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[e.key];
    if (turn && e.shiftKey) view.pan(-turn[0], -turn[1]);
    else if (turn) view.rotate(...turn);
    else if (e.key === "+" || e.key === "=") view.zoom(0.85);
    else if (e.key === "-") view.zoom(1 / 0.85);
    else if (e.key === "0" || e.key === "Home") view.fit();
    else if (e.key === "Enter") picked?.(view.width / 2, view.height / 2);
    else return;
    e.preventDefault();
    seen();
  });
}
