// Plating: thickness and current density on the parts of a rack, the rack in its tank, what shields bring, where the anodes had better hang.

import { data } from "../api.js";
import { h, memo, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, section } from "../parts.js";
import { offered } from "../plots/offer.js";
import { rackDrawing } from "../plots/rack_drawing.js";
import { besideOf, boxOfPoints, edgesOf, partsOf, sideFields } from "../view3d/rack.js";
import { fieldOf, fixed, num, quantity } from "../words.js";
import { drawsOnce, frame, lazyPicture, statedIn } from "./page.js";
import { bodyTable, depositTable } from "./plating_lists.js";
import { bodiesTable, layerTable, partTable, triedTable } from "./plating_tables.js";

const FIRST = ["plating.columns", "plating.rows", "plating.spacing", "plating.anode_distance", "plating.significant"];
const LOOKS = [[62, 18, "Corner"], [90, 0, "Front"], [-90, 0, "Back"], [90, 90, "From above"]]; // prettier-ignore

function make(ctx) {
  const id = uid("look");
  const sideId = uid("side");
  const chooser = h("select", { id, onchange: () => draw() });
  const sides = h("select", { id: sideId, onchange: () => draw() });
  const said = h("p", { class: "quiet plating-said", role: "status" });
  const view = lazyPicture({ kind: "moving", panes: [{ name: "part", caption: "The plated rack", arrow: false }], bare: "bare metal", under: h("div", { class: "under plating-under" }, said) }, (pic) => {
    pic.root.querySelector(".picture-words").prepend(h("span", { class: "pair" }, h("label", { for: id }, "Look at"), chooser), h("span", { class: "pair" }, h("label", { for: sideId }, "Side"), sides));
    pic.cutSelect.parentNode.hidden = true;
    put(pic.root.querySelector(".views"), h("button", { type: "button", class: "word", onclick: () => pic.whole() }, "All of it"), LOOKS.map(([az, el, text]) => h("button", { type: "button", class: "word", onclick: () => look(pic, az, el) }, text)));
    Object.assign(pic.main.view, { az: LOOKS[0][0], el: LOOKS[0][1] });
    pic.on("field", (name) => range(pic, name));
    draw();
  });
  const stated = statedIn(ctx, "plating");
  const offer = h("div", { class: "take-over" });
  const side = decisions(ctx, FIRST, { title: "The rack", more: stated.filter((path) => !FIRST.includes(path)) });
  const deposits = section("Deposits");
  const parts = section("Thickness by part and side");
  const tank = section("The rack in its tank");
  const bodies = section("Shields, thieves and bipolar metal");
  const anodes = section("A better place of the anodes");
  const figures = section("Figures");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "plating", title: "Plating", stages: ["plating"], also: ["anodes"], picture: view.box, side: [offer, side.root], sections: [cautions, deposits, parts, tank, bodies, anodes, figures],
    print: [
      "The potential in the stirred bath obeys Laplace’s equation; at the metal the current density rises with the potential step by the bath’s own kinetics. Solved on tetrahedra in three dimensions, every part of the rack and both of its sides; thickness by Faraday’s law with the bath’s efficiency at that current density.",
      "The sheet is a surface without thickness. At a free rim the current has a peak without an end: what is flagged there is the mean over the last row of triangles, and the finer the row the higher. So the colours end where 95 % of the surface lies below.",
      "Not covered: supply of ions, agitation, levelling, hooks and contacts, the change of shape by the deposit. Bath data are typical ones unless you state your own. Nothing here says how a bath is run safely.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  function look(pic, az, el) {
    Object.assign(pic.main.view, { az, el });
    pic.fitAll();
  }

  /** What the colours leave out is said. */
  function range(pic, name) {
    const field = pic.fields.find((f) => f.name === name);
    const spec = name ? fieldOf(name) : null;
    said.textContent = field?.top ? `The ${sides.value} side of the sheet is painted. The colours end at ${quantity(field.top, spec.unit, 3)}, below which 95 % of all surface lies; the rest are rims, whose peak is flagged.` : "";
  }

  async function draw() {
    const r = ctx.result("plating");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    if (!r?.meshes?.part_1) return pic.say(ctx.stage("plating").state === "refused" ? "There is no plated rack to show." : "The picture appears when the plating has been worked: half a minute or more. Press Work below.");
    const names = Object.keys(r.meshes).filter((n) => n.startsWith("part_")).sort((a, b) => Number(a.slice(5)) - Number(b.slice(5))); // prettier-ignore
    memo(chooser, names, () => put(chooser, h("option", { value: "rack" }, "all parts of the rack"), h("option", { value: "tank" }, "the rack in its tank"), names.map((n) => h("option", { value: n }, `part ${n.slice(5)}`))));
    memo(sides, [r.values.significant_side], () => put(sides, sidesOf(r.values).map(([value, text]) => h("option", { value }, text))));
    const [what, which] = [chooser.value, sides.value];
    pic.fileStem = `${ctx.book.job.job.number || "job"}-plating-${what}-${which}`;
    return once(`${r.key}/${what}/${which}`, async (wanted) => {
      const own = what.startsWith("part_") ? [what] : names;
      const [mesh, one, beside] = await Promise.all([partsOf(r, own), partsOf(r, [names[0]]), besideOf(r)]);
      if (!wanted()) return;
      pic.say("");
      const inTank = what === "tank";
      const frameNow = inTank ? r.values.bath : boxOfPoints(mesh.points);
      const fresh = pic.shownAs !== what;
      pic.shownAs = what;
      pic.shown = new Set(inTank ? beside.map((b) => b.name) : []);
      pic.setTools(beside);
      pic.setBody(mesh.points, mesh.triangles, frameNow, fresh);
      if (inTank) pic.main.addLines(edgesOf(r.values.bath), "--ink", 0.8);
      await pic.setFields(sideFields(r, own, which, one, names), `${r.values.layers[0].name}_um`);
    });
  }

  function update() {
    page.update();
    side.update();
    const [r, a] = [ctx.result("plating"), ctx.result("anodes")];
    const v = r?.values;
    const { plating } = ctx.book.job;
    page.verdict(v ? verdict(v) : "");
    memo(offer, [a?.key ?? "", ctx.stage("anodes")?.state, plating], () => put(offer, a ? offered(ctx, "anodes", a, "A better place of the anodes") : null));
    memo(deposits.body, [r?.key ?? "", plating.layers], (box) => put(box, depositTable(ctx, plating.layers), r ? layerTable(r) : h("p", { class: "quiet" }, "Not worked yet.")));
    fromResult(parts.body, r, (box) => put(box, partTable(r)));
    memo(tank.body, [r?.key ?? "none", plating.bodies], (box) => (r ? tankOf(box, r) : put(box, h("p", { class: "quiet" }, "Not worked yet."))));
    memo(bodies.body, [r?.key ?? "", plating.bodies], (box) => put(box, bodyTable(ctx, plating.bodies), r ? bodiesTable(r) : null));
    memo(anodes.body, [a?.key ?? "", ctx.stage("anodes"), ctx.book.working?.stage ?? ""], (box) => put(box, searchOf(ctx, a)));
    fromResult(figures.body, r, (box) => put(box, figureList(r.figures ?? [])));
    memo(cautions.body, [v?.layers.map((l) => l.bath) ?? plating.layers.map((l) => l.bath)], (box) => heed(box, v?.layers.map((l) => l.bath) ?? plating.layers.map((l) => l.bath)));
    draw();
  }

  async function tankOf(box, r) {
    const asked = box.memoKey;
    const names = Object.keys(r.meshes).filter((n) => n.startsWith("part_"));
    const points = await Promise.all(names.map((n) => data.points("plating", r.key, n)));
    if (box.memoKey !== asked) return; // another state came meanwhile
    const taken = ctx.book.job.plating.bodies; // as stated: a result keeps their meshes only
    put(box, h("div", { class: "plot-place wide" }, rackDrawing(r.values, points.map(boxOfPoints), taken)), h("p", { class: "quiet" }, "Boxes of the parts, anodes tinted, bodies as they are stated now; mm. The chain line is the middle of the rack, x along it, y towards the front anodes, z up."));
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

/** The significant side first, each side with what it is. */
function sidesOf(v) {
  const name = (s) => [s, `${s}${v.significant_side === s ? ", significant" : ""}${v.outer_side === s ? ", looks out" : ""}`];
  return v.significant_side === "lower" ? [name("lower"), name("upper")] : [name("upper"), name("lower")];
}

function verdict(v) {
  const one = (l) => `${l.name} ${num(l.min_um)} to ${num(l.max_um)} µm in ${num(l.minutes)} min, mean ${num(l.mean_over_min)} times the least`;
  return `On the significant surface of ${num(v.parts)} part${v.parts > 1 ? "s" : ""}: ${v.layers.map(one).join("; ")}.`;
}

/** The search for the anodes: what was tried, and the button that begins it. */
function searchOf(ctx, a) {
  const known = ctx.stage("anodes");
  if (!known) return h("p", { class: "quiet" }, "This desk has no search for the anodes.");
  const v = a?.values;
  return [
    v ? h("p", {}, v.best ? `Of ${num(v.tries)} places the best lowers the mean over the thinnest hundredth from ${num(v.before)} to ${num(v.after)}: ${fixed(v.gain_pct, 1)} % less.` : `None of ${num(v.tries)} places is better than the stated one: the mean is ${num(v.before)} times the thinnest hundredth.`) : h("p", { class: "quiet" }, "Distance, row and depth of the anodes can be tried on a coarse mesh, one solution a try; that takes minutes."),
    a ? triedTable(a) : null,
    a && known.state !== "current" ? h("p", { class: "quiet" }, `This search is out of date: ${known.because}.`) : null,
    known.state === "refused" ? h("p", {}, known.because) : null,
    known.state === "current" || ctx.book.working ? null : h("button", { type: "button", class: "do", onclick: () => ctx.work(["anodes"]) }, "Look for a better place"),
  ];
}

let cautionText = null;

/** Cautions of plating, and those of chromium(VI) where a bath has it. */
async function heed(box, baths) {
  const asked = box.memoKey;
  cautionText ??= fetch(new URL("../plating_cautions.txt", import.meta.url)).then((r) => r.text());
  const lines = (await cautionText).split("\n").filter((t) => t && !t.startsWith("#"));
  if (box.memoKey !== asked) return;
  const cut = lines.findIndex((t) => t.startsWith("["));
  const hexavalent = baths.some((b) => /chromium-vi|chromic/.test(b));
  const all = [...lines.slice(0, cut), ...(hexavalent ? lines.slice(cut + 1) : [])];
  put(box, h("details", { class: "cautions", open: false }, h("summary", {}, `Before anyone works at the tank: ${all.length} cautions${hexavalent ? ", chromium(VI) among them" : ""}`), h("ul", {}, all.map((t) => h("li", {}, t)))));
}

export default { name: "plating", title: "Plating", stages: ["plating"], reads: ["part", "tipping", "surface", "plating"], looks: ["anodes"], also: ["anodes"], slow: true, make };
