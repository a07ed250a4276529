// The cut through sheet and tools as a drawing: the sheet at its own thickness, the tools as lines with their metal hatched at the edge.

import { h, s } from "../dom.js";
import { num, words } from "../words.js";
import { chains } from "./geometry.js";
import { dimension } from "./section.js";

const PLANES = [[1, 2], [0, 2], [0, 1]]; // prettier-ignore
const NAMES = "xyz";
export const SOLID = 5; // a sheet thinner than this many pixels is drawn solid, as thin sections are

export class PressSection {
  constructor() {
    this.zoom = 1;
    this.middle = null;
    this.forget();
  }

  forget() {
    this.kept = new Map();
  }

  /** `thickness`: function of a triangle's number; null where no body of sheet is cut. */
  draw({ mesh, thickness, tools, axis, at, width, redraw }) {
    const [i, j] = PLANES[axis];
    const sheet = thickness ? pieces(mesh, axis, at, i, j, thickness) : [];
    const lines = tools.map((t) => ({ name: t.name, ...this.toolLines(t, axis, at, i, j) }));
    const all = [...sheet.flat().map((q) => q.at), ...lines.flatMap((t) => t.chains.flat())];
    if (!all.length) return h("p", { class: "quiet" }, "The cut passes beside sheet and tools.");
    const [lo, hi] = [mesh.lo, mesh.hi];
    const box = { x0: lo[i], x1: hi[i], y0: lo[j], y1: hi[j] };
    const height = Math.round(Math.min(430, Math.max(230, (width * (box.y1 - box.y0)) / Math.max(box.x1 - box.x0, 1e-6) + 110)));
    const whole = Math.min((width - 96) / Math.max(box.x1 - box.x0, 1e-6), (height - 96) / Math.max(box.y1 - box.y0, 1e-6));
    const k = whole * this.zoom;
    const centre = this.zoom === 1 || !this.middle ? [(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2] : this.middle;
    this.middle = centre;
    const x = (v) => width / 2 + (v - centre[0]) * k;
    const y = (v) => height / 2 - 12 - (v - centre[1]) * k;
    const p = (q) => `${x(q[0]).toFixed(1)} ${y(q[1]).toFixed(1)}`;
    const id = "press-hatch";
    const svg = s(
      "svg",
      { class: "drawing press-section", viewBox: `0 0 ${width} ${height}`, height, role: "img", tabindex: "0", "aria-label": `Section at ${NAMES[axis]} ${num(Math.round(at * 100) / 100, 4)} mm through sheet and tools. Plus and minus come closer and go back, arrow keys move, 0 shows the whole section.` },
      s("defs", {}, s("pattern", { id, width: 4.5, height: 4.5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "hatch-line", d: "M0 0V4.5" }))),
      lines.map((t) => [
        t.chains.map((c) => s("path", { class: "tool-metal", d: `M${c.map(p).join("L")}`, fill: "none" })),
        t.chains.map((c, n) => ticks(c, x, y, t.metal[n])),
        t.chains.length ? toolName(t, x, y, width) : null,
      ]),
      sheet.map((chain) => band(chain, p, id, k)),
      this.zoom === 1 && sheet.length ? overall(sheet, x, y, height) : null,
      bar(k),
    );
    this.hands(svg, redraw, k, width, height);
    const again = (f) => () => {
      this.zoom = f ? Math.min(60, Math.max(1, this.zoom * f)) : 1;
      redraw();
    };
    return [
      svg,
      h(
        "p",
        { class: "section-words" },
        h("button", { type: "button", class: "word", onclick: again(1.6) }, "Closer"),
        h("button", { type: "button", class: "word", disabled: this.zoom <= 1, onclick: again(1 / 1.6) }, "Further off"),
        h("button", { type: "button", class: "word", disabled: this.zoom <= 1, onclick: again(0) }, "Whole section"),
        h("span", { class: "quiet" }, `Section at ${NAMES[axis]} ${num(Math.round(at * 100) / 100, 4)} mm, dimensions in mm. Sheet thickness to scale, as the cut meets it. ${tools.length ? "" : "Show a tool to see its line."}`),
      ),
    ];
  }

  hands(svg, redraw, k, width, height) {
    const go = (dx, dy) => {
      this.middle = [this.middle[0] + dx / k, this.middle[1] + dy / k];
      redraw();
    };
    svg.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: [-40, 0], ArrowRight: [40, 0], ArrowUp: [0, 40], ArrowDown: [0, -40] }[e.key];
      const f = { "+": 1.6, "=": 1.6, "-": 1 / 1.6 }[e.key];
      if (!step && !f && e.key !== "0") return;
      e.preventDefault();
      if (f) this.zoom = Math.min(60, Math.max(1, this.zoom * f));
      else if (e.key === "0") this.zoom = 1;
      if (step && this.zoom > 1) go(...step);
      else redraw();
      document.querySelector(".press-section")?.focus({ preventScroll: true });
    });
    let from = null;
    svg.addEventListener("pointerdown", (e) => (from = [e.clientX, e.clientY]));
    svg.addEventListener("pointerup", (e) => {
      if (!from) return;
      const d = [e.clientX - from[0], e.clientY - from[1]];
      from = null;
      if (Math.hypot(...d) > 4) {
        if (this.zoom > 1) go(-d[0], d[1]);
        return;
      }
      const r = svg.getBoundingClientRect(); // a click comes closer to its place
      this.middle = [this.middle[0] + (((e.clientX - r.left) / r.width) * width - width / 2) / k, this.middle[1] - (((e.clientY - r.top) / r.height) * height - height / 2 + 12) / k];
      this.zoom = Math.min(60, this.zoom * 2.2);
      redraw();
    });
  }

  /** Lines of a tool, cut in its closed place and then lifted, and on which side of each its metal is; kept while the plane stands still. */
  toolLines({ name, mesh, shift }, axis, at, i, j) {
    const plane = axis === 2 ? at - shift : at;
    const key = `${axis}/${plane}`;
    let have = this.kept.get(name);
    if (!have || have.key !== key || have.mesh !== mesh) {
      const cut = crossings(mesh, axis, plane, i, j);
      const found = chains(cut.map((c) => c.ends));
      have = { key, mesh, chains: found, metal: found.map((c) => metalSide(c, cut)) };
      this.kept.set(name, have);
    }
    const lift = j === 2 ? shift : 0;
    return { metal: have.metal, chains: lift ? have.chains.map((c) => c.map((q) => [q[0], q[1] + lift])) : have.chains };
  }
}

export const name = (q) => q.map((v) => Math.round(v * 1e4)).join();

/** Where a plane crosses triangles: both ends in the plane, the number of the triangle, its unit normal. */
export function crossings(mesh, axis, at, i, j) {
  const { points: p, triangles: t, crossed: n } = mesh;
  const out = [];
  for (let f = 0; f < t.length; f += 3) {
    const d0 = p[3 * t[f] + axis] - at, d1 = p[3 * t[f + 1] + axis] - at, d2 = p[3 * t[f + 2] + axis] - at; // prettier-ignore
    if ((d0 > 0 && d1 > 0 && d2 > 0) || (d0 <= 0 && d1 <= 0 && d2 <= 0)) continue;
    const d = [d0, d1, d2];
    const ends = [];
    for (let k = 0; k < 3; k++) {
      const l = (k + 1) % 3;
      if (d[k] > 0 === d[l] > 0) continue;
      const [a, b, da, db] = t[f + k] < t[f + l] ? [t[f + k], t[f + l], d[k], d[l]] : [t[f + l], t[f + k], d[l], d[k]];
      const u = da / (da - db);
      ends.push([p[3 * a + i] + u * (p[3 * b + i] - p[3 * a + i]), p[3 * a + j] + u * (p[3 * b + j] - p[3 * a + j])]);
    }
    const length = Math.hypot(n[f], n[f + 1], n[f + 2]) || 1;
    if (ends.length === 2 && name(ends[0]) !== name(ends[1])) out.push({ ends, triangle: f / 3, normal: [n[f] / length, n[f + 1] / length, n[f + 2] / length], flat: [n[f + i], n[f + j]] });
  }
  return out;
}

/** Chains of the sheet's cut: at each place the point, and the half thickness as the plane meets it. */
function pieces(mesh, axis, at, i, j, thickness) {
  const half = new Map();
  const cut = crossings(mesh, axis, at, i, j);
  for (const { ends, triangle, normal } of cut) {
    const slant = Math.sqrt(Math.max(1 - normal[axis] ** 2, 0.1)); // a sheet that stands oblique to the plane is cut longer
    for (const q of ends) {
      const sum = half.get(name(q)) ?? [0, 0];
      half.set(name(q), [sum[0] + thickness(triangle) / 2 / slant, sum[1] + 1]);
    }
  }
  const least = mesh.radius * 1e-4; // points that fall together would give the band a notch
  return chains(cut.map((c) => c.ends))
    .map((c) => c.filter((q, k) => k === 0 || Math.hypot(q[0] - c[k - 1][0], q[1] - c[k - 1][1]) > least))
    .filter((c) => c.length > 1)
    .map((c) => c.map((q) => ({ at: q, half: half.get(name(q))[0] / half.get(name(q))[1] })));
}

/** +1 where the metal of a tool lies left of the way along its line, -1 where right: it is behind the face, against the normals. */
export function metalSide(chain, cut) {
  const flats = new Map();
  for (const { ends, flat } of cut) for (const q of ends) flats.set(name(q), flat);
  let sum = 0;
  for (let k = 1; k < chain.length; k++) {
    const flat = flats.get(name(chain[k])) ?? [0, 0];
    sum += (chain[k][0] - chain[k - 1][0]) * flat[1] - (chain[k][1] - chain[k - 1][1]) * flat[0];
  }
  return sum > 0 ? -1 : 1;
}

function band(chain, p, hatch, k) {
  const offset = (sign) =>
    chain.map(({ at, half }, i) => {
      const a = chain[Math.max(i - 1, 0)].at;
      const b = chain[Math.min(i + 1, chain.length - 1)].at;
      const l = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
      return [at[0] - (sign * half * (b[1] - a[1])) / l, at[1] + (sign * half * (b[0] - a[0])) / l];
    });
  const d = `M${offset(1).map(p).join("L")}L${offset(-1).reverse().map(p).join("L")}Z`;
  const thick = 2 * chain[0].half * k;
  if (thick < SOLID) return s("path", { class: "sheet-solid", d });
  return [s("path", { class: "sheet-paper", d }), s("path", { class: "sheet-hatch", d, fill: `url(#${hatch})` })];
}

/** Short strokes into the tool's metal, all at one slope as a hatch is. `side`: +1 left of the way, -1 right. */
export function ticks(chain, x, y, side) {
  const out = [];
  let left = 4;
  for (let i = 1; i < chain.length; i++) {
    const a = [x(chain[i - 1][0]), y(chain[i - 1][1])];
    const b = [x(chain[i][0]), y(chain[i][1])];
    const l = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (l > 6000) return null;
    const n = [(side * (b[1] - a[1])) / l, (-side * (b[0] - a[0])) / l]; // y runs down on the paper
    const slope = n[0] * 0.71 - n[1] * 0.71; // of the hatch, rising to the right
    const way = Math.abs(slope) > 0.25 ? Math.sign(slope) : 0;
    for (; left < l; left += 7) {
      const q = [a[0] + ((b[0] - a[0]) * left) / l, a[1] + ((b[1] - a[1]) * left) / l];
      out.push(way ? `M${q[0].toFixed(1)} ${q[1].toFixed(1)}l${(way * 6).toFixed(1)} ${(-way * 6).toFixed(1)}` : `M${q[0].toFixed(1)} ${q[1].toFixed(1)}l${(n[0] * 7).toFixed(1)} ${(n[1] * 7).toFixed(1)}`);
    }
    left -= l;
  }
  return s("path", { class: "tool-tick", d: out.join("") });
}

/** The name of a tool, in its metal beside the line: where the line is level and has room. */
export function toolName(t, x, y, width) {
  let best = null;
  t.chains.forEach((c, n) => {
    for (let k = 1; k < c.length; k++) {
      const [dx, dy] = [x(c[k][0]) - x(c[k - 1][0]), y(c[k][1]) - y(c[k - 1][1])];
      const middle = [(x(c[k][0]) + x(c[k - 1][0])) / 2, (y(c[k][1]) + y(c[k - 1][1])) / 2];
      if (middle[0] < 10 || middle[0] > width - 10 || Math.abs(dy) > 0.3 * Math.abs(dx)) continue;
      const seen = Math.min(Math.abs(dx), 140) - Math.abs(middle[0] - width / 2) * 0.02;
      if (!best || seen > best.seen) best = { seen, middle, down: Math.sign(dx) * t.metal[n] < 0 };
    }
  });
  if (!best) return null;
  const px = Math.min(Math.max(best.middle[0], 46), width - 46);
  return s("text", { class: "curve-name", x: px, y: best.middle[1] + (best.down ? 24 : -14), "text-anchor": "middle" }, words(t.name).toLowerCase());
}

function overall(sheet, x, y, height) {
  const all = sheet.flat().map((q) => q.at);
  const [lo, hi] = [0, 1].map((k) => all.reduce((a, q) => (k ? Math.max(a, q[0]) : Math.min(a, q[0])), k ? -Infinity : Infinity));
  const [bottom, top] = [0, 1].map((k) => all.reduce((a, q) => (k ? Math.max(a, q[1]) : Math.min(a, q[1])), k ? -Infinity : Infinity));
  const right = x(hi) + 30;
  const ends = [lo, hi].map((v) => all.find((q) => q[0] === v)[1]);
  return [
    dimension([x(lo), height - 14], [x(hi), height - 14], num(hi - lo, 4), [y(Math.min(...ends)) + 8, "v"]),
    top - bottom > 0.5 ? dimension([right, y(bottom)], [right, y(top)], num(top - bottom, 3), [x(hi) + 8, "h"]) : null,
  ];
}

export function bar(k) {
  const wanted = 90 / k;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
  return s("g", { class: "scale-bar" }, s("path", { d: `M10 10v5h${length * k}v-5` }), s("text", { x: 16 + length * k, y: 16 }, `${num(length, 2)} mm`));
}
