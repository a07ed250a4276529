// Tools cut along a line in plan: chains of the cut, the sheet between them, radii and gaps as the plane shows them. No graphics here.

import { Mesh, chains } from "./geometry.js";
import { crossings, metalSide, name } from "./press_section.js";

/** One tool that is cut along lines of any direction; turning the points is kept as long as the direction stays. */
export class LineCut {
  constructor(name, points, triangles) {
    Object.assign(this, { name, points, triangles, angle: NaN });
  }

  /** Points turned so that u runs along the line, v across it. */
  turned(angle) {
    if (this.angle === angle) return this.mesh;
    const { points: p } = this;
    const [c, s] = [Math.cos((angle * Math.PI) / 180), Math.sin((angle * Math.PI) / 180)];
    const out = new Float32Array(p.length);
    for (let i = 0; i < p.length; i += 3) {
      out[i] = c * p[i] + s * p[i + 1];
      out[i + 1] = c * p[i + 1] - s * p[i];
      out[i + 2] = p[i + 2];
    }
    this.angle = angle;
    this.mesh = new Mesh(out, this.triangles);
    return this.mesh;
  }

  /** Cut at `offset` across the line: {name, chains of [u, z], metal side of each, slant at each place}. */
  at(angle, offset) {
    const cut = crossings(this.turned(angle), 1, offset, 0, 2);
    const slant = new Map();
    for (const { ends, normal } of cut) {
      const s = Math.sqrt(Math.max(1 - normal[1] ** 2, 0.1)); // a face that stands oblique to the plane is cut longer
      for (const q of ends) slant.set(name(q), Math.min(slant.get(name(q)) ?? 1, s));
    }
    const found = chains(cut.map((c) => c.ends)).map(tidy).filter((c) => c.length > 1);
    return { name: this.name, chains: found, metal: found.map((c) => metalSide(c, cut)), slant: found.map((c) => c.map((q) => slant.get(name(q)) ?? 1)) };
  }
}

const far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** Points that fall together would give an offset line a notch. */
const tidy = (c) => c.filter((q, k) => k === 0 || far(q, c[k - 1]) > 1e-3);

/** The nearest place of some chains to a point: {d, at}. */
export function nearest(q, lines) {
  let best = { d: Infinity, at: null };
  for (const c of lines) {
    for (let k = 1; k < c.length; k++) {
      const [a, b] = [c[k - 1], c[k]];
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const u = Math.min(1, Math.max(0, ((q[0] - a[0]) * dx + (q[1] - a[1]) * dy) / (dx * dx + dy * dy || 1)));
      const at = [a[0] + u * dx, a[1] + u * dy];
      const d = far(q, at);
      if (d < best.d) best = { d, at };
    }
  }
  return best;
}

/** A line moved by `t` mm in space to its side away from the metal. */
function moved(tool, n, t) {
  const c = tool.chains[n];
  const up = -tool.metal[n]; // +1 is left of the way
  return c.map((q, k) => {
    const [a, b] = [c[Math.max(k - 1, 0)], c[Math.min(k + 1, c.length - 1)]];
    const l = far(a, b) || 1;
    const thick = t / tool.slant[n][k];
    return [q[0] - (up * thick * (b[1] - a[1])) / l, q[1] + (up * thick * (b[0] - a[0])) / l];
  });
}

/** Which places of a chain have one of the `faces` across the sheet. */
const facing = (tool, n, faces, t) => tool.chains[n].map((q, k) => nearest(q, faces).d < (2.2 * t) / tool.slant[n][k]);

/** Outlines of the sheet, `t` thick: on the die from where it is first held to where it is last held, and on the punch where no die is under it. */
export function sheetOn(die, others, t) {
  const out = [];
  const band = (tool, n, from, to) => to - from > 0 && out.push({ lower: tool.chains[n].slice(from, to + 1), upper: moved(tool, n, t).slice(from, to + 1) });
  const faces = others.flatMap((o) => o.chains);
  die.chains.forEach((_, n) => {
    const held = facing(die, n, faces, t);
    band(die, n, held.indexOf(true), held.lastIndexOf(true));
  });
  const punch = others.find((o) => o.name === "punch");
  punch?.chains.forEach((_, n) => {
    const held = facing(punch, n, die.chains, t);
    for (let k = held.indexOf(true), last = held.lastIndexOf(true); k >= 0 && k < last; k++) {
      if (held[k]) continue;
      const from = k - 1;
      while (!held[k]) k += 1;
      band(punch, n, from, k);
    }
  });
  return out;
}

/** Least and largest gap of the punch to the die in the plane of the cut: {least, most} of {d, from, to}; null where they do not face each other. `limit`: what is farther apart in space has no sheet beside it. */
export function gapsOf(punch, die, limit) {
  let [least, most] = [null, null];
  punch.chains.forEach((c, n) =>
    c.forEach((q, k) => {
      const { d, at } = nearest(q, die.chains);
      if (!at || d * punch.slant[n][k] > limit) return;
      if (!least || d < least.d) least = { d, from: q, to: at };
      if (!most || d > most.d) most = { d, from: q, to: at };
    }),
  );
  return least && { least, most };
}

/** Circle through points in the least-squares sense: {centre, radius, off: largest distance from it}. */
export function circle(points) {
  const n = points.length;
  const m = [0, 1].map((k) => points.reduce((s, q) => s + q[k], 0) / n);
  let [uu, vv, uv, uuu, vvv, uvv, vuu] = [0, 0, 0, 0, 0, 0, 0];
  for (const q of points) {
    const [u, v] = [q[0] - m[0], q[1] - m[1]];
    uu += u * u;
    vv += v * v;
    uv += u * v;
    uuu += u * u * u;
    vvv += v * v * v;
    uvv += u * v * v;
    vuu += v * u * u;
  }
  const det = uu * vv - uv * uv;
  if (Math.abs(det) < 1e-12) return null;
  const [p, q] = [(uuu + uvv) / 2, (vvv + vuu) / 2];
  const c = [(p * vv - q * uv) / det, (q * uu - p * uv) / det];
  const radius = Math.sqrt(c[0] ** 2 + c[1] ** 2 + (uu + vv) / n);
  const centre = [c[0] + m[0], c[1] + m[1]];
  return { centre, radius, off: Math.max(...points.map((s) => Math.abs(far(s, centre) - radius))) };
}

/** Round places of a chain that turn one way by 20 degrees or more, told over `span` mm, as circles through their points: [{radius, at, centre, turn, left: it turns left}]. */
export function radiiOf(chain, span, most = 60) {
  if (chain.length < 5) return [];
  const dir = chain.slice(1).map((q, k) => Math.atan2(q[1] - chain[k][1], q[0] - chain[k][0]));
  const length = chain.slice(1).map((q, k) => far(q, chain[k]));
  const turn = chain.map((_, k) => (k === 0 || k === chain.length - 1 ? 0 : Math.atan2(Math.sin(dir[k] - dir[k - 1]), Math.cos(dir[k] - dir[k - 1]))));
  const along = length.reduce((all, l) => [...all, all[all.length - 1] + l], [0]);
  // facets turn by fits and starts: the bend at a place is the turn of what lies round it, over its length
  const bend = chain.map((_, k) => {
    if (k === 0 || k === chain.length - 1) return 0;
    const reach = Math.max(span, 1.3 * Math.max(length[k - 1], length[k]));
    let turned = turn[k];
    for (let j = k - 1; j > 0 && along[k] - along[j] < reach; j--) turned += turn[j];
    for (let j = k + 1; j < chain.length - 1 && along[j] - along[k] < reach; j++) turned += turn[j];
    return turned / (2 * reach);
  });
  const runs = [];
  for (let k = 1; k < chain.length - 1; k++) {
    if (Math.abs(bend[k]) < 1 / most) continue;
    const [from, sign] = [k, Math.sign(bend[k])];
    while (k < chain.length - 1 && Math.abs(bend[k]) >= 1 / most && Math.sign(bend[k]) === sign) k += 1;
    const run = { from, to: k, sign }; // its ends reach into what is straight beside it
    while (run.from < run.to && sign * turn[run.from] < 0.01) run.from += 1;
    while (run.to > run.from && sign * turn[run.to - 1] < 0.01) run.to -= 1;
    if (run.to > run.from) runs.push(run);
  }
  const sum = ({ from, to }) => Math.abs(turn.slice(from, to).reduce((a, b) => a + b, 0));
  const fit = ({ from, to }) => {
    const cut = to - from > 7 ? Math.floor((to - from) * 0.12) : 0; // ends of a bend may belong to what is beside it: its middle part tells the radius
    const found = to - from < 4 ? null : circle(chain.slice(from + cut, to - cut));
    return found && found.radius <= most && found.off <= 0.06 * found.radius ? found : null;
  };
  const joined = [];
  for (const run of runs) {
    // a facet that lies askew may break a bend in two: parts on one circle belong together
    const last = joined[joined.length - 1];
    const whole = last && last.sign === run.sign ? { ...last, to: run.to } : null;
    const found = whole && run.from - last.to <= 6 ? fit(whole) : null;
    const between = whole ? length.slice(last.to, run.from).reduce((a, b) => a + b, 0) : 0;
    if (found && between < 0.6 * found.radius) last.to = run.to;
    else joined.push({ ...run });
  }
  return joined.filter((run) => sum(run) >= 0.35).map((run) => ({ run, found: fit(run) })).filter((one) => one.found).map(({ run, found }) => ({ ...found, at: chain[Math.round((run.from + run.to) / 2)], turn: sum(run), left: run.sign > 0 }));
}

/** Where a polyline in plan (flat array, `size` numbers a point, closed) crosses the line: places u along it, in order. */
export function crossingsOf(ring, size, angle, offset) {
  const n = ring.length / size;
  const [c, s] = [Math.cos((angle * Math.PI) / 180), Math.sin((angle * Math.PI) / 180)];
  const uv = (k) => [c * ring[size * k] + s * ring[size * k + 1], c * ring[size * k + 1] - s * ring[size * k] - offset, size > 2 ? ring[size * k + 2] : 0];
  const out = [];
  for (let k = 0; k < n; k++) {
    const [a, b] = [uv(k), uv((k + 1) % n)];
    if (a[1] > 0 === b[1] > 0) continue;
    const f = a[1] / (a[1] - b[1]);
    out.push([a[0] + f * (b[0] - a[0]), a[2] + f * (b[2] - a[2])]);
  }
  return out.sort((a, b) => a[0] - b[0]);
}
