// A picture with bodies and marks drawn over its mesh: made anew when the look changes, cut where the mesh is cut, marks behind the metal told apart.

import * as THREE from "three";
import { css } from "../dom.js";
import { Picture } from "./picture.js";

/** Children give `drawOver()`, which fills `this.group`, and `writeMark(mark, x, y, taken)`; `tones` are the tokens whose change draws it anew. */
export class Overdrawn extends Picture {
  constructor(options, tones) {
    super(options);
    this.tones = tones;
    this.group = new THREE.Group();
    this.main.scene.add(this.group);
    this.marks = [];
    const { write, judge } = this.main;
    this.main.write = () => {
      write.call(this.main);
      this.writeMarks();
    };
    this.main.judge = () => {
      judge.call(this.main);
      this.judgeMarks();
    };
  }

  get main() {
    return this.panes[0];
  }

  applyLook() {
    super.applyLook();
    if (!this.group) return; // the base class sets its look before there is anything over it
    const theme = this.tones.map(css).join();
    if (theme === this.theme) return;
    this.theme = theme;
    this.rebuild();
  }

  rebuild() {
    for (const child of [...this.group.children]) {
      child.geometry.dispose();
      child.material.dispose();
      this.group.remove(child);
    }
    if (this.main.mesh) this.drawOver();
    this.clipGroup();
    this.redraw();
  }

  /** Adds a body of `corners` (9 numbers a triangle) to what is drawn over the mesh. */
  addBody(corners, material, order) {
    if (!corners.length) return null;
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(corners, 3));
    const made = new THREE.Mesh(geometry, material);
    made.renderOrder = order;
    made.frustumCulled = false;
    this.group.add(made);
    return geometry;
  }

  recut(fresh) {
    super.recut(fresh);
    if (this.group) this.clipGroup();
  }

  clipGroup() {
    const { cutting, plane } = this.main;
    for (const child of this.group.children) child.material.clippingPlanes = cutting ? [plane] : [];
  }

  judgeMarks() {
    const { mesh, view, keep } = this.main;
    if (!mesh) return;
    const { out } = view.basis;
    const eps = mesh.radius * 0.02;
    for (const one of this.marks) one.behind = Boolean(mesh.pick(one.place.map((v, k) => v + out[k] * eps), out, keep, eps)); // prettier-ignore
  }

  writeMarks() {
    const { view, mesh } = this.main;
    if (!mesh) return;
    const taken = [];
    for (const mark of this.marks) {
      const [x, y] = view.project(mark.place);
      if (x >= 4 && y >= 4 && x <= view.width - 4 && y <= view.height - 4) this.writeMark(mark, x, y, taken);
    }
  }
}
