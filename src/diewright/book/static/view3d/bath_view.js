// The eye before a bath whose surface is level: the part turns, up stays up. All vectors are in the part's coordinates.

import { View } from "./camera.js";

const rad = (d) => (d * Math.PI) / 180;
const GAIN = 5 / 14; // degrees a pixel: an arrow key is five degrees
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const unit = (a) => {
  const l = Math.hypot(...a) || 1;
  return a.map((v) => v / l);
};

/** `v` turned round the unit vector `axis` by `degrees`. */
function turned(v, axis, degrees) {
  const [c, s] = [Math.cos(rad(degrees)), Math.sin(rad(degrees))];
  const w = cross(axis, v);
  const along = dot(axis, v) * (1 - c);
  return v.map((x, k) => x * c + w[k] * s + axis[k] * along);
}

/** Up from two angles: how far it leans from the part's z, and towards which side, counted from its x [deg]. */
export const upOf = (lean, towards) => [Math.sin(rad(lean)) * Math.cos(rad(towards)), Math.sin(rad(lean)) * Math.sin(rad(towards)), Math.cos(rad(lean))];

export function anglesOf(up) {
  const [x, y, z] = unit(up);
  const lean = (Math.atan2(Math.hypot(x, y), z) * 180) / Math.PI;
  return { lean, towards: Math.hypot(x, y) < 1e-6 ? 0 : ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360 };
}

export class BathView extends View {
  constructor() {
    super();
    this.vertical = [0, 0, 1]; // up in the part's coordinates
    this.ahead = unit([-0.5, -0.86, 0]); // level, towards the eye
    this.el = 14;
  }

  get basis() {
    const [c, s] = [Math.cos(rad(this.el)), Math.sin(rad(this.el))];
    return { right: cross(this.vertical, this.ahead), up: this.vertical.map((v, k) => c * v - s * this.ahead[k]), out: this.vertical.map((v, k) => s * v + c * this.ahead[k]) };
  }

  /** Sideways the part spins about the plumb line, which changes no pocket; up and down it tips towards the eye or away. */
  rotate(dx, dy) {
    if (dx) this.ahead = unit(turned(this.ahead, this.vertical, -dx * GAIN));
    if (dy) {
      const { right } = this.basis;
      [this.vertical, this.ahead] = [unit(turned(this.vertical, right, -dy * GAIN)), unit(turned(this.ahead, right, -dy * GAIN))];
      this.tipped?.();
    }
  }

  /** Take another way up by the shortest turn. */
  stand(up) {
    const to = unit(up);
    const axis = cross(this.vertical, to);
    const l = Math.hypot(...axis);
    const angle = (Math.atan2(l, dot(this.vertical, to)) * 180) / Math.PI;
    const round = l > 1e-9 ? axis.map((v) => v / l) : cross(this.vertical, this.ahead);
    const ahead = turned(this.ahead, round, angle);
    this.vertical = to;
    this.ahead = unit(ahead.map((v, k) => v - dot(ahead, to) * to[k])); // level again, free of rounding
  }

  /** One scale for all attitudes: the part does not grow and shrink while it is turned. */
  fit() {
    this.target = [...this.centre];
    this.half = this.radius * 1.14 * Math.max(1, this.height / Math.max(this.width, 1));
  }
}
