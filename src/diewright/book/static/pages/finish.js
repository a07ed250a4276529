// Finish: which surface counts, how it is polished, how the part hangs on the rack, what is measured, what else could be done.

import { data } from "../api.js";
import { h, memo, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, section } from "../parts.js";
import { costBands } from "../plots/cost_bands.js";
import { rackFront } from "../plots/finish_rack.js";
import { stepsDrawing } from "../plots/finish_steps.js";
import { offered } from "../plots/offer.js";
import { readingsDrawings } from "../plots/readings.js";
import { num } from "../words.js";
import { facesField, numbersField, serviceField } from "./finish_fields.js";
import { bookTable, choiceTable, planTable, rackTables, recessTable, specification, stepTable } from "./finish_tables.js";
import { cautionsOf, drawsOnce, frame, lazyPicture } from "./page.js";

const CLASS = [["finish.chromium"], ["finish.nickel_um", "finish.chromium_um", "finish.base", "finish.side", "finish.ball_mm"]]; // prettier-ignore
// decisions that stand with what they change, further down the page
const POLISH = [["finish.polish_ra_um", "finish.buff", "finish.least_thickness", "finish.wheel_mm", "finish.wheel_width", "finish.wheel_rpm_most"], ["finish.start_ra_um", "finish.grain_um", "finish.peel_factor", "finish.scratch_um", "finish.slide_mm"]]; // prettier-ignore
const RACK = [["finish.spacing", "finish.rack_width", "finish.rack_height"], ["finish.rack_kg", "finish.rack_load_kg", "finish.tank_depth", "finish.cover_mm", "finish.current_density", "finish.spine_mm2", "finish.spine_a_mm2", "finish.hook_a", "finish.rectifier_a", "finish.drag_out_ml_m2"]]; // prettier-ignore
const MEASURED = [["finish.readings_file", "finish.plan_points"], ["finish.coulometric_pct", "finish.xrf_pct"]]; // prettier-ignore
const BATHS = [["finish.bath_log_file"], ["finish.nickel_g_l", "finish.chromic_g_l", "finish.brightener_ml_kah", "finish.brightener_ml_l"]]; // prettier-ignore
const RATES = [[], ["finish.cost_chromium_vi", "finish.cost_chromium_iii", "finish.cost_zinc_nickel", "finish.cost_powder", "finish.cost_stainless"]]; // prettier-ignore
const SIDED = ["significant", "ball", "wheel"];
const PLAIN = ["thickness_left", "start_ra_um", "removed_um"];
const SIDES = ["upper", "lower"];

function make(ctx) {
  const sideId = uid("side");
  const sides = h("select", { id: sideId, onchange: () => draw() });
  const said = h("p", { class: "quiet", role: "status" });
  const act = h("p", { class: "finding-actions" });
  const hit = { face: null };
  const named = { key: "", faces: [] };
  const view = lazyPicture({ kind: "picked", panes: [{ name: "part", caption: "The part and what counts on it" }], bare: "bare part", thickness: () => ctx.book.job.sheet.thickness, under: h("div", { class: "under plating-under" }, said, act, h("p", { class: "quiet spot-key" }, "Rings: places to measure. Boxes: contacts of the rack. Thick line: border of what the job picks.")) }, (pic) => {
    pic.root.querySelector(".picture-words").prepend(h("span", { class: "pair" }, h("label", { for: sideId }, "Side"), sides));
    pic.on("pick", picked);
    pic.on("field", tell);
    draw();
  });
  const offer = h("div", { class: "take-over" });
  const faces = facesField(ctx, { faces: known, change: (list) => count(new Set(list), "Faces that count") });
  const service = serviceField(ctx);
  const asked = decisions(ctx, CLASS[0], { title: "What is asked for", more: CLASS[1] });
  asked.root.querySelector("h2").after(service.root);
  const cautions = section("Cautions");
  const spec = section("What is asked for");
  const steps = section("Polishing, step by step");
  const recesses = section("Where wheel and ball do not reach");
  const rack = section("The rack");
  const measured = section("What is measured");
  const baths = section("The baths’ book");
  const others = section("Other finishes");
  const figures = section("Figures");
  const groups = [[steps, POLISH], [rack, RACK], [measured, MEASURED], [baths, BATHS], [others, RATES]].map(([place, [first, more]]) => {
    const one = decisions(ctx, first, { title: "", more });
    one.root.classList.add("across");
    place.body.before(one.root);
    return one;
  });
  groups.at(-1).root.querySelector("summary").textContent = "Your rates";
  const lists = [["finish.grits", 0, { word: "auto" }], ["finish.rate_cm2_min", 0, { count: 2 }], ["finish.wheel_life_m2", 0, { count: 2 }], ["finish.facing", 1, { word: "auto", count: 3 }], ["finish.up", 1, { word: "auto", count: 3 }]].map(([path, group, how]) => {
    const one = numbersField(ctx, path, how);
    groups[group].root.querySelector(".more").append(one.root);
    return one;
  }); // prettier-ignore
  const parts = [faces, service, asked, ...groups, ...lists];
  const page = frame(ctx, {
    name: "finish", title: "Finish", stages: ["surface", "finish"], picture: view.box, side: [faces.root, asked.root, offer], sections: [cautions, spec, steps, recesses, rack, measured, baths, others, figures],
    print: [
      "A least thickness is owed where a ball of 20 mm touches (ISO 27830): it is put on every triangle, from both sides, and must not cut into the sheet. A wheel is a slice of such a ball. Free edges count as round; whether ball or wheel can be brought there from outside is not asked.",
      "Rough start: the sheet as rolled, orange peel by the plastic strain of the one-step solution, scratches where a wall slid over the die radius. Each step takes off the scratches of the step before, from six times the Ra of the fine end to nine times that of the coarse end of the charts; these differ by a factor of three, so the figures are bands.",
      "Places to measure are spread by farthest points over what counts, with one in each recess that counts. A reading conforms where its mean less the expanded uncertainty reaches the limit (ISO 14253-1); the share that belongs to the method does not average out.",
      "The baths’ book is a balance of Faraday’s law and drag-out. Cost bands are estimates of ours until you state your rates. Nothing here says how a bath or a wheel is run safely: local law, codes and licensed practice do.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  /** Faces of the part that is shown: all, and those that count as the job states them now. Null where they are not known. */
  function known() {
    const pic = view.picture;
    if (!pic?.numbers?.length) return null;
    const { significant, significant_points: points } = ctx.book.job.finish;
    if (!Array.isArray(significant)) return { all: pic.numbers, now: new Set(pic.numbers) };
    const key = `${pic.drawnAs}/${JSON.stringify(points)}`;
    if (named.key !== key) Object.assign(named, { key, faces: points.map((p) => pic.faces[pic.main.mesh.nearest(p)]) }); // a search over all triangles for each point
    return { all: pic.numbers, now: new Set([...significant, ...named.faces]) };
  }

  /** State the faces that count; points of the job become faces with it. */
  function count(set, name) {
    if (!set.size) return ctx.say("At least one face has to count.", true);
    const now = ctx.book.job.finish;
    const list = [...set].sort((a, b) => a - b);
    return ctx.edit({ "finish.significant": list, ...(now.significant_points.length ? { "finish.significant_points": [] } : {}) }, name);
  }

  function picked(where) {
    const pic = view.picture;
    hit.face = where && pic.faces ? pic.faces[where.triangle] : null;
    if (hit.face !== null && pic.field === "significant") toggle(hit.face);
    outline();
  }

  function toggle(face) {
    const { now } = known();
    const set = new Set(now);
    const counted = set.delete(face);
    if (!counted) set.add(face);
    return count(set, counted ? `Face ${face} does not count now: what counts` : `Face ${face} counts now: what counts`);
  }

  /** The border of what counts, the face under the hand, and the button that changes it. */
  function outline() {
    const pic = view.picture;
    const all = known();
    if (!pic || !all) return put(act);
    const some = all.now.size < all.all.length;
    const key = [ctx.book.job.finish.significant, ctx.book.job.finish.significant_points, hit.face, pic.drawnAs];
    memo(act, key, () => {
      pic.setBorders([some ? { faces: all.now, colour: "--accent" } : null, hit.face === null ? null : { faces: new Set([hit.face]), colour: "--ink" }].filter(Boolean));
      put(act, hit.face === null ? null : [`Face ${hit.face} ${all.now.has(hit.face) ? "counts" : "does not count"}. `, h("button", { type: "button", class: "word pick-face", onclick: () => toggle(hit.face) }, all.now.has(hit.face) ? `Take face ${hit.face} away` : `Let face ${hit.face} count`)]);
    });
    faces.update();
  }

  function tell() {
    const pic = view.picture;
    const name = pic.field;
    const sided = SIDED.includes(name) ? `The ${sides.value} side of the sheet is painted. ` : "";
    said.textContent = !pic.faces ? "The part has changed since this was worked: work it first, then pick faces." : name === "significant" ? `${sided}A click on a face lets it count or takes it away; Undo takes that back.` : `${sided}A click reads the values; the button then lets the face count or takes it away.`;
  }

  /** The eye stands on the side that is painted. */
  function face(pic, side) {
    const n = pic.main.mesh.crossed;
    let up = 0;
    for (let i = 2; i < n.length; i += 3) up += n[i];
    const wanted = (up >= 0) === (side === "upper") ? 1 : -1;
    pic.main.view.el = wanted * Math.abs(pic.main.view.el || 32);
  }

  function fieldsOf(f, s, side) {
    const from = f ?? s;
    const load = (name) => () => data.cell(from.stage, from.key, "part", name);
    const have = from.meshes.part.cell;
    const sided = SIDED.filter((n) => have[`${n}_${side}`]).map((name) => ({ name, point: null, range: name === "significant" ? [-0.5, 1.5] : [0, 1], cell: load(`${name}_${side}`) }));
    const limits = f ? { thickness_left: [f.values.thickness_least, "least wanted"], start_ra_um: [ctx.book.job.finish.polish_ra_um, "wanted before plating"] } : {};
    return [...sided, ...PLAIN.filter((n) => have[n]).map((name) => {
      const field = { name, point: null, limit: limits[name] };
      field.cell = async () => {
        const values = await load(name)();
        // the limit is on the ruler even where all of the part is far from it
        if (field.limit) field.range = values.reduce(([lo, hi], v) => [Math.min(lo, v), Math.max(hi, v)], [field.limit[0], field.limit[0]]);
        return values;
      };
      return field;
    })]; // prettier-ignore
  }

  async function draw() {
    const [f, s, t] = ["finish", "surface", "tipping"].map((name) => ctx.result(name));
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    const from = [f, s, t].find((r) => r?.meshes?.part);
    if (!from) return pic.say(ctx.stage("tipping").state === "refused" ? "There is no part to finish." : "The picture appears when the finish has been worked.");
    const shown = (f ?? s)?.values.side ?? "upper";
    memo(sides, [from.key, shown], () => put(sides, [shown, ...SIDES.filter((x) => x !== shown)].map((x) => h("option", { value: x }, `${x}${x === shown && (f ?? s) ? ", shown" : ""}`))));
    sides.parentNode.hidden = !(f ?? s);
    const side = sides.value;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-finish-${side}`;
    return once(`${from.stage}/${from.key}/${t?.key}/${side}`, async (wanted) => {
      const get = (r) => Promise.all([data.points(r.stage, r.key, "part"), data.triangles(r.stage, r.key, "part")]);
      const [[points, triangles], edges, numbers, now] = await Promise.all([get(from), t?.arrays?.feature_edges ? data.array("tipping", t.key, "feature_edges") : [], t?.meshes?.part?.cell?.face ? data.cell("tipping", t.key, "part", "face") : null, t?.meshes?.part ? data.points("tipping", t.key, "part") : null]);
      if (!wanted()) return;
      pic.say("");
      const same = now?.length === points.length && now.every((v, k) => Math.abs(v - points[k]) < 1e-4);
      const turned = pic.side !== side;
      const fresh = pic.drawnAs !== `${from.stage}/${from.key}/${t?.key}`;
      pic.drawnAs = `${from.stage}/${from.key}/${t?.key}`;
      pic.side = side;
      if (fresh) {
        pic.setMesh("part", points, triangles, [same ? edges : []]);
        pic.setFaces(same ? numbers : null);
        pic.setMarks(f ? marksOf(f) : []);
        hit.face = null;
      }
      if (turned && (f ?? s)) {
        face(pic, side);
        pic.fitAll();
      }
      await pic.setFields((f ?? s)?.meshes?.part ? fieldsOf(f, s, side) : [], "significant");
      outline();
      tell();
    });
  }

  const show = (at, text) => view.promise.then((pic) => {
    pic.mark({ points: [at], label: text });
    pic.root.querySelector(".stage").scrollIntoView({ block: "nearest" });
  }); // prettier-ignore

  async function rackOf(box, r) {
    const asked = box.memoKey;
    const t = ctx.result("tipping");
    const edges = t?.arrays?.feature_edges ? [...(await data.array("tipping", t.key, "feature_edges"))] : [];
    const [points, triangles] = await Promise.all([data.points("finish", r.key, "part"), data.triangles("finish", r.key, "part")]);
    const { Mesh } = await import("../view3d/geometry.js");
    if (box.memoKey !== asked) return; // another result came meanwhile
    const lines = [...new Mesh(points, triangles).border, ...edges];
    const c = r.tables.contacts;
    const drawing = rackFront(r.values, r.tables, lines, c.x_mm.map((x, i) => [x, c.y_mm[i], c.z_mm[i]]), ctx.book.job.finish); // prettier-ignore
    put(box, h("div", { class: "plot-place wide" }, drawing), h("p", { class: "quiet" }, "Dots are contacts, the dashed frame is the room for parts as it is stated now."), rackTables(r, show));
  }

  function update() {
    page.update();
    for (const one of parts) one.update();
    const r = ctx.result("finish");
    const v = r?.values;
    const { finish } = ctx.book.job;
    page.verdict(v ? verdict(v, finish) : "");
    memo(offer, [r?.key ?? "", ctx.stage("finish")?.state, v ? Object.keys(v.take_over.fields).map((p) => p.split(".").reduce((o, k) => o?.[k], ctx.book.job)) : ""], () => put(offer, v ? offered(ctx, "finish", r, "The rack, for plating, dip and line") : null));
    cautionsOf(cautions, r, "Before anyone works at wheel or tank");
    fromResult(spec.body, r, (box) => put(box, specification(v)));
    memo(steps.body, [r?.key ?? "none", finish.polish_ra_um], (box) => put(box, r ? [h("div", { class: "plot-place wide" }, stepsDrawing(v, finish.polish_ra_um)), stepTable(v)] : h("p", { class: "quiet" }, "Not worked yet.")));
    fromResult(recesses.body, r, (box) => put(box, recessTable(r, show)));
    memo(rack.body, [r?.key ?? "none", finish.rack_width, finish.rack_height, finish.cover_mm, finish.tank_depth, finish.spacing], (box) => (r ? rackOf(box, r) : put(box, h("p", { class: "quiet" }, "Not worked yet."))));
    fromResult(measured.body, r, (box) => put(box, v.readings ? h("div", { class: "plot-place wide" }, readingsDrawings(v.readings.places)) : h("p", {}, "No readings are given yet: name a CSV file of the job’s folder with the columns place, method, um."), planTable(v, show)));
    fromResult(baths.body, r, (box) => put(box, v.book ? bookTable(v) : h("p", {}, "No book is given yet: name a CSV file of the job’s folder with the columns date, bath, Ah, m2 and what was added.")));
    fromResult(others.body, r, (box) => put(box, h("div", { class: "plot-place wide" }, costBands(v.alternatives)), choiceTable(v)));
    fromResult(figures.body, r, (box) => put(box, figureList(r.figures ?? [])));
    draw().then?.(outline);
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

/** Contacts of the rack and places of the thickness plan. */
function marksOf(r) {
  const c = r.tables.contacts;
  return [...r.values.spots.map((p) => ({ place: p.at, text: p.name, kind: "measure" })), ...c.x_mm.map((x, i) => ({ place: [x, c.y_mm[i], c.z_mm[i]], text: String(i + 1), kind: "contact" }))];
}

function verdict(v, finish) {
  const words = v.readings ? Object.entries(v.readings.layers).map(([layer, x]) => `${layer} ${x.verdict === "does not" ? "does not conform" : x.verdict === "conforms" ? "conforms" : "is not proven"}`).join(", ") : ""; // prettier-ignore
  return `${v.class} over ${num(v.significant_mm2 / 100)} cm²; ${num(v.steps.length)} steps to ${num(v.ends_ra_um[1])} µm Ra (${num(finish.polish_ra_um)} wanted), ${num(v.thickness_left_min)} mm of sheet left at the thinnest; ${num(v.rack.parts)} part${v.rack.parts > 1 ? "s" : ""} on a rack${words ? `; measured: ${words}` : ""}.`;
}

export default { name: "finish", title: "Finish", stages: ["surface", "finish"], reads: ["part", "tipping", "surface", "finish"], make };
