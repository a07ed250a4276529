// Faces: the working faces of die, punch and blankholder, apart and closed, with a live section through them.

import { data } from "../api.js";
import { h, memo, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { downloads, facts, figureList, fromResult, grid, section } from "../parts.js";
import { FacesCut } from "../plots/faces_cut.js";
import { Apart, boxOf } from "../view3d/apart.js";
import { distanceTo, draftOf, gaussOf } from "../view3d/face_fields.js";
import { TOOLS } from "../view3d/stroke_view.js";
import { fixed, num, words } from "../words.js";
import { beadRows, BEADS, detailsOf, marksOf } from "./faces_details.js";
import { done, fieldsOf, frame, statedIn } from "./page.js";

const SPOTTED = ["zone", "allowance_mm", "relief_mm"];
const REACH = 6; // thicknesses up to which a gap is told

function make(ctx) {
  let drawn = "";
  let tools = [];
  const apart = new Apart({ caption: "Die, punch and blankholder", fieldsOf: (tool) => fieldsFor(tool), placed: () => cutPicture() });
  apart.ready = () => draw();
  const { view } = apart;
  const cut = new FacesCut((place) => cutPicture(place));
  const live = section("Section through the faces", cut.root);
  const stated = statedIn(ctx, "faces");
  const files = stated.filter((path) => path.endsWith("_file")); // named once, changed rarely
  const first = stated.filter((path) => !files.includes(path));
  const side = decisions(ctx, first.slice(0, 5), { title: "The faces", more: [...first.slice(5), ...files] });
  const take = section("To take away");
  const numbers = section("The faces in numbers");
  const beads = section("Draw beads");
  const details = section("Pins, vents and spotting");
  const notes = section("Notes");
  const page = frame(ctx, {
    name: "faces", title: "Faces", stages: ["faces", "details"], also: ["cad"], picture: view.box, side: stated.length ? side.root : [], sections: [live, numbers, beads, details, take, notes],
    print: [
      "The faces are triangulations in the closed position of the press: punch at the bottom, blankholder down on the sheet. One of them is drawn solid, the others in lines, so that one sees through them.",
      "The section is cut from these triangles, the sheet drawn on the die from where it is first held to where it is last held. A radius is that of the circle that fits the points of a bend best; a gap is measured in the plane of the section, the field Gap in space, from each point to the nearest place of the die.",
      "Draft is the angle of the face to the press direction: 0° is upright, below it an undercut. Double curvature is the Gaussian curvature of a quadric through the neighbours of each point; a flat sheet lies without stretching on a surface where it is nothing.",
    ],
  }); // prettier-ignore
  let place = null;

  function cutPicture(at = place) {
    place = at;
    const main = apart.picture?.main;
    if (!main?.mesh) return;
    if (!place) main.cutUpright(null);
    else {
      const [c, q] = [Math.cos((place.angle * Math.PI) / 180), Math.sin((place.angle * Math.PI) / 180)];
      const { out } = main.view.basis; // the half towards the eye is taken away
      const sign = -q * out[0] + c * out[1] >= 0 ? 1 : -1;
      const n = [-q * sign, c * sign];
      main.cutUpright(n, n[0] * place.point[0] + n[1] * place.point[1]);
    }
    apart.picture.redraw();
  }

  /** Fields of one face, worked out in the browser when they are asked for. */
  function fieldsFor(tool) {
    const t = ctx.book.job.sheet.thickness;
    const die = tools.find((one) => one.name === "die");
    const widest = () => widestGap(ctx.result("faces").values, t); // what is farther apart has no sheet beside it
    const up = tool.name === "die" ? 1 : -1;
    const out = [{ name: "draft_deg", cell: async () => (tool.draft ??= draftOf(tool.points, tool.triangles, up)), point: null }];
    const later = (name, make, range) => {
      const field = { name, cell: null, point: async () => {
        const values = (tool[name] ??= await make());
        field.range = range(values);
        return values;
      } }; // prettier-ignore
      out.push(field);
    };
    if (tool.nominal) later("shift_normal_mm", () => distanceTo(tool.points, tool.nominal, 1.3 * (ctx.result("faces").values.shift_max_mm ?? t) + 0.2, true), (values) => [least(values), share(values, 1)]);
    if (tool !== die && die) later("gap_mm", () => distanceTo(tool.points, die, REACH * t), (values) => [Math.min(t, least(values)), Math.max(1.1 * t, 1.1 * widest())]);
    if (tool.name === "blankholder") later("gauss", () => gaussOf(tool.points, tool.triangles), (values) => [-1, 1].map((s) => s * Math.max(0.1, share(values.map(Math.abs), 0.98)))); // of a surface that is level but for rounding nothing is made visible
    return [...out, ...(tool.spotted ?? []).filter((f) => !out.some((o) => o.name === f.name))];
  }

  async function draw() {
    const r = ctx.result("faces");
    const pic = view.picture;
    live.show(Boolean(r?.meshes?.die));
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-faces`;
    if (!r?.meshes?.die) return pic.say(ctx.stage("faces").state === "refused" ? "There are no faces to show." : "The picture appears when the faces have been worked.");
    const more = ctx.result("details");
    const key = `${r.key}/${more?.key ?? ""}`;
    if (drawn === key) return done(pic.redraw());
    drawn = key;
    try {
      const array = (name, stage = r) => (stage?.arrays?.[name] ? data.array(stage.stage, stage.key, name) : null);
      const [found, before, opening, trim, blank] = await Promise.all([TOOLS.of(r), nominal(r), array("opening"), array("trim_line"), array("outline", ctx.result("blank"))]);
      const [bead, pins, vents] = await Promise.all(["bead_line", "locators", "vents"].map((name) => array(name, more)));
      if (drawn !== key) return;
      tools = found;
      for (const tool of tools) tool.spotted = more?.meshes?.[tool.name]?.triangles === tool.triangles.length / 3 ? fieldsOf(data, more, tool.name, SPOTTED) : [];
      for (const tool of tools) tool.nominal = before.find((one) => one.name === tool.name);
      await apart.set(tools, r.values.stroke ?? 0);
      const rings = [[blank, 2, "plan-blank"], [bead, 2, "plan-bead"], [trim, 3, "plan-trim"], [opening, 2, "plan-opening"]].filter(([points]) => points?.length).map(([points, size, kind]) => ({ points, size, kind })); // prettier-ignore
      cut.set({ tools, before, rings, marks: marksOf(pins, vents), lines: { opening, trim }, thickness: ctx.book.job.sheet.thickness, widest: widestGap(r.values, ctx.book.job.sheet.thickness), box: boxOf([tools.find((t) => t.name === "die")]) });
      done();
    } catch (problem) {
      drawn = "";
      console.error(problem);
      pic.say(problem.error ?? "The picture cannot be drawn.");
    }
  }

  function update() {
    page.update();
    side.update();
    const r = ctx.result("faces");
    const v = r?.values;
    page.verdict(v ? `${v.kind === "given" ? "Given faces" : "Faces made from the part"}: ${fixed(v.stroke, 1)} mm of stroke${v.clearance ? `, ${num(v.clearance)} mm between punch and die` : ""}.` : "");
    fromResult(numbers.body, r, (box) => put(box, h("div", { class: "columns" }, h("div", {}, facts(rows(v)), v.blankholder ? facts(holderRows(v.blankholder, v), { caption: "Blankholder surface and section" }) : null), r.figures?.length ? figureList(r.figures) : null)));
    const revision = carried(ctx.book.job.faces);
    const [cad, known] = [ctx.result("cad"), ctx.stage("cad")];
    take.show(Boolean(known || revision || r?.files?.length));
    memo(take.body, [r?.key ?? "", r?.files ?? [], revision ?? "", cad?.key ?? "", known ?? "", ctx.book.working?.stage ?? ""], () => put(take.body, revision ? revisionLine(revision) : null, filesOf("faces", r), known ? cadBlock(ctx, cad, known, v) : null));
    const more = ctx.result("details");
    details.show(Boolean(more));
    fromResult(details.body, more, (box) => put(box, detailsOf(more), filesOf("details", more)), "");
    const bead = beadRows(ctx.book.job, ctx.result("tryout"), more?.values?.bead);
    beads.show(Boolean(bead));
    memo(beads.body, bead ?? "none", () => put(beads.body, bead ? [grid(BEADS, bead.rows, { caption: "Draw beads" }), h("p", { class: "quiet" }, bead.note)] : null));
    notes.show(Boolean(v?.notes?.length));
    fromResult(notes.body, v?.notes?.length ? r : null, (box) => put(box, h("ul", { class: "notes" }, v.notes.map((n) => h("li", {}, n)))), "");
    draw();
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view, cut };
}

/** The faces before a shift file moved them: [{name, points, triangles}], none for nominal ones. */
async function nominal(r) {
  const names = ["die", "punch", "blankholder"].filter((name) => r.arrays?.[`nominal_${name}_points`] && r.arrays?.[`nominal_${name}_triangles`]);
  return Promise.all(
    names.map(async (name) => {
      const [points, triangles] = await Promise.all([data.array(r.stage, r.key, `nominal_${name}_points`), data.array(r.stage, r.key, `nominal_${name}_triangles`)]);
      return { name, points, triangles: Uint32Array.from(triangles) };
    }),
  );
}

const widestGap = (v, t) => Math.max(Math.min(v.gap_max ?? 0, 3 * t), v.clearance ?? 0, t);
const least = (values) => values.reduce((a, b) => Math.min(a, b), Infinity);
const share = (values, f) => Float32Array.from(values).sort()[Math.floor(f * (values.length - 1))];

const rows = (v) => [
  ["Stroke from first touch", v.stroke, "mm"], ["Gap between punch and die", v.clearance, "mm"], ["Least die radius", v.die_radius, "mm"], ["Least punch radius", v.punch_radius, "mm"],
  ["Gap under the blankholder, closed", v.holder_gap, "mm"], ["Punch opening in plan", v.opening_area, "mm2"], ["Wall led out of the part's edge", v.extended ? "yes" : "no"], ["Where they come from", v.kind === "given" ? "given as files" : "made from the part"],
  v.shift_file ? ["Moved against springback by at most", v.shift_max_mm, "mm"] : null, v.shift_file && v.nominal?.stroke ? ["Stroke of the nominal faces", v.nominal.stroke, "mm"] : null,
].filter((row) => row && row[1] !== undefined); // prettier-ignore

const span = (pair, digits = 3) => (pair[0] === pair[1] || Math.abs(pair[1] - pair[0]) < 1e-6 ? num(pair[0], digits) : `${num(pair[0], digits)} to ${num(pair[1], digits)}`);

/** The directions of the lines that state a surface, in their order. */
const spread = (angles) => angles.map((v) => fixed(v, 1)).join(", ");

/** What is nothing but for rounding is nothing. */
const tidy = (v) => (Math.abs(v) < 1e-9 ? 0 : v);

/** The blankholder surface and the section round the part's edge. */
const holderRows = (b, v) => [
  ["Blankholder surface", words(b.kind)], b.kind === "cylindrical" ? ["Its straight lines run at, from x", b.direction, "deg"] : null, b.apex ? ["Its lines meet in plan at x, y", b.apex.map((v) => fixed(v, 1)).join(", "), "mm"] : null, b.rulings?.length ? ["Its lines run at, from x", spread(b.rulings.map((r) => r[2])), "deg"] : null, b.bend ? ["Its tightest bend", b.bend, "mm"] : null,
  v.extended || b.depth_most > 1e-3 ? ["Depth of the part's edge below it", span([b.depth_least, b.depth_most]), "mm"] : ["Depth of the part's edge below it", "the edge lies in it"],
  b.uneven_flat !== undefined ? ["Unevenness of the depth, flat", tidy(b.uneven_flat), "mm"] : null, Number.isFinite(b.uneven_curved) ? ["Unevenness of the depth, cylindrical", tidy(b.uneven_curved), "mm"] : null, Number.isFinite(b.uneven_conical) ? ["Unevenness of the depth, conical", tidy(b.uneven_conical), "mm"] : null, Number.isFinite(b.uneven_developable) ? ["Unevenness of the depth, developable", tidy(b.uneven_developable), "mm"] : null,
  Number.isFinite(b.gauss) ? ["Largest Gaussian curvature", tidy(1e6 * b.gauss), "1/m2"] : null, b.lead_on ? ["The edge is led on by", { blend: "a blend", profile: "land, radius, wall, radius", wall: "its own wall" }[b.lead_on] ?? b.lead_on] : null,
  b.wall_angle ? ["Led wall, from vertical", span(b.wall_angle), "deg"] : null, b.punch_radius ? ["Radius into the led wall", span(b.punch_radius), "mm"] : null,
]; // prettier-ignore

const filesOf = (stage, r) => (r?.files?.length ? downloads(r.files.map((f) => [data.file(stage, r.key, f), `Take ${f}`, f])) : null);

const CAD = [{ name: "Face", left: true }, { name: "Surfaces" }, { name: "the part's own" }, { name: "offset exactly" }, { name: "fitted" }, { name: "Largest gap", unit: "mm" }, { name: "Tangent break", unit: "deg" }, { name: "Off the tryout's", unit: "mm" }, { name: "Sewn", left: true }]; // prettier-ignore

/** The faces as true surfaces: what was measured on them, and the files; written only when asked for. */
function cadBlock(ctx, cad, known, faces) {
  if (faces?.kind === "given") return null;
  const rows = Object.entries(cad?.values?.tools ?? {}).map(([name, t]) => [words(name), num(t.faces, 6), num(t.kept, 6), num(t.moved, 6), num(t.fitted, 6), fixed(t.gap, 4), fixed(t.break_deg, 2), fixed(t.deviation?.max, 4), t.valid ? "valid" : "not valid"]);
  const old = cad && known.state !== "current";
  return [
    h("h3", {}, "As CAD"),
    rows.length ? grid(CAD, rows, { caption: "The faces as true surfaces", className: "tight-table" }) : h("p", { class: "quiet" }, "The faces have not been written as true surfaces yet: STEP, STL and section drawings of what the tryout runs on."),
    cad?.values?.moved ? h("p", {}, "These surfaces are moved against springback.") : null,
    cad?.values?.remarks?.length ? h("ul", { class: "notes" }, cad.values.remarks.map((text) => h("li", {}, text))) : null,
    old ? h("p", { class: "quiet" }, `These files are out of date: ${known.because}.`) : null,
    filesOf("cad", cad),
    known.state === "refused" ? h("p", {}, known.because) : null,
    known.state === "current" || ctx.book.working ? null : h("button", { type: "button", class: "do", onclick: () => ctx.work(["cad"]) }, "Write the CAD files"),
  ];
}

/** Which revision the faces are: the shift file they carry, "" for nominal ones; null where the job knows no such file. */
const carried = (stated) => (typeof stated?.shift_file === "string" ? { file: stated.shift_file } : null);

const revisionLine = ({ file }) => h("p", { class: "revision" }, file ? ["Moved against springback by ", h("strong", {}, file), ", which stands beside the job file."] : "Nominal faces: not moved against springback.");

export default { name: "faces", title: "Faces", stages: ["faces", "details"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "details"], looks: ["tryout", "cad"], also: ["cad"], make };
