// The forming-limit diagram: one point a triangle, the limit and the wanted margin, linked with the picture both ways.

import { h, s, put, css, calm } from "../dom.js";
import { num } from "../words.js";
import { colourAt, table } from "../view3d/lut.js";
import { frame, path, rangeOf } from "./chart.js";

const CELL = 6;
const POINT = "Point at a strain to see its place; click the part to see its strain.";

export class Strains {
  /** `heard`: {hover(triangle | null), pick(triangle)}. */
  constructor(heard) {
    this.heard = heard;
    this.canvas = h("canvas", { class: "strain-points", "aria-hidden": "true" });
    this.svg = s("svg", { class: "strain-axes", role: "img", tabindex: "0" });
    this.back = s("svg", { class: "strain-grid", "aria-hidden": "true" });
    this.box = h("div", { class: "strains plot" }, this.back, this.canvas, this.svg);
    this.word = h("p", { class: "quiet strain-word" }, POINT);
    this.root = h("div", { class: "under" }, this.box, this.word);
    this.marked = null;
    new ResizeObserver(() => this.draw()).observe(this.box);
    this.svg.addEventListener("pointermove", calm((e) => this.at(e, "hover"), 8));
    this.svg.addEventListener("pointerleave", () => this.hover(null));
    this.svg.addEventListener("click", (e) => this.at(e, "pick"));
    this.svg.addEventListener("keydown", (e) => this.keys(e));
  }

  /** `major`, `minor`: true strains of the triangles; `limit`: {minor, major}; `wanted` margin [%]; `field`: {values, lo, hi, map, reverse} colours the points. */
  async set({ major, minor, limit, wanted, margin, span = null }) {
    Object.assign(this, { major, minor, limit, wanted, margin, span, grid: null });
    this.rows = await table("batlow");
    this.order = null;
    this.root.hidden = false;
    if (this.marked !== null && this.marked >= major.length) this.marked = null;
    this.draw();
  }

  /** Show nothing, for as long as there is nothing to show. */
  clear() {
    this.major = null;
    this.marked = null;
    this.root.hidden = true;
  }

  /** Colour the points like the picture: {values, lo, hi, spec, rows} or null for ink. */
  colour(scale) {
    this.scale = scale;
    this.draw();
  }

  draw() {
    const width = Math.floor(this.box.clientWidth);
    if (!this.major || width < 60) return;
    const height = Math.round(Math.min(520, Math.max(212, innerHeight * 0.29)));
    const over = this.span ?? { minor: extent(this.minor), major: extent(this.major) }; // of all instants, so that the axes stand still
    const [mlo, mhi] = rangeOf([...over.minor, -0.05, 0.05], { pad: 0.12 });
    const near = this.limit ? this.limit.minor.map((v, i) => (v > mlo && v < mhi ? this.limit.major[i] : 0)) : [];
    const top = Math.max(over.major[1] * 1.15, Math.min(Math.max(...near, 0.05) * 1.06, 1.2));
    const f = frame({ width, height, x: { label: "Minor true strain", lo: mlo, hi: mhi }, y: { label: "Major true strain", lo: Math.min(0, over.major[0] * 1.1), hi: top } });
    this.f = f;
    const k = Math.min(devicePixelRatio || 1, 2);
    Object.assign(this.canvas, { width: width * k, height: height * k });
    this.canvas.style.height = `${height}px`;
    const c = this.canvas.getContext("2d", { willReadFrequently: true }); // filled by the processor: a card is slow at many small squares
    const image = c.createImageData(this.canvas.width, this.canvas.height);
    const [dots, across, down] = [new Uint32Array(image.data.buffer), image.width, image.height];
    const size = this.major.length > 20000 ? 1.8 : 2.4;
    const square = (x, y, side, colour) => {
      const [x0, y0] = [Math.max(Math.round((x - side / 2) * k), 0), Math.max(Math.round((y - side / 2) * k), 0)];
      const n = Math.max(Math.round(side * k), 1);
      for (let j = y0; j < Math.min(y0 + n, down); j++) dots.fill(colour, j * across + x0, j * across + Math.min(x0 + n, across));
    };
    this.grid = new Map();
    const ink = packed(css("--ink-2"));
    const places = Array.from(this.major, (v, i) => [f.px(this.minor[i]), f.py(v)]);
    if (this.scale) for (const [x, y] of places) square(x, y, size + 1.4, ink); // an ink rim: pale colours must show on paper
    const colours = this.scale ? Array.from({ length: 65 }, (_, i) => packed(colourAt(this.scale.rows, i / 64, this.scale.spec.reverse))) : null;
    places.forEach(([x, y], i) => {
      const key = `${Math.floor(x / CELL)},${Math.floor(y / CELL)}`;
      const list = this.grid.get(key);
      if (list) list.push(i);
      else this.grid.set(key, [i]);
      square(x, y, size, colours?.[Math.round(64 * Math.min(1, Math.max(0, (this.scale.exact[i] - this.scale.lo) / (this.scale.hi - this.scale.lo))))] ?? ink);
    });
    c.putImageData(image, 0, 0);
    const lim = this.limit;
    const wanted = lim && this.wanted > 0 ? lim.major.map((v) => Math.log(Math.max(Math.exp(v) - this.wanted / 100, 1e-6))) : null;
    this.ringMark = s("g", { class: "strain-ring" });
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.setAttribute("height", height);
    this.svg.setAttribute("aria-label", `Forming-limit diagram with ${this.major.length} strain points. Left and right arrows walk through the points of least margin.`);
    const clip = "strain-clip";
    this.back.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.back.setAttribute("height", height);
    put(this.back, f.marks);
    put(
      this.svg,
      s("defs", {}, s("clipPath", { id: clip }, s("rect", { x: f.box.left, y: f.box.top, width: f.box.w, height: f.box.t }))),
      s(
        "g",
        { "clip-path": `url(#${clip})` },
        s("path", { class: "curve fine", d: `M${f.px(0)} ${f.py(0)}L${f.px(-1)} ${f.py(1)}` }),
        s("path", { class: "curve fine", d: `M${f.px(0)} ${f.py(0)}L${f.px(-0.5)} ${f.py(1)}` }),
        s("path", { class: "curve fine", d: `M${f.px(0)} ${f.py(0)}L${f.px(1)} ${f.py(1)}` }),
        lim ? s("path", { class: "curve bold", d: path(lim.minor, lim.major, f) }) : null,
        wanted ? s("path", { class: "curve dash", d: path(lim.minor, wanted, f) }) : null,
      ),
      this.labels(f, wanted),
      this.ringMark,
    );
    this.mark(this.marked);
  }

  labels(f, wanted) {
    const out = [];
    const put1 = (t, minor, major, anchor = "start", dy = 0) => {
      const [x, y] = [f.px(minor), f.py(major)];
      if (x > f.box.left + 4 && x < f.box.left + f.box.w - 4 && y > f.box.top + 8 && y < f.box.base - 4) out.push(s("text", { class: "curve-name", x, y: y + dy, "text-anchor": anchor }, t));
    };
    const at = (curve, v) => curve[this.limit.minor.findIndex((m) => m >= v)];
    if (this.limit) {
      const v = f.range[0] + (f.range[1] - f.range[0]) * 0.97;
      put1("forming limit", v, at(this.limit.major, v), "end", -9);
      if (wanted) put1(`wanted margin ${num(this.wanted)} %`, v, at(wanted, v), "end", 22);
    }
    const y = f.range[3] * 0.1;
    for (const [ratio, text] of [[-0.5, "uniaxial"], [1, "equal biaxial"]]) { // prettier-ignore
      const major = ratio < 0 ? Math.min(f.range[3] * 0.5, (f.range[0] * 0.8) / ratio) : Math.min(f.range[3] * 0.5, f.range[1] * 0.55);
      if (major > y) put1(text, ratio * major, major, ratio < 0 ? "end" : "start", ratio < 0 ? -4 : 14);
    }
    return out;
  }

  nearest(x, y) {
    let [best, found] = [144, null];
    const reach = 2;
    const [cx, cy] = [Math.floor(x / CELL), Math.floor(y / CELL)];
    for (let i = cx - reach; i <= cx + reach; i++) {
      for (let j = cy - reach; j <= cy + reach; j++) {
        for (const k of this.grid?.get(`${i},${j}`) ?? []) {
          const d = (this.f.px(this.minor[k]) - x) ** 2 + (this.f.py(this.major[k]) - y) ** 2;
          if (d < best) [best, found] = [d, k];
        }
      }
    }
    return found;
  }

  at(e, what) {
    if (!this.f) return;
    const r = this.svg.getBoundingClientRect();
    const k = this.nearest(e.clientX - r.left, e.clientY - r.top);
    if (what === "pick" && k !== null) this.heard.pick(k);
    else if (what === "hover") this.hover(k);
  }

  hover(triangle) {
    if (triangle === this.hovered) return;
    this.hovered = triangle;
    this.ring(triangle ?? this.marked);
    this.heard.hover(triangle);
  }

  /** The point that stays marked (a pick on the part). */
  mark(triangle) {
    this.marked = triangle;
    this.ring(triangle);
  }

  ring(triangle) {
    if (!this.f || !this.ringMark) return;
    if (triangle === null || triangle === undefined || triangle >= this.major.length) {
      put(this.ringMark);
      this.word.textContent = POINT;
      return;
    }
    const [x, y] = [this.f.px(this.minor[triangle]), this.f.py(this.major[triangle])];
    put(this.ringMark, s("circle", { class: "ring-halo", cx: x, cy: y, r: 8 }), s("circle", { cx: x, cy: y, r: 8 }), s("circle", { class: "spot", cx: x, cy: y, r: 2.2 }));
    const margin = this.margin ? `, margin ${num(this.margin[triangle])} %` : "";
    this.word.textContent = `Major ${num(this.major[triangle])}, minor ${num(this.minor[triangle])}${margin}.`;
  }

  keys(e) {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
    if (e.key === "Enter" && this.hovered != null) return this.heard.pick(this.hovered);
    if (!step || !this.major) return;
    e.preventDefault();
    if (!this.order) {
      const by = this.margin ?? this.major.map((v) => -v);
      this.order = Array.from(by.keys()).sort((a, b) => by[a] - by[b]);
      this.place = -1;
    }
    this.place = Math.min(this.order.length - 1, Math.max(0, this.place + step * (e.shiftKey ? 25 : 1)));
    this.hover(this.order[this.place]);
  }
}

/** A CSS colour (#rrggbb or rgb(r g b)) as the bytes of a pixel. */
function packed(colour) {
  const [r, g, b] = colour.startsWith("#") ? [1, 3, 5].map((i) => parseInt(colour.slice(i, i + 2), 16)) : colour.match(/\d+/g).map(Number);
  return ((255 << 24) | (b << 16) | (g << 8) | r) >>> 0;
}

function extent(values) {
  let [lo, hi] = [Infinity, -Infinity];
  for (const v of values) {
    if (v < lo) lo = v;
    if (v > hi) hi = v;
  }
  return [lo, hi];
}
