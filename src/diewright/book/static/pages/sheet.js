// Sheet: which metal, by which laws, and where each of its numbers comes from.

import { h, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, figureList, fromResult, grid, section, stem } from "../parts.js";
import { chart, rangeOf } from "../plots/chart.js";
import { law, num, quantity, words } from "../words.js";
import { frame } from "./page.js";

const FAMILIES = { steel: "Steel", stainless: "Stainless steel", aluminium: "Aluminium", brass: "Brass", copper: "Copper", own: "Own sheets" };
const VALUES = {
  E: ["Young's modulus E", "MPa"], nu: ["Poisson's ratio ν", ""], density: ["Density", "kg/m3"], Rp02: ["Rp0.2", "MPa"], Rm: ["Rm", "MPa"], A80: ["Elongation A80", "%"], Ag: ["Uniform elongation Ag", "%"],
  n: ["Hardening exponent n", ""], r0: ["r-value along, r0", ""], r45: ["r-value at 45°, r45", ""], r90: ["r-value across, r90", ""], rb: ["Biaxial r-value, rb", ""], friction: ["Friction", ""],
}; // prettier-ignore

function make(ctx) {
  const options = {
    "sheet.material": () => ctx.book.sheets.map((s) => ({ value: s.name, text: `${s.name} – ${s.text}`, group: FAMILIES[s.family] ?? words(s.family) })),
  };
  const choose = decisions(ctx, ["sheet.material", "sheet.thickness", "sheet.rolling_direction", "sheet.hardening", "sheet.yield_surface", "sheet.forming_limit"], { title: "The metal and its laws", options, more: ["sheet.groove"] });
  const tensile = h("p", { class: "hint" });
  choose.root.append(tensile);
  const plots = h("div", { class: "plot-row" });
  const values = section("Values and their sources");
  const laws = section("The laws as they are used");
  const fit = section("Fit of the tensile tests");
  const page = frame(ctx, {
    name: "sheet", title: "Sheet", stages: ["sheet"], picture: plots, side: choose.root, sections: [values, laws, fit],
    print: [
      "Stress and strain are true stress and true (logarithmic) strain. The yield locus is drawn for no shear, scaled by the yield stress along the rolling direction.",
      "The forming limit curve holds for straight strain paths; a part that is drawn again, or bent and unbent, has another limit.",
      "Values marked as typical are from memory or common practice: before steel is cut, put the mill's certificate or your own tensile tests in their place (tensile test files in job.toml).",
    ],
  }); // prettier-ignore

  function update() {
    page.update();
    choose.update();
    const r = ctx.result("sheet");
    const v = r?.values;
    const files = ctx.book.job.sheet.tensile_files ?? [];
    tensile.textContent = files.length ? `Fitted to ${files.join(", ")}.` : "Tensile tests of your own: name the CSV files in job.toml, field sheet.tensile_files.";
    page.verdict(v ? `${v.sheet?.name ?? ctx.book.job.sheet.material}: Rp0.2 ${quantity(v.Rp02, "MPa")}, Rm ${quantity(v.Rm, "MPa")}, n ${num(v.n)}, mean r ${num(v.anisotropy?.rbar)}.` : "");
    fromResult(plots, r, (box) => put(box, hardeningPlot(r), limitPlot(r, ctx.book.job), locusPlot(r), directionPlot(r)), "The curves appear when the sheet has been worked.");
    fromResult(values.body, r, (box) => put(box, valueTable(v)));
    fromResult(laws.body, r, (box) => put(box, lawTable(v), derived(r)));
    fit.show(Boolean(v?.fit));
    fromResult(fit.body, v?.fit ? r : null, (box) => put(box, fitBlock(r)), "");
  }
  return { root: page.root, update };
}

const tall = (w) => Math.min(380, Math.max(250, w * 0.74));

const table = (r, name, x, y) => {
  const t = r.tables?.[name];
  return t && Array.isArray(t[x]) && Array.isArray(t[y]) ? t : null;
};

function hardeningPlot(r) {
  const t = table(r, "hardening", "strain", "stress");
  if (!t) return null;
  const end = t.strain.findIndex((e) => e > 1);
  const cut = end > 0 ? end : t.strain.length;
  const [x, y] = [t.strain.slice(0, cut), t.stress.slice(0, cut)];
  const tests = Object.entries(r.tables).filter(([n, c]) => n.startsWith("tensile_") && c.strain && c.stress).map(([n, c]) => ({ name: `test at ${n.slice(8)}°`, x: c.strain, y: c.stress, kind: "dots" }));
  return chart({ x: { label: "True plastic strain", symbol: "ε", lo: 0, hi: x[x.length - 1] }, y: { label: "Flow stress", unit: "MPa", lo: 0, hi: rangeOf(y, { zero: true })[1] }, series: [...tests, { name: law(r.values.hardening?.law), x, y, kind: "bold", at: 0.62 }], height: tall, title: "Hardening: flow stress over plastic strain." });
}

function limitPlot(r, job) {
  const t = table(r, "limit", "minor", "major");
  if (!t) return null;
  const keep = t.minor.map((m, i) => [m, t.major[i]]).filter(([m, M]) => m >= -0.42 && m <= 0.42 && Number.isFinite(M));
  if (!keep.length) return null;
  const [x, y] = [keep.map((k) => k[0]), keep.map((k) => k[1])];
  const wanted = job.blank.margin_wanted;
  const lower = y.map((v) => Math.log(Math.max(Math.exp(v) - wanted / 100, 1e-6)));
  const name = law(r.values.limit?.kind);
  return chart({ x: { label: "Minor true strain", symbol: "minor", lo: -0.42, hi: 0.42 }, y: { label: "Major true strain", lo: 0, hi: Math.min(rangeOf(y, { zero: true })[1], 1.4) }, series: [{ name, x, y, kind: "bold", at: 0.62 }, { name: `less ${num(wanted)} %`, x, y: lower, kind: "dash", at: 0.6, below: true }], height: tall, title: `Forming limit at ${num(job.sheet.thickness)} mm: ${name}.` });
}

function locusPlot(r) {
  const t = table(r, "yield_locus", "s11", "s22");
  if (!t) return null;
  const big = Math.max(...t.s11.map(Math.abs), ...t.s22.map(Math.abs)) * 1.12;
  const u = Array.from({ length: 121 }, (_, i) => (2 * Math.PI * i) / 120);
  const mises = u.map((a) => 1 / Math.sqrt(1 - Math.sin(a) * Math.cos(a)));
  return chart({ x: { label: "σ11 along rolling, to yield stress", lo: -big, hi: big }, y: { label: "σ22 across", lo: -big, hi: big }, equal: true, along: false, series: [{ name: "von Mises", x: u.map((a, i) => mises[i] * Math.cos(a)), y: u.map((a, i) => mises[i] * Math.sin(a)), kind: "fine", at: 0.4 }, { name: law(r.values.yield_surface?.kind), x: [...t.s11, t.s11[0]], y: [...t.s22, t.s22[0]], kind: "bold", at: 0.2 }], height: tall, title: "Yield locus without shear." }); // prettier-ignore
}

function directionPlot(r) {
  const t = r.tables?.directional;
  if (!t?.angle || !t.r) return null;
  const all = [...t.r, ...(t.stress_ratio ?? [])];
  const v = r.values.anisotropy ?? {};
  const marks = [[0, v.r0], [45, v.r45], [90, v.r90]].filter(([, y]) => Number.isFinite(y)).map(([x, y]) => ({ x, y, label: num(y) })); // prettier-ignore
  return chart({ x: { label: "Angle to rolling", symbol: "angle", unit: "deg", lo: 0, hi: 90 }, y: { label: "r-value and yield stress ratio", lo: 0, hi: rangeOf(all, { zero: true })[1] * 1.08 }, series: [{ name: "r-value", x: t.angle, y: t.r, kind: "bold", at: 0.25 }, t.stress_ratio ? { name: "yield stress ratio", x: t.angle, y: t.stress_ratio, kind: "dash", at: 0.5 } : null].filter(Boolean), marks, height: tall, title: "Direction: r-value and yield stress round the sheet." });
}

/** Text of a source, whatever its shape: a string, or a record with author, year and place. */
const sourceText = (s) => (!s ? "" : typeof s === "string" ? s : [s.source ?? s.author, s.year, s.table ?? s.clause ?? s.place, s.known_by].filter(Boolean).join(", "));

function valueTable(v) {
  const sheet = v.sheet ?? {};
  const sources = sheet.sources ?? {};
  const value = (k) => {
    const raw = v[k] ?? v.anisotropy?.[k] ?? sheet[k];
    return raw && typeof raw === "object" ? raw.value : raw;
  };
  const source = (k) => sourceText(sources[k] ?? (sheet[k] && typeof sheet[k] === "object" ? sheet[k].source : ""));
  const rows = Object.entries(VALUES).filter(([k]) => Number.isFinite(value(k))).map(([k, [name, unit]]) => [name, num(value(k), k === "E" || k === "density" ? 6 : 4), unit, source(k)]); // prettier-ignore
  return facts(rows, { sources: true });
}

function lawTable(v) {
  const sheet = v.sheet ?? {};
  const from = (k) => sourceText(sheet.sources?.[k]);
  const pars = (p) => Object.entries(p ?? {}).filter(([, x]) => typeof x === "number").map(([k, x]) => [symbol(k), num(x, 4)]);
  const block = (title, text, rows, source) => h("div", { class: "law" }, h("h3", {}, title), text ? h("p", { class: "formula" }, text) : null, rows.length ? facts(rows) : null, source ? h("p", { class: "quiet" }, `Source: ${source}`) : null);
  const a = v.anisotropy ?? {};
  return h(
    "div",
    { class: "laws" },
    block(`Hardening: ${law(v.hardening?.law)}`, v.hardening?.text, pars(v.hardening?.parameters), v.hardening?.source ?? from("hardening")),
    block(`Yield surface: ${law(v.yield_surface?.kind)}`, v.yield_surface?.text, [...pars(v.yield_surface?.parameters), ["mean r", num(a.rbar, 4)], ["Δr", num(a.delta_r, 3)]], v.yield_surface?.source ?? from("yield")),
    block(`Forming limit: ${law(v.limit?.kind)}`, v.limit?.text, [["FLC0, true strain", num(v.limit?.flc0, 3)]], v.limit?.source ?? from("limit")),
  );
}

/** Figures that follow from the values: those of the table above are left out. */
function derived(r) {
  const known = new Set(Object.keys(VALUES).map((k) => k.toLowerCase()));
  const list = (r.figures ?? []).filter((f) => !known.has(stem(f.key).toLowerCase()));
  return list.length ? [h("h3", { class: "gap" }, "What follows from them"), figureList(list)] : null;
}

const symbol = (k) => ({ eps0: "ε0", e0: "ε0", K: "K, MPa", n: "n", sigma0: "σ0, MPa", q: "q", alpha: "α" })[k] ?? k.replaceAll("_", " ");

function fitBlock(r) {
  const fit = r.values.fit;
  const rows = Object.entries(fit).filter(([, x]) => typeof x === "number" || typeof x === "string").map(([k, x]) => [words(k), typeof x === "number" ? num(x, 4) : x]); // prettier-ignore
  const lists = Object.entries(fit).filter(([, x]) => Array.isArray(x) && x.length && typeof x[0] === "object");
  return [facts(rows), lists.map(([k, x]) => grid(Object.keys(x[0]).map((c) => ({ name: words(c), left: typeof x[0][c] === "string" })), x.map((row) => Object.values(row).map((y) => (typeof y === "number" ? num(y, 4) : String(y ?? "–")))), { caption: words(k) }))];
}

export default { name: "sheet", title: "Sheet", stages: ["sheet"], reads: ["sheet"], make };
