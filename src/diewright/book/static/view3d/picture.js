// The picture of a page: one or two views side by side in one WebGL context, with their words and their ruler.

import * as THREE from "three";
import { h, s, put, css, calm, uid, download } from "../dom.js";
import { fieldOf, num, quantity } from "../words.js";
import { STANDARD, hands } from "./camera.js";
import { niceStep, niceTicks, table, texture } from "./lut.js";
import { paint } from "./overlay.js";
import { Pane } from "./pane.js";
import { drawRuler } from "./ruler.js";
import { sectionDrawing } from "./section.js";

let shared = null;
function renderer() {
  if (!shared) {
    shared = new THREE.WebGLRenderer({ antialias: true, alpha: true, powerPreference: "high-performance" });
    shared.localClippingEnabled = true;
    shared.domElement.className = "canvas";
    shared.domElement.setAttribute("aria-hidden", "true");
  }
  return shared;
}

const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;
const AXES = [["none", "nowhere"], ["x", "across the length"], ["y", "across the width"], ["z", "level"]]; // prettier-ignore

export class Picture {
  /** `panes`: [{name, caption, flat}], `choices`: names of fields in order, `bare`: the word for the part without a field. */
  constructor({ panes, bare = "bare part", thickness = () => 0, under = null }) {
    this.panes = panes.map((p) => new Pane(p));
    this.thickness = thickness;
    this.bare = bare;
    this.fields = [];
    this.field = null;
    this.look = { stepped: false, lines: true, smooth: true };
    this.heard = { pick: [], hover: [], field: [] };
    this.picked = null;
    this.rest = calm(() => this.settle(), 110);
    this.build(under);
  }

  on(kind, fn) {
    this.heard[kind].push(fn);
    return this;
  }

  tell(kind, ...args) {
    for (const fn of this.heard[kind]) fn(...args);
  }

  build(under) {
    this.stage = h("div", { class: `stage panes-${this.panes.length}` }, this.panes.map((p) => p.root), h("p", { class: "stage-word", hidden: true }));
    this.ruler = s("svg", { class: "rule", role: "img" });
    this.fieldSelect = h("select", { id: uid("field"), onchange: (e) => this.choose(e.target.value || null) });
    this.cutSelect = h("select", { id: uid("cut"), onchange: () => this.recut(true) }, AXES.map(([v, t]) => h("option", { value: v }, t)));
    this.cutSlider = h("input", { type: "range", id: uid("at"), min: 0, max: 1000, value: 500, "aria-label": "Place of the cut", oninput: () => this.recut(false) });
    this.cutText = h("output", { class: "figure" });
    this.section = h("div", { class: "section-drawing", hidden: true });
    this.probe = h("div", { class: "probe", "aria-live": "polite" }, h("p", { class: "quiet" }, "Click the part to read the values there."));
    const box = (name, text) => h("label", { class: "tick" }, h("input", { type: "checkbox", checked: this.look[name], onchange: (e) => this.setLook(name, e.target.checked) }), text);
    const words = Object.entries(STANDARD).map(([name, v]) => h("button", { type: "button", class: "word", onclick: () => this.turnTo(name) }, v.words));
    this.root = h(
      "figure",
      { class: "picture" },
      h(
        "div",
        { class: "picture-words" },
        h("span", { class: "pair show-field" }, h("label", { for: this.fieldSelect.id }, "Show"), this.fieldSelect),
        h("span", { class: "ticks" }, box("stepped", "stepped"), box("lines", "contour lines"), box("smooth", "smoothed")),
        h("button", { type: "button", class: "word save", onclick: () => this.save() }, "Save picture"),
      ),
      this.stage,
      h("div", { class: "rule-box" }, this.ruler),
      under,
      h(
        "div",
        { class: "picture-words" },
        h("span", { class: "pair" }, h("label", { for: this.cutSelect.id }, "Cut"), this.cutSelect, this.cutSlider, this.cutText),
        h("span", { class: "views" }, h("button", { type: "button", class: "word", onclick: () => this.whole() }, "Whole part"), words),
      ),
      this.section,
      this.probe,
    );
    this.cutSlider.hidden = true;
    for (const pane of this.panes) {
      hands(pane.root, pane.view, {
        seen: () => this.redraw(),
        picked: (x, y) => this.pick(pane, pane.pick(x, y)),
        hovered: this.heard.hover ? calm((x, y) => this.hover(pane, x, y), 16) : null,
        left: () => this.tell("hover", null),
      });
      pane.root.addEventListener("focus", () => this.redraw());
      pane.root.addEventListener("blur", () => this.redraw());
    }
    this.watcher = new ResizeObserver(() => this.resize());
    this.watcher.observe(this.stage);
  }

  /** Take the shared canvas; called when the page comes up. */
  mount() {
    if (this.broken) return;
    try {
      this.stage.prepend(renderer().domElement);
    } catch {
      this.broken = true;
      this.say("This browser gives no 3-D view (WebGL is off). All numbers below are complete without it.");
      return;
    }
    renderer().picture = this;
    this.resize();
  }

  say(text) {
    const word = this.stage.querySelector(".stage-word");
    word.textContent = text;
    word.hidden = !text;
    this.root.classList.toggle("no-mesh", this.panes.every((p) => !p.mesh));
  }

  pane(name) {
    return this.panes.find((p) => p.name === name);
  }

  /** Give a view its mesh. */
  setMesh(name, points, triangles, edges, outline) {
    this.pane(name).setMesh(points, triangles, edges, outline);
    this.root.classList.remove("no-mesh");
    this.picked = null;
    this.fitted = false;
    this.recut(false);
    this.resize();
  }

  /** `fields`: [{name, point: load | null, cell: load | null}] where load gives a Promise of the array. */
  setFields(fields, start) {
    this.fields = fields;
    put(this.fieldSelect, h("option", { value: "" }, this.bare), fields.map((f) => h("option", { value: f.name }, fieldOf(f.name).label.toLowerCase())));
    this.fieldSelect.parentNode.hidden = !fields.length;
    return this.show([this.chosen, this.field, start].find((name) => fields.some((f) => f.name === name)) ?? null);
  }

  /** A field chosen by hand comes back wherever it is to be had. */
  choose(name) {
    this.chosen = name;
    return this.show(name);
  }

  async show(name) {
    this.field = name;
    this.fieldSelect.value = name ?? "";
    const field = this.fields.find((f) => f.name === name);
    const turn = (this.turn = {});
    if (!field) {
      for (const pane of this.panes) Object.assign(pane, { flags: pane.holesFlags ?? [], contours: [] }).setValues(null);
      this.scale = null;
      this.root.classList.add("no-field");
      this.redraw();
      this.tell("field", null);
      return;
    }
    const spec = fieldOf(name);
    const [rows, lut, point, cell] = await Promise.all([table(spec.map), texture(spec.map, spec.reverse), field.point?.(), field.cell?.()]);
    if (turn !== this.turn) return; // another field was asked for meanwhile
    const exact = cell ?? point;
    let [min, max] = [Infinity, -Infinity];
    let [atMin, atMax] = [0, 0];
    for (let i = 0; i < exact.length; i++) {
      if (exact[i] < min) [min, atMin] = [exact[i], i];
      if (exact[i] > max) [max, atMax] = [exact[i], i];
    }
    if (!Number.isFinite(min)) return this.show(null);
    const [least, most] = field.range ?? [min, max]; // over all instants where there are several
    let [lo, hi] = spec.zero ? [-Math.max(Math.abs(least), Math.abs(most)), Math.max(Math.abs(least), Math.abs(most))] : [least, most];
    if (hi - lo < 1e-9 * Math.max(1, Math.abs(hi))) [lo, hi] = [lo - 0.5 * Math.max(Math.abs(lo) * 0.01, 1e-3), hi + 0.5 * Math.max(Math.abs(hi) * 0.01, 1e-3)];
    const level = niceStep(lo, hi, 9);
    const smooth = this.look.smooth && !spec.flat;
    const mesh0 = this.panes[0].mesh;
    const averaged = smooth ? (point ?? mesh0?.toPoints(cell)) : null;
    this.scale = { name, spec, rows, lo, hi, min, max, level, point, cell, exact, smooth, limit: field.limit };
    for (const pane of this.panes) {
      if (!pane.mesh) continue;
      pane.setValues(smooth ? pane.mesh.onCorners(averaged, "point") : cell ? pane.mesh.onCorners(cell, "cell") : pane.mesh.onCorners(point, "point"));
      const u = pane.material.uniforms;
      Object.assign(u.lut, { value: lut });
      u.lo.value = lo;
      u.hi.value = hi;
      u.level.value = level;
      pane.contours = smooth && this.look.lines && !this.hurried ? pane.mesh.labelPlaces(averaged, niceTicks(lo, hi, 9), pane.flat ? 1 : 2) : [];
      const place = (i) => (cell ? pane.mesh.centroid(i) : [0, 1, 2].map((k) => pane.mesh.points[3 * i + k]));
      const flag = (value, i, word) => ({ place: place(i), text: quantity(value, spec.unit, spec.digits), name: spec[word] ?? `${word} ${spec.label.toLowerCase()}`, kind: "extreme" });
      const both = spec.flag === "both";
      pane.flags = pane.flat ? [] : [both || spec.flag === "max" ? flag(max, atMax, "most") : null, both || spec.flag === "min" ? flag(min, atMin, "least") : null].filter(Boolean);
    }
    this.root.classList.remove("no-field");
    this.applyLook();
    this.tell("field", name);
  }

  setLook(name, value) {
    this.look[name] = value;
    this.show(this.field);
  }

  applyLook() {
    for (const pane of this.panes) {
      const u = pane.material.uniforms;
      u.stepped.value = this.look.stepped;
      u.lines.value = this.look.lines;
      u.softness.value = pane.flat ? 0.0 : 0.5;
      u.base.value.set(css("--picture-base") || "#b4b7ba");
    }
    this.redraw();
    this.rest();
  }

  /** Marks of a finding: places with one label; null takes them away. */
  mark(place, name = "part") {
    const pane = this.pane(name) ?? this.panes[0];
    this.marked = place?.points?.length ? place : null;
    pane.marks = this.marked ? place.points.slice(0, 12).map((p, i) => ({ place: p, text: i === 0 ? place.label || "here" : "", kind: "mark" })).map((f, i) => (i ? { ...f, text: "·" } : f)) : [];
    this.redraw();
  }

  async pick(pane, hit) {
    if (!hit) {
      this.light(null);
      put(this.probe, h("p", { class: "quiet" }, "There is no metal under that place. Click the part to read the values there."));
      this.tell("pick", null);
      return;
    }
    this.light(hit.triangle);
    this.tell("pick", { pane: pane.name, ...hit });
    const rows = await this.valuesAt(hit.triangle, hit.point, pane);
    if (this.picked !== hit.triangle) return;
    put(
      this.probe,
      h("p", { class: "probe-place" }, `At x ${num(hit.point[0], 4)}, y ${num(hit.point[1], 4)}${pane.flat ? "" : `, z ${num(hit.point[2], 4)}`} mm${pane.flat ? " of the blank" : ""}`),
      h("dl", {}, rows.map(([name, text]) => h("div", {}, h("dt", {}, name), h("dd", { class: "figure" }, text)))),
    );
  }

  /** All values of a triangle as [label, text]. */
  async valuesAt(triangle, point, pane = this.panes[0]) {
    const rows = [];
    for (const field of this.fields) {
      const spec = fieldOf(field.name);
      let value;
      if (field.cell) value = (await field.cell())[triangle];
      else {
        const values = await field.point();
        const t = pane.mesh.triangles;
        value = (values[t[3 * triangle]] + values[t[3 * triangle + 1]] + values[t[3 * triangle + 2]]) / 3;
      }
      rows.push([spec.label, spec.words?.[Math.round(value)] ?? quantity(value, spec.unit, spec.digits)]);
      if (field.name === this.field) this.probed = value;
    }
    this.drawRule();
    return rows;
  }

  hover(pane, x, y) {
    if (!this.heard.hover.length) return;
    const hit = pane.pick(x, y);
    this.tell("hover", hit ? { pane: pane.name, ...hit } : null);
  }

  /** Light a triangle up in every view. `keep`: it is a pick that stays. */
  light(triangle, keep = true) {
    if (keep) {
      this.picked = triangle;
      if (triangle === null) this.probed = undefined;
    }
    for (const pane of this.panes) pane.light(triangle ?? (keep ? null : this.picked));
    this.redraw();
  }

  recut(fresh) {
    const axis = { none: null, x: 0, y: 1, z: 2 }[this.cutSelect.value];
    const main = this.panes.find((p) => !p.flat);
    this.cutSlider.hidden = axis === null;
    if (fresh) this.cutSlider.value = 500;
    if (fresh && axis !== null) this.cutSign = (this.panes.find((p) => !p.flat) ?? this.panes[0]).view.basis.out[axis] < -0.02 ? -1 : 1;
    if (!main?.mesh) return;
    if (axis === null) {
      main.setCut(null, 0);
      this.cutText.textContent = "";
      this.section.hidden = true;
    } else {
      const f = Number(this.cutSlider.value) / 1000;
      const at = main.mesh.lo[axis] + (main.mesh.hi[axis] - main.mesh.lo[axis]) * (0.001 + 0.998 * f);
      main.setCut(axis, at, this.thickness(), this.cutSign ?? 1);
      const text = `at ${"xyz"[axis]} ${num(Math.round(at * 100) / 100, 4)} mm`;
      this.cutText.textContent = text;
      this.cutSlider.setAttribute("aria-valuetext", text);
      this.section.hidden = false;
      this.cutNow = () => put(this.section, this.drawSection(main, axis, at));
      this.cutNow();
    }
    this.redraw();
    this.rest();
  }

  drawSection(pane, axis, at) {
    return sectionDrawing(pane.cutSegments, axis, at, this.thickness(), this.section.clientWidth || 700);
  }

  turnTo(name) {
    const pane = this.panes.find((p) => !p.flat) ?? this.panes[0];
    const goal = STANDARD[name];
    const from = { az: pane.view.az, el: pane.view.el };
    let turn = ((((goal.az - from.az) % 360) + 540) % 360) - 180;
    const start = performance.now();
    const step = () => {
      const f = still() ? 1 : Math.min(1, (performance.now() - start) / 220);
      const e = f * f * (3 - 2 * f);
      pane.view.az = from.az + turn * e;
      pane.view.el = from.el + (goal.el - from.el) * e;
      this.fitAll();
      if (f < 1) requestAnimationFrame(step);
    };
    step();
  }

  whole() {
    this.fitAll();
  }

  /** Fit every view; two views share one scale so that lengths can be compared by eye. */
  fitAll() {
    const ready = this.panes.filter((p) => p.mesh);
    for (const p of ready) p.view.fit();
    const half = Math.max(...ready.map((p) => p.view.half));
    for (const p of ready) p.view.half = half;
    this.redraw();
  }

  resize() {
    const box = this.stage.getBoundingClientRect();
    if (!box.width || !this.mounted) return;
    const r = renderer();
    const size = `${box.width} ${box.height} ${devicePixelRatio}`;
    if (r.diewrightSize !== size) {
      r.diewrightSize = size; // a new size empties the canvas and waits for the card: only when it is one
      r.setPixelRatio(Math.min(devicePixelRatio || 1, 2));
      r.setSize(box.width, box.height, false);
    }
    for (const pane of this.panes) {
      const b = pane.root.getBoundingClientRect();
      Object.assign(pane.view, { width: b.width, height: b.height });
      pane.box = [b.left - box.left, box.height - (b.bottom - box.top), b.width, b.height];
    }
    if (!this.fitted && this.panes.some((p) => p.mesh)) {
      this.fitted = true;
      this.fitAll();
    }
    if (!this.section.hidden) this.cutNow?.();
    this.applyLook();
  }

  get mounted() {
    return !this.broken && shared?.picture === this && shared.domElement.parentNode === this.stage;
  }

  redraw() {
    this.rest();
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.render();
    });
  }

  render() {
    if (!this.mounted) return;
    const r = shared;
    r.setScissorTest(true);
    r.setClearColor(0x000000, 0);
    for (const pane of this.panes) {
      if (!pane.box) continue;
      pane.view.apply();
      r.setViewport(...pane.box);
      r.setScissor(...pane.box);
      r.render(pane.scene, pane.view.camera);
      pane.write();
    }
    this.drawRule();
    this.frames = (this.frames ?? 0) + 1;
  }

  settle() {
    for (const pane of this.panes) pane.judge();
    if (!this.waiting && this.mounted) for (const pane of this.panes) pane.write();
  }

  drawRule() {
    const width = this.ruler.parentElement.clientWidth;
    if (!this.scale || !width) return;
    const limit = this.scale.limit ?? (this.scale.spec.limit && this.job ? this.scale.spec.limit(this.job) : null);
    drawRuler(this.ruler, width, { ...this.scale, stepped: this.look.stepped, limit, probe: this.probed });
  }

  /** The picture as it stands, with everything written on it, on a canvas. */
  canvas() {
    this.render();
    const box = this.stage.getBoundingClientRect();
    const k = 2;
    const ruled = Boolean(this.scale);
    const out = h("canvas", { width: box.width * k, height: (box.height + (ruled ? 74 : 0)) * k });
    const c = out.getContext("2d");
    c.fillStyle = css("--paper");
    c.fillRect(0, 0, out.width, out.height);
    c.drawImage(shared.domElement, 0, 0, box.width * k, box.height * k);
    c.scale(k, k);
    for (const pane of this.panes) {
      c.save();
      c.translate(pane.box[0], box.height - pane.box[1] - pane.box[3]);
      paint(pane.svg, c);
      c.restore();
    }
    if (ruled) {
      c.translate(0, box.height);
      paint(this.ruler, c);
    }
    return out;
  }

  save() {
    const name = `${this.fileStem ?? "picture"}-${this.field ?? "part"}.png`;
    this.canvas().toBlob((blob) => download(blob, name), "image/png");
  }
}
