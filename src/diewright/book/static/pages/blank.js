// Blank: the developed outline beside the part, the strains against the limit, and how blanks lie on the strip.

import { data } from "../api.js";
import { h, put, memo } from "../dom.js";
import { decisions } from "../decisions.js";
import { downloads, facts, figureList, fromResult, grid, section, stem } from "../parts.js";
import { nestDrawing, nothingPlaced } from "../plots/nest.js";
import { Strains } from "../plots/strains.js";
import { fixed, handy, num, quantity, words } from "../words.js";
import { done, fieldsOf, frame, lazyPicture } from "./page.js";

const FIELDS = ["thinning_pct", "margin_pct", "major", "minor", "thickness", "wrinkle", "plastic_strain"];

function make(ctx) {
  const strains = new Strains({
    hover: (triangle) => view.picture?.light(triangle, false),
    pick: (triangle) => {
      const picture = view.picture;
      const pane = picture?.pane("part");
      if (pane?.mesh) picture.pick(pane, { triangle, point: pane.mesh.centroid(triangle) });
    },
  });
  const view = lazyPicture({ panes: [{ name: "part", caption: "The part, drawn" }, { name: "flat", caption: "The blank, flat", flat: true, arrow: false }], bare: "bare metal", under: strains.root, thickness: () => ctx.book.job.sheet.thickness }, linked); // prettier-ignore
  const side = decisions(ctx, ["blank.holes", "blank.friction", "blank.blankholder_force_kn", "blank.bead_restraint", "blank.trim_allowance"], { title: "How it is drawn", more: ["blank.margin_wanted", "blank.thinning_limit"] });
  const numbers = section("The blank in numbers");
  const nest = section("On the strip");
  const nestSide = decisions(ctx, ["nest.layout", "nest.strip_width_max", "nest.web", "nest.edge_web"], { title: "Strip and webs", more: ["nest.sheet_length", "nest.grain_tolerance"] });
  const nestBox = h("div", { class: "nest-box" });
  const nestUnder = h("div", { class: "nest-under" });
  put(nest.body, h("div", { class: "nest-pair" }, nestBox, nestSide.root), nestUnder);
  const page = frame(ctx, {
    name: "blank", title: "Blank", stages: ["blank", "nest"], picture: view.box, side: side.root, sections: [numbers, nest],
    print: [
      "One step, from the finished part back to the flat sheet: membrane triangles with finite strain, deformation theory of plasticity, friction under the blankholder and bead restraint as edge loads, solved by Newton's method with line search. It knows the end state only: bending, contact on the way and a changing strain path are left out.",
      "The margin is the distance to the forming limit curve in major engineering strain, in percent points. Below nothing the point lies beyond the limit.",
      "Smoothed pictures show area averages at the points; the extremes, the diagram and the values under a click are those of the triangles.",
      "Layouts are found by exact no-fit geometry of the outline with its webs, not by bounding boxes.",
    ],
  }); // prettier-ignore
  let drawn = "";
  let chosen = null;

  function linked(picture) {
    picture.on("pick", (hit) => strains.mark(hit?.triangle ?? null));
    picture.on("hover", (hit) => strains.ring(hit?.triangle ?? strains.marked));
    picture.on("field", () => strains.colour(picture.scale?.cell ? picture.scale : null));
    draw();
  }

  async function draw() {
    const r = ctx.result("blank");
    const picture = view.picture;
    if (!picture) return;
    picture.job = ctx.book.job;
    picture.fileStem = `${ctx.book.job.job.number || "job"}-blank`;
    if (!r?.meshes?.part) return picture.say(ctx.stage("blank").state === "refused" ? "There is no blank to show." : "The picture appears when the blank has been worked.");
    const key = `${r.key}/${ctx.result("sheet")?.key}/${ctx.book.job.blank.margin_wanted}`;
    if (drawn === key) return done(picture.redraw());
    const fresh = !drawn.startsWith(`${r.key}/`);
    drawn = key;
    try {
      const have = r.meshes.part.cell ?? {};
      const cell = (n) => (have[n] ? data.cell(r.stage, r.key, "part", n) : null);
      if (fresh) {
        const s = ctx.result("shape");
        const outline = r.arrays?.outline ? data.array("blank", r.key, "outline") : null;
        const [points, triangles, flatPoints, flatTriangles, edges, ring] = await Promise.all([
          data.points("blank", r.key, "part"), data.triangles("blank", r.key, "part"), data.points("blank", r.key, "flat"), data.triangles("blank", r.key, "flat"),
          s?.arrays?.feature_edges ? data.array("shape", s.key, "feature_edges") : [], outline,
        ]); // prettier-ignore
        picture.say("");
        picture.setMesh("part", points, triangles, [edges]);
        picture.setMesh("flat", flatPoints, flatTriangles, [], ring ? closed(ring) : null);
        await picture.setFields(fieldsOf(data, r, "part", FIELDS), "thinning_pct");
        done();
      }
      const [major, minor, margin] = await Promise.all([cell("major"), cell("minor"), cell("margin_pct")]);
      const limit = ctx.result("sheet")?.tables?.limit ?? null;
      if (major && minor) await strains.set({ major, minor, margin, limit: limit?.minor ? limit : null, wanted: ctx.book.job.blank.margin_wanted });
      strains.colour(picture.scale?.cell ? picture.scale : null);
    } catch (problem) {
      drawn = "";
      console.error(problem);
      picture.say(problem.error ?? "The picture cannot be drawn.");
    }
  }

  function update() {
    page.update();
    side.update();
    nestSide.update();
    const [r, n] = [ctx.result("blank"), ctx.result("nest")];
    const v = r?.values;
    page.verdict(v ? `Margin to necking ${fixed(v.margin_min_pct, 1)} %, wanted ${quantity(ctx.book.job.blank.margin_wanted, "%")}; thinning ${fixed(v.thinning_max_pct, 1)} % at most, limit ${quantity(ctx.book.job.blank.thinning_limit, "%")}.` : "");
    fromResult(numbers.body, r, (box) => put(box, blankNumbers(r)));
    if (n && (chosen === null || chosen.key !== n.key)) chosen = { key: n.key, index: n.values.chosen ?? 0 };
    memo(nestBox, n ? [n.key, chosen.index] : "none", () => (n ? drawNest(n) : (put(nestUnder), put(nestBox, h("p", { class: "quiet" }, "The layouts appear when the nest has been worked.")))));
    draw();
  }

  async function drawNest(n) {
    const list = n.values.layouts ?? [];
    const best = n.values.chosen ?? 0;
    const index = chosen.index;
    const name = `placed_${index}`;
    const place = h("div", { class: "nest-place" });
    const columns = [{ name: "Layout", left: true }, { name: "Pitch", unit: "mm" }, { name: "Strip", unit: "mm" }, { name: "Turned", unit: "deg" }, { name: "Webs", unit: "mm" }, { name: "Metal used", unit: "%" }, { name: "Parts a pitch" }, { name: "Coil a 1000", unit: "kg" }, list.some((l) => l.parts_per_sheet) ? { name: "Parts a sheet" } : null].filter(Boolean); // prettier-ignore
    const show = (i) => () => {
      chosen = { key: n.key, index: i };
      update();
    };
    const rows = list.map((l, i) => [i === index ? l.layout : h("button", { type: "button", class: "word", "aria-label": `Show ${l.layout}, turned ${num(l.angle_deg)} degrees`, onclick: show(i) }, l.layout), num(l.pitch, 4), num(l.strip_width, 4), num(Math.round(l.angle_deg * 10) / 10), `${num(l.web)} / ${num(l.edge_web)}`, num(l.utilisation_pct), num(l.parts_per_pitch, 4), num(l.coil_kg_per_1000, 4), num(l.parts_per_sheet, 6)].slice(0, columns.length)); // prettier-ignore
    put(nestBox, place);
    put(
      nestUnder,
      h("p", { class: "quiet" }, index === best ? `Drawn: ${list[index]?.layout ?? "–"}, the layout taken.` : `Drawn: ${list[index]?.layout ?? "–"}. The layout taken is ${list[best]?.layout ?? "–"}.`),
      grid(columns, rows, { chosen: index, caption: "Layouts on the strip, the one drawn is marked" }),
      n.values.web_rule ? h("p", { class: "quiet" }, `Webs: ${n.values.web_rule}.`) : null,
      n.figures?.length ? figureList(n.figures) : null,
      downloads((n.files ?? []).map((f) => [data.file("nest", n.key, f), `Take ${f}`, f])),
    );
    if (!n.arrays?.[name]) return put(place, nothingPlaced());
    try {
      put(place, nestDrawing(await data.array("nest", n.key, name), n.arrays[name].shape, list[index]));
    } catch (problem) {
      put(place, h("p", { class: "quiet" }, problem.error ?? "The layout cannot be drawn."));
    }
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view, strains };
}

/** A closed polyline (2k) as segments (6k) a little above the flat blank. */
function closed(ring) {
  const k = ring.length / 2;
  const out = new Float32Array(6 * k);
  for (let i = 0; i < k; i++) {
    const j = (i + 1) % k;
    out.set([ring[2 * i], ring[2 * i + 1], 0.01, ring[2 * j], ring[2 * j + 1], 0.01], 6 * i);
  }
  return out;
}

function blankNumbers(r) {
  const v = r.values;
  const [force, unit] = handy(v.blankholder_force, "N");
  const cut = v.cut ?? {};
  const steps = v.iterations ?? [];
  const rooted = new Set((r.figures ?? []).map((f) => stem(f.key)));
  const free = (key, row) => (rooted.has(key) ? null : row);
  return [
    h(
      "div",
      { class: "columns" },
      r.figures?.length ? figureList(r.figures) : null,
      facts([
        ["Blank size", (v.bbox ?? []).length === 2 ? `${num(v.bbox[0], 4)} × ${num(v.bbox[1], 4)}` : "–", "mm"],
        free("area", ["Area", v.area, "mm2"]),
        ["Perimeter", v.perimeter, "mm"],
        free("mass", ["Mass", v.mass_kg, "kg"]),
        ["Flange under the blankholder", v.flange_area, "mm2"],
        ["Blankholder force used", force, unit],
        free("margin_min", ["Least margin to necking", v.margin_min_pct, "%"]),
        free("thinning_max", ["Most thinning", v.thinning_max_pct, "%"]),
        ["Most thickening", v.thickening_max_pct, "%"],
        ["Highest wrinkle tendency (0 to 1)", num(v.wrinkle_index_max, 2), ""],
        ["Outline of the cut", [["lines", "line"], ["arcs", "arc"], ["splines", "spline"]].filter(([k]) => cut[k]).map(([k, one]) => `${num(cut[k], 6)} ${cut[k] === 1 ? one : k}`).join(", ") || "–"], // prettier-ignore
        ["Cut outline off the computed one by at most", cut.deviation, "mm"],
      ]),
    ),
    downloads((r.files ?? []).map((f) => [data.file("blank", r.key, f), `Take ${f}`, f])),
    steps.length ? h("details", { class: "more" }, h("summary", {}, `${steps.length} steps to the solution${v.converged === false ? ", not converged" : ""}`), grid([{ name: "Step" }, { name: "Residual" }, { name: "Length of step" }], steps.map((s) => [num(s.iteration, 6), num(s.residual, 2), num(s.step, 2)]), { caption: words("convergence") })) : null,
  ];
}

export default { name: "blank", title: "Blank", stages: ["solution", "blank", "nest"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "nest"], make };
