// What the plating came to: by deposit, by part and side, with bodies and without, and the places of the anodes that were tried.

import { h } from "../dom.js";
import { grid } from "../parts.js";
import { fixed, num } from "../words.js";

const SIDES = ["upper", "lower"];

/** How each bath runs, and what it lays on the significant surface of all parts. */
export function layerTable(r) {
  const { layers } = r.values;
  const runs = [{ name: "How it runs", left: true }, { name: "Time", unit: "min" }, { name: "Current", unit: "A" }, { name: "Mean density", unit: "A/dm2" }, { name: "Voltage", unit: "V" }, { name: "Energy", unit: "kWh" }, { name: "Metal on parts", unit: "g" }, { name: "on thieves", unit: "g" }]; // prettier-ignore
  const lays = [{ name: "What it lays", left: true }, { name: "Least", unit: "µm" }, { name: "Thinnest 1 %", unit: "µm" }, { name: "Mean", unit: "µm" }, { name: "Most", unit: "µm" }, { name: "Mean / least" }, { name: "Too thin", unit: "%" }, { name: "Burnt", unit: "%" }, { name: "Starved", unit: "%" }]; // prettier-ignore
  return [
    grid(runs, layers.map((l) => [l.title, `${num(l.minutes)}${l.timed ? "" : ", stated"}`, num(l.current_A, 4), num(l.mean_a_dm2), num(l.voltage_V), num(l.energy_kWh), num(l.metal_parts_g, 4), num(l.metal_thieves_g)]), { caption: "Bath by bath", className: "tight-table" }),
    grid(lays, layers.map((l) => [l.title, num(l.min_um), num(l.thinnest_um), num(l.mean_um), num(l.max_um), num(l.mean_over_min), fixed(l.short_pct, 1), fixed(l.burnt_pct, 1), fixed(l.starved_pct, 1)]), { caption: "On the significant surface of all parts", className: "tight-table" }),
    h("p", { class: "quiet" }, "Burnt and starved: share of the surface above and below the current densities that the bath’s library names. Too thin: below the least wanted."),
  ]; // prettier-ignore
}

export function partTable(r) {
  const t = r.tables.parts;
  const { layers } = r.values;
  const columns = [{ name: "Deposit", left: true }, { name: "Part" }, { name: "Side", left: true }, { name: "Least", unit: "µm" }, { name: "Mean", unit: "µm" }, { name: "Most", unit: "µm" }, { name: "Mean / least" }, { name: "Least", unit: "A/dm2" }, { name: "Mean", unit: "A/dm2" }, { name: "Most", unit: "A/dm2" }, { name: "Burnt", unit: "%" }, { name: "Starved", unit: "%" }]; // prettier-ignore
  const rows = t.layer.map((k, i) => [layers[k - 1].name, num(t.part[i]), sideOf(r.values, SIDES[t.side[i]]), num(t.min_um[i]), num(t.mean_um[i]), num(t.max_um[i]), num(t.mean_over_min[i]), num(t.min_a_dm2[i]), num(t.mean_a_dm2[i]), num(t.max_a_dm2[i]), fixed(t.burnt_pct[i], 1), fixed(t.starved_pct[i], 1)]);
  return grid(columns, rows, { caption: "Every part of the rack, both sides", className: "tight-table" });
}

const sideOf = (v, side) => (v.significant_side === side ? `${side}, significant` : side);

const COMPARED = [["min_um", "Least, µm"], ["thinnest_um", "Thinnest 1 %, µm"], ["mean_um", "Mean, µm"], ["max_um", "Most, µm"], ["mean_over_min", "Mean / least"], ["max_a_dm2", "Most, A/dm²"], ["burnt_pct", "Burnt, %"], ["starved_pct", "Starved, %"], ["minutes", "Time, min"], ["voltage_V", "Voltage, V"], ["thieves_pct", "On thieves, % of the current"]]; // prettier-ignore

/** The same rack without the bodies and with them. */
export function bodiesTable(r) {
  const t = r.tables.bodies;
  if (!t) return null;
  const { layers } = r.values;
  const columns = [{ name: "", left: true }, ...t.layer.flatMap((k) => [{ name: `${layers[k - 1].name}, without` }, { name: "with" }])];
  const rows = COMPARED.filter(([name]) => t[`${name}_with`]).map(([name, text]) => [text, ...t.layer.flatMap((_, i) => [num(t[`${name}_without`][i]), num(t[`${name}_with`][i])])]);
  return grid(columns, rows, { caption: "What the bodies change, on the significant surface", className: "tight-table" });
}

export function triedTable(a) {
  const t = a.tables.tried;
  const columns = [{ name: "Place", left: true }, { name: "Distance", unit: "mm" }, { name: "Row", unit: "mm" }, { name: "Depth", unit: "mm" }, { name: "Mean / thinnest 1 %" }, { name: "Mean / least" }, { name: "Most / mean current" }]; // prettier-ignore
  const refused = (i) => t.ratio[i] === null || t.ratio[i] >= 1e6;
  const rows = t.distance.map((d, i) => [i === 0 ? "as stated" : `try ${i + 1}`, num(d, 4), num(t.span[i], 4), num(t.length[i], 4), refused(i) ? "does not fit" : num(t.ratio[i]), num(t.mean_over_min[i]), num(t.max_over_mean[i])]);
  return h("details", { class: "more" }, h("summary", {}, `The ${t.distance.length} places that were tried`), grid(columns, rows, { caption: "Places of the anodes, first deposit, coarse mesh", className: "tight-table", chosen: a.values.best }));
}
