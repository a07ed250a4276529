// Part: what the CAD file holds, how it lies in the press, what can be measured on it.

import { data } from "../api.js";
import { h, put, memo, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, figureList, fromResult, grid, section, stem } from "../parts.js";
import { num, quantity, typed, vector, words } from "../words.js";
import { drawsOnce, fieldsOf, frame, lazyPicture } from "./page.js";

const FIELDS = ["depth", "draft_deg", "radius", "undercut"];
const rad = Math.PI / 180;

/** Two turns about the part's x and y axes that carry (0, 0, -1) to the direction, in degrees. */
const anglesOf = ([x, y, z]) => {
  const l = Math.hypot(x, y, z) || 1;
  return [Math.asin(Math.max(-1, Math.min(1, y / l))) / rad, Math.atan2(-x, -z) / rad];
};
const directionOf = (a, b) => [-Math.sin(b * rad) * Math.cos(a * rad), Math.sin(a * rad), -Math.cos(b * rad) * Math.cos(a * rad)].map((v) => Number(v.toFixed(9)) + 0);

function make(ctx) {
  const id = uid();
  const chooser = h("select", { id, onchange: () => draw() }, h("option", { value: "drawn" }, "what is drawn first"), h("option", { value: "part" }, "the finished part"));
  const choose = h("span", { class: "pair", hidden: true }, h("label", { for: id }, "Look at"), chooser);
  const view = lazyPicture({ panes: [{ name: "part", caption: "The part as it lies in the press" }], bare: "bare part", thickness: () => ctx.book.job.sheet.thickness }, (pic) => {
    pic.root.querySelector(".picture-words").prepend(choose);
    draw();
  });
  const turn = turning(ctx);
  const file = fileBlock(ctx);
  const shape = decisions(ctx, ["shape.copies", "shape.side", "shape.spacing"], { title: "The draw shape" });
  const mesh = decisions(ctx, [], { title: "", more: ["part.skin", "part.unit", "part.target_edge", "part.chord_error", "part.min_edge"] });
  const measured = section("Measured on the part");
  const first = section("What is drawn first");
  const holes = section("Holes");
  const audit = section("Audit of the file");
  const page = frame(ctx, {
    name: "part", title: "Part", stages: ["part", "tipping", "shape"], picture: view.box, side: [file.root, turn.root, shape.root, mesh.root], sections: [measured, first, holes, audit],
    print: [
      "The CAD file is read in a process apart and meshed on one skin; nothing is welded, merged or dropped in silence, and the audit lists what was repaired or left.",
      "Tipping: the press direction is chosen for no undercut first, then for a balanced and small draw depth. The draft angle is measured between the wall and the press direction; least radii come from the curvature of the mesh and are clipped for the picture.",
      "Developed area is the area of the meshed skin; volume and mass use the stated thickness and the density of the sheet.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  async function draw() {
    const t = ctx.result("tipping");
    const p = ctx.result("part");
    const s = ctx.result("shape");
    const other = Boolean(s?.values?.changed && s.meshes?.part);
    choose.hidden = !other;
    const drawn = other && chooser.value === "drawn";
    const from = drawn ? s : t?.meshes?.part ? t : p;
    const picture = view.picture;
    if (!picture) return;
    picture.job = ctx.book.job;
    picture.fileStem = ctx.book.job.job.number || "part";
    if (!from?.meshes?.part) return picture.say(ctx.stage("part").state === "refused" ? "There is no part to show." : "The picture appears when the part has been read.");
    return once(`${from.stage}/${from.key}`, async () => {
      const [points, triangles, edges] = await Promise.all([data.points(from.stage, from.key, "part"), data.triangles(from.stage, from.key, "part"), from.arrays?.feature_edges ? data.array(from.stage, from.key, "feature_edges") : []]);
      picture.say("");
      picture.setMesh("part", points, triangles, [edges]);
      picture.pane("part").holesFlags = drawn ? [] : holeFlags(p, t);
      await picture.setFields(fieldsOf(data, from, "part", FIELDS), null);
    });
  }

  function update() {
    page.update();
    file.update();
    turn.update();
    shape.update();
    mesh.update();
    const [p, t] = [ctx.result("part"), ctx.result("tipping")];
    const v = t?.values;
    page.verdict(v ? `Drawn ${num(v.depth)} mm deep${v.undercut_area > 0 ? `, with ${num(v.undercut_area)} mm² of undercut` : ", without undercut"}; least draft ${quantity(v.draft_min_deg, "deg")}.` : "");
    fromResult(measured.body, t, (box) => put(box, measuredTable(v, t.figures ?? [])));
    fromResult(first.body, ctx.result("shape"), (box, r) => put(box, shapeTable(r)));
    fromResult(holes.body, p, (box) => put(box, holesTable(p.values)));
    fromResult(audit.body, p, (box) => put(box, auditTables(p.values)));
    draw();
  }
  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)) };
}

/** Hole numbers on the bare part; CAD coordinates are carried into the press by the tipping's rotation and shift. */
function holeFlags(p, t) {
  const list = p?.values?.holes ?? [];
  const [r, shift] = [t?.values?.rotation, t?.values?.shift ?? [0, 0, 0]];
  return list.slice(0, 12).map((hole) => {
    const c = hole.centre;
    const place = r ? r.map((row, k) => row[0] * c[0] + row[1] * c[1] + row[2] * c[2] + (Array.isArray(shift) ? (shift[k] ?? 0) : 0)) : c;
    return { place, text: `${hole.id}: ${hole.diameter ? `Ø ${num(hole.diameter)}` : "shaped"}`, kind: "hole" };
  });
}

function measuredTable(v, figures) {
  const [lo, hi] = v.plan_bbox ?? [];
  const plan = Array.isArray(lo) ? [hi[0] - lo[0], hi[1] - lo[1]] : [lo, hi];
  const round = v.round?.is_round;
  const rooted = new Set(figures.map((f) => stem(f.key)));
  const rows = [
      rooted.has("depth") ? null : ["Draw depth", v.depth, "mm"],
      ["Plan size", plan.every(Number.isFinite) ? `${num(plan[0], 4)} × ${num(plan[1], 4)}` : "–", "mm"],
      rooted.has("area") ? null : ["Developed area", v.developed_area, "mm2"],
      rooted.has("volume") ? null : ["Volume of metal", v.volume, "mm3"],
      rooted.has("mass") || rooted.has("mass_kg") ? null : ["Mass", v.mass_kg, "kg"],
      ["Least draft angle", v.draft_min_deg, "deg"],
      ["Least concave radius", v.radius_concave_min, "mm"],
      ["Least convex radius", v.radius_convex_min, "mm"],
      ["Undercut area", v.undercut_area, "mm2"],
      round ? ["Round, diameter", v.round.diameter, "mm"] : null,
      round ? ["Draw ratio", v.draw_ratio, ""] : null,
  ];
  return [
    figures.length ? h("div", { class: "columns" }, figureList(figures), facts(rows)) : pair(rows),
    (v.undercut_regions ?? []).length ? grid([{ name: "Undercut region", left: true }, { name: "Area", unit: "mm2" }, { name: "Worst angle", unit: "deg" }, { name: "Middle", unit: "mm" }], v.undercut_regions.map((u, i) => [String(i + 1), num(u.area), num(u.worst_angle), vector(u.centre)]), { caption: "Undercut regions" }) : null,
  ]; // prettier-ignore
}

/** Facts in two columns. */
function pair(rows) {
  const list = rows.filter(Boolean);
  const half = Math.ceil(list.length / 2);
  return h("div", { class: "columns" }, facts(list.slice(0, half)), facts(list.slice(half)));
}

/** The draw shape beside the finished part. */
function shapeTable({ values: v, figures }) {
  if (!v.changed) return h("p", { class: "quiet" }, "The part as it is. Two parts in one draw are stated beside the picture; flanges that a later operation bends are named in job.toml, each under [[shape.flange]] by a point on it.");
  const flanges = v.flanges ?? [];
  const columns = [{ name: "Flange", left: true }, { name: "Bend", left: true }, { name: "Bent by", unit: "deg" }, { name: "Drawn at", unit: "deg" }, { name: "Bend radius", unit: "mm" }, { name: "Developed", unit: "mm" }, { name: "Largest strain", unit: "%" }];
  return [
    figures.length ? figureList(figures) : null,
    flanges.length ? grid(columns, flanges.map((f) => [String(f.number), f.how, num(f.angle_was_deg), num(f.angle_deg), num(f.bend_radius), num(f.developed, 4), num(f.strain_max_pct, 2)]), { caption: "Flanges drawn open" }) : null,
  ]; // prettier-ignore
}

function holesTable(v) {
  const list = v.holes ?? [];
  if (!list.length) return h("p", { class: "quiet" }, "The part has no holes.");
  return grid([{ name: "Hole", left: true }, { name: "Shape", left: true }, { name: "Diameter", unit: "mm" }, { name: "Perimeter", unit: "mm" }, { name: "Area", unit: "mm2" }, { name: "Centre in CAD coordinates", unit: "mm" }], list.map((o) => [String(o.id), o.round ? "round" : "shaped", num(o.diameter, 4), num(o.perimeter, 4), num(o.area, 4), vector(o.centre, 4)]), { caption: "Holes" }); // prettier-ignore
}

function auditTables(v) {
  const mesh = v.mesh ?? {};
  const rows = v.audit ?? [];
  return [
    rows.length ? grid([{ name: "What was found", left: true }, { name: "What was done", left: true }, { name: "Count" }, { name: "Where", left: true }], rows.map((a) => [a.what, { repaired: "repaired", left: "left as it is", wrong: "wrong", note: "noted" }[a.severity] ?? a.severity, num(a.count, 6), a.where || "–"]), { caption: "Audit", className: "prose" }) : h("p", {}, "Nothing was repaired and nothing was left wrong."),
    pair([
      ["Format", v.format], ["Unit", v.unit, v.unit_source === "job" ? "" : "", ""], ["Kind", v.kind], ["Skin meshed", v.skin], ["Thickness found", v.thickness_found, "mm"],
      ["Bodies", num(v.bodies, 6)], ["Faces", num(v.faces, 6)], ["Triangles", num(mesh.triangles, 9)], ["Edges, shortest", mesh.edge_min, "mm"], ["Edges, middle", mesh.edge_median, "mm"], ["Edges, longest", mesh.edge_max, "mm"], ["Largest distance to the surface", mesh.chord_error, "mm"], ["Worst triangle shape (1 is even)", mesh.quality_min],
    ]),
    v.unit_source ? h("p", { class: "quiet" }, v.unit_source === "file" ? "The unit is stated in the file." : "The unit is stated in the job.") : null,
  ]; // prettier-ignore
}

function fileBlock(ctx) {
  const choose = decisions(ctx, ["part.file"], { title: "The shape", options: { "part.file": () => [{ value: "", text: "none yet" }, ...ctx.book.files.map((f) => ({ value: f, text: f }))] } });
  const error = h("p", { class: "field-error", role: "alert" });
  const input = h("input", {
    type: "file", id: "cad-file", class: "file", accept: ".step,.stp,.iges,.igs,.stl",
    onchange: async () => {
      const [one] = input.files;
      if (!one) return;
      if (one.size > 200e6) return (error.textContent = `'${one.name}' is larger than 200 MB. Leave out what is not this part.`);
      error.textContent = "";
      label.textContent = `Reading ${one.name}`;
      error.textContent = await ctx.upload(one);
      label.textContent = "Bring another CAD file";
      input.value = "";
    },
  }); // prettier-ignore
  const label = h("label", { for: "cad-file", class: "word" }, "Bring another CAD file");
  choose.root.append(h("p", { class: "file-line" }, input, label), error);
  return choose;
}

function turning(ctx) {
  const list = h("div", { class: "candidates" });
  const error = h("p", { class: "field-error", role: "alert" });
  const state = h("p", { class: "hint" });
  const angle = (name, text) => h("input", { type: "text", inputmode: "decimal", class: "figure", id: name, "aria-label": text, onchange: () => take() });
  const [ax, ay] = [angle("turn-x", "Turn about x in degrees"), angle("turn-y", "Turn about y in degrees")];
  const take = (da = 0, db = 0) => {
    const [a, b] = [typed(ax.value), typed(ay.value)];
    if (typeof a !== "number" || typeof b !== "number") return (error.textContent = "An angle is a number of degrees, like 2.5.");
    return set(directionOf(a + da, b + db));
  };
  const set = async (value) => (error.textContent = await ctx.edit({ "part.press_direction": value }, "Press direction"));
  const nudge = (which) => [-5, -1, 1, 5].map((d) => h("button", { type: "button", class: "nudge", "aria-label": `${d} degrees about ${which}`, onclick: () => (which === "x" ? take(d, 0) : take(0, d)) }, d > 0 ? `+${d}` : `−${-d}`));
  const auto = h("button", { type: "button", class: "word", onclick: () => set("auto") }, "Let the desk choose");
  const row = (which, input) => h("div", { class: "turn-row" }, h("label", { for: input.id }, `about ${which}`), input, h("span", { class: "unit" }, "°"), nudge(which));
  const root = h("form", { class: "decisions turning", onsubmit: (e) => e.preventDefault() }, h("h2", {}, "Press direction"), list, h("p", { class: "sub" }, "Turn by hand"), row("x", ax), row("y", ay), state, auto, error);
  return {
    root,
    update() {
      const stated = ctx.book.job.part.press_direction;
      const v = ctx.result("tipping")?.values;
      const now = Array.isArray(stated) ? stated : v?.direction;
      auto.hidden = stated === "auto";
      if (now && document.activeElement !== ax && document.activeElement !== ay) [ax.value, ay.value] = anglesOf(now).map((d) => String(d < -179.9995 ? 180 : Number(d.toFixed(3)) + 0));
      state.textContent = stated === "auto" ? "Chosen by the desk. The angles turn the punch's travel away from −z of the CAD file." : "Stated by hand.";
      memo(list, [v?.candidates ?? [], now ?? null], () =>
        put(
          list,
          (v?.candidates ?? []).slice(0, 5).map((c) => {
            const here = now && c.direction.every((x, k) => Math.abs(x - now[k] / Math.hypot(...now)) < 1e-3);
            return h(
              "div",
              { class: `candidate${here ? " chosen" : ""}` },
              h("p", { class: "candidate-head" }, h("span", { class: "figure" }, vector(c.direction, 4)), here ? h("span", { class: "taken" }, "taken") : h("button", { type: "button", class: "word", onclick: () => set(c.direction) }, "Take this")),
              h("p", { class: "hint" }, c.why ? `${words(c.why)}.` : `${num(c.depth)} mm deep, undercut ${quantity(100 * (c.undercut_share ?? 0), "%", 2)}, balance ${num(c.balance, 2)}.`),
            );
          }),
        ),
      );
    },
  };
}

export default { name: "part", title: "Part", stages: ["part", "tipping", "shape"], reads: ["part", "tipping", "shape"], make };
