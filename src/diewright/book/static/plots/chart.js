// Curves as a handbook prints them: hairline axes, figures outside, names written at the curves, a reading line to run along them.

import { h, s, put } from "../dom.js";
import { num, tickText, unitText } from "../words.js";
import { niceStep, niceTicks } from "../view3d/lut.js";

const PAD = { left: 60, right: 18, top: 16, bottom: 44 };

const finite = (list) => list.filter((v) => Number.isFinite(v));

/** A round range that holds all values. */
export function rangeOf(values, { zero = false, pad = 0.04 } = {}) {
  const v = finite(values);
  if (!v.length) return [0, 1];
  let [lo, hi] = [v.reduce((a, b) => Math.min(a, b)), v.reduce((a, b) => Math.max(a, b))];
  if (zero) [lo, hi] = [Math.min(lo, 0), Math.max(hi, 0)];
  const span = hi - lo || Math.abs(hi) || 1;
  return [zero && lo === 0 ? 0 : lo - pad * span, zero && hi === 0 ? 0 : hi + pad * span];
}

/** Axes and their scales. `x`, `y`: {label, unit, lo, hi}. With `equal` one unit is as long on both axes. */
export function frame({ width, height, x, y, equal = false, pad = PAD }) {
  let [x0, x1, y0, y1] = [x.lo, x.hi, y.lo, y.hi];
  const [w, t] = [width - pad.left - pad.right, height - pad.top - pad.bottom];
  if (equal) {
    const k = Math.min(w / (x1 - x0), t / (y1 - y0));
    const [mx, my] = [(x0 + x1) / 2, (y0 + y1) / 2];
    [x0, x1, y0, y1] = [mx - w / k / 2, mx + w / k / 2, my - t / k / 2, my + t / k / 2];
  }
  const px = (v) => pad.left + ((v - x0) / (x1 - x0)) * w;
  const py = (v) => pad.top + t - ((v - y0) / (y1 - y0)) * t;
  const [xn, yn] = [Math.max(4, Math.round(w / 78)), Math.max(4, Math.round(t / 48))];
  const [xt, yt] = [niceTicks(Math.min(x0, x1), Math.max(x0, x1), xn), niceTicks(y0, y1, yn)]; // an axis may run down to its zero
  const [xs, ys] = [niceStep(x0, x1, xn), niceStep(y0, y1, yn)];
  const base = pad.top + t;
  const name = (axis) => axis.label + (axis.unit ? `, ${unitText(axis.unit)}` : "");
  const marks = s(
    "g",
    { class: "axes" },
    xt.map((v) => s("path", { class: v === 0 ? "grid nought" : "grid", d: `M${px(v)} ${pad.top}V${base}` })),
    yt.map((v) => s("path", { class: v === 0 ? "grid nought" : "grid", d: `M${pad.left} ${py(v)}H${pad.left + w}` })),
    s("path", { class: "axis", d: `M${pad.left} ${pad.top}V${base}H${pad.left + w}` }),
    xt.map((v) => s("text", { class: "tick-figure", x: px(v), y: base + 18, "text-anchor": "middle" }, tickText(v, xs))),
    yt.map((v) => s("text", { class: "tick-figure", x: pad.left - 8, y: py(v) + 4, "text-anchor": "end" }, tickText(v, ys))),
    s("text", { class: "axis-name", x: pad.left + w, y: base + 38, "text-anchor": "end" }, name(x)),
    s("text", { class: "axis-name", x: 14, y: pad.top, "text-anchor": "end", transform: `rotate(-90 14 ${pad.top})` }, name(y)),
  );
  return { px, py, marks, box: { left: pad.left, top: pad.top, w, t, base }, unx: (p) => x0 + ((p - pad.left) / w) * (x1 - x0), range: [x0, x1, y0, y1] };
}

export function path(xs, ys, { px, py, range }) {
  let d = "";
  let pen = false;
  for (let i = 0; i < xs.length; i++) {
    const bad = !Number.isFinite(xs[i]) || !Number.isFinite(ys[i]) || (range && (ys[i] > range[3] + (range[3] - range[2]) || ys[i] < range[2] - (range[3] - range[2])));
    if (bad) {
      pen = false;
      continue;
    }
    d += `${pen ? "L" : "M"}${px(xs[i]).toFixed(1)} ${py(ys[i]).toFixed(1)}`;
    pen = true;
  }
  return d;
}

let clips = 0;

/** Keep a drawing as wide as its place: `make(width)` is called again whenever that changes. */
export function fitted(make, { title = "", className = "plot" } = {}) {
  const box = h("div", { class: className });
  let last = 0;
  new ResizeObserver(([entry]) => {
    const width = Math.floor(entry.contentRect.width);
    if (width > 40 && width !== last) {
      last = width;
      put(box, make(width));
    }
  }).observe(box);
  return title ? h("figure", { class: "plot-figure" }, box, h("figcaption", {}, title)) : box;
}

/**
 * A chart: `series` [{name, x, y, kind, digits, at}] with kind "line", "dash", "bold", "fine" or "dots"; the name is written at share
 * `at` of the curve. `along`: run a reading line over the curves (they are functions of x).
 */
export function chart({ x, y, series, marks = [], height = 300, equal = false, along = true, title = "", now = null }) {
  return fitted((width) => draw({ width, height: typeof height === "function" ? height(width) : height, x, y, series, marks, equal, along, now }), { title });
}

/** A place on the x axis that can be moved without drawing the chart anew: hand it to `chart` as `now`, then `set(x)`. */
export class Now {
  set(at) {
    this.at = at;
    this.draw?.();
  }
}

function draw({ width, height, x, y, series, marks, equal, along, now }) {
  const f = frame({ width, height, x, y, equal });
  const id = `clip-${++clips}`;
  const reading = s("g", { class: "reading" });
  const svg = s(
    "svg",
    { viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `${y.label} over ${x.label}`, tabindex: along ? "0" : null },
    s("defs", {}, s("clipPath", { id }, s("rect", { x: f.box.left, y: f.box.top - 6, width: f.box.w + 2, height: f.box.t + 6 }))),
    f.marks,
    s("g", { "clip-path": `url(#${id})` }, series.map((c) => curve(c, f))),
    names(series, f),
    marks.map((m) => mark(m, f, width)),
    now ? follow(now, f, series, y) : null,
    reading,
  );
  if (along) read(svg, reading, series, f, x, y, width);
  return svg;
}

function follow(now, f, series, y) {
  const g = s("g", { class: "now" });
  now.draw = () => {
    if (!Number.isFinite(now.at)) return put(g);
    const p = f.px(now.at);
    const rows = series.filter((c) => c.followed).map((c) => at(c, now.at)).filter((v) => v !== null && Number.isFinite(v));
    const end = p > f.box.left + f.box.w * 0.8;
    const tops = rows.map((v) => f.py(v) - 7);
    const order = tops.map((_, i) => i).sort((a, b) => tops[a] - tops[b]);
    for (let i = 1; i < order.length; i++) tops[order[i]] = Math.max(tops[order[i]], tops[order[i - 1]] + 15); // figures do not cover each other
    put(
      g,
      s("path", { class: "now-line", d: `M${p} ${f.box.top}V${f.box.base}` }),
      rows.map((v, i) => [s("circle", { class: "now-dot", cx: p, cy: f.py(v), r: 4 }), s("text", { class: "now-figure", x: p + (end ? -9 : 9), y: tops[i], "text-anchor": end ? "end" : "start" }, `${num(v)}${y.unit ? ` ${unitText(y.unit)}` : ""}`)]),
    );
  };
  now.draw();
  return g;
}

function curve(c, f) {
  if (c.kind === "dots") return Array.from(c.x, (v, i) => s("circle", { class: "dot", cx: f.px(v), cy: f.py(c.y[i]), r: 2 }));
  return s("path", { class: `curve ${c.kind ?? "line"}`, d: path(c.x, c.y, f) });
}

/** Names at the curves, moved up or down until none covers another. */
function names(series, f) {
  const placed = [];
  return series
    .filter((c) => c.name && c.x.length)
    .map((c) => {
      let i = Math.round((c.at ?? 0.72) * (c.x.length - 1));
      while (i > 0 && (f.py(c.y[i]) < f.box.top + 12 || !Number.isFinite(c.y[i]))) i -= 1;
      const left = f.px(c.x[i]);
      let top = f.py(c.y[i]) + (c.below ? 19 : -10);
      const w = c.name.length * 7;
      // above a rising curve the name ends at its place, below it starts there: so the curve does not run through it
      const j = Math.min(i + Math.max(1, Math.round(c.x.length / 40)), c.x.length - 1);
      const rising = (f.py(c.y[j]) - f.py(c.y[i])) * (f.px(c.x[j]) - f.px(c.x[i])) < -1;
      const room = left + w <= f.box.left + f.box.w;
      const anchor = !room || (rising && !c.below && left - w > f.box.left) ? "end" : "start";
      const from = anchor === "end" ? left - w : left;
      for (let n = 0; n < 6 && placed.some((o) => Math.abs(o.top - top) < 16 && from < o.from + o.w && o.from < from + w); n++) top += top > f.box.top + 40 ? -16 : 24;
      placed.push({ top, from, w });
      return s("text", { class: "curve-name", x: left, y: top, "text-anchor": anchor }, c.name);
    });
}

function mark(m, f, width) {
  const [x, y] = [f.px(m.x), f.py(m.y)];
  const end = x > width * 0.66;
  return s("g", { class: "mark" }, s("circle", { cx: x, cy: y, r: 4 }), s("text", { x: x + (end ? -9 : 9), y: y + (m.below ? 16 : -7), "text-anchor": end ? "end" : "start" }, m.label));
}

function at(c, v) {
  const n = c.x.length;
  for (let i = 1; i < n; i++) {
    const [a, b] = [c.x[i - 1], c.x[i]];
    if ((v >= a && v <= b) || (v <= a && v >= b)) return a === b ? c.y[i] : c.y[i - 1] + ((v - a) / (b - a)) * (c.y[i] - c.y[i - 1]);
  }
  return null;
}

function read(svg, g, series, f, x, y, width) {
  let share = 0.5;
  const show = (p) => {
    const v = f.unx(p);
    const rows = series.filter((c) => c.kind !== "dots").map((c) => [c.name, at(c, v)]).filter(([, value]) => value !== null && Number.isFinite(value));
    const left = p < width / 2;
    const lines = [`${x.symbol ?? x.label} ${num(v)}${x.unit ? ` ${unitText(x.unit)}` : ""}`, ...rows.map(([name, value]) => `${name ? `${name} ` : ""}${num(value, 4)}${y.unit ? ` ${unitText(y.unit)}` : ""}`)];
    const w = Math.max(...lines.map((t) => t.length)) * 7.3 + 16;
    const bx = left ? p + 10 : p - 10 - w;
    put(
      g,
      s("path", { class: "reading-line", d: `M${p} ${f.box.top}V${f.box.base}` }),
      rows.map(([, value]) => s("circle", { class: "reading-dot", cx: p, cy: f.py(value), r: 3.5 })),
      s("rect", { class: "reading-box", x: bx, y: f.box.top + 2, width: w, height: lines.length * 18 + 8 }),
      lines.map((t, i) => s("text", { x: bx + 8, y: f.box.top + 19 + 18 * i }, t)),
    );
  };
  const clamp = (p) => Math.min(f.box.left + f.box.w, Math.max(f.box.left, p));
  svg.addEventListener("pointermove", (e) => {
    const r = svg.getBoundingClientRect();
    show(clamp(((e.clientX - r.left) / r.width) * width));
  });
  svg.addEventListener("pointerleave", () => put(g));
  svg.addEventListener("blur", () => put(g));
  svg.addEventListener("focus", () => svg.matches(":focus-visible") && show(f.box.left + share * f.box.w));
  svg.addEventListener("keydown", (e) => {
    const step = { ArrowLeft: -0.01, ArrowRight: 0.01 }[e.key];
    if (!step) return;
    e.preventDefault();
    share = Math.min(1, Math.max(0, share + step * (e.shiftKey ? 5 : 1)));
    show(f.box.left + share * f.box.w);
  });
}
