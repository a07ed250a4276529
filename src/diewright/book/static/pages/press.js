// Press: first figures with their roots, force over the stroke, which press carries it, and the cautions.

import { h, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, grid, section, facts } from "../parts.js";
import { chart, rangeOf } from "../plots/chart.js";
import { num, words } from "../words.js";
import { cautionList, frame } from "./page.js";

const GROUPS = [
  ["Drawing", /^(draw_|draws|blankholder|bottom_tear|punch_|die_radius|slab)/],
  ["Cutting", /^(blanking|stripping|cutting|pierc|slug)/],
  ["The press", /^(press|slide|touch|energy|stroke)/],
];

function make(ctx) {
  const options = { "press.name": () => [{ value: "auto", text: "the smallest that serves" }, ...ctx.book.presses.filter((p) => p.name !== "auto").map((p) => ({ value: p.name, text: `${p.name} – ${p.text}` }))] };
  const choose = decisions(ctx, ["press.name", "press.strokes_per_minute"], { title: "The press", options });
  const pressBox = h("div", { class: "press-data" });
  const plot = h("div", { class: "plot-place wide" });
  const figures = section("First press figures");
  const candidates = section("Presses of the table");
  const sequence = section("Draw sequence");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "press", title: "Press", stages: ["press"], picture: plot, side: [choose.root, pressBox], sections: [cautions, figures, sequence, candidates],
    print: [
      "These are first figures by handbook formulas, for choosing a press and quoting. Each opens to its formula, its inputs and its source.",
      "The capacity of a crank press falls with height above bottom dead centre; the draw must stay below its curve at every height, and its work below the press's energy.",
    ],
  }); // prettier-ignore

  function update() {
    page.update();
    choose.update();
    const r = ctx.result("press");
    const v = r?.values;
    const by = (key) => r?.figures?.find((f) => f.key === key);
    const force = by("draw_force") ?? by("blanking_force");
    const use = by("press_utilisation")?.value;
    page.verdict(v ? `${v.press?.name ? `${words(v.press.name)}` : "No press chosen"}${force?.value ? `: ${force.label.toLowerCase()} ${num(force.unit === "N" ? force.value / 1000 : force.value)} kN` : ""}${use ? `, ${num(use)} % of what the press gives at that height` : ""}.` : "");
    fromResult(plot, r, (box) => put(box, strokePlot(r)), "The force over the stroke appears when the press has been worked.");
    fromResult(pressBox, r, (box) => put(box, pressData(v)), "");
    fromResult(figures.body, r, (box) => put(box, grouped(r.figures ?? [])));
    const draws = v?.draw_sequence ?? [];
    sequence.show(draws.length > 0);
    fromResult(sequence.body, draws.length ? r : null, (box) => put(box, sequenceTable(draws)), "");
    fromResult(candidates.body, r, (box) => put(box, candidateTable(v)));
    fromResult(cautions.body, r, (box) => put(box, cautionList(v.cautions ?? [])));
    cautions.show(!v || (v.cautions ?? []).length > 0);
  }
  return { root: page.root, update };
}

function strokePlot(r) {
  const t = r.tables?.force_stroke;
  if (!t?.stroke_mm || !t.draw_kN) return h("p", { class: "quiet" }, "No force curve was kept.");
  const x = t.stroke_mm;
  const end = x[x.length - 1] || 1;
  const cutting = r.values.operation === "cutting";
  const need = [...t.draw_kN, ...(t.slide_kN ?? [])].filter(Number.isFinite);
  const capacity = t.capacity_kN?.filter(Number.isFinite) ?? [];
  const top = Math.max(...need, 1);
  const least = capacity.length ? Math.min(...capacity) : top;
  const hi = Math.min(Math.max(top, least) * 1.25, Math.max(...capacity, top) * 1.08);
  const k = t.draw_kN.indexOf(Math.max(...t.draw_kN));
  const series = [
    t.capacity_kN ? { name: "the press gives", x, y: t.capacity_kN, kind: "bold", at: 0.12 } : null,
    t.slide_kN && t.slide_kN.some((v, i) => Math.abs(v - t.draw_kN[i]) > 1e-6) ? { name: "slide in all", x, y: t.slide_kN, kind: "dash", at: 0.55 } : null,
    { name: cutting ? "cutting" : "draw", x, y: t.draw_kN, kind: "line", at: 0.8 },
    t.blankholder_kN ? { name: "blankholder", x, y: t.blankholder_kN, kind: "thin", at: 0.5 } : null,
  ].filter(Boolean);
  return [
    chart({ x: { label: "Stroke from first touch", symbol: "stroke", unit: "mm", lo: 0, hi: end }, y: { label: "Force", unit: "kN", lo: 0, hi: rangeOf([hi], { zero: true })[1] }, series, marks: [{ x: x[k], y: t.draw_kN[k], label: `${num(t.draw_kN[k])} kN`, below: true }], height: (w) => Math.min(500, Math.max(280, w * 0.6)), title: "Force over the stroke against what the press gives." }),
    r.values.curve_how ? h("p", { class: "quiet" }, `${words(r.values.curve_how)}.`) : null,
  ];
}

const PRESS_ROWS = [
  ["kind", "Kind"], ["force_kn", "Nominal force", "kN"], ["force_kN", "Nominal force", "kN"], ["rated_height_mm", "Rated at height above bottom", "mm"], ["stroke_mm", "Stroke", "mm"], ["bed_mm", "Bed", "mm"], ["bed_x_mm", "Bed, length", "mm"], ["bed_y_mm", "Bed, depth", "mm"], ["shut_height_mm", "Shut height", "mm"], ["energy_kj", "Energy a stroke", "kJ"], ["energy_kJ", "Energy a stroke", "kJ"], ["energy_j", "Energy a stroke", "J"], ["cushion_kn", "Cushion", "kN"], ["strokes_per_minute", "Strokes", "1/min"], ["source", "Source"],
]; // prettier-ignore

function pressData(v) {
  const p = v.press;
  if (!p) return h("p", { class: "quiet" }, "No press of the table serves.");
  const known = new Set(PRESS_ROWS.map(([k]) => k).concat(["name", "chosen", "text"]));
  const text = (x, k = "") => (Array.isArray(x) ? x.map((y) => num(y, 5)).join(k === "strokes_per_minute" ? " to " : " × ") : typeof x === "number" ? num(x, 5) : typeof x === "boolean" ? (x ? "yes" : "no") : x);
  const plain = (x) => x !== null && x !== undefined && x !== "" && x !== 0 && (typeof x !== "object" || (Array.isArray(x) && x.every((y) => typeof y === "number")));
  const unitOf = (k) => k.endsWith("_mm_s") ? "mm/s" : ({ deg: "deg", mm: "mm", kn: "kN", kj: "kJ", j: "J", mpa: "MPa" })[k.split("_").pop().toLowerCase()] ?? "";
  const rows = [
    ...PRESS_ROWS.filter(([k]) => plain(p[k])).map(([k, name, unit]) => [name, text(p[k], k), unit]),
    ...Object.entries(p).filter(([k, x]) => !known.has(k) && plain(x)).map(([k, x]) => [words(k.replace(/_(mm_s|mm|kn|kj|j|deg)$/i, "")), text(x), unitOf(k)]),
  ]; // prettier-ignore
  return [h("h3", {}, p.name), facts(rows.slice(0, 7)), rows.length > 7 ? h("details", { class: "more" }, h("summary", {}, "More of this press"), facts(rows.slice(7))) : null];
}

function grouped(figures) {
  const left = new Set(figures);
  const blocks = GROUPS.map(([title, test]) => {
    const list = figures.filter((f) => left.has(f) && test.test(f.key));
    list.forEach((f) => left.delete(f));
    return [title, list];
  });
  blocks.push(["Others", [...left]]);
  return h("div", { class: "figure-groups" }, blocks.filter(([, l]) => l.length).map(([title, list]) => h("div", { class: "figure-group" }, h("h3", {}, title), figureList(list)))); // prettier-ignore
}

function sequenceTable(draws) {
  return grid([{ name: "Draw", left: true }, { name: "Diameter", unit: "mm" }, { name: "Height", unit: "mm" }, { name: "Ratio" }, { name: "Punch radius", unit: "mm" }, { name: "Die radius", unit: "mm" }], draws.map((d) => [String(d.draw), num(d.diameter, 4), num(d.height, 4), num(d.ratio), num(d.punch_radius), num(d.die_radius)]), { caption: "Draw sequence" }); // prettier-ignore
}

function candidateTable(v) {
  const name = v.press?.name;
  const list = v.candidates ?? [];
  return grid([{ name: "Press", left: true }, { name: "Serves", left: true }, { name: "Why", left: true }], list.map((c) => [c.name, c.fits ? "yes" : "no", Array.isArray(c.why) ? c.why.join(" ") : c.why || "–"]), { caption: "Presses", className: "words-table", chosen: list.findIndex((c) => c.name === name) }); // prettier-ignore
}

export default { name: "press", title: "Press", stages: ["press"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press"], make };
