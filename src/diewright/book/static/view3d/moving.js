// The picture of a sheet that moves between its tools: positions and colours are filled anew, nothing else is made.

import { calm, css } from "../dom.js";
import { Picture } from "./picture.js";
import { PressSection } from "./press_section.js";

const ACROSS = { die: [0.35, 0.2, 0.91], punch: [-0.42, 0.3, 0.86], blankholder: [0.6, -0.55, 0.58] };

export class Moving extends Picture {
  constructor(options) {
    super(options);
    this.press = new PressSection();
    this.shown = new Set();
    this.after = calm(() => this.finish(), 240);
  }

  get main() {
    return this.panes[0];
  }

  /** Tools in their closed place: [{name, points, triangles}]. */
  setTools(tools) {
    for (const name of [...this.main.tools.keys()]) this.main.dropTool(name);
    for (const t of tools) this.main.setTool(t.name, t.points, t.triangles, ACROSS[t.name] ?? [0.3, 0.5, 0.8]);
    this.press.forget();
    this.applyLook();
    this.place({});
  }

  /** Lift the tools by {name: mm}. */
  place(shifts) {
    this.shifts = shifts;
    for (const name of this.main.tools.keys()) this.main.placeTool(name, shifts[name] ?? 0, this.shown.has(name));
    this.redraw();
  }

  /** Tools stand on bare paper: their lines take the ink of the theme. */
  applyLook() {
    for (const { body, rim } of this.main.tools.values()) {
      body.material.uniforms.ink.value.set(css("--ink") || "#16202f");
      rim.material.color.set(css("--ink") || "#16202f");
    }
    super.applyLook();
  }

  showTool(name, yes) {
    if (yes) this.shown.add(name);
    else this.shown.delete(name);
    this.place(this.shifts ?? {});
    this.cutNow?.();
  }

  /** The body that is coloured, in the box in which it will move. The view stays as it is unless `fresh`. */
  setBody(points, triangles, box, fresh) {
    const pane = this.main;
    pane.setMesh(points, triangles, []);
    pane.mesh.within(box);
    Object.assign(pane.view, { centre: pane.mesh.centre, radius: pane.mesh.radius, extent: box[1].map((v, k) => v - box[0][k]) });
    this.root.classList.remove("no-mesh");
    this.picked = null;
    this.say("");
    if (fresh) this.fitted = false;
    this.recut(false);
    this.resize();
  }

  /** The next instant: new positions, tools lifted, colours of the field that is shown. */
  async step(points, shifts) {
    const pane = this.main;
    this.hurried = true;
    pane.move(points);
    this.place(shifts);
    if (pane.cutting) this.recut(false);
    if (this.picked !== null) pane.light(this.picked);
    await this.show(this.field);
    this.after();
  }

  /** What takes longer is done when the hand rests: figures on the contour lines, the values under the last click. */
  async finish() {
    this.hurried = false;
    await this.show(this.field);
    if (this.picked !== null && this.main.mesh) await this.pick(this.main, { triangle: this.picked, point: this.main.mesh.centroid(this.picked) });
  }

  drawSection(pane, axis, at) {
    const tools = [...pane.tools].filter(([name]) => this.shown.has(name)).map(([name, t]) => ({ name, mesh: t.mesh, shift: t.shift }));
    return this.press.draw({ mesh: pane.mesh, thickness: this.cellThickness, tools, axis, at, width: this.section.clientWidth || 700, redraw: () => this.cutNow?.() });
  }
}
