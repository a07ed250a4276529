// Arrays of a triangle mesh made ready for drawing, picking and cutting. No graphics here.

const CREASE = Math.cos((40 * Math.PI) / 180);

/** One triangle mesh: `points` (3n), `triangles` (3m); everything else is worked out once when asked for. */
export class Mesh {
  constructor(points, triangles) {
    this.points = points;
    this.triangles = triangles;
    this.count = triangles.length / 3;
    this.bounds();
  }

  bounds() {
    const lo = [Infinity, Infinity, Infinity];
    const hi = [-Infinity, -Infinity, -Infinity];
    const { points: p, triangles: t } = this;
    for (let i = 0; i < t.length; i++) {
      for (let k = 0; k < 3; k++) {
        const v = p[3 * t[i] + k];
        if (v < lo[k]) lo[k] = v;
        if (v > hi[k]) hi[k] = v;
      }
    }
    this.lo = lo;
    this.hi = hi;
    this.centre = lo.map((v, k) => (v + hi[k]) / 2);
    this.radius = Math.hypot(...lo.map((v, k) => hi[k] - v)) / 2 || 1;
  }

  /** Say that the mesh moves within a box: bounds, fit and cuts then stay the same from first to last. */
  within([lo, hi]) {
    Object.assign(this, { lo, hi, centre: lo.map((v, k) => (v + hi[k]) / 2), radius: Math.hypot(...lo.map((v, k) => hi[k] - v)) / 2 || 1 });
  }

  /** New positions for the same triangles. */
  move(points) {
    this.points = points;
    this._crossed = null;
  }

  /** Corner positions (9m): three points a triangle. */
  get corners() {
    return this.fillCorners(new Float32Array(this.triangles.length * 3));
  }

  fillCorners(out) {
    const { points: p, triangles: t } = this;
    for (let i = 0; i < t.length; i++) {
      const a = 3 * t[i];
      out[3 * i] = p[a];
      out[3 * i + 1] = p[a + 1];
      out[3 * i + 2] = p[a + 2];
    }
    return out;
  }

  get crossed() {
    if (this._crossed) return this._crossed;
    const { points: p, triangles: t, count } = this;
    const n = new Float32Array(3 * count);
    for (let i = 0; i < count; i++) {
      const a = 3 * t[3 * i], b = 3 * t[3 * i + 1], c = 3 * t[3 * i + 2]; // prettier-ignore
      const ux = p[b] - p[a], uy = p[b + 1] - p[a + 1], uz = p[b + 2] - p[a + 2]; // prettier-ignore
      const vx = p[c] - p[a], vy = p[c + 1] - p[a + 1], vz = p[c + 2] - p[a + 2]; // prettier-ignore
      n[3 * i] = uy * vz - uz * vy;
      n[3 * i + 1] = uz * vx - ux * vz;
      n[3 * i + 2] = ux * vy - uy * vx;
    }
    this._crossed = n;
    return n;
  }

  /** Triangles round each point: those of point i are `around[start[i]..start[i+1]]`. */
  get fans() {
    if (this._fans) return this._fans;
    const { triangles: t } = this;
    const start = new Uint32Array(this.points.length / 3 + 1);
    for (let i = 0; i < t.length; i++) start[t[i] + 1]++;
    for (let i = 1; i < start.length; i++) start[i] += start[i - 1];
    const next = start.slice();
    const around = new Uint32Array(t.length);
    for (let i = 0; i < t.length; i++) around[next[t[i]]++] = (i / 3) | 0;
    this._fans = { start, around };
    return this._fans;
  }

  /** Corner normals (9m), smooth but for edges sharper than 40 degrees. */
  get normals() {
    const { triangles: t, crossed: n } = this;
    const { start, around } = this.fans;
    const length = new Float32Array(this.count);
    for (let i = 0; i < this.count; i++) length[i] = Math.hypot(n[3 * i], n[3 * i + 1], n[3 * i + 2]) || 1e-20;
    const out = new Float32Array(3 * t.length);
    for (let c = 0; c < t.length; c++) {
      const f = (c / 3) | 0;
      const fx = n[3 * f], fy = n[3 * f + 1], fz = n[3 * f + 2]; // prettier-ignore
      let x = 0, y = 0, z = 0; // prettier-ignore
      for (let j = start[t[c]]; j < start[t[c] + 1]; j++) {
        const g = around[j];
        const gx = n[3 * g], gy = n[3 * g + 1], gz = n[3 * g + 2]; // prettier-ignore
        if (fx * gx + fy * gy + fz * gz >= CREASE * length[f] * length[g]) {
          x += gx;
          y += gy;
          z += gz;
        }
      }
      const l = Math.hypot(x, y, z) || 1;
      out[3 * c] = x / l;
      out[3 * c + 1] = y / l;
      out[3 * c + 2] = z / l;
    }
    return out;
  }

  /** Corner normals (9m), smooth everywhere: for a sheet that moves, in a few milliseconds. */
  fillNormals(out) {
    const { triangles: t, crossed: n, points: p } = this;
    const sum = this._sum?.length === p.length ? this._sum.fill(0) : (this._sum = new Float32Array(p.length));
    for (let c = 0; c < t.length; c++) {
      const f = 3 * ((c / 3) | 0);
      const a = 3 * t[c];
      sum[a] += n[f];
      sum[a + 1] += n[f + 1];
      sum[a + 2] += n[f + 2];
    }
    for (let c = 0; c < t.length; c++) {
      const a = 3 * t[c];
      const l = Math.sqrt(sum[a] * sum[a] + sum[a + 1] * sum[a + 1] + sum[a + 2] * sum[a + 2]) || 1;
      out[3 * c] = sum[a] / l;
      out[3 * c + 1] = sum[a + 1] / l;
      out[3 * c + 2] = sum[a + 2] / l;
    }
    return out;
  }

  /** Area-weighted averages of a cell field at the points. */
  toPoints(cell) {
    const { triangles: t, crossed: n } = this;
    const sum = new Float32Array(this.points.length / 3);
    const weight = new Float32Array(sum.length);
    for (let c = 0; c < t.length; c++) {
      const f = (c / 3) | 0;
      const a = Math.hypot(n[3 * f], n[3 * f + 1], n[3 * f + 2]);
      sum[t[c]] += cell[f] * a;
      weight[t[c]] += a;
    }
    for (let i = 0; i < sum.length; i++) sum[i] = weight[i] > 0 ? sum[i] / weight[i] : 0;
    return sum;
  }

  /** A field on the corners (3m), from point or cell values. */
  onCorners(field, kind) {
    const { triangles: t } = this;
    const out = new Float32Array(t.length);
    for (let c = 0; c < t.length; c++) out[c] = kind === "point" ? field[t[c]] : field[(c / 3) | 0];
    return out;
  }

  centroid(i) {
    const { points: p, triangles: t } = this;
    return [0, 1, 2].map((k) => (p[3 * t[3 * i] + k] + p[3 * t[3 * i + 1] + k] + p[3 * t[3 * i + 2] + k]) / 3);
  }

  /** Edges that belong to one triangle, as segments (6k). */
  get border() {
    return this.fillBorder(new Float32Array(3 * this.borderPairs.length));
  }

  fillBorder(out) {
    const { points: p, borderPairs: pairs } = this;
    for (let i = 0; i < pairs.length; i++) for (let k = 0; k < 3; k++) out[3 * i + k] = p[3 * pairs[i] + k];
    return out;
  }

  /** The same edges as numbers of points (2k). */
  get borderPairs() {
    if (this._pairs) return this._pairs;
    const { triangles: t } = this;
    const n = this.points.length / 3;
    const keys = new Float64Array(t.length);
    for (let i = 0; i < t.length; i += 3) {
      for (let k = 0; k < 3; k++) {
        const a = t[i + k];
        const b = t[i + ((k + 1) % 3)];
        keys[i + k] = a < b ? a * n + b : b * n + a;
      }
    }
    keys.sort();
    const out = [];
    for (let i = 0; i < keys.length; i++) {
      if (keys[i] === keys[i - 1] || keys[i] === keys[i + 1]) continue;
      out.push(Math.floor(keys[i] / n), keys[i] % n);
    }
    this._pairs = new Uint32Array(out);
    return this._pairs;
  }

  /** First triangle hit by the ray, or null: {triangle, point, distance}. `keep(x, y, z)` leaves out what is cut away. */
  pick(origin, direction, keep = null, after = 0) {
    const { points: p, triangles: t } = this;
    const [ox, oy, oz] = origin;
    const [dx, dy, dz] = direction;
    let best = Infinity;
    let found = -1;
    for (let i = 0; i < t.length; i += 3) {
      const a = 3 * t[i], b = 3 * t[i + 1], c = 3 * t[i + 2]; // prettier-ignore
      const ax = p[a], ay = p[a + 1], az = p[a + 2]; // prettier-ignore
      const ux = p[b] - ax, uy = p[b + 1] - ay, uz = p[b + 2] - az; // prettier-ignore
      const vx = p[c] - ax, vy = p[c + 1] - ay, vz = p[c + 2] - az; // prettier-ignore
      const px = dy * vz - dz * vy, py = dz * vx - dx * vz, pz = dx * vy - dy * vx; // prettier-ignore
      const det = ux * px + uy * py + uz * pz;
      if (det > -1e-12 && det < 1e-12) continue;
      const sx = ox - ax, sy = oy - ay, sz = oz - az; // prettier-ignore
      const u = (sx * px + sy * py + sz * pz) / det;
      if (u < 0 || u > 1) continue;
      const qx = sy * uz - sz * uy, qy = sz * ux - sx * uz, qz = sx * uy - sy * ux; // prettier-ignore
      const v = (dx * qx + dy * qy + dz * qz) / det;
      if (v < 0 || u + v > 1) continue;
      const w = (vx * qx + vy * qy + vz * qz) / det;
      if (w <= after || w >= best) continue;
      if (keep && !keep(ox + dx * w, oy + dy * w, oz + dz * w)) continue;
      best = w;
      found = i / 3;
    }
    return found < 0 ? null : { triangle: found, point: [ox + dx * best, oy + dy * best, oz + dz * best], distance: best };
  }

  /** The triangle whose centre lies nearest to a place. */
  nearest(place) {
    let best = Infinity;
    let found = 0;
    for (let i = 0; i < this.count; i++) {
      const c = this.centroid(i);
      const d = (c[0] - place[0]) ** 2 + (c[1] - place[1]) ** 2 + (c[2] - place[2]) ** 2;
      if (d < best) {
        best = d;
        found = i;
      }
    }
    return found;
  }

  /** Segments of the cut by the plane axis = at, as [[[x,y,z],[x,y,z]], ...]. */
  cut(axis, at) {
    const { points: p, triangles: t } = this;
    const out = [];
    for (let i = 0; i < t.length; i += 3) {
      const d0 = p[3 * t[i] + axis] - at, d1 = p[3 * t[i + 1] + axis] - at, d2 = p[3 * t[i + 2] + axis] - at; // prettier-ignore
      if ((d0 > 0 && d1 > 0 && d2 > 0) || (d0 <= 0 && d1 <= 0 && d2 <= 0)) continue;
      const d = [d0, d1, d2];
      const ends = [];
      for (let k = 0; k < 3; k++) {
        const l = (k + 1) % 3;
        if (d[k] > 0 === d[l] > 0) continue;
        // the same edge must give the same point from both sides: always from the smaller index
        const [a, b, da, db] = t[i + k] < t[i + l] ? [t[i + k], t[i + l], d[k], d[l]] : [t[i + l], t[i + k], d[l], d[k]];
        const f = da / (da - db);
        ends.push([0, 1, 2].map((m) => p[3 * a + m] + f * (p[3 * b + m] - p[3 * a + m])));
      }
      if (ends.length === 2) out.push(ends);
    }
    return out;
  }

  /** Places for the labels of contour lines: for each level up to `each` places where the field changes slowly. */
  labelPlaces(field, levels, each = 2) {
    const { points: p, triangles: t, crossed: n } = this;
    const found = levels.map(() => []);
    for (let i = 0; i < t.length; i += 3) {
      const a = field[t[i]], b = field[t[i + 1]], c = field[t[i + 2]]; // prettier-ignore
      const lo = Math.min(a, b, c);
      const hi = Math.max(a, b, c);
      levels.forEach((level, j) => {
        if (lo > level || hi <= level) return;
        const g = (hi - lo) / Math.sqrt(Math.hypot(n[i], n[i + 1], n[i + 2]) || 1e-9);
        found[j].push([g, i / 3]);
      });
    }
    return found.flatMap((rows, j) => {
      rows.sort((x, y) => x[0] - y[0]);
      const chosen = [];
      for (const [, i] of rows) {
        const at = this.centroid(i);
        if (chosen.every((q) => Math.hypot(q[0] - at[0], q[1] - at[1], q[2] - at[2]) > this.radius * 0.5)) chosen.push(at);
        if (chosen.length >= each) break;
      }
      return rows.length < 4 ? [] : chosen.map((place) => ({ level: levels[j], place }));
    });
  }
}

/** Join segments that share end points into open or closed chains. */
export function chains(segments) {
  const name = (q) => q.map((v) => Math.round(v * 1e4)).join();
  const at = new Map();
  segments.forEach((seg, i) => seg.forEach((q) => at.set(name(q), [...(at.get(name(q)) ?? []), i])));
  const used = new Uint8Array(segments.length);
  const grow = (chain) => {
    for (;;) {
      const end = chain[chain.length - 1];
      const i = (at.get(name(end)) ?? []).find((k) => !used[k]);
      if (i === undefined) return;
      used[i] = 1;
      const [a, b] = segments[i];
      chain.push(name(a) === name(end) ? b : a);
    }
  };
  const out = [];
  segments.forEach((seg, i) => {
    if (used[i]) return;
    used[i] = 1;
    const chain = [...seg];
    grow(chain);
    chain.reverse();
    grow(chain);
    out.push(chain);
  });
  return out;
}
