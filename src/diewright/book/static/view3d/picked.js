// A picture whose faces can be picked: the border of what is picked, the face under the hand, and numbered marks at their places.

import * as THREE from "three";
import { css, s } from "../dom.js";
import { Overdrawn } from "./overdrawn.js";
import { strokeCorners } from "./strokes.js";

export class Picked extends Overdrawn {
  constructor(options) {
    super(options, ["--ink", "--accent"]);
    this.faces = null;
  }

  /** The CAD face of each triangle, or null where it is not known. */
  setFaces(faces) {
    this.faces = faces?.length === this.main.mesh?.count ? Int32Array.from(faces) : null;
    this.numbers = this.faces ? [...new Set(this.faces)].sort((a, b) => a - b) : [];
    this.setBorders([]);
  }

  /** Draw the borders of sets of faces. `borders`: [{faces: Set, colour}]. */
  setBorders(borders) {
    this.borders = borders;
    this.rebuild();
  }

  /** Numbered marks: [{place, text, kind}]. */
  setMarks(marks) {
    this.marks = marks;
    this.redraw();
  }

  drawOver() {
    if (!this.faces) return;
    for (const { faces, colour } of this.borders ?? []) {
      const { corners } = strokeCorners(borderOf(this.main.mesh, this.faces, faces), this.main.mesh.radius * 0.0042);
      this.addBody(corners, new THREE.MeshBasicMaterial({ color: css(colour) || "#a33d12", side: THREE.DoubleSide }), 4);
    }
  }

  /** A mark stands beside its place on a short leader, clear of the others; behind the metal it is fainter. */
  writeMark({ text, kind = "", behind }, x, y, taken) {
    const { svg, view } = this.main;
    const middle = view.project(view.centre);
    const away = Math.atan2(y - middle[1], x - middle[0]);
    const spots = [0, 0.7, -0.7, 1.4, -1.4, 2.2, -2.2, Math.PI].map((turn) => [x + 25 * Math.cos(away + turn), y + 25 * Math.sin(away + turn)]);
    const free = spots.find(([u, v]) => u > 14 && v > 14 && u < view.width - 14 && v < view.height - 14 && taken.every(([a, b]) => Math.hypot(a - u, b - v) > 25)) ?? spots[0];
    taken.push(free);
    const [u, v] = free;
    const r = Math.max(10, 4 * text.length + 3);
    const shape = kind === "contact" ? s("path", { class: "spot-body", d: `M${u - r} ${v - 10}h${2 * r}v20h${-2 * r}Z` }) : s("circle", { class: "spot-body", cx: u, cy: v, r });
    svg.append(s("g", { class: `spot-mark ${kind}${behind ? " behind" : ""}` }, s("path", { class: "spot-halo", d: `M${x} ${y}L${u} ${v}` }), s("path", { class: "spot-leader", d: `M${x} ${y}L${u} ${v}` }), s("circle", { class: "spot-foot", cx: x, cy: y, r: 2.8 }), shape, s("text", { x: u, y: v + 4.5, "text-anchor": "middle" }, text)));
  }
}

/** Segments [[from, to, 0]] between triangles of `wanted` faces and all others, and along the free edges of `wanted`. */
export function borderOf(mesh, faces, wanted) {
  const { points: p, triangles: t, count } = mesh;
  const n = p.length / 3;
  const seen = new Map();
  for (let i = 0; i < count; i++) {
    const inside = wanted.has(faces[i]);
    for (let k = 0; k < 3; k++) {
      const [a, b] = [t[3 * i + k], t[3 * i + ((k + 1) % 3)]];
      const key = a < b ? a * n + b : b * n + a;
      const one = seen.get(key);
      if (one) one[inside ? "in" : "out"] += 1;
      else seen.set(key, { a, b, in: inside ? 1 : 0, out: inside ? 0 : 1 });
    }
  }
  const at = (i) => [p[3 * i], p[3 * i + 1], p[3 * i + 2]];
  return [...seen.values()].filter((e) => e.in && (e.out || e.in === 1)).map((e) => [at(e.a), at(e.b), 0]);
}
