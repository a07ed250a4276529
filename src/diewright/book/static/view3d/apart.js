// Tools drawn apart and closed: one of them is coloured, the others stand round it in lines; a slider opens them.

import { h, put, uid } from "../dom.js";
import { fixed } from "../words.js";
import { lazyPicture } from "../pages/page.js";

export class Apart {
  /** `fieldsOf(tool)` gives the fields of the coloured tool; `bare`: the word for it without a field; `caption` of the picture. */
  constructor({ fieldsOf, caption, coloured = "die", opened = 600, lift = (name, by) => (name === "punch" ? by : by * 0.55), placed = null }) {
    Object.assign(this, { fieldsOf, coloured, lift, placed, tools: [], stroke: 0, start: null });
    const id = uid("open");
    this.slider = h("input", { type: "range", id, class: "stroke-range", min: 0, max: 1000, value: opened, oninput: () => this.apart() });
    this.said = h("output", { class: "stroke-text", for: id });
    this.row = h("div", { class: "tool-row" });
    const under = h("div", {}, h("div", { class: "stroke" }, h("label", { class: "pair-name", for: id }, "Opened"), this.slider, this.said), this.row);
    this.view = lazyPicture({ panes: [{ name: "part", caption }], bare: "bare metal", under, kind: "moving" }, (pic) => {
      pic.cutSelect.parentNode.hidden = true; // the section has its own line
      this.ready?.();
    });
    this.box = this.view.box;
  }

  get picture() {
    return this.view.picture;
  }

  /** Show tools [{name, points, triangles}] with `stroke` mm of travel. `start`: the field shown first. */
  async set(tools, stroke, start = null) {
    const fresh = !this.tools.length || tools.length !== this.tools.length;
    Object.assign(this, { tools, stroke, start });
    if (!tools.some((t) => t.name === this.coloured)) this.coloured = (tools.find((t) => t.name === "die") ?? tools[0]).name;
    this.frame = boxOf(tools, stroke);
    this.hidden ??= new Set();
    await this.colour(this.coloured, fresh);
    this.words();
  }

  async colour(name, fresh = false) {
    const pic = this.picture;
    this.coloured = name;
    const body = this.tools.find((t) => t.name === name);
    const others = this.tools.filter((t) => t !== body);
    const other = this.body !== name; // the view of all tools stays, whichever of them is solid
    this.body = name;
    pic.shown = new Set(others.map((t) => t.name).filter((n) => !this.hidden.has(n)));
    pic.setTools(others);
    pic.cellThickness = null;
    pic.setBody(body.points, body.triangles, this.frame, fresh || other);
    this.apart();
    await pic.setFields(this.fieldsOf(body), this.start);
  }

  words() {
    const body = h("select", { "aria-label": "Face that is coloured", onchange: (e) => this.colour(e.target.value).then(() => this.words()) }, this.tools.map((t) => h("option", { value: t.name, selected: t.name === this.coloured }, `the ${t.name}`)));
    const tick = (t) => h("label", { class: "tick" }, h("input", { type: "checkbox", checked: !this.hidden.has(t.name), onchange: (e) => this.see(t.name, e.target.checked) }), t.name.replaceAll("_", " "));
    put(this.row, h("span", { class: "pair" }, h("span", { class: "pair-name" }, "Solid:"), body), h("span", { class: "pair" }, h("span", { class: "pair-name" }, "Seen as well:"), this.tools.filter((t) => t.name !== this.coloured).map(tick)));
  }

  see(name, yes) {
    if (yes) this.hidden.delete(name);
    else this.hidden.add(name);
    this.picture.showTool(name, yes);
  }

  /** Lift the tools as the slider says, measured from the one that is coloured. */
  apart() {
    if (!this.picture || !this.tools.length) return;
    const by = (Number(this.slider.value) / 1000) * this.stroke * 1.2;
    const text = by < 1e-6 ? "Closed" : `Punch ${fixed(by, 1)} mm above its lowest place`;
    this.said.textContent = text;
    this.slider.setAttribute("aria-valuetext", text);
    const high = (name) => (name === "die" ? 0 : this.lift(name, by));
    this.picture.place(Object.fromEntries(this.tools.filter((t) => t.name !== this.coloured).map((t) => [t.name, high(t.name) - high(this.coloured)])));
    this.placed?.();
  }
}

/** The box round all tools, with the room they need when they are apart. */
export function boxOf(tools, stroke = 0) {
  const [lo, hi] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]]; // prettier-ignore
  for (const { points } of tools) {
    for (let i = 0; i < points.length; i++) {
      lo[i % 3] = Math.min(lo[i % 3], points[i]);
      hi[i % 3] = Math.max(hi[i % 3], points[i]);
    }
  }
  hi[2] += stroke * 0.6;
  return [lo, hi];
}
