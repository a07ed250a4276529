// Proposal: faces, draw bead and blankholder force found by computation, what was tried for it, and the sheet as the best setting draws it.

import { data } from "../api.js";
import { h, memo, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, figureList, fromResult, grid, section } from "../parts.js";
import { offered } from "../plots/offer.js";
import { triedPicture } from "../plots/tried.js";
import { fixed, num, quantity, words } from "../words.js";
import { drawsOnce, fieldsOf, frame, lazyPicture, statedIn } from "./page.js";

const FIELDS = ["margin_pct", "thinning_pct", "major", "minor", "plastic_strain", "stress", "thickness", "pressure", "sliding", "wrinkle", "wrinkle_height"];

function make(ctx) {
  const view = lazyPicture({ panes: [{ name: "part", caption: "The sheet drawn with the best setting" }], bare: "bare sheet", thickness: () => ctx.book.job.sheet.thickness }, () => draw());
  const plot = h("div", { class: "plot-place wide" });
  const key = h("p", { class: "quiet window-key" }, "A square is a one-step solution, a circle a coarse tryout; crossed out is what still has a stop finding. The double ring is the setting proposed.");
  const offer = h("div", { class: "take-over" });
  const side = decisions(ctx, statedIn(ctx, "proposal"), { title: "How far it may go" });
  const found = section("What is proposed");
  const tried = section("What was tried");
  const page = frame(ctx, {
    name: "proposal", title: "Proposal", stages: ["proposal"], picture: view.box, side: [offer, side.root], sections: [tried, found],
    print: [
      "From quick to slow: first the blankholder surfaces that can be made at all, then one-step solutions under several blankholder forces, which tell how much restraint the part bears, then coarse tryouts of a search without derivatives over force, die radius and draw bead. A run that tears asks for less restraint, one that wrinkles or stays loose for more.",
      "What the job states stays as it is; only what is left open is proposed. The tryouts are coarse: work the tryout at its own mesh before steel is cut.",
      "The score adds 1000 for each stop, 100 for wrinkles above their limit, 10 for each percent point of margin that is missing and 1 for each other finding that asks for a decision; the least is best.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  async function draw() {
    const r = ctx.result("proposal");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-proposal`;
    if (!r?.meshes?.drawn) return pic.say(r ? "No setting was drawn to its end: there is no sheet to show." : ctx.stage("proposal").state === "refused" ? "There is no proposal to show." : "The picture appears when the proposal has been worked: one-step solutions, then coarse tryouts, one after the other. Press Work below.");
    return once(r.key, async () => {
      const [points, triangles] = await Promise.all([data.points(r.stage, r.key, "drawn"), data.triangles(r.stage, r.key, "drawn")]);
      pic.say("");
      pic.setMesh("part", points, triangles, []);
      await pic.setFields(fieldsOf(data, r, "drawn", FIELDS), "margin_pct");
    });
  }

  function update() {
    page.update();
    side.update();
    const r = ctx.result("proposal");
    const v = r?.values;
    page.verdict(v ? verdict(v, ctx.book.job) : "");
    memo(offer, [r?.key ?? "", ctx.stage("proposal")?.state, v ? Object.keys(v.take_over?.fields ?? {}).map((p) => p.split(".").reduce((o, k) => o?.[k], ctx.book.job)) : []], () => put(offer, r ? offered(ctx, "proposal", r, v.stops > 0 ? "The nearest found" : "The proposal") ?? h("p", { class: "quiet" }, "The job states everything it would propose.") : null));
    fromResult(tried.body, r, (box) => {
      const rows = rowsOf(r);
      put(box, plot, key, triedTable(r, rows));
      put(plot, triedPicture(rows, { wanted: ctx.book.job.blank.margin_wanted, base: v.base_kN }));
    });
    fromResult(found.body, r, (box) => put(box, h("div", { class: "columns" }, facts(setting(v)), r.figures?.length ? figureList(r.figures) : null)));
    draw();
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => pic.mark(f.place)), view };
}

const bead = (mm) => (mm > 0 ? `a round draw bead ${num(mm)} mm high` : "no draw bead");

function verdict(v, job) {
  const what = `${num(v.force_kN)} kN on a ${v.blankholder} blankholder, die radius ${num(v.die_radius)} mm, ${bead(v.bead_mm)}`;
  const margin = `margin to necking ${fixed(v.margin_min_pct, 1)} %, wanted ${quantity(job.blank.margin_wanted, "%")}`;
  if (v.stops > 0) return `No setting tried is without a stop. Nearest: ${what}; ${margin}.`;
  return `${what.charAt(0).toUpperCase()}${what.slice(1)}: ${margin}.`;
}

const setting = (v) => [
  ["Blankholder force", v.force_kN, "kN"], ["Force of the handbook", v.base_kN, "kN"], ["Blankholder surface", words(v.blankholder)], ["Die radius", v.die_radius, "mm"], ["Draw bead", v.bead_mm > 0 ? v.bead_mm : "none", v.bead_mm > 0 ? "mm" : ""],
  ["Least margin to necking", v.margin_min_pct, "%"], ["Most thinning", v.thinning_max_pct, "%"], ["Highest wrinkle", v.wrinkle_height_max, "mm"], ["Stop findings left", v.stops], ["Coarse tryouts run", v.tryouts],
]; // prettier-ignore

const close = (a, b) => Math.abs(a - b) <= 1e-6 * Math.max(1, Math.abs(a), Math.abs(b));

/** Rows of what was tried, with the best one marked and what is written at each place of the plot. */
function rowsOf(r) {
  const { tables, values: v } = r;
  const t = tables.tried;
  const best = t.how.findLastIndex((how, i) => how === "tryout" && close(t.force_kN[i], v.force_kN) && close(t.die_radius_mm[i], v.die_radius) && close(t.bead_mm[i], v.bead_mm));
  return t.how.map((how, i) => ({
    how, best: i === best, force: t.force_kN[i], margin: t.margin_pct[i] ?? NaN, stops: t.stops[i], radius: t.die_radius_mm[i], bead: t.bead_mm[i],
    words: how === "tryout" ? `R ${num(t.die_radius_mm[i], 3)}${t.bead_mm[i] > 0 ? `, bead ${num(t.bead_mm[i])}` : ", no bead"}` : "",
  })); // prettier-ignore
}

const HOW = { faces: "Faces", "one-step": "One-step solution", tryout: "Coarse tryout" };
const COLUMNS = [
  { name: "Tried", left: true }, { name: "Blankholder", left: true }, { name: "Force", unit: "kN" }, { name: "Die radius", unit: "mm" }, { name: "Bead", unit: "mm" }, { name: "Stops" }, { name: "Margin", unit: "%" }, { name: "Thinning", unit: "%" },
  { name: "Wrinkle", unit: "mm" }, { name: "Score" }, { name: "What it says", left: true },
]; // prettier-ignore

function triedTable(r, rows) {
  const t = r.tables.tried;
  let n = 0;
  const cells = rows.map((row, i) => {
    const one = row.how === "one-step";
    return [
      `${HOW[row.how] ?? row.how}${row.how === "tryout" ? ` ${(n += 1)}` : ""}${row.best ? ", the best" : ""}`, t.blankholder[i] ? words(t.blankholder[i]) : "–", row.how === "faces" ? "–" : num(row.force), one || !(row.radius > 0) ? "–" : num(row.radius), row.how === "tryout" ? (row.bead > 0 ? num(row.bead) : "none") : "–",
      num(row.stops), row.how === "faces" ? "–" : fixed(t.margin_pct[i], 1), row.how === "faces" ? "–" : fixed(t.thinning_pct[i], 1), row.how === "tryout" ? fixed(t.wrinkle_mm[i], 3) : "–", t.score[i] >= 1e5 ? "refused" : num(t.score[i], 3), says(t.says[i]),
    ]; // prettier-ignore
  });
  return grid(COLUMNS, cells, { caption: "What was tried, in the order it was tried", chosen: rows.findIndex((row) => row.best), className: "tried-table tight-table" });
}

/** Keys of findings in the words of the trade; a whole sentence stays one. */
function says(text) {
  if (!text) return "–";
  if (/[.] |[.]$/.test(text) || text.split(" ").length > 6) return text;
  return text.split(", ").map((key) => SAID[key] ?? words(key.split(".").pop()).toLowerCase()).join(", ");
}

const SAID = {
  "tryout.loose": "places stay loose", "tryout.kinetic": "run faster than it should", "tryout.tear": "tears", "tryout.neck": "necks", "tryout.margin": "margin short", "tryout.wrinkle": "wrinkles", "tryout.thinning": "thins too much",
  "tryout.stopped": "stopped early", "tryout.press": "press too weak", "tryout.skid": "skid line shows", "tryout.ironing": "ironed", "tryout.penetration": "contact too deep", "tryout.edge": "edge runs in too far", "tryout.springback": "springs", "faces.die_radius": "tight die radius", "faces.punch_radius": "tight punch radius", "faces.gap": "gap too small",
}; // prettier-ignore

export default { name: "proposal", title: "Proposal", stages: ["proposal"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "proposal"], slow: true, make };
