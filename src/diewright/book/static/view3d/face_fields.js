// Fields of a working face that follow from its triangles: draft, Gaussian curvature, distance to another face. Arrays in, arrays out.

import { Mesh } from "./geometry.js";

const DEG = 180 / Math.PI;

/** Draft angle of each triangle [deg]: 0 is upright, below nothing is an undercut. `up`: +1 where the face looks up (die), -1 where it looks down. */
export function draftOf(points, triangles, up) {
  const n = new Mesh(points, triangles).crossed;
  const out = new Float32Array(triangles.length / 3);
  for (let i = 0; i < out.length; i++) {
    const l = Math.hypot(n[3 * i], n[3 * i + 1], n[3 * i + 2]) || 1;
    out[i] = Math.asin(Math.min(1, Math.max(-1, (up * n[3 * i + 2]) / l))) * DEG;
  }
  return out;
}

/** Gaussian curvature at the points [1/m2]: a quadric through each point's neighbours, in the frame of its normal. Zero where a flat sheet lies on it without stretching. */
export function gaussOf(points, triangles) {
  const n = points.length / 3;
  const around = Array.from({ length: n }, () => new Set());
  for (let i = 0; i < triangles.length; i += 3) {
    for (let k = 0; k < 3; k++) around[triangles[i + k]].add(triangles[i + ((k + 1) % 3)]).add(triangles[i + ((k + 2) % 3)]);
  }
  const normals = pointNormals(points, triangles);
  const out = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    const near = new Set(around[i]);
    for (let ring = 0; ring < 2; ring++) for (const j of [...near]) for (const q of around[j]) near.add(q);
    near.delete(i);
    if (near.size >= 5) out[i] = 1e6 * quadric(points, normals, i, near);
  }
  return out;
}

function pointNormals(points, triangles) {
  const mesh = new Mesh(points, triangles);
  const n = mesh.crossed;
  const out = new Float64Array(points.length);
  for (let c = 0; c < triangles.length; c++) for (let k = 0; k < 3; k++) out[3 * triangles[c] + k] += n[3 * ((c / 3) | 0) + k];
  for (let i = 0; i < out.length; i += 3) {
    const l = Math.hypot(out[i], out[i + 1], out[i + 2]) || 1;
    for (let k = 0; k < 3; k++) out[i + k] /= l;
  }
  return out;
}

/** Curvature [1/mm2] of z = a u^2 + b u v + c v^2 + d u + e v through the neighbours, by least squares. */
function quadric(p, normals, i, near) {
  const w = [normals[3 * i], normals[3 * i + 1], normals[3 * i + 2]];
  const first = Math.abs(w[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0];
  const dot = first[0] * w[0] + first[1] * w[1] + first[2] * w[2];
  const u = first.map((v, k) => v - dot * w[k]);
  const l = Math.hypot(...u);
  u.forEach((v, k) => (u[k] = v / l));
  const v = [w[1] * u[2] - w[2] * u[1], w[2] * u[0] - w[0] * u[2], w[0] * u[1] - w[1] * u[0]];
  const rows = [];
  let size = 0;
  for (const j of near) {
    const d = [p[3 * j] - p[3 * i], p[3 * j + 1] - p[3 * i + 1], p[3 * j + 2] - p[3 * i + 2]];
    const at = (a) => a[0] * d[0] + a[1] * d[1] + a[2] * d[2];
    const q = [at(u), at(v), at(w)];
    size = Math.max(size, Math.hypot(q[0], q[1]));
    rows.push(q);
  }
  if (!size) return 0;
  const m = Array.from({ length: 5 }, () => new Float64Array(6));
  for (const q of rows) {
    const [a, b] = [q[0] / size, q[1] / size];
    const r = [a * a, a * b, b * b, a, b, q[2] / size];
    for (let y = 0; y < 5; y++) for (let x = 0; x < 6; x++) m[y][x] += r[y] * r[x];
  }
  const found = solve(m);
  if (!found) return 0;
  const [a, b, c, d, e] = found;
  return (4 * a * c - b * b) / (1 + d * d + e * e) ** 2 / (size * size);
}

/** Gauss elimination of 5 equations with the right side as the sixth column; null where they do not tell all unknowns. */
function solve(m) {
  for (let k = 0; k < 5; k++) {
    let best = k;
    for (let r = k + 1; r < 5; r++) if (Math.abs(m[r][k]) > Math.abs(m[best][k])) best = r;
    [m[k], m[best]] = [m[best], m[k]];
    if (Math.abs(m[k][k]) < 1e-9) return null;
    for (let r = 0; r < 5; r++) {
      if (r === k) continue;
      const f = m[r][k] / m[k][k];
      for (let x = k; x < 6; x++) m[r][x] -= f * m[k][x];
    }
  }
  return m.map((row, k) => row[5] / row[k]);
}

/** Distance of each point to the nearest triangle of a face [mm], `reach` at most; `signed`: above nothing on the side of its normals. Works in slices, so that the page stays alive. */
export async function distanceTo(points, face, reach, signed = false) {
  const { points: p, triangles: t } = face;
  const n = signed ? new Mesh(p, t).crossed : null;
  const cell = Math.max(reach, 1e-3);
  const bins = new Map();
  const key = (i, j) => i * 100003 + j;
  for (let f = 0; f < t.length; f += 3) {
    const [a, b, c] = [3 * t[f], 3 * t[f + 1], 3 * t[f + 2]];
    const span = (k) => [Math.floor((Math.min(p[a + k], p[b + k], p[c + k]) - reach) / cell), Math.floor((Math.max(p[a + k], p[b + k], p[c + k]) + reach) / cell)];
    const [[i0, i1], [j0, j1]] = [span(0), span(1)];
    for (let i = i0; i <= i1; i++) {
      for (let j = j0; j <= j1; j++) {
        const at = key(i, j);
        if (!bins.has(at)) bins.set(at, []);
        bins.get(at).push(f);
      }
    }
  }
  const out = new Float32Array(points.length / 3);
  let began = performance.now();
  for (let i = 0; i < out.length; i++) {
    if ((i & 255) === 0 && performance.now() - began > 24) {
      await new Promise((done) => setTimeout(done, 0));
      began = performance.now();
    }
    const q = [points[3 * i], points[3 * i + 1], points[3 * i + 2]];
    let [best, at] = [Infinity, -1];
    for (const f of bins.get(key(Math.floor(q[0] / cell), Math.floor(q[1] / cell))) ?? []) {
      const [a, b, c] = [3 * t[f], 3 * t[f + 1], 3 * t[f + 2]];
      const under = Math.min(p[a + 2], p[b + 2], p[c + 2]) - q[2];
      const over = q[2] - Math.max(p[a + 2], p[b + 2], p[c + 2]);
      if (Math.max(under, over) > Math.sqrt(best)) continue;
      const d = toTriangle(q, p, a, b, c);
      if (d < best) [best, at] = [d, f];
    }
    const d = Math.min(Math.sqrt(best), reach);
    const below = signed && at >= 0 && [0, 1, 2].reduce((sum, k) => sum + (q[k] - p[3 * t[at] + k]) * n[at + k], 0) < 0;
    out[i] = below ? -d : d;
  }
  return out;
}

/** Squared distance of a point to a triangle (the nearest feature by its Voronoi region; Ericson, Real-Time Collision Detection, 5.1.5). */
export function toTriangle(q, p, a, b, c) {
  const v = (i, j) => [p[j] - p[i], p[j + 1] - p[i + 1], p[j + 2] - p[i + 2]];
  const dot = (m, n) => m[0] * n[0] + m[1] * n[1] + m[2] * n[2];
  const from = (i) => [q[0] - p[i], q[1] - p[i + 1], q[2] - p[i + 2]];
  const [ab, ac] = [v(a, b), v(a, c)];
  const square = (m) => dot(m, m);
  const along = (start, d, f) => square([start[0] - f * d[0], start[1] - f * d[1], start[2] - f * d[2]]);
  const ap = from(a);
  const [d1, d2] = [dot(ab, ap), dot(ac, ap)];
  if (d1 <= 0 && d2 <= 0) return square(ap);
  const bp = from(b);
  const [d3, d4] = [dot(ab, bp), dot(ac, bp)];
  if (d3 >= 0 && d4 <= d3) return square(bp);
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return along(ap, ab, d1 / (d1 - d3));
  const cp = from(c);
  const [d5, d6] = [dot(ab, cp), dot(ac, cp)];
  if (d6 >= 0 && d5 <= d6) return square(cp);
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return along(ap, ac, d2 / (d2 - d6));
  const va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) return along(bp, v(b, c), (d4 - d3) / (d4 - d3 + d5 - d6));
  const n = [ab[1] * ac[2] - ab[2] * ac[1], ab[2] * ac[0] - ab[0] * ac[2], ab[0] * ac[1] - ab[1] * ac[0]];
  return dot(n, ap) ** 2 / (square(n) || 1e-30);
}
