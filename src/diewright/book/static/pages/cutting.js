// Cutting: the drawn sheet with its cut lines, scrap, choppers and steels; what the cuts ask of punches, springs and press.

import { data } from "../api.js";
import { h, memo, put, s, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, section } from "../parts.js";
import { cutForce } from "../plots/cut_force.js";
import { flatBlank } from "../plots/cut_flat.js";
import { edgeSection } from "../plots/edge_section.js";
import { offered } from "../plots/offer.js";
import { rowsOf } from "../view3d/strokes.js";
import { fixed, num, words } from "../words.js";
import { gathered, lookOf, LOOKS, styleOf } from "./cutting_layers.js";
import { lineTable } from "./cutting_lists.js";
import { cutTable, developedTables, edgeFacts, operationTable, pieceTable, punchTables, scrapFacts, springTable, steelTables, webTable } from "./cutting_tables.js";
import { drawsOnce, fieldsOf, frame, lazyPicture, statedIn } from "./page.js";

const FIRST = ["trim.lean_most", "cutting.shear", "cutting.shear_depth", "cutting.stagger", "cutting.wear", "scrap.piece_max", "scrap.drop_height"];
const READS = ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "trim", "cutting", "scrap"];

function make(ctx) {
  const look = h("select", { id: uid("look"), onchange: () => show() }, LOOKS.map(([value, text]) => h("option", { value }, text)));
  const key = h("div", { class: "under cut-key" });
  const view = lazyPicture({ kind: "cuts", panes: [{ name: "part", caption: "The drawn sheet and its cuts" }], bare: "bare metal", under: key, thickness: () => ctx.book.job.sheet.thickness }, (pic) => {
    pic.root.querySelector(".picture-words").prepend(h("span", { class: "pair" }, h("label", { for: look.id }, "Look at"), look));
    draw();
  });
  const known = (path) => path in ctx.book.fields;
  const first = FIRST.filter(known);
  const more = ["trim", "cutting", "scrap"].flatMap((t) => statedIn(ctx, t)).filter((path) => !first.includes(path));
  const side = decisions(ctx, first, { title: "How it is cut", more });
  const force = section("Force over the way");
  const cuts = section("Cuts");
  const stated = section("Stated cut lines");
  const punches = section("Punches and die buttons");
  const springs = section("Springs of the strippers");
  const edge = section("The cut edge");
  const scrap = section("Scrap");
  const steels = section("Trim steels");
  const flat = section("The flat blank");
  const numbers = section("Figures");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "cutting", title: "Cutting", stages: ["trim", "cutting", "scrap"], also: ["developed"], picture: view.box, side: first.length ? side.root : [], sections: [cautions, force, cuts, stated, punches, springs, edge, scrap, steels, flat, numbers],
    print: [
      "The sheet that is cut is the one that the one-step solution gives, up to the blank’s edge as far as that is known without a tryout. A steel goes straight down where the sheet leans no more than the limit, else along the direction that meets the whole line best, else by several cams.",
      "Force: shear strength times the wall that is being parted, point by point along the line over the way of the steel, so that the lean of the sheet, ground shear and stagger come out by themselves. A snap-through is what is let go where the curve breaks off.",
      "Scrap pieces are divided by choppers laid where the line neither turns nor leans; the directions in which a piece comes off the post are found exactly, as intervals of angles. Friction, oil and tumbling are not in it.",
      "Edge and burr are shares of handbooks for sharp steels with the clearance stated here; worn edges give more burr.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);
  let scene = null;
  const span = () => view.picture.main.mesh?.radius ?? 1;
  let showing = "";

  async function draw() {
    const r = ctx.result("trim");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-cutting`;
    if (!r?.meshes?.drawn) return pic.say(ctx.stage("trim").state === "refused" ? "There is no drawn sheet to cut." : "The picture appears when the cut lines have been worked.");
    const all = ["trim", "cutting", "scrap", "faces"].map((n) => ctx.result(n)?.key ?? "").join("/");
    return once(all, async (wanted) => {
      const [points, triangles, inScrap] = await Promise.all([data.points("trim", r.key, "drawn"), data.triangles("trim", r.key, "drawn"), r.meshes.drawn.cell?.scrap ? data.cell("trim", r.key, "drawn", "scrap") : null]);
      const found = await gathered(ctx, r);
      if (!wanted()) return;
      scene = { ...found, r, points, triangles, inScrap };
      pic.say("");
      showing = "";
      await show();
    });
  }

  /** Lay the look that is chosen over the sheet. */
  async function show() {
    const pic = view.picture;
    if (!scene || !pic) return;
    const { r, points, triangles, inScrap } = scene;
    const part = look.value !== "operations" && look.value !== "lean" && look.value !== "thickness" && inScrap ? "kept" : "whole";
    if (showing !== part) {
      showing = part;
      const cells = part === "kept" ? cellsOf(inScrap) : null;
      pic.setMesh("part", points, cells ? Uint32Array.from({ length: cells.length * 3 }, (_, i) => triangles[3 * cells[Math.floor(i / 3)] + (i % 3)]) : triangles);
      const fields = fieldsOf(data, r, "drawn", ["thickness", "lean_deg"]);
      await pic.setFields(fields.map((f) => ({ ...f, cell: cells && f.cell ? () => f.cell().then((all) => Float32Array.from(cells, (i) => all[i])) : f.cell })));
    }
    const made = lookOf(scene, look.value, span(), { lean: r.values.limits?.most ?? ctx.book.job.trim.lean_most, thickness: ctx.book.job.sheet.thickness });
    await pic.setCuts(made);
    const operations = [...new Set(r.values.cuts.map((c) => c.operation))];
    put(key, look.value === "operations" ? h("p", { class: "cut-styles" }, operations.map(styleKey), hasChoppers() ? accentKey("choppers, cams") : accentKey("cams"), lineKey("3 3", "edge of the drawn sheet"), lineKey("9 3 2 3", "punch opening")) : h("p", { class: "quiet" }, made.said));
  }

  const hasChoppers = () => Boolean(scene?.scrap?.tables?.choppers?.x_mm?.length);

  function place(at, label) {
    view.promise.then((pic) => {
      pic.mark({ points: [at], label });
      view.box.scrollIntoView({ block: "nearest" });
    });
  }

  function placePiece(number, label) {
    look.value = "scrap";
    show().then(() => {
      const found = scene?.outlines[scene.pieces.indexOf(number)];
      if (found?.length) place(found[0], label);
    });
  }

  function update() {
    page.update();
    side.update();
    const [t, c, w, d, blank] = ["trim", "cutting", "scrap", "developed", "blank"].map((n) => ctx.result(n));
    page.verdict(verdict(c, w, t));
    fromResult(force.body, c, (box) => forceOf(box, c));
    memo(cuts.body, [t?.key ?? "", c?.key ?? ""], (box) => put(box, t ? [cutTable(t, c, place), c ? operationTable(c) : null, c?.values.webs?.length ? webTable(c) : null, leftOut(t)] : h("p", { class: "quiet" }, "Not worked yet.")));
    const lines = ctx.book.job.trim?.line;
    stated.show(Boolean(lines));
    memo(stated.body, lines ?? [], (box) => lines && put(box, lineTable(ctx, lines)));
    punches.show(!c || Boolean(c.tables.punches?.cut?.length));
    fromResult(punches.body, c, (box) => put(box, punchTables(c)));
    fromResult(springs.body, c, (box) => put(box, springTable(c)));
    fromResult(edge.body, c, (box) => edgeOf(box, c));
    fromResult(scrap.body, w, (box) => put(box, h("div", { class: "columns" }, scrapFacts(w)), w.tables.pieces?.piece?.length ? pieceTable(w, placePiece) : h("p", { class: "quiet" }, "Nothing is cut off in pieces: the ring is bare, or there is none."), scrapWords(w)));
    fromResult(steels.body, w, (box) => put(box, steelTables(w)));
    memo(flat.body, [t?.key ?? "", blank?.key ?? "", d?.key ?? "", ctx.stage("developed")?.state ?? "", ctx.book.working?.stage ?? ""], (box) => flatOf(box, t, blank, d));
    const figures = [...(t?.figures ?? []), ...(c?.figures ?? []), ...(w?.figures ?? [])];
    numbers.show(figures.length > 0);
    memo(numbers.body, [t?.key ?? "", c?.key ?? "", w?.key ?? ""], (box) => put(box, figureList(figures)));
    const all = [...new Set([...(c?.values.cautions ?? []), ...(w?.values.cautions ?? [])])];
    cautions.show(all.length > 0);
    memo(cautions.body, all, (box) => put(box, h("details", { class: "cautions", open: false }, h("summary", {}, `Before anyone works at the tool: ${all.length} cautions`), h("ul", {}, all.map((one) => h("li", {}, one))))));
    draw();
  }

  async function flatOf(box, t, blank, d) {
    const array = async (r, name) => (r?.arrays?.[name] ? rowsOf(await data.array(r.stage, r.key, name), r.arrays[name].shape[1]) : null);
    if (!t) return put(box, h("p", { class: "quiet" }, "Not worked yet."));
    const [outline, developed, ...lines] = await Promise.all([array(blank, "outline"), array(d, "outline"), ...t.values.cuts.map((c) => array(t, `flat_${c.id}`))]);
    const known = ctx.stage("developed");
    put(
      box,
      h("div", { class: "plot-place wide" }, flatBlank({ outline: outline ?? developed, developed: developed && outline ? developed : null, cuts: t.values.cuts.map((c, k) => ({ id: c.id, kind: c.kind, points: lines[k] ?? [] })), rolling: ctx.book.job.sheet.rolling_direction })),
      h("p", { class: "quiet" }, `Cut lines laid back on the blank by the one-step solution; mm.${d ? " The developed outline, found by tryouts, in the accent colour." : ""}`),
      d ? developedTables(d) : null,
      d && known?.state !== "current" ? h("p", { class: "quiet" }, `The developed blank is out of date: ${known.because}.`) : null,
      d?.values.take_over ? offered(ctx, "developed", d, "The developed blank") : null,
      known && known.state !== "current" && !ctx.book.working ? h("p", { class: "finding-actions" }, h("button", { type: "button", class: "do", onclick: () => ctx.work(["developed"]) }, "Work the developed blank"), h("span", { class: "quiet" }, "The outline whose formed edge falls on the wanted line, so that the trim can be left out; it takes tryouts, minutes.")) : null,
    ); // prettier-ignore
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

const cellsOf = (inScrap) => {
  const out = [];
  for (let i = 0; i < inScrap.length; i++) if (inScrap[i] < 0.5) out.push(i);
  return out;
};

const lineKey = (dash, text, kind = "") => h("span", { class: "cut-style" }, s("svg", { viewBox: "0 0 52 14", width: 52, height: 14, "aria-hidden": "true" }, s("path", { class: `cut-swatch ${kind}`, d: "M4 7H48", "stroke-dasharray": dash || null })), text);
const styleKey = (operation) => lineKey(styleOf(operation).dash.map((d) => d * 1.6).join(" "), operation, "bold");
const accentKey = (text) => lineKey("", text, "accent");

function verdict(c, w, t) {
  if (!c) return t ? `${t.values.cuts.length} cuts.` : "";
  const o = c.values.operations.find((one) => one.name === c.values.heaviest) ?? c.values.operations[0];
  if (!o) return "Nothing is cut.";
  const scrap = w ? `; ${w.values.pieces ? `${num(w.values.pieces)} pieces of scrap, ${num(w.values.fall)} with a way out` : "no scrap in pieces"}` : "";
  return `${words(o.name)}: ${num(o.slide_kN)} kN on the slide, ${fixed(o.use_pct, 0)} % of what the press gives there; the break lets ${num(o.released_kN)} kN go${scrap}.`;
}

/** What was left out of the cuts and what has no place on the blank. */
function leftOut(t) {
  const out = Object.entries(t.values.left_out ?? {});
  return out.length ? h("p", { class: "quiet" }, `Left out: ${out.map(([id, why]) => `${words(id)} (${why})`).join("; ")}.`) : null;
}

function scrapWords(w) {
  const lines = [...Object.entries(w.values.bare ?? {}).map(([id, mm]) => `${words(id)}: ${num(mm)} mm of the line lie off the sheet.`), ...Object.entries(w.values.unknown ?? {}).map(([id, why]) => `${words(id)}: ${why}`), ...Object.entries(w.values.thinnest ?? {}).map(([id, mm]) => `Narrowest ring along ${words(id).toLowerCase()}: ${num(mm)} mm.`)];
  return lines.length ? h("ul", { class: "notes" }, lines.map((l) => h("li", {}, l))) : null;
} // prettier-ignore

/** The curve of an operation or of a single cut, chosen. */
function forceOf(box, c) {
  const { operations, cuts } = c.values;
  const choices = [...operations.map((o, k) => ({ value: `operation_${k + 1}`, text: `all of the ${o.name}`, o })), ...cuts.map((one) => ({ value: one.id, text: words(one.id) }))].filter((o) => c.tables[`force_${o.value}`]);
  if (!choices.length) return put(box, h("p", { class: "quiet" }, "No force curve was kept."));
  const place = h("div", { class: "plot-place wide" });
  const id = uid("force");
  const start = choices.find((o) => o.o?.name === c.values.heaviest) ?? choices[0];
  const draw = (value) => put(place, cutForce(c.tables[`force_${value}`], { released: choices.find((o) => o.value === value)?.o?.released_kN ?? null }));
  const choose = h("select", { id, onchange: (e) => draw(e.target.value) }, choices.map((o) => h("option", { value: o.value, selected: o === start }, o.text)));
  put(box, h("p", { class: "picture-words" }, h("span", { class: "pair" }, h("label", { for: id }, "Force of"), choose)), place);
  draw(start.value);
} // prettier-ignore

/** The drawing of one edge, chosen. */
function edgeOf(box, c) {
  const list = c.values.cuts;
  const id = uid("edge");
  const paper = h("div", { class: "plot-place wide" });
  const beside = h("div", {});
  const draw = (k) => [put(paper, edgeSection(list[k])), put(beside, edgeFacts(list[k]))];
  if (!list.length) return put(box, h("p", { class: "quiet" }, "Nothing is cut."));
  put(
    box,
    h("p", { class: "picture-words" }, h("span", { class: "pair" }, h("label", { for: id }, "Edge of"), h("select", { id, onchange: (e) => draw(Number(e.target.value)) }, list.map((one, k) => h("option", { value: k }, words(one.id)))))),
    h("div", { class: "edge-pair" }, paper, beside),
  ); // prettier-ignore
  draw(0);
}

export default { name: "cutting", title: "Cutting", stages: ["trim", "cutting", "scrap"], reads: READS, looks: ["developed"], also: ["developed"], make };
