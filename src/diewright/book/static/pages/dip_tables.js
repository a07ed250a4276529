// What stays, hole by hole and millilitre by millilitre: the tables of the page Dip.

import { h } from "../dom.js";
import { facts, figureList, grid } from "../parts.js";
import { fixed, num } from "../words.js";

/** A volume with its unit, for a table. */
export const volume = (mm3) => (mm3 === 0 || mm3 >= 100 ? [num(mm3 / 1000), "mL"] : [num(mm3), "mm³"]);

const triple = (at) => at.map((v) => fixed(v, 1)).join("  ");
const NARROW = 5; // mm: below it surface tension decides, by inference (see the method)

/** Pockets of the attitude shown, with where a hole would do and where they run over. `show(place, label)` marks a place in the picture. */
export function pocketTable(v, show) {
  const rows = [...v.air.map((p, i) => ["air", "air pocket", p, i + 1]), ...v.pools.map((p, i) => ["pool", "pool", p, i + 1])].map(([kind, word, p, n]) => [
    h("button", { type: "button", class: "word", onclick: () => show(p.far, `${kind === "air" ? "highest" : "lowest"} place of ${word} ${n}`) }, `${word} ${n}`),
    num(p.mm3 / 1000), num(p.mm3, 4), fixed(p.depth_mm, 1), p.width_mm === undefined ? "–" : `${fixed(p.width_mm, 1)}${p.width_mm < NARROW ? " narrow" : ""}`, num((p.front_mm2 + p.back_mm2) / 100), triple(p.far), fixed(p.surface_mm - v.low, 1), triple(p.lip),
  ]); // prettier-ignore
  if (!rows.length) return h("p", {}, "Nothing stays in this attitude: no air when it goes in, no bath when it comes out.");
  const columns = [{ name: "Pocket", left: true }, { name: "Volume", unit: "mL" }, { name: "", unit: "mm3" }, { name: "Depth", unit: "mm" }, { name: "Width", unit: "mm" }, { name: "Touches", unit: "cm²" }, { name: "Far end x y z", unit: "mm" }, { name: "Surface up the part", unit: "mm" }, { name: "Spills at x y z", unit: "mm" }]; // prettier-ignore
  const narrow = [...v.air, ...v.pools].some((p) => p.width_mm < NARROW);
  return [grid(columns, rows, { caption: "Pockets, largest first; places in the part’s coordinates", className: "tight-table dip-pockets" }), narrow ? h("p", { class: "quiet" }, "Narrow: below 5 mm surface tension decides, and more may stay than is computed.") : null];
}

/** What a hole at each pocket's far end would do, for the attitude that was worked. */
export function holesOf(r) {
  const t = r.tables.pockets;
  if (!t?.hole_mm?.length) return null;
  const rows = t.kind.map((kind, i) => [
    `${kind === 0 ? "air pocket" : "pool"} ${t.number[i] + 1}`, t.holds[i] ? "too shallow for a hole" : num(t.hole_mm[i]), triple([t.far_x_mm[i], t.far_y_mm[i], t.far_z_mm[i]]), num(t.hole_by_time_mm[i]), num(t.hole_table_mm[i]), fixed(t.time_s[i], 1), num(t.head_left_mm[i]), num(t.saved_mm3[i] / 1000), num(t.after_mm3[i] / 1000),
  ]); // prettier-ignore
  const columns = [{ name: "At", left: true }, { name: "Hole", unit: "mm" }, { name: "Place x y z", unit: "mm" }, { name: "by time alone", unit: "mm" }, { name: "galvanizing table", unit: "mm" }, { name: "Empties in", unit: "s" }, { name: "Head left", unit: "mm" }, { name: "Takes away", unit: "mL" }, { name: "Then stay", unit: "mL" }]; // prettier-ignore
  const w = r.values.with_holes;
  return [
    grid(columns, rows, { caption: "In the attitude that was worked", className: "tight-table" }),
    w ? h("p", {}, `With all of them ${num(w.air_mm3 / 1000)} mL of air and ${num(w.pool_mm3 / 1000)} mL of bath stay, ${num(r.values.air_mm3 / 1000)} and ${num(r.values.pool_mm3 / 1000)} mL without.`) : null,
    h("p", { class: "quiet" }, "The part is flooded again with each hole. Its size: the time it has to empty (Torricelli), the head that surface tension holds in it, and the least hole stated, whichever asks for most. The galvanizing table is an upper bound, for guidance. Ask the designer where a hole may be seen."),
  ];
}

/** What a part and a rack carry off, beside what shops publish. */
export function dragOutOf(r, stated) {
  const d = r.values.drag_out;
  const low = Math.min(0.85 * d.bead_mL + d.film_mL, d.pulled_mL) + d.pools_mL;
  const high = Math.min(1.15 * d.bead_mL + d.film_mL, d.pulled_mL) + d.pools_mL;
  const rows = [
    ["A part carries off", `${num(d.part_mL)}, ${num(low)} to ${num(high)}`, "mL"], stated.parts > 1 ? [`A rack of ${num(stated.parts)}`, d.rack_mL, "mL"] : null, ["of it bead at the lower edges", d.bead_mL, "mL"], ["film", d.film_mL, "mL"], ["pools", d.pools_mL, "mL"],
    ["Pulled out before it drips", d.pulled_mL, "mL"], ["Film still running after the drip time", d.running_mL, "mL"], ["Both sides together", d.area_mm2 / 100, "cm²"], ["Trapped air lifts with", r.values.lift_N, "N"], ["Part weighs in the bath", r.values.weight_in_bath_N, "N"],
  ]; // prettier-ignore
  const bands = Object.entries(d.published).map(([name, [lo, hi]]) => [name, lo === hi ? num(lo) : `${num(lo)} to ${num(hi)}`]);
  return h("div", { class: "columns" }, h("div", {}, facts(rows), grid([{ name: "Shops publish for such an area", left: true }, { name: "a part", unit: "mL" }], bands, { caption: "After Soderberg 1936, from memory: a factor of sixty by shape and draining" })), figureList(r.figures ?? []));
}
