// Draws: the sequence of a round cup that one draw does not reach, its tools, and the tryout of all of them on one sheet.

import { data } from "../api.js";
import { h, memo, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, grid, section } from "../parts.js";
import { chart, rangeOf } from "../plots/chart.js";
import { cupsPicture } from "../plots/cups.js";
import { Apart } from "../view3d/apart.js";
import { draftOf } from "../view3d/face_fields.js";
import { fixed, num, quantity, words } from "../words.js";
import { drawsOnce, frame, statedIn } from "./page.js";

const TOOLS = ["die", "punch", "blankholder"];
const SHEET = ["margin_pct", "thinning_pct", "thickness", "major", "minor", "plastic_strain", "stress", "pressure", "wrinkle", "wrinkle_height"];

function make(ctx) {
  const id = uid("draw");
  const chooser = h("select", { id, onchange: () => draw() });
  const choose = h("span", { class: "pair" }, h("label", { for: id }, "Look at"), chooser);
  let shownDraw = 0;
  const apart = new Apart({ caption: "Tools and sheet of one draw", opened: 300, fieldsOf: (tool) => [{ name: "draft_deg", point: null, cell: async () => (tool.draft ??= draftOf(tool.points, tool.triangles, tool.name === "die" ? 1 : -1)) }] });
  apart.ready = () => {
    apart.picture.root.querySelector(".picture-words").prepend(choose);
    draw();
  };
  const { view } = apart;
  const side = decisions(ctx, statedIn(ctx, "draws"), { title: "The sequence" });
  const lists = h("p", { class: "quiet" }, "Diameters and forces of single draws are stated in the job file: draws.diameters, draws.forces_kn.");
  const cups = section("From blank to cup");
  const table = section("The draws");
  const run = section("The tryout of the draws");
  const curves = section("Forces and thickness");
  const page = frame(ctx, {
    name: "draws", title: "Draws", stages: ["draws", "draws_tryout"], picture: view.box, side: [side.root, lists], sections: [cups, table, run, curves],
    print: [
      "The diameters follow the handbook's draw ratios, spread evenly over the draws; each cup has the area of the blank, at constant thickness. Every draw but the last leaves a cone of 45° at its foot, on which the next one holds the cup down with a sleeve. A bottom radius sharper than a draw takes is struck afterwards.",
      "The tryout draws all of them one after the other on the same sheet, a quarter of it, with its thickness, strains and hardening passed on. Forces are those of the whole cup.",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  async function draw() {
    const r = ctx.result("draws");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-draws`;
    const draws = r?.values?.draws ?? [];
    choose.hidden = !draws.length;
    if (!r) return pic.say("The picture appears when the draws have been worked. Press Work below.");
    if (!draws.length) return pic.say(r.values.why_none ?? "There is no sequence to show.");
    const t = ctx.result("draws_tryout");
    const tried = t?.series?.sheet ? (t.values.draws ?? []).map((row) => row.draw) : [];
    memo(chooser, [draws.map((d) => [d.kind, d.draw]), tried], () => {
      const before = chooser.value;
      put(chooser, draws.map((d) => h("option", { value: `tools/${d.draw}` }, `the tools of ${d.kind} ${d.draw}`)), tried.map((k) => h("option", { value: `sheet/${k}` }, `the sheet after ${nameOf(draws, k)}`)));
      if ([...chooser.options].some((o) => o.value === before)) chooser.value = before;
    });
    return once(`${r.key}/${t?.key ?? ""}/${chooser.value}`, () => {
      const [what, k] = chooser.value.split("/");
      return what === "sheet" ? showSheet(pic, t, Number(k)) : showTools(r, draws.find((d) => d.draw === Number(k)));
    });
  }

  async function showTools(r, d) {
    const names = TOOLS.filter((n) => r.meshes[`${n}_${d.draw}`]);
    const tools = await Promise.all(names.map(async (name) => ({ name, points: await data.points(r.stage, r.key, `${name}_${d.draw}`), triangles: await data.triangles(r.stage, r.key, `${name}_${d.draw}`) })));
    under(true);
    const pic = view.picture;
    pic.fitted = shownDraw === d.draw && pic.fitted;
    if (shownDraw !== d.draw) apart.tools = [];
    shownDraw = d.draw;
    await apart.set(tools, d.stroke);
  }

  /** The sheet at the last instant of a draw. */
  async function showSheet(pic, t, k) {
    const { points: n, triangles: m, cell, point } = t.series.sheet;
    const all = (what) => data.series(t.stage, t.key, "sheet", what);
    const [points, triangles, number] = await Promise.all([all("points"), all("triangles"), data.array(t.stage, t.key, "frame_draw")]);
    const i = number.findLastIndex((v) => Math.round(v) === k);
    if (i < 0) return pic.say("This draw was not reached.");
    const at = points.slice(3 * n * i, 3 * n * (i + 1));
    const load = (kind, name, size) => async () => (await all(`${kind}.${name}`)).subarray(size * i, size * (i + 1));
    under(false);
    pic.setTools([]);
    const [lo, hi] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]]; // prettier-ignore
    at.forEach((v, j) => ([lo[j % 3], hi[j % 3]] = [Math.min(lo[j % 3], v), Math.max(hi[j % 3], v)]));
    pic.setBody(at, triangles, [lo, hi], true);
    shownDraw = 0;
    const fields = SHEET.filter((f) => cell[f] || point[f]).map((f) => ({ name: f, range: [(cell[f] ?? point[f]).min, (cell[f] ?? point[f]).max], cell: cell[f] ? load("cell", f, m) : null, point: cell[f] ? null : load("point", f, n) }));
    await pic.setFields(fields, "thinning_pct");
  }

  const under = (yes) => {
    apart.slider.parentNode.hidden = !yes;
    apart.row.hidden = !yes;
  };

  function update() {
    page.update();
    side.update();
    const r = ctx.result("draws");
    const t = ctx.result("draws_tryout");
    const v = r?.values;
    const has = Boolean(v?.draws?.length);
    page.verdict(v ? verdict(v, t?.values, ctx.book.job) : "");
    for (const one of [cups, table]) one.show(has || !r);
    fromResult(cups.body, has ? r : null, (box) => cupsOf(box, r, ctx.book.job.sheet.thickness));
    fromResult(table.body, has ? r : null, (box) => put(box, drawTable(v), v.notes?.length ? h("ul", { class: "notes" }, v.notes.map((n) => h("li", {}, n))) : null, r.figures?.length ? h("details", { class: "more" }, h("summary", {}, "Figures with their formulas"), figureList(r.figures)) : null));
    const known = ctx.stage("draws_tryout");
    const rows = t?.values?.draws ?? [];
    run.show(Boolean(known) && (has || !r));
    memo(run.body, rows.length ? [t.key, ctx.book.job.draws?.diameters ?? []] : "none", (box) => (rows.length ? put(box, tryoutTable(t.values), h("div", { class: "take-over" }, outcome(ctx, t.values))) : put(box, h("p", { class: "quiet" }, "The draws have not been tried yet. It takes minutes; press Work below."))));
    curves.show(rows.length > 0);
    fromResult(curves.body, rows.length ? t : null, (box) => put(box, h("div", { class: "plot-row" }, forces(t), profiles(t, ctx.book.job.sheet.thickness))), "");
    draw();
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then(async (pic) => {
    const last = [...chooser.options].findLast((o) => o.value.startsWith("sheet/"));
    if (f.stage === "draws_tryout" && last) {
      chooser.value = last.value;
      await draw();
    }
    pic.mark(f.place);
  }), view }; // prettier-ignore
}

const nameOf = (draws, k) => `${draws.find((d) => d.draw === k)?.kind ?? "draw"} ${k}`;

const COUNT = [, "One", "Two", "Three", "Four", "Five", "Six"]; // prettier-ignore

function verdict(v, tried, job) {
  if (!v.draws.length) return v.why_none ?? "";
  const n = v.draws.filter((d) => d.kind !== "restrike").length;
  const first = `${n === 1 ? "One draw" : `${COUNT[n] ?? num(n)} draws`}${v.draws.length > n ? " and a restrike" : ""} from a blank of ${fixed(v.blank_diameter, 1)} mm to ${fixed(v.draws.at(-1).diameter, 1)} mm, ${fixed(v.draws.at(-1).height, 1)} mm high`;
  const rows = tried?.draws ?? [];
  if (!rows.length) return `${first}.`;
  if (tried.stopped) return `${first}. The tryout stopped in draw ${rows.at(-1).draw}: ${String(tried.stopped).replace(/\.$/, "")}.`;
  const worst = rows.reduce((a, b) => (b.margin_pct < a.margin_pct ? b : a));
  return `${first}: least margin ${fixed(worst.margin_pct, 1)} % in draw ${worst.draw}, wanted ${quantity(job.blank.margin_wanted, "%")}.`;
}

async function cupsOf(box, r, t) {
  const { draws, blank_diameter: blank } = r.values;
  const meridians = await Promise.all(draws.map((d) => (r.arrays[`meridian_${d.draw}`] ? data.array(r.stage, r.key, `meridian_${d.draw}`) : [])));
  put(box, h("div", { class: "plot-place wide" }, cupsPicture(draws, meridians, blank, t)), h("p", { class: "quiet" }, "Cut through the axis, all to one scale; mean diameters and heights of the sheet's middle, inside radii of the bottom, in mm. Heights without ears."));
}

function drawTable(v) {
  const columns = [{ name: "Draw", left: true }, { name: "Diameter", unit: "mm" }, { name: "Ratio" }, { name: "Height", unit: "mm" }, { name: "Punch Ø", unit: "mm" }, { name: "Punch radius", unit: "mm" }, { name: "Die Ø", unit: "mm" }, { name: "Die radius", unit: "mm" }, { name: "Clearance", unit: "mm" }, { name: "Stroke", unit: "mm" }, { name: "Holder", unit: "kN" }]; // prettier-ignore
  const rows = v.draws.map((d) => [`${words(d.kind)} ${d.draw}`, fixed(d.diameter, 2), d.kind === "restrike" ? "–" : fixed(d.ratio, 3), fixed(d.height, 1), fixed(d.punch_diameter, 2), num(d.punch_radius), fixed(d.die_diameter, 2), num(d.die_radius), fixed(d.clearance, 2), fixed(d.stroke, 1), d.holder_force > 0 ? num(d.holder_force / 1000) : "–"]); // prettier-ignore
  return grid(columns, rows, { caption: "The draws; diameters of the sheet's middle", className: "tight-table" });
}

const RUN = [
  ["margin_pct", "Margin", "%", 1], ["thinning_pct", "Thinning", "%", 1], ["thickening_pct", "Thickening", "%", 1], ["punch_kN", "Punch", "kN", 1], ["handbook_kN", "Handbook", "kN", 1], ["tear_kN", "Bottom tears at", "kN", 1], ["blankholder_kN", "Holder", "kN", 2], ["height_min_mm", "Rim, lowest", "mm", 1],
  ["height_max_mm", "Rim, highest", "mm", 1], ["wrinkle_mm", "Wrinkle", "mm", 2], ["press_share_pct", "Of the press", "%", 0],
]; // prettier-ignore

function tryoutTable(v) {
  const columns = RUN.filter(([k]) => v.draws.some((row) => Number.isFinite(row[k])));
  const rows = v.draws.map((row) => [`${words(row.kind)} ${row.draw}`, ...columns.map(([k, , , places]) => (Number.isFinite(row[k]) ? fixed(row[k], places) : "–"))]);
  return grid([{ name: "Draw", left: true }, ...columns.map(([, name, unit]) => ({ name, unit }))], rows, { caption: "What each draw did", chosen: v.draws.findIndex((row) => row.draw === v.limiting), className: "tight-table" });
}

/** Which draw limits, and the diameters at which all would carry alike. */
function outcome(ctx, v) {
  const other = v.proposal?.diameters?.map((d) => Math.round(d * 10) / 10) ?? [];
  const stated = ctx.book.job.draws?.diameters ?? [];
  const taken = other.length && other.length === stated.length && other.every((d, i) => Math.abs(d - stated[i]) < 1e-9);
  return [
    v.why ? h("p", {}, v.why) : null,
    other.length ? h("p", {}, `At mean diameters of ${other.map((d) => fixed(d, 1)).join(", ")} mm and the last one all draws would carry the same share of what tears them.`) : null,
    !other.length ? null : taken ? h("p", { class: "taken" }, "These diameters are stated in the job.") : h("button", { type: "button", class: "do", onclick: () => ctx.edit({ "draws.diameters": other }, "The sequence") }, "Take over these diameters"),
  ];
}

function forces(t) {
  const c = t.tables.press_curve;
  const series = (t.values.draws ?? []).map((row, n) => {
    const at = c.draw.map((k, i) => i).filter((i) => Math.round(c.draw[i]) === row.draw);
    return { name: `${row.kind} ${row.draw}`, x: at.map((i) => c.stroke_mm[i]), y: at.map((i) => c.punch_kN[i]), kind: "line", at: 0.3 + 0.15 * n };
  });
  const all = series.flatMap((one) => one.x).filter(Number.isFinite);
  const [lo, hi] = rangeOf(series.flatMap((one) => one.y), { zero: true });
  return chart({ x: { label: "Stroke from first touch", symbol: "stroke", unit: "mm", lo: 0, hi: Math.max(...all, 1) }, y: { label: "Punch force", unit: "kN", lo, hi }, series, title: "Punch force over the stroke, a curve a draw.", height: (w) => Math.min(400, Math.max(270, w * 0.62)) });
}

function profiles(t, thickness) {
  const series = (t.values.draws ?? []).map((row, n) => ({ row, n, p: t.tables[`profile_${row.draw}`] })).filter((one) => one.p?.thickness_mm).map(({ row, n, p }) => ({ name: `${row.kind} ${row.draw}`, x: p.blank_radius_mm, y: p.thickness_mm, kind: "line", at: 0.35 + 0.18 * n }));
  if (!series.length) return h("p", { class: "quiet" }, "No thickness was kept.");
  const end = Math.max(...series.flatMap((one) => one.x));
  const [lo, hi] = rangeOf([...series.flatMap((one) => one.y), thickness]);
  return chart({ x: { label: "Radius in the blank", symbol: "radius", unit: "mm", lo: 0, hi: end }, y: { label: "Thickness", unit: "mm", lo, hi }, series: [...series, { name: "as bought", x: [0, end], y: [thickness, thickness], kind: "dash", at: 0, below: true }], title: "Mean thickness of each ring after each draw.", height: (w) => Math.min(400, Math.max(270, w * 0.62)) });
}

export default { name: "draws", title: "Draws", stages: ["draws", "draws_tryout"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "draws", "draws_tryout"], slow: true, make };
