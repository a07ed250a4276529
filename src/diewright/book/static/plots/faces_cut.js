// The live section of the page Faces: plan and section side by side, the line dragged, turned or typed.

import { calm, h, put, uid } from "../dom.js";
import { num, typed } from "../words.js";
import { FacesSection } from "../view3d/faces_section.js";
import { FacesPlan, lineAngle } from "./faces_plan.js";

const WAYS = [["x", "across the length"], ["y", "across the width"], ["line", "along a line"]]; // prettier-ignore

export class FacesCut {
  /** `moved(place or null)`: the line, for cutting the picture there as well. */
  constructor(moved = () => {}) {
    this.moved = moved;
    this.section = new FacesSection();
    this.plan = new FacesPlan((place) => this.go(place, true));
    this.paper = h("div", { class: "faces-paper" });
    this.place = { angle: 90, point: [0, 0] };
    const field = (name, unit, set) => {
      const id = uid("cut");
      const input = h("input", { type: "text", inputmode: "decimal", autocomplete: "off", class: "figure", id, onchange: () => set(typed(input.value), input) });
      return { input, root: h("span", { class: "pair" }, h("label", { for: id }, name), input, h("span", { class: "unit" }, unit)) };
    };
    const number = (value, go) => (typeof value === "number" ? go(value) : this.write());
    this.x = field("x", "mm", (v) => number(v, (n) => this.go({ ...this.place, point: [n, this.place.point[1]] })));
    this.y = field("y", "mm", (v) => number(v, (n) => this.go({ ...this.place, point: [this.place.point[0], n] })));
    this.turn = field("turned", "°", (v) => number(v, (n) => this.go({ ...this.place, angle: lineAngle(n) })));
    this.way = h("select", { "aria-label": "How the section runs", onchange: (e) => this.choose(e.target.value) }, WAYS.map(([v, t]) => h("option", { value: v }, t)));
    this.too = h("input", { type: "checkbox", onchange: () => this.tell() });
    this.root = h(
      "div",
      { class: "faces-cut" },
      h("div", { class: "faces-cut-side" }, this.plan.root, h("p", { class: "section-words" }, h("span", { class: "pair" }, "Section", this.way), this.x.root, this.y.root, this.turn.root, h("label", { class: "tick" }, this.too, "cut the picture here as well"))),
      this.paper,
    );
    this.rest = calm(() => this.tell(), 60);
    new ResizeObserver(([entry]) => {
      const width = Math.floor(entry.contentRect.width);
      if (width > 80 && width !== this.width) {
        this.width = width;
        this.draw();
      }
    }).observe(this.paper);
  }

  /** New faces: tools, those of the revision before, rings for the plan, lines for the section, thickness and widest gap with the sheet in it [mm]. Keeps the line where it is if it still lies on the die. */
  set({ tools, before = [], rings, marks = [], lines, thickness, widest, box }) {
    this.section.set(tools, before, lines, thickness, widest);
    this.plan.set(rings, box, marks);
    const within = this.placed && this.place.point.every((v, i) => v >= box[0][i] && v <= box[1][i]);
    if (!within) {
      const long = box[1][0] - box[0][0] >= box[1][1] - box[0][1];
      this.place = { angle: long ? 0 : 90, point: [0, 1].map((i) => Math.round((box[0][i] + box[1][i]) / 2)) };
      this.way.value = long ? "y" : "x";
    }
    this.placed = true;
    this.ready = true;
    this.go(this.place);
  }

  choose(way) {
    if (way !== "line") this.go({ ...this.place, angle: way === "x" ? 90 : 0 });
    else this.write();
  }

  /** Move the line; `hand`: the plan has drawn it already. */
  go(place, hand = false) {
    if (hand && this.way.value === "x" && place.angle !== 90) this.way.value = "line";
    if (hand && this.way.value === "y" && place.angle !== 0) this.way.value = "line";
    if (place.angle !== 90 && place.angle !== 0) this.way.value = "line";
    this.place = { angle: place.angle, point: place.point.map((v) => Math.round(v * 10) / 10) };
    this.root.dataset.wanted = this.words;
    this.plan.show(this.place);
    this.write();
    this.draw();
    this.rest();
  }

  write() {
    const way = this.way.value;
    this.x.input.value = String(this.place.point[0]);
    this.y.input.value = String(this.place.point[1]);
    this.turn.input.value = String(this.place.angle);
    this.x.root.hidden = way === "y";
    this.y.root.hidden = way === "x";
    this.turn.root.hidden = way !== "line";
  }

  get words() {
    const { angle, point } = this.place;
    if (angle === 90) return `Section at x ${num(point[0], 4)} mm`;
    if (angle === 0) return `Section at y ${num(point[1], 4)} mm`;
    return `Section through x ${num(point[0], 4)}, y ${num(point[1], 4)} mm, turned ${num(angle, 4)}° from x`;
  }

  draw() {
    if (!this.ready || !this.width || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      const focused = this.paper.contains(document.activeElement) && document.activeElement.tagName === "svg";
      const met = this.section.meet(this.place.angle, this.place.point);
      put(this.paper, this.section.drawing(met, this.width, this.words, () => this.draw()), h("p", { class: "section-said", "aria-live": "polite" }, this.section.said(met)));
      if (focused) this.paper.querySelector("svg")?.focus({ preventScroll: true });
      this.root.dataset.drawn = this.words; // the tests wait for it
    });
  }

  tell() {
    this.moved(this.too.checked ? this.place : null);
  }
}
