// Faces: the working faces of die, punch and blankholder, apart and closed.

import { h, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, figureList, fromResult, section } from "../parts.js";
import { fixed, num } from "../words.js";
import { TOOLS } from "../view3d/stroke_view.js";
import { done, frame, lazyPicture, statedIn } from "./page.js";

function make(ctx) {
  const id = uid("open");
  const slider = h("input", { type: "range", id, class: "stroke-range", min: 0, max: 1000, value: 600, oninput: () => apart() });
  const said = h("output", { class: "stroke-text", for: id });
  const ticks = h("div", { class: "tool-row" });
  const under = h("div", {}, h("div", { class: "stroke" }, h("label", { class: "pair-name", for: id }, "Opened"), slider, said), ticks);
  const view = lazyPicture({ panes: [{ name: "part", caption: "Die, punch and blankholder" }], bare: "bare metal", under, kind: "moving" }, () => draw());
  const stated = statedIn(ctx, "faces");
  const side = decisions(ctx, stated.slice(0, 7), { title: "The faces", more: stated.slice(7) });
  const numbers = section("The faces in numbers");
  const notes = section("Notes");
  const page = frame(ctx, {
    name: "faces", title: "Faces", stages: ["faces"], picture: view.box, side: stated.length ? side.root : [], sections: [numbers, notes],
    print: ["The faces are triangulations in the closed position of the press: punch at the bottom, blankholder down on the sheet. The die is drawn in matt grey, punch and blankholder in lines, so that one sees through them."],
  }); // prettier-ignore
  let drawn = "";
  let names = [];

  async function draw() {
    const r = ctx.result("faces");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-faces`;
    if (!r?.meshes?.die) return pic.say(ctx.stage("faces").state === "refused" ? "There are no faces to show." : "The picture appears when the faces have been worked.");
    if (drawn === r.key) return done(pic.redraw());
    drawn = r.key;
    try {
      const tools = await TOOLS.of(r);
      if (drawn !== r.key) return;
      const die = tools.find((t) => t.name === "die");
      const others = tools.filter((t) => t !== die);
      names = others.map((t) => t.name);
      pic.shown = new Set(names);
      pic.setTools(others);
      pic.cellThickness = null;
      pic.setBody(die.points, die.triangles, boxOf(tools, r.values.stroke ?? 0), true);
      await pic.setFields([], null);
      put(ticks, h("span", { class: "pair-name" }, "Seen as well:"), names.map((n) => h("label", { class: "tick" }, h("input", { type: "checkbox", checked: true, onchange: (e) => pic.showTool(n, e.target.checked) }), n.replaceAll("_", " "))));
      apart();
      done();
    } catch (problem) {
      drawn = "";
      console.error(problem);
      pic.say(problem.error ?? "The picture cannot be drawn.");
    }
  }

  function apart() {
    const r = ctx.result("faces");
    if (!r || !view.picture) return;
    const by = (Number(slider.value) / 1000) * (r.values.stroke ?? 0) * 1.2;
    const text = by < 1e-6 ? "Closed" : `Punch ${fixed(by, 1)} mm above its lowest place`;
    said.textContent = text;
    slider.setAttribute("aria-valuetext", text);
    view.picture.place(Object.fromEntries(names.map((n) => [n, n === "punch" ? by : by * 0.55])));
    if (view.picture.main.cutting) view.picture.cutNow?.();
  }

  function update() {
    page.update();
    side.update();
    const r = ctx.result("faces");
    const v = r?.values;
    page.verdict(v ? `${v.kind === "given" ? "Given faces" : "Faces made from the part"}: ${fixed(v.stroke, 1)} mm of stroke${v.clearance ? `, ${num(v.clearance)} mm between punch and die` : ""}.` : "");
    fromResult(numbers.body, r, (box) => put(box, h("div", { class: "columns" }, facts(rows(v)), r.figures?.length ? figureList(r.figures) : null)));
    notes.show(Boolean(v?.notes?.length));
    fromResult(notes.body, v?.notes?.length ? r : null, (box) => put(box, h("ul", { class: "notes" }, v.notes.map((n) => h("li", {}, n)))), "");
    draw();
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

const rows = (v) => [
  ["Stroke from first touch", v.stroke, "mm"], ["Gap between punch and die", v.clearance, "mm"], ["Least die radius", v.die_radius, "mm"], ["Least punch radius", v.punch_radius, "mm"],
  ["Gap under the blankholder, closed", v.holder_gap, "mm"], ["Punch opening in plan", v.opening_area, "mm2"], ["Wall led out of the part's edge", v.extended ? "yes" : "no"], ["Where they come from", v.kind === "given" ? "given as files" : "made from the part"],
]; // prettier-ignore

/** The box round all tools, with the room they need when they are apart. */
function boxOf(tools, stroke) {
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

export default { name: "faces", title: "Faces", stages: ["faces"], reads: ["part", "tipping", "sheet", "solution", "blank", "faces"], make };
