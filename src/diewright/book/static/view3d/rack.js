// The plated rack as meshes: one part or all of them, what stands beside them in the tank, and the fields of one side.

import { data } from "../api.js";
import { Mesh } from "./geometry.js";

export const KINDS = { 1: "anode", 2: "shield", 3: "thief", 4: "bipolar" };
const PAINTED = 0.95; // share of the area within the colours: at a rim the current has a peak without an end

/** Meshes of the parts named, as one. */
export async function partsOf(r, names) {
  const each = await Promise.all(names.map(async (name) => ({ points: await data.points(r.stage, r.key, name), triangles: await data.triangles(r.stage, r.key, name) })));
  if (each.length === 1) return each[0];
  const points = new Float32Array(each.reduce((n, m) => n + m.points.length, 0));
  const triangles = new Uint32Array(each.reduce((n, m) => n + m.triangles.length, 0));
  let [p, t] = [0, 0];
  for (const m of each) {
    points.set(m.points, p);
    for (let i = 0; i < m.triangles.length; i++) triangles[t + i] = m.triangles[i] + p / 3;
    p += m.points.length;
    t += m.triangles.length;
  }
  return { points, triangles };
}

/** Thickness and current density of every deposit on one side, for the parts named. The colours are those of all parts and both sides alike. */
export function sideFields(r, names, side, mesh, all) {
  return r.values.layers.flatMap((layer) =>
    ["um", "current_density"].map((what) => {
      const name = `${layer.name}_${what}`;
      const field = { name, point: null, limit: limitOf(r, layer, what) };
      field.cell = async () => {
        const load = (part, s) => data.cell(r.stage, r.key, part, `${name}_${s}`);
        const shown = await Promise.all(names.map((part) => load(part, side)));
        const every = (await Promise.all(all.flatMap((part) => ["upper", "lower"].map((s) => load(part, s))))).flatMap((a) => [...a]);
        field.range = [0, share(every, areasOf(mesh, every.length))];
        field.top = field.range[1];
        return shown.length === 1 ? shown[0] : concat(shown);
      };
      return field;
    }),
  );
}

const concat = (arrays) => {
  const out = new Float32Array(arrays.reduce((n, a) => n + a.length, 0));
  arrays.reduce((at, a) => (out.set(a, at), at + a.length), 0);
  return out;
};

/** Areas of one part's triangles, again and again for every part and side. */
function areasOf({ points, triangles }, count) {
  const n = new Mesh(points, triangles).crossed;
  const own = Float32Array.from({ length: triangles.length / 3 }, (_, i) => Math.hypot(n[3 * i], n[3 * i + 1], n[3 * i + 2]));
  return Float32Array.from({ length: count }, (_, i) => own[i % own.length]);
}

/** The value below which PAINTED of the area lies. */
function share(values, areas) {
  const order = Uint32Array.from(values, (_, i) => i).sort((a, b) => values[a] - values[b]);
  const wanted = PAINTED * areas.reduce((a, b) => a + b, 0);
  let sum = 0;
  for (const i of order) {
    sum += areas[i];
    if (sum >= wanted) return values[i] || 1;
  }
  return values[order.at(-1)] || 1;
}

/** What stands on the ruler as a tick with its name. */
function limitOf(r, layer, what) {
  if (what === "um") return [layer.minimum_um, "least wanted"];
  const burn = (r.findings ?? []).find((f) => f.key === `plating.burn.${layer.name}`);
  return burn ? [burn.limit, "may burn above"] : [layer.mean_a_dm2, "mean of the rack"];
}

/** Anodes, shields, thieves and bipolar metal as tools for the picture. */
export async function besideOf(r) {
  const [points, triangles, kind] = await Promise.all([data.points(r.stage, r.key, "tank"), data.triangles(r.stage, r.key, "tank"), data.cell(r.stage, r.key, "tank", "kind")]);
  return Object.entries(KINDS).flatMap(([code, name]) => {
    const own = [];
    for (let i = 0; i < kind.length; i++) if (kind[i] === Number(code)) own.push(triangles[3 * i], triangles[3 * i + 1], triangles[3 * i + 2]);
    return own.length ? [{ name, points, triangles: Uint32Array.from(own) }] : [];
  });
}

/** The twelve edges of a box as segments (72 numbers). */
export function edgesOf([low, high]) {
  const corner = (i) => [i & 1 ? high[0] : low[0], i & 2 ? high[1] : low[1], i & 4 ? high[2] : low[2]];
  const out = [];
  for (let i = 0; i < 8; i++) for (const bit of [1, 2, 4]) if (!(i & bit)) out.push(...corner(i), ...corner(i | bit));
  return new Float32Array(out);
}

/** The box of points (3n). */
export function boxOfPoints(points) {
  const [lo, hi] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]]; // prettier-ignore
  for (let i = 0; i < points.length; i++) {
    lo[i % 3] = Math.min(lo[i % 3], points[i]);
    hi[i % 3] = Math.max(hi[i % 3], points[i]);
  }
  return [lo, hi];
}

