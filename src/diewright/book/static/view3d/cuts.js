// The picture of the drawn sheet with what is cut: lines by operation or in colour, pieces of scrap, choppers, steels.

import * as THREE from "three";
import { css, s } from "../dom.js";
import { fieldOf, quantity } from "../words.js";
import { colourAt, niceStep, table } from "./lut.js";
import { Overdrawn } from "./overdrawn.js";
import { thin } from "./shade.js";
import { coneCorners, fillCorners, pieces, prismCorners, strokeCorners } from "./strokes.js";

const TONES = 6;
const linear = (rgb) => new THREE.Color().setRGB(...rgb.match(/[\d.]+/g).map((v) => Number(v) / 255), THREE.SRGBColorSpace);

/** The tone of piece `i` of `n` round a ring: neighbours differ, the last from the first as well. */
export const toneOf = (i, n) => 1 + (i % (n > TONES && n % TONES === 1 ? TONES - 1 : TONES));

export class Cuts extends Overdrawn {
  constructor(options) {
    super(options, ["--ink", "--piece-1"]);
    this.fieldSelect.parentNode.hidden = true; // what is coloured here is the lines
    [...this.root.querySelectorAll(".ticks > .tick")].slice(1).forEach((tick) => (tick.hidden = true)); // contours and smoothing are of fields
    this.main.view.el = 55; // holes lie in the bottom of what is drawn
    this.items = [];
  }

  /** The mesh stays grey; its fields are read by a click. */
  setFields(fields) {
    this.fields = fields;
    return this.show(null);
  }

  async show() {
    if (!this.rule) await super.show(null);
    this.applyLook();
  }

  /**
   * What is drawn beside the mesh. `items`: [{kind: "line", points, closed, colour, size, dash, values}, {kind: "fill", points, colour}, {kind: "arrow", from, way, length, colour},
   * {kind: "prism", points, way, height, colour}]; colours are names of tokens. `labels`: [{place, text, kind}]. `rule`: {name, values: [arrays], places, limit} for lines in colour.
   */
  async setCuts({ items, labels = [], flags = [], rule = null }) {
    this.items = items;
    this.marks = labels;
    this.rule = null;
    await super.show(null);
    this.main.flags = flags;
    if (rule) await this.setRule(rule);
    this.rebuild();
    this.frameAll();
  }

  /** What stands beside the sheet is to be seen as well: fit the view to both where it is larger. */
  frameAll() {
    const { mesh, view } = this.main;
    if (!mesh) return;
    const [lo, hi] = [[...mesh.lo], [...mesh.hi]];
    const grow = (p) => p.forEach((v, k) => ([lo[k], hi[k]] = [Math.min(lo[k], v), Math.max(hi[k], v)]));
    for (const item of this.items) {
      for (const p of item.points ?? []) grow(p);
      if (item.kind === "prism") for (const p of item.points) grow(p.map((v, k) => v + item.height * item.way[k]));
    }
    const box = [...lo, ...hi].map((v) => Math.round(v)).join();
    if (box === this.framed) return;
    this.framed = box;
    Object.assign(view, { centre: lo.map((v, k) => (v + hi[k]) / 2), extent: hi.map((v, k) => v - lo[k]), radius: Math.hypot(...hi.map((v, k) => v - lo[k])) / 2 });
    this.fitAll();
  }

  async setRule({ name, lists, limit }) {
    const spec = fieldOf(name);
    const rows = await table(spec.map);
    let [min, max, least, most] = [Infinity, -Infinity, null, null];
    for (const { values, points } of lists) {
      values.forEach((v, i) => {
        if (v < min) [min, least] = [v, points[i]];
        if (v > max) [max, most] = [v, points[i]];
      });
    }
    if (!Number.isFinite(min)) return;
    let [lo, hi] = [Math.min(min, limit?.[0] ?? min), Math.max(max, limit?.[0] ?? max)];
    if (name === "lean_deg") lo = 0;
    if (hi - lo < 1e-6) [lo, hi] = [lo - 0.5, hi + 0.5];
    this.scale = this.rule = { name, spec, rows, lo, hi, min, max, level: niceStep(lo, hi, 9), limit };
    const flag = (value, place, word) => ({ place, text: quantity(value, spec.unit, spec.digits), name: spec[word] ?? `${word} ${spec.label.toLowerCase()}`, kind: "extreme" });
    this.main.flags = [spec.flag === "min" ? null : flag(max, most, "most"), spec.flag === "max" ? null : flag(min, least, "least")].filter(Boolean);
    this.root.classList.remove("no-field");
  }

  setLook(name, value) {
    this.look[name] = value;
    this.rebuild();
  }

  drawOver() {
    for (const item of this.items) this.add(item, this.main.mesh.radius);
  }

  body(corners, colour, { order = 2, values = null, owner = null, shade = 1 } = {}) {
    const material = new THREE.MeshBasicMaterial({ side: THREE.DoubleSide, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
    const geometry = this.addBody(corners, material, order);
    if (!geometry) return;
    if (values && this.rule) {
      const { rows, lo, hi, spec, level } = this.rule;
      const tint = new Float32Array(corners.length);
      const stepped = (v) => (this.look.stepped ? (Math.floor(v / level) + 0.5) * level : v);
      owner.forEach((i, k) => linear(colourAt(rows, (stepped(values[i]) - lo) / (hi - lo), spec.reverse)).toArray(tint, 3 * k));
      geometry.setAttribute("color", new THREE.BufferAttribute(tint, 3));
      material.vertexColors = true;
    } else material.color.set(css(colour) || "#16202f").multiplyScalar(shade);
  }

  lines(segments, colour, opacity = 1) {
    if (!segments.length) return;
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(segments.flatMap(([a, b]) => [...a, ...b])), 3));
    const made = new THREE.LineSegments(geometry, thin(css(colour) || "#16202f", opacity));
    made.renderOrder = 4;
    made.frustumCulled = false;
    this.group.add(made);
  }

  add(item, radius) {
    const size = (item.size ?? 1) * radius * 0.0042;
    if (item.kind === "line") {
      const dash = (item.dash ?? []).map((d) => d * radius * 0.01);
      const { corners, owner } = strokeCorners(pieces(item.points, item.closed, dash), size);
      this.body(corners, item.colour ?? "--ink", { values: item.values, owner, order: 3 });
    } else if (item.kind === "fill") {
      this.body(fillCorners(item.points), item.colour);
      this.lines(pieces(item.points, true), "--picture-edge");
    } else if (item.kind === "arrow") {
      const end = item.from.map((v, k) => v + item.length * item.way[k]);
      const head = radius * 0.045;
      this.body(strokeCorners([[item.from, end.map((v, k) => v - head * item.way[k]), 0]], size * 0.8).corners, item.colour ?? "--ink", { order: 4 });
      this.body(coneCorners(end, item.way, head, head * 0.36), item.colour ?? "--ink", { order: 4 });
    } else if (item.kind === "prism") {
      const { caps, side } = prismCorners(item.points, item.way, item.height);
      this.body(caps, item.colour, { order: 3 });
      this.body(side, item.colour, { order: 3, shade: 0.82 });
      const top = item.points.map((p) => p.map((v, k) => v + item.height * item.way[k]));
      this.lines([...pieces(item.points, true), ...pieces(top, true)], "--ink", 0.8);
    } else this.lines(item.segments, item.colour ?? "--ink");
  }

  /** Numbers and names at their places, apart from each other; those behind the metal are drawn fainter. */
  writeMark({ text, kind = "", behind }, x, y, taken) {
    if (taken.some(([u, v, w]) => Math.abs(u - x) < (w + 7.4 * text.length) / 2 + 4 && Math.abs(v - y) < 16)) return;
    taken.push([x, y, 7.4 * text.length]);
    const g = s("g", { class: `cut-label ${kind}${behind ? " behind" : ""}` });
    if (kind === "piece") g.append(s("circle", { cx: x, cy: y, r: Math.max(11, 4.2 * text.length + 5) }));
    g.append(s("text", { x, y: y + 4.5, "text-anchor": "middle" }, text));
    this.main.svg.append(g);
  }
}
