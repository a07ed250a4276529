// Things drawn beside a mesh: strokes with a body, arrows, filled outlines and prisms, as corner positions. No scene here.

import * as THREE from "three";

const SIDES = 6;
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const long = (a) => Math.hypot(...a);
const unit = (a) => {
  const l = long(a) || 1;
  return a.map((v) => v / l);
};

/** Rows of a flat array: [[x, y, z], ...]. */
export const rowsOf = (flat, size = 3) => Array.from({ length: Math.floor((flat?.length ?? 0) / size) }, (_, i) => Array.from(flat.slice(size * i, size * i + size)));

/** Segments [[from, to, i]] of a line of points; `closed` joins the last to the first. `dash`: [drawn, left out] mm, empty for a whole line. `i`: the point that a segment belongs to. */
export function pieces(points, closed, dash = []) {
  const out = [];
  const n = closed ? points.length : points.length - 1;
  const period = dash.reduce((a, b) => a + b, 0);
  let way = 0;
  for (let i = 0; i < n; i++) {
    const [a, b] = [points[i], points[(i + 1) % points.length]];
    const l = long(sub(b, a));
    if (!Number.isFinite(l) || l === 0) continue;
    if (!period) {
      out.push([a, b, i]);
      continue;
    }
    const at = (s) => a.map((v, k) => v + ((b[k] - v) * s) / l);
    for (let s = 0; s < l; ) {
      let [inside, k] = [(way + s) % period, 0];
      while (inside >= dash[k]) inside -= dash[k++];
      const end = Math.min(l, s + dash[k] - inside);
      if (k % 2 === 0 && end > s) out.push([at(s), at(end), i]);
      s = end > s ? end : s + 1e-6;
    }
    way += l;
  }
  return out;
}

/** Corners (9 numbers a triangle) of a stroke of `radius` round segments, and for each corner the point it belongs to. */
export function strokeCorners(segments, radius) {
  const corners = new Float32Array(segments.length * SIDES * 18);
  const owner = new Uint32Array(segments.length * SIDES * 6);
  let c = 0;
  for (const [a, b, i] of segments) {
    const t = unit(sub(b, a));
    const u = unit(cross(t, Math.abs(t[2]) < 0.8 ? [0, 0, 1] : [1, 0, 0]));
    const v = cross(t, u);
    const over = radius * 0.5; // segments run into each other, so that corners stay closed
    const ring = Array.from({ length: SIDES }, (_, k) => [Math.cos((2 * Math.PI * k) / SIDES), Math.sin((2 * Math.PI * k) / SIDES)]);
    const at = (q, sign, [p, r]) => [0, 1, 2].map((k) => q[k] + sign * over * t[k] + radius * (p * u[k] + r * v[k]));
    for (let k = 0; k < SIDES; k++) {
      const [r0, r1] = [ring[k], ring[(k + 1) % SIDES]];
      const [a0, a1, b0, b1] = [at(a, -1, r0), at(a, -1, r1), at(b, 1, r0), at(b, 1, r1)];
      for (const q of [a0, b0, a1, a1, b0, b1]) {
        corners.set(q, 3 * c);
        owner[c++] = i;
      }
    }
  }
  return { corners, owner };
}

/** Corners of a cone with its tip at `tip`, pointing along `way`. */
export function coneCorners(tip, way, length, radius) {
  const t = unit(way);
  const u = unit(cross(t, Math.abs(t[2]) < 0.8 ? [0, 0, 1] : [1, 0, 0]));
  const v = cross(t, u);
  const foot = tip.map((x, k) => x - length * t[k]);
  const at = (k) => {
    const a = (2 * Math.PI * k) / 12;
    return foot.map((x, j) => x + radius * (Math.cos(a) * u[j] + Math.sin(a) * v[j]));
  };
  const out = [];
  for (let k = 0; k < 12; k++) out.push(...tip, ...at(k), ...at(k + 1), ...foot, ...at(k + 1), ...at(k));
  return new Float32Array(out);
}

/** The two axes across a ring's own direction (Newell's sum). */
function planeOf(points) {
  let n = [0, 0, 0];
  points.forEach((p, i) => {
    const q = points[(i + 1) % points.length];
    n = [n[0] + (p[1] - q[1]) * (p[2] + q[2]), n[1] + (p[2] - q[2]) * (p[0] + q[0]), n[2] + (p[0] - q[0]) * (p[1] + q[1])];
  });
  if (long(n) < 1e-12) n = [0, 0, 1];
  n = unit(n);
  const u = unit(cross(n, Math.abs(n[2]) < 0.8 ? [0, 0, 1] : [1, 0, 0]));
  return [u, cross(n, u)];
}

/** Corners of the area inside a closed outline in space, filled across its own plane. */
export function fillCorners(points) {
  const [u, v] = planeOf(points);
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const flat = points.map((p) => new THREE.Vector2(dot(p, u), dot(p, v)));
  const faces = THREE.ShapeUtils.triangulateShape(flat, []);
  const out = new Float32Array(faces.length * 9);
  faces.forEach((f, i) => f.forEach((k, j) => out.set(points[k], 9 * i + 3 * j)));
  return out;
}

/** Corners of a prism over an outline (k,3), `height` long along `way` (unit): its two ends, and what stands between them. */
export function prismCorners(points, way, height) {
  const moved = points.map((p) => p.map((v, k) => v + height * way[k]));
  const side = [];
  points.forEach((p, i) => {
    const j = (i + 1) % points.length;
    side.push(...p, ...points[j], ...moved[i], ...moved[i], ...points[j], ...moved[j]);
  });
  const [low, top] = [fillCorners(points), fillCorners(moved)];
  const caps = new Float32Array(low.length + top.length);
  caps.set(low);
  caps.set(top, low.length);
  return { caps, side: new Float32Array(side) };
}

/** The middle of a line by its length. */
export function middleOf(points) {
  let sum = [0, 0, 0];
  let all = 0;
  for (const [a, b] of pieces(points, true)) {
    const l = long(sub(b, a));
    sum = sum.map((v, k) => v + (l * (a[k] + b[k])) / 2);
    all += l;
  }
  return all ? sum.map((v) => v / all) : points[0];
}
