// What the picture shows of a tryout at one stop of the stroke: the sheet at an instant, or the part released or trimmed, or a tool with its wear.

import { data } from "../api.js";
import { fieldsOf } from "../pages/page.js";

const FIELDS = ["thinning_pct", "margin_pct", "major", "minor", "plastic_strain", "stress", "thickness", "pressure", "sliding", "wrinkle", "wrinkle_height"];
const AFTER = ["displacement_mm", ...FIELDS];
const WORN = ["wear", "pressure_max"];
const ORDER = ["die", "punch", "blankholder"];

export const TOOLS = {
  /** The tool meshes of a result, in the closed place. */
  async of(r) {
    const names = Object.keys(r?.meshes ?? {}).filter((n) => ORDER.includes(n) || n.startsWith("pad_"));
    names.sort((a, b) => (ORDER.indexOf(a) + 9) % 9 - ((ORDER.indexOf(b) + 9) % 9));
    return Promise.all(names.map(async (name) => ({ name, points: await data.points(r.stage, r.key, name), triangles: await data.triangles(r.stage, r.key, name) })));
  },
};

/** The stroke from first touch to bottom [mm], also where the run broke off before. */
export function wholeStroke(r) {
  const t = r.tables?.press_curve;
  const sums = t?.height_above_bottom_mm ? t.stroke_mm.map((s, i) => s + t.height_above_bottom_mm[i]).filter(Number.isFinite) : [];
  return sums.length ? Math.min(...sums) : 0; // before first touch the height counts the way to it as well
}

export class StrokeView {
  constructor(picture, r, job) {
    Object.assign(this, { picture, r, job, body: "", coloured: "sheet", frame: 0, linked: true });
    const info = (this.info = r.series.sheet);
    Object.assign(this, { count: info.times.length, n: info.points, m: info.triangles, box: info.box });
    this.hasSkid = Boolean(r.arrays?.skid);
  }

  async load() {
    const { r, info } = this;
    const array = (name) => (r.arrays?.[name] ? data.array(r.stage, r.key, name) : Promise.resolve([]));
    const [points, triangles, strokes, operations, lifts, thickness, skid, tools] = await Promise.all([
      this.all("points"), this.all("triangles"), array("frame_stroke"), array("frame_operation"), array("tools"), info.cell.thickness ? this.all("cell.thickness") : null, array("skid"), TOOLS.of(r),
    ]); // prettier-ignore
    Object.assign(this, { points, triangles, lifts, thickness, skidLines: skid });
    this.strokes = strokes.length === this.count ? strokes : Array.from({ length: this.count }, (_, i) => i);
    this.operations = operations.length === this.count ? operations : new Float32Array(this.count);
    this.end = Math.max(...this.strokes, wholeStroke(r));
    this.tools = tools.map((t) => t.name);
    this.worn = this.tools.filter((t) => WORN.some((f) => r.meshes[t].point?.[f]));
    this.toolMeshes = new Map(tools.map((t) => [t.name, t]));
    if (!this.picture.chosenOnce && this.tools.length) {
      this.picture.chosenOnce = true;
      this.picture.shown = new Set(["die", "punch"].filter((t) => this.tools.includes(t)));
    }
    this.picture.setTools(tools);
  }

  all(what) {
    return data.series(this.r.stage, this.r.key, "sheet", what);
  }

  /** How far each tool stands above its closed place at a frame [mm]. */
  lift(i) {
    const names = this.r.values.tools ?? [];
    const out = {};
    names.forEach((name, k) => (out[name] = this.lifts[i * names.length + k] ?? 0));
    return out;
  }

  /** Fields of the frame that is shown; their ranges are those over all frames. */
  fields() {
    const { cell, point } = this.info;
    const load = (kind, name, size) => async () => (await this.all(`${kind}.${name}`)).subarray(size * this.frame, size * (this.frame + 1));
    return FIELDS.filter((n) => cell[n] || point[n]).map((n) => {
      const span = cell[n] ?? point[n];
      return { name: n, range: [span.min, span.max], cell: cell[n] ? load("cell", n, this.m) : null, point: cell[n] ? null : load("point", n, this.n) };
    });
  }

  /** Show a stop: {frame} or {mesh}. */
  async show(stop) {
    this.stop = stop;
    if (this.coloured !== "sheet") return this.picture.place(this.lift(stop.frame ?? this.count - 1));
    const turn = (this.turn = {});
    if (stop.frame === undefined) {
      if (this.body !== stop.mesh) await this.swap(stop.mesh, turn);
      return null;
    }
    this.frame = stop.frame;
    const at = this.points.subarray(3 * this.n * stop.frame, 3 * this.n * (stop.frame + 1));
    this.thin(stop.frame);
    if (this.body !== "sheet") {
      const fresh = this.body === "";
      this.body = "sheet";
      this.linked = true;
      this.picture.setBody(at, this.triangles, this.box, fresh);
      this.picture.place(this.lift(stop.frame));
      await this.picture.setFields(this.fields(), "thinning_pct");
    } else await this.picture.step(at, this.lift(stop.frame));
    this.layLines();
    return null;
  }

  thin(i) {
    const t = this.job.sheet.thickness;
    const all = this.thickness;
    const at = i * this.m;
    this.picture.cellThickness = all ? (k) => all[at + k] : () => t;
  }

  /** The part after the tools have opened: a mesh of its own. */
  async swap(name, turn) {
    const { r } = this;
    const thick = r.meshes[name].cell?.thickness ? data.cell(r.stage, r.key, name, "thickness") : null;
    const [points, triangles, thickness] = await Promise.all([data.points(r.stage, r.key, name), data.triangles(r.stage, r.key, name), thick]);
    if (turn !== this.turn) return;
    const t = this.job.sheet.thickness;
    this.body = name;
    this.linked = Boolean(r.meshes[name].cell?.major && r.meshes[name].cell?.minor);
    this.picture.cellThickness = thickness ? (k) => thickness[k] : () => t;
    this.picture.setBody(points, triangles, this.box, false);
    this.picture.place(this.opened());
    await this.picture.setFields(fieldsOf(data, r, name, AFTER), "displacement_mm");
  }

  /** Tools drawn apart, so that the part lies free. */
  opened() {
    return { ...this.lift(this.count - 1), punch: this.end * 1.15, blankholder: this.end * 1.15 };
  }

  /** Colour the sheet, or a tool by its wear. */
  async colour(name) {
    this.coloured = name;
    const stop = this.stop;
    this.body = "";
    if (name === "sheet") {
      this.restore = true;
      await this.show(stop);
      return;
    }
    const tool = this.toolMeshes.get(name);
    this.linked = false;
    this.picture.cellThickness = null;
    this.picture.setBody(tool.points, tool.triangles, this.box, false);
    await this.picture.setFields(fieldsOf(data, this.r, name, WORN), "wear");
  }

  /** The line on the sheet that slid over the die radius, on the drawn shape. */
  skid(yes) {
    this.skidShown = yes;
    this.layLines();
  }

  layLines() {
    const pane = this.picture.main;
    if (this.laid) {
      pane.scene.remove(this.laid);
      this.laid.geometry.dispose();
      this.laid = null;
    }
    if (this.skidShown && this.body === "sheet" && this.frame === this.count - 1) this.laid = pane.addLines(this.skidLines, "--accent", 1);
    this.picture.redraw();
  }

  pick(triangle) {
    const pane = this.picture.main;
    if (this.linked && pane?.mesh && triangle < pane.mesh.count) this.picture.pick(pane, { triangle, point: pane.mesh.centroid(triangle) });
  }

  /** Strains of what is shown, for the diagram; null where it has none. */
  async strains() {
    if (!this.linked) return null;
    if (this.body === "sheet") {
      const { cell } = this.info;
      if (!cell.major || !cell.minor) return null;
      const [frame, m] = [this.frame, this.m];
      const part = async (n) => (cell[n] ? (await this.all(`cell.${n}`)).subarray(m * frame, m * (frame + 1)) : null);
      const [major, minor, margin] = await Promise.all([part("major"), part("minor"), part("margin_pct")]);
      return { major, minor, margin, span: { major: [cell.major.min, cell.major.max], minor: [cell.minor.min, cell.minor.max] } };
    }
    const { r, body } = this;
    const part = (n) => (r.meshes[body].cell?.[n] ? data.cell(r.stage, r.key, body, n) : null);
    const [major, minor, margin] = await Promise.all([part("major"), part("minor"), part("margin_pct")]);
    return { major, minor, margin, span: null };
  }

  /** Begin to follow a run by its live frames. Gives an object whose `live(frame)` shows the next one. */
  static async begin(picture, first, tools) {
    const end = first.values.stroke_end_mm ?? 0;
    const { points, triangles } = first.arrays;
    const [lo, hi] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]]; // prettier-ignore
    for (let i = 0; i < points.length; i++) {
      lo[i % 3] = Math.min(lo[i % 3], points[i]);
      hi[i % 3] = Math.max(hi[i % 3], points[i]);
    }
    lo[2] = Math.min(lo[2], hi[2] - end);
    const span = [Infinity, -Infinity];
    let thinning = null;
    const widen = (values) => {
      thinning = values;
      for (const v of values) {
        if (v < span[0]) span[0] = v;
        if (v > span[1]) span[1] = v;
      }
    };
    widen(first.arrays.thinning_pct);
    picture.setTools(tools);
    if (!picture.chosenOnce) picture.shown = new Set(["die", "punch"]);
    picture.cellThickness = null;
    picture.setBody(points, triangles, [lo, hi], true);
    await picture.setFields([{ name: "thinning_pct", range: span, cell: async () => thinning, point: null }], "thinning_pct");
    const follower = {
      async live(frame) {
        const v = frame.values;
        if (frame.arrays.points.length !== points.length) picture.setBody(frame.arrays.points, frame.arrays.triangles, [lo, hi], false);
        widen(frame.arrays.thinning_pct);
        await picture.step(frame.arrays.points, { punch: Math.max((v.stroke_end_mm ?? 0) - (v.stroke_mm ?? 0), 0) });
        return follower;
      },
    };
    return follower;
  }
}
