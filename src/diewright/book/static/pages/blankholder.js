// Blankholder: between wrinkling and tearing, the force that is set before the first hit.

import { h, memo, put, uid } from "../dom.js";
import { facts, fromResult, grid, section } from "../parts.js";
import { chart, rangeOf } from "../plots/chart.js";
import { windowPicture } from "../plots/window.js";
import { fixed, num } from "../words.js";
import { decisions } from "../decisions.js";
import { cautionList, frame, statedIn } from "./page.js";

const FIELD = ["tryout.blankholder_force_kn", "blank.blankholder_force_kn"];

function make(ctx) {
  const field = FIELD.find((path) => ctx.book.fields[path]) ?? FIELD[1];
  const plot = h("div", { class: "plot-place wide" });
  const key = h("p", { class: "quiet window-key" }, "Each upright line is one tryout at that force, up to where it went wrong: a wave for wrinkles, a cross for a tear, a ring where it drew to the bottom.");
  const take = h("div", { class: "take-over" });
  const curves = section("Over the stroke");
  const table = section("The runs");
  const cautions = section("Cautions");
  const stated = statedIn(ctx, "window");
  const side = decisions(ctx, [field, ...stated], { title: "The setting" });
  let friction = null;
  const page = frame(ctx, {
    name: "blankholder", title: "Blankholder", stages: ["window"], picture: [plot, key], side: [take, side.root], sections: [curves, table, cautions],
    print: [
      "Each run is a whole tryout with its own blankholder force. Wrinkling starts at the stroke at which the wrinkles grow above their limit, tearing where the margin to the forming limit is used up.",
      "Between the runs the borders are drawn straight. A distance is that from the setting to a border, as a share of the setting.",
      "The force holds for the friction stated. Less lubricant moves both borders to lower forces.",
    ],
  }); // prettier-ignore

  function update() {
    page.update();
    side.update();
    const r = ctx.result("window");
    const v = r?.values;
    page.verdict(v ? verdict(v) : "");
    const t = r?.tables?.runs;
    const kinds = t?.friction ? [...new Set(t.friction)] : [];
    if (kinds.length && !kinds.some((f) => f === friction)) friction = kinds.reduce((a, b) => (Math.abs(b - v.friction) < Math.abs(a - v.friction) ? b : a));
    const now = current(ctx.book.job, field);
    memo(plot, r ? [r.key, friction, now] : "none", () => put(plot, r && t ? [kinds.length > 1 ? chooseFriction(kinds) : null, windowPicture(runsOf(t, friction), { ...v, ...boundsAt(r, friction) }, strokeEnd(r), now)] : h("p", { class: "quiet" }, "The window appears when it has been worked: several tryouts at different forces, one after the other. Press Work below.")));
    memo(take, r ? [r.key, now] : "none", () => put(take, r ? setting(v, now, kinds) : null));
    memo(curves.body, r ? [r.key, friction] : "none", () => put(curves.body, r && t ? curvesOf(r, friction, ctx.book.job) : h("p", { class: "quiet" }, "Not worked yet.")));
    fromResult(table.body, r, (box) => put(box, runTable(t)));
    const press = ctx.result("press");
    cautions.show(Boolean(press?.values?.cautions?.length));
    fromResult(cautions.body, press, (box) => put(box, cautionList(press.values.cautions ?? [])), "");
  }

  function chooseFriction(kinds) {
    const id = uid("friction");
    const pick = (e) => {
      friction = Number(e.target.value);
      update();
    };
    return h("p", { class: "picture-words" }, h("span", { class: "pair" }, h("label", { for: id }, "Friction"), h("select", { id, onchange: pick }, kinds.map((f) => h("option", { value: f, selected: f === friction }, num(f))))));
  }

  function setting(v, now, kinds) {
    const force = tidy(v.recommended_kN);
    if (!Number.isFinite(force)) return h("p", {}, v.why || "No setting can be recommended.");
    const taken = Math.abs((now ?? NaN) - force) < 1e-9;
    return [
      h("h2", {}, `Set ${num(force)} kN`),
      facts([["Wrinkles below", v.wrinkles_below_kN, "kN"], ["Distance to wrinkling", v.distance_low_pct, "%"], ["Tears above", v.tears_above_kN, "kN"], ["Distance to tearing", v.distance_high_pct, "%"], ["At friction", kinds.length > 1 ? kinds.map((f) => num(f)).join(", ") : v.friction]]),
      v.why ? h("p", { class: "quiet" }, v.why) : null,
      taken ? h("p", { class: "taken" }, `${num(force)} kN is stated in the job.`) : h("button", { type: "button", class: "do", onclick: () => ctx.edit({ [field]: force }, "The blankholder force") }, `Take over ${num(force)} kN`),
    ]; // prettier-ignore
  }

  return { root: page.root, update };
}

/** Three digits: what can be set on a gauge. */
const tidy = (kN) => Number(Number(kN).toPrecision(3));

const current = (job, path) => {
  const value = path.split(".").reduce((o, k) => o?.[k], job);
  return typeof value === "number" ? value : null;
};

function verdict(v) {
  const [low, high] = [v.wrinkles_below_kN, v.tears_above_kN];
  const has = (f) => f !== null && f !== undefined;
  const between = has(low) && has(high) ? `Between ${num(low)} kN, where it wrinkles, and ${num(high)} kN, where it tears` : has(low) ? `Wrinkles below ${num(low)} kN; no run tore` : has(high) ? `Tears above ${num(high)} kN; no run wrinkled` : "No run wrinkled or tore";
  return has(v.recommended_kN) ? `${between}: set ${num(tidy(v.recommended_kN))} kN.` : `${between}. No force draws it well.`;
}

const rowsOf = (t, friction) => t.blankholder_kN.map((_, i) => i).filter((i) => friction === null || !t.friction || Math.abs(t.friction[i] - friction) < 1e-9);

function runsOf(t, friction) {
  const at = (name, i) => (Number.isFinite(t[name]?.[i]) ? t[name][i] : null);
  return rowsOf(t, friction).map((i) => ({ force: t.blankholder_kN[i], wrinkle: at("wrinkle_at_stroke_mm", i), tear: at("tear_at_stroke_mm", i) })).sort((a, b) => a.force - b.force);
}

/** Where it wrinkles and tears at one friction; the setting serves all of them. */
function boundsAt(r, friction) {
  const b = r.tables.bounds;
  const i = b?.friction.findIndex((f) => Math.abs(f - friction) < 1e-9) ?? -1;
  const at = (name) => (Number.isFinite(b[name][i]) ? b[name][i] : null);
  return i < 0 ? {} : { wrinkles_below_kN: at("wrinkles_below_kN"), tears_above_kN: at("tears_above_kN") };
}

function strokeEnd(r) {
  const ends = Object.entries(r.tables).filter(([n]) => n.startsWith("run_")).flatMap(([, c]) => c.stroke_mm ?? []);
  const seen = [...(r.tables.runs.wrinkle_at_stroke_mm ?? []), ...(r.tables.runs.tear_at_stroke_mm ?? []), ...ends].filter(Number.isFinite);
  return Math.max(...seen, 1e-3);
}

function curvesOf(r, friction, job) {
  const t = r.tables.runs;
  const runs = rowsOf(t, friction).map((i) => [t.blankholder_kN[i], r.tables[`run_${i}`]]).filter(([, c]) => c?.stroke_mm);
  if (!runs.length) return h("p", { class: "quiet" }, "No curves were kept.");
  const one = (name, label, unit, limit) => {
    const series = runs.map(([force, c], i) => ({ name: `${num(force)} kN`, x: c.stroke_mm, y: c[name], kind: "line", at: 0.55 + (0.4 * i) / runs.length })).filter((c) => c.y);
    const highest = series.flatMap((c) => c.y).reduce((a, v) => (Number.isFinite(v) ? Math.max(a, v) : a), 0);
    const flat = series.filter((c) => c.y.every((v) => Math.abs(v) < 0.06 * highest)); // their names would lie on one another
    flat.slice(1).forEach((c) => (c.name = ""));
    if (flat.length > 1) flat[0].name = `${flat[0].name} and the others`;
    const end = strokeEnd(r);
    if (limit) series.push({ name: limit[1], x: [0, end], y: [limit[0], limit[0]], kind: "dash", at: 0, below: true });
    const [lo, hi] = rangeOf(series.flatMap((c) => c.y), { zero: true });
    return chart({ x: { label: "Stroke from first touch", symbol: "stroke", unit: "mm", lo: 0, hi: end }, y: { label, unit, lo, hi }, series, height: (w) => Math.min(400, Math.max(270, w * 0.62)) });
  };
  const wanted = job.blank.margin_wanted;
  return h("div", { class: "plot-row" }, one("wrinkle_height_mm", "Wrinkle height", "mm"), one("margin_pct", "Margin to necking", "%", [wanted, `wanted ${num(wanted)} %`]));
}

const COLUMNS = [
  ["blankholder_kN", "Blankholder", "kN"], ["friction", "Friction", ""], ["wrinkle_height_mm", "Wrinkle height", "mm"], ["wrinkle_at_stroke_mm", "Wrinkles at", "mm"], ["margin_pct", "Margin", "%"],
  ["tear_at_stroke_mm", "Tears at", "mm"], ["thinning_pct", "Thinning", "%"], ["draw_in_mm", "Draw-in", "mm"], ["punch_kN", "Punch", "kN"],
]; // prettier-ignore

function runTable(t) {
  if (!t) return h("p", { class: "quiet" }, "No runs were kept.");
  const columns = COLUMNS.filter(([k]) => t[k]);
  const cell = (k, value) => (k.endsWith("_at_stroke_mm") && !Number.isFinite(value) ? "never" : k === "wrinkle_height_mm" ? fixed(value, 3) : num(value));
  return grid(columns.map(([, name, unit]) => ({ name, unit })), t.blankholder_kN.map((_, i) => columns.map(([k]) => cell(k, t[k][i]))), { caption: "One row a tryout; strokes from first touch" }); // prettier-ignore
}

export default { name: "blankholder", title: "Blankholder", stages: ["window"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "window"], slow: true, make };
