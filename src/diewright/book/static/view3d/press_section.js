// The cut through sheet and tools as a drawing: the sheet at its own thickness, the tools as lines with their metal hatched at the edge.

import { h, s } from "../dom.js";
import { num, words } from "../words.js";
import { chains } from "./geometry.js";
import { dimension } from "./section.js";

const PLANES = [[1, 2], [0, 2], [0, 1]]; // prettier-ignore
const NAMES = "xyz";
const SOLID = 5; // a sheet thinner than this many pixels is drawn solid, as thin sections are

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
    const lines = tools.map((t) => ({ name: t.name, chains: this.toolChains(t, axis, at, i, j) }));
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
      { class: "drawing press-section", viewBox: `0 0 ${width} ${height}`, height, role: "img", tabindex: "0", "aria-label": `Section at ${NAMES[axis]} ${num(at, 4)} mm through sheet and tools. Plus and minus come closer and go back, arrow keys move, 0 shows the whole section.` },
      s("defs", {}, s("pattern", { id, width: 4.5, height: 4.5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "hatch-line", d: "M0 0V4.5" }))),
      lines.map((t) => [
        t.chains.map((c) => s("path", { class: "tool-metal", d: `M${c.map(p).join("L")}`, fill: "none" })),
        s("g", { class: `tool-hatch ${t.name}` }, t.chains.map((c) => ticks(c, x, y, t.name))),
        t.chains.length ? toolName(t, x, y, width) : null,
      ]),
      sheet.map((chain) => band(chain, p, id, k)),
      this.zoom === 1 && sheet.length ? overall(sheet, x, y, height) : null,
      bar(k, height),
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
        h("span", { class: "quiet" }, `Section at ${NAMES[axis]} ${num(at, 4)} mm, dimensions in mm. Sheet thickness to scale, as the cut meets it. ${tools.length ? "" : "Show a tool to see its line."}`),
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

  /** Lines of a tool, cut in its closed place and then lifted; kept while the plane stands still. */
  toolChains({ name, mesh, shift }, axis, at, i, j) {
    const plane = axis === 2 ? at - shift : at;
    const key = `${axis}/${plane}`;
    let have = this.kept.get(name);
    if (!have || have.key !== key || have.mesh !== mesh) {
      have = { key, mesh, chains: chains(mesh.cut(axis, plane).map((seg) => seg.map((q) => [q[i], q[j]]))) };
      this.kept.set(name, have);
    }
    const lift = j === 2 ? shift : 0;
    return lift ? have.chains.map((c) => c.map((q) => [q[0], q[1] + lift])) : have.chains;
  }
}

/** Chains of the sheet's cut: at each place the point, and the half thickness as the plane meets it. */
function pieces(mesh, axis, at, i, j, thickness) {
  const { points: p, triangles: t, crossed: n } = mesh;
  const half = new Map();
  const name = (q) => q.map((v) => Math.round(v * 1e4)).join();
  const segments = [];
  for (let f = 0; f < t.length; f += 3) {
    const d = [0, 1, 2].map((k) => p[3 * t[f + k] + axis] - at);
    if ((d[0] > 0 && d[1] > 0 && d[2] > 0) || (d[0] <= 0 && d[1] <= 0 && d[2] <= 0)) continue;
    const ends = [];
    for (let k = 0; k < 3; k++) {
      const l = (k + 1) % 3;
      if (d[k] > 0 === d[l] > 0) continue;
      const [a, b, da, db] = t[f + k] < t[f + l] ? [t[f + k], t[f + l], d[k], d[l]] : [t[f + l], t[f + k], d[l], d[k]];
      const u = da / (da - db);
      ends.push([p[3 * a + i] + u * (p[3 * b + i] - p[3 * a + i]), p[3 * a + j] + u * (p[3 * b + j] - p[3 * a + j])]);
    }
    if (ends.length !== 2) continue;
    const length = Math.hypot(n[f], n[f + 1], n[f + 2]) || 1;
    const slant = Math.sqrt(Math.max(1 - (n[f + axis] / length) ** 2, 0.1)); // a sheet that stands oblique to the plane is cut longer
    const value = thickness(f / 3) / 2 / slant;
    for (const q of ends) {
      const at0 = half.get(name(q)) ?? [0, 0];
      half.set(name(q), [at0[0] + value, at0[1] + 1]);
    }
    segments.push(ends);
  }
  return chains(segments).map((c) => c.map((q) => ({ at: q, half: half.get(name(q))[0] / half.get(name(q))[1] })));
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

/** Short strokes on the metal's side of a tool line: below the die's, above the others'. */
function ticks(chain, x, y, name) {
  const side = name === "die" ? -1 : 1;
  const out = [];
  let left = 0;
  for (let i = 1; i < chain.length; i++) {
    const a = [x(chain[i - 1][0]), y(chain[i - 1][1])];
    const b = [x(chain[i][0]), y(chain[i][1])];
    const l = Math.hypot(b[0] - a[0], b[1] - a[1]);
    if (l > 4000) return null;
    for (; left < l; left += 9) {
      const q = [a[0] + ((b[0] - a[0]) * left) / l, a[1] + ((b[1] - a[1]) * left) / l];
      let n = [-(b[1] - a[1]) / l, (b[0] - a[0]) / l]; // to the right of the way on the paper, y down
      if (n[1] * -side < 0 || (Math.abs(n[1]) < 0.02 && n[0] * inward(chain, name, q[0], x) < 0)) n = [-n[0], -n[1]];
      out.push(`M${q[0].toFixed(1)} ${q[1].toFixed(1)}l${(n[0] * 6 + 3).toFixed(1)} ${(n[1] * 6 - side * -3).toFixed(1)}`);
    }
    left -= l;
  }
  return s("path", { class: "tool-tick", d: out.join("") });
}

/** Of an upright stretch: the metal of a punch lies towards its middle, that of the others away from it. */
function inward(chain, name, px, x) {
  const middle = (x(Math.min(...chain.map((q) => q[0]))) + x(Math.max(...chain.map((q) => q[0])))) / 2;
  const towards = Math.sign(middle - px) || 1;
  return name === "punch" ? towards : -towards;
}

function toolName(t, x, y, width) {
  const q = t.chains.flat().reduce((a, b) => (x(b[0]) < x(a[0]) && x(b[0]) > 12 ? b : x(a[0]) <= 12 ? b : a));
  const px = Math.min(Math.max(x(q[0]), 8), width - 90);
  return s("text", { class: "curve-name", x: px, y: y(q[1]) + (t.name === "die" ? 22 : -12) }, words(t.name).toLowerCase());
}

function overall(sheet, x, y, height) {
  const all = sheet.flat().map((q) => q.at);
  const [lo, hi] = [0, 1].map((k) => all.reduce((a, q) => (k ? Math.max(a, q[0]) : Math.min(a, q[0])), k ? -Infinity : Infinity));
  const [bottom, top] = [0, 1].map((k) => all.reduce((a, q) => (k ? Math.max(a, q[1]) : Math.min(a, q[1])), k ? -Infinity : Infinity));
  const right = x(hi) + 30;
  return [
    dimension([x(lo), height - 14], [x(hi), height - 14], num(hi - lo, 4), [y(bottom) + 8, "v"]),
    top - bottom > 0.5 ? dimension([right, y(bottom)], [right, y(top)], num(top - bottom, 3), [x(hi) + 8, "h"]) : null,
  ];
}

function bar(k, height) {
  const wanted = 90 / k;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
  return s("g", { class: "scale-bar" }, s("path", { d: `M10 ${height - 15}v5h${length * k}v-5` }), s("text", { x: 16 + length * k, y: height - 9 }, `${num(length, 2)} mm`));
}
