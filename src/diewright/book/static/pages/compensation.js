// Compensation: the faces moved against springback, what is left of the deviation run by run, and the field that moves them.

import { data } from "../api.js";
import { h, memo, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { downloads, facts, figureList, fromResult, grid, section } from "../parts.js";
import { leftPicture } from "../plots/left.js";
import { offered } from "../plots/offer.js";
import { fixed, num, words } from "../words.js";
import { drawsOnce, fieldsOf, frame, lazyPicture, statedIn } from "./page.js";

const BODIES = [
  ["die", "the die, moved", "shift_normal_mm"], ["punch", "the punch, moved", "shift_normal_mm"], ["blankholder", "the blankholder, moved", "shift_normal_mm"],
  ["before", "the part from the nominal faces", "deviation_mm"], ["sprung", "the part from the moved faces", "deviation_mm"],
]; // prettier-ignore
const FIELDS = ["shift_normal_mm", "shift_mm", "deviation_mm", "displacement_mm"];

function make(ctx) {
  const id = uid("body");
  const chooser = h("select", { id, onchange: () => draw(true) });
  const choose = h("span", { class: "pair" }, h("label", { for: id }, "Look at"), chooser);
  const view = lazyPicture({ panes: [{ name: "part", caption: "Faces and part" }], bare: "bare metal" }, (pic) => {
    pic.root.querySelector(".picture-words").prepend(choose);
    draw();
  });
  const offer = h("div", { class: "take-over" });
  const stated = statedIn(ctx, "compensation");
  const side = decisions(ctx, stated.slice(0, 4), { title: "How the faces are moved", more: stated.slice(4) });
  const runs = section("Run by run");
  const numbers = section("What moving did to the faces");
  const away = section("To take away");
  const page = frame(ctx, {
    name: "compensation", title: "Compensation", stages: ["compensation"], picture: view.box, side: stated.length ? [offer, side.root] : [offer], sections: [runs, numbers, away],
    print: [
      "Each run is a whole tryout: blank, hold, draw, release, trim, springback, all on the same mesh. The deviation of the trimmed part, taken along its normal, goes smoothed and turned round into the faces; then the next run is drawn in the moved faces.",
      "Only waves longer than the one stated are passed on, so that the steel gets none of the mesh's unevenness and character lines keep their run. The move goes to nothing over the addendum; where the part has a flange under the blankholder, the blankholder follows.",
      "Move along the face: above nothing the face goes out of its metal (weld or shim), below it into the metal (cut deeper). The colours have nothing in the middle of their scale.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  async function draw(chosen = false) {
    const r = ctx.result("compensation");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    const bodies = BODIES.filter(([name]) => r?.meshes?.[name]);
    if (!bodies.length) return pic.say(ctx.stage("compensation").state === "refused" ? "There is no compensation to show." : "The picture appears when the compensation has been worked: several tryouts, one after the other. Press Work below.");
    memo(chooser, bodies.map((b) => b[0]), () => put(chooser, bodies.map(([name, text]) => h("option", { value: name }, text)))); // prettier-ignore
    const name = chooser.value;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-compensation-${name}`;
    return once(`${r.key}/${name}`, async (wanted) => {
      const [points, triangles] = await Promise.all([data.points(r.stage, r.key, name), data.triangles(r.stage, r.key, name)]);
      if (!wanted()) return;
      pic.say("");
      pic.setMesh("part", points, triangles, []);
      const fields = fieldsOf(data, r, name, FIELDS);
      for (const field of fields) field.range = rangeOf(r, name, field.name);
      if (chosen) pic.chosen = null;
      await pic.setFields(fields, BODIES.find((b) => b[0] === name)[2]);
    });
  }

  function update() {
    page.update();
    side.update();
    const r = ctx.result("compensation");
    const v = r?.values;
    page.verdict(v ? verdict(v) : "");
    memo(offer, [r?.key ?? "", ctx.stage("compensation")?.state, ctx.book.job.faces], () => put(offer, r ? offered(ctx, "compensation", r, "The moved faces") : null));
    fromResult(runs.body, r, (box) => put(box, h("div", { class: "plot-place wide" }, leftPicture(runsOf(r), v.tolerance_mm, v.best)), h("p", { class: "quiet" }, "Every point is a fresh tryout; the large ring is the run whose faces are given. In the table, best fit and supports give the largest deviation of the part laid in that way; off the face is how much farther than in the first run it lies from its face in the closed press; move is that of the faces where the part lies."), runTable(r)));
    fromResult(numbers.body, r, (box) => put(box, h("div", { class: "columns" }, facts(moves(v)), r.figures?.length ? figureList(r.figures) : null)));
    away.show(Boolean(r?.files?.length));
    fromResult(away.body, r?.files?.length ? r : null, (box) => put(box, downloads(r.files.map((f) => [data.file("compensation", r.key, f), `Take ${f}`, f])), h("p", { class: "quiet" }, "Places on both skins of the sheet in the nominal faces, in press coordinates, and how far each is to go; mm.")), "");
    draw();
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

/** One scale for the part before and after, and for all faces. */
function rangeOf(r, body, field) {
  const group = ["before", "sprung"].includes(body) ? ["before", "sprung"] : ["die", "punch", "blankholder"];
  const spans = group.map((n) => r.meshes[n]?.point?.[field]).filter(Boolean);
  return spans.length ? [Math.min(...spans.map((s) => s.min)), Math.max(...spans.map((s) => s.max))] : undefined;
}

function verdict(v) {
  if (v.best === 0) return v.runs > 1 ? "Moving the faces brings the part no nearer: the nominal faces are the best." : `The part springs by ${fixed(v.before_max_mm, 3)} mm at most, within ${num(v.tolerance_mm)} mm: the faces stay as they are.`;
  return `Deviation of the part ${fixed(v.after_max_mm, 3)} mm at most, ${fixed(v.before_max_mm, 3)} mm in the nominal faces, tolerance ${num(v.tolerance_mm)} mm: ${num(v.left_max_pct, 2)} % left, ${num(v.left_rms_pct, 2)} % in the mean square.`;
}

const runsOf = (r) => r.tables.iterations.run.map((run, i) => ({ name: run === 0 ? "nominal" : num(run), max: r.tables.iterations.max_mm[i], rms: r.tables.iterations.rms_mm[i] }));

const COLUMNS = [
  ["max_mm", "Largest", "mm", 3], ["rms_mm", "Mean square", "mm", 3], ["left_max_pct", "Left", "%", 1], ["left_rms_pct", "Left, mean square", "%", 1], ["fit_max_mm", "By best fit", "mm", 3], ["supports_max_mm", "On supports", "mm", 3], ["lift_max_mm", "Off the face", "mm", 3], ["shift_max_mm", "Move", "mm", 3],
]; // prettier-ignore

function runTable(r) {
  const t = r.tables.iterations;
  const columns = COLUMNS.filter(([k]) => t[k]);
  return grid(
    [{ name: "Run in", left: true }, ...columns.map(([, name, unit]) => ({ name, unit }))],
    t.run.map((run, i) => [run === 0 ? "the nominal faces" : `faces moved ${run === 1 ? "once" : run === 2 ? "twice" : `${num(run)} times`}`, ...columns.map(([k, , , places]) => fixed(t[k][i], places))]),
    { caption: "Deviation of the trimmed part by run", chosen: r.values.best, className: "tight-table" },
  );
}

const moves = (v) => [
  ["Largest move of the faces", v.shift_max_mm, "mm"], ["Faces turn by at most", v.turn_max_deg, "deg"], ["Gap changes by at most", v.gap_change_mm, "mm"], ["Least gap, before", v.gap_min_before_mm, "mm"], ["Least gap, after", v.gap_min_mm, "mm"],
  ["Least draft, before", v.draft_min_before_deg, "deg"], ["Least draft, after", v.draft_min_deg, "deg"], ["Undercut", v.undercut_mm2 === 0 ? "none" : v.undercut_mm2, v.undercut_mm2 === 0 ? "" : "mm2"],
  ["Blankholder", v.blankholder === "follow" ? "moves with the part" : "keeps its surface"], v.blankholder === "follow" ? ["Blankholder moves by at most", v.holder_move_mm, "mm"] : null, ["Wave passed on by half", v.wave_mm, "mm"], ["Share taken back at a time", v.factor],
  ["Part laid", v.alignment === "supports" ? "on three points" : "by best fit"], ["Mesh", `${words(v.quality).toLowerCase()}${v.mesh ? `, ${num(v.mesh.triangles, 7)} triangles` : ""}`],
]; // prettier-ignore

export default { name: "compensation", title: "Compensation", stages: ["compensation"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "compensation"], slow: true, make };
