// What the finish comes to: specification, polishing, recesses, rack, records and other finishes as tables.

import { h } from "../dom.js";
import { facts, grid } from "../parts.js";
import { fixed, num, vector, words } from "../words.js";

const KNOWN = { read: "read", memory: "from memory", "memory-uncertain": "from uncertain memory", stated: "stated" };
const CHROMIUM = { r: "regular", mc: "microcracked", mp: "microporous" };
const NICKEL = { b: "bright", d: "double or triple layer", p: "dull or semibright" };
export const triple = (at) => at.map((v) => fixed(v, 1)).join("  ");
const band = ([a, b], digits = 3) => (a === b ? num(a, digits) : `${num(a, digits)} to ${num(b, digits)}`);

/** Kinds of nickel and chromium as the classification number says them. */
export function kindsOf(name) {
  const found = /Ni[\d.]+([bdp]) Cr (\w+)/.exec(name);
  return found ? [NICKEL[found[1]], CHROMIUM[found[2]] ?? found[2]] : ["as stated", "as stated"];
}

export function specification(v) {
  const [nickel, chromium] = kindsOf(v.class);
  const source = `${v.class_source} (${KNOWN[v.class_known_by] ?? v.class_known_by})`;
  const area = v.significant_mm2 / 100;
  const rows = [
    ["Class", v.class, "", source],
    ["Service condition", `${num(v.service)}, ${v.service_text}`, "", v.service_open ? "taken; none is stated" : "stated"],
    ["Hardest condition that these thicknesses serve", v.serves ? num(v.serves) : "none of the table", "", "the table of classes"],
    ["Base metal", v.base, "", "the sheet, unless stated"],
    v.copper_um ? ["Least local copper below the nickel", v.copper_um, "µm", source] : null,
    [`Least local nickel, ${nickel}`, v.nickel_um, "µm", source],
    [`Least local chromium, ${chromium}`, v.chromium_um, "µm", source],
    ["Side that is shown", v.sides.length > 1 ? `${v.side}; both sides count` : v.side, "", "the outer side, unless stated"],
    ["Faces that count", v.faces ? `${num(v.faces.length)}: ${v.faces.join(", ")}` : "all", "", "picked"],
    ["Surface that counts", area, "cm²", `ball of ${num(v.ball_mm)} mm, ISO 27830`],
    ...Object.entries(v.ball_share).map(([side, share]) => [`Of the picked ${side} side the ball touches`, fixed(100 * share, 1), "%", "no least thickness is owed on the rest"]),
  ];
  return [facts(rows, { sources: true }), grid([{ name: "Test", left: true }, { name: "How", left: true }], v.tests.map((t) => [words(t.test), words(t.text)]), { caption: "Tests", className: "tight-table source-table" })];
}

export function stepTable(v) {
  const columns = [{ name: "Step", left: true }, { name: "Leaves Ra", unit: "µm" }, { name: "Takes off", unit: "µm" }, { name: "Rim", unit: "m/s" }, { name: "Wheel turns", unit: "1/min" }, { name: "Source of the Ra", left: true }]; // prettier-ignore
  const rows = v.steps.map((t) => [t.name, band(t.ra_um), band(t.stock_um), num(t.speed_m_s), num(t.rpm, 4), t.source]);
  const e = v.effort;
  return [
    grid(columns, rows, { caption: "Grit by grit", className: "tight-table source-table" }),
    h("div", { class: "columns" }, facts([
      ["Rolled sheet, Ra", v.start.rolled_ra_um, "µm"], ["Roughest place as drawn, Ra", v.start.ra_max_um, "µm"], ["its class", v.start.roughness_class], ["Scratched by the die radius", v.start.scratched_mm2 / 100, "cm²"],
      ["Sheet removed, at most", v.removed_max_um, "µm"],
    ]), facts([["Thinnest sheet left", v.thickness_left_min, "mm"], ["Least that is wanted", v.thickness_least, "mm"], ["Polished a part", e.area_cm2, "cm²"], ["Polishing time a part", band(e.minutes), "min"], ["Wheels or dressings a thousand parts", band(e.wheels_per_1000)],
    ])),
    h("p", { class: "quiet" }, `Rolled sheet: ${v.start.source}. A step takes off the scratches of the step before; the least thickness is checked with the high end. Time and wheels are estimates of ours until you state your own rates.`),
  ]; // prettier-ignore
}

/** Where wheel and ball do not reach. `show(at, label)` marks a place in the picture. */
export function recessTable(r, show) {
  const { regions: t } = r.tables;
  if (!t.kind.length) return h("p", {}, "The wheel reaches all of the picked surface, and the ball touches all of it, but for places below 20 mm².");
  const columns = [{ name: "Place", left: true }, { name: "What does not reach", left: true }, { name: "Side", left: true }, { name: "Area", unit: "cm²" }, { name: "of it counts", unit: "cm²" }, { name: "Middle x y z", unit: "mm" }]; // prettier-ignore
  const many = [0, 0];
  const rows = t.kind.map((kind, i) => {
    const n = (many[kind] += 1);
    const name = kind ? `Untouched ${n}` : `Recess ${n}`;
    const at = [t.x_mm[i], t.y_mm[i], t.z_mm[i]];
    return [h("button", { type: "button", class: "word", onclick: () => show(at, name.toLowerCase()) }, name), kind ? `the ball of ${num(r.values.ball_mm)} mm` : "the wheel", t.side[i] > 0 ? "upper" : "lower", num(t.area_mm2[i] / 100), num(t.counts_mm2[i] / 100), triple(at)];
  });
  return [grid(columns, rows, { caption: "The largest first, in press coordinates; the middle of a ring may lie off it", className: "tight-table" }), h("p", { class: "quiet" }, "A recess asks for a smaller wheel, a belt, a mop or a hand tool. Where the ball does not touch, no least thickness is owed: what must be protected there is agreed in writing.")];
}

const LIMITS = { room: "room", spine: "current of the spine", rectifier: "current of the rectifier", weight: "weight" };

export function rackTables(r, show) {
  const k = r.values.rack;
  const c = r.tables.contacts;
  const where = c.x_mm.map((x, i) => [x, c.y_mm[i], c.z_mm[i]]);
  return [
    h("div", { class: "columns" }, facts([
      ["Parts on the rack", `${num(k.parts)}: ${num(k.columns)} across, ${num(k.rows)} down`], ...Object.entries(k.limits).map(([name, most]) => [`Most by ${LIMITS[name] ?? name}`, `${num(most)}${name === k.binding ? ", which decides" : ""}`]),
      ["Rack with its parts", k.load_kg, "kg"], ["Depth in the bath", k.immersed_mm, "mm"], ["Looks at the anodes, x y z", vector(k.facing)],
    ]), facts([
      ["Surface plated of a part", k.area_dm2, "dm²"], ["Highest mean current density", k.current_density, "A/dm2"], ["Current of a part, of the rack", `${num(k.current_A)} A, ${num(k.rack_current_A)} A`], ["Contacts a part", k.contacts], ["Hangs upwards, x y z", vector(k.up)], ["Bath carried out", r.values.drag_out_ml_m2, "mL/m²"],
    ])),
    grid([{ name: "Contact", left: true }, { name: "At", left: true }, { name: "Place x y z", unit: "mm" }, { name: "Below the top", unit: "mm" }, { name: "Marks", unit: "mm2" }], where.map((at, i) => [h("button", { type: "button", class: "word", onclick: () => show(at, `contact ${i + 1}`) }, `Contact ${i + 1}`), c.hole[i] ? "rim of a hole" : "outer edge", triple(at), num(c.below_top_mm[i]), num(c.marks_mm2[i])]), { caption: "Where the part may be held, in press coordinates", className: "tight-table" }),
  ]; // prettier-ignore
}

export function planTable(v, show) {
  const rows = v.spots.map((p) => [h("button", { type: "button", class: "word", onclick: () => show(p.at, p.name) }, p.name), p.side, triple(p.at), p.why]);
  return grid([{ name: "Place", left: true }, { name: "Side", left: true }, { name: "x y z", unit: "mm" }, { name: "Why there", left: true }], rows, { caption: "Thickness plan", className: "tight-table" });
}

export function bookTable(v) {
  const columns = [{ name: "Substance", left: true }, { name: "Unit", left: true }, { name: "Taken by the current" }, { name: "Drag-out" }, { name: "Added" }, { name: "To add" }, { name: "Above the start" }, { name: "Rests on", left: true }]; // prettier-ignore
  const rows = v.book.map((b) => [words(b.what), b.unit, num(b.current), num(b.drag_out), num(b.added), h("strong", {}, b.to_add > 0 ? num(b.to_add) : "none"), b.to_add < 0 ? num(-b.to_add) : "–", b.rests_on]);
  return [
    grid(columns, rows, { caption: "Over the whole book", className: "tight-table source-table" }),
    h("p", {}, `${num(v.anodes_kg)} kg of nickel anodes were dissolved by the current.`),
    h("p", { class: "quiet" }, "A negative figure is a gain: nickel anodes give more than the parts take. A balance proposes, an analysis decides; add nothing without one."),
  ];
}

export function choiceTable(v) {
  const columns = [{ name: "Finish", left: true }, { name: "Cost a m²" }, { name: "A part, your rate" }, { name: "What is lost", left: true }, { name: "Where it may be", left: true }]; // prettier-ignore
  const rows = v.alternatives.map((c) => [c.title, c.relative_cost ? band(c.relative_cost) : "–", num(c.part_cost), words(c.loses), words(c.allows)]);
  const ours = v.alternatives.find((c) => !c.rate_stated)?.source;
  return [grid(columns, rows, { caption: "Choices, not advice", className: "tight-table source-table choice-table" }), h("p", { class: "quiet" }, `${ours ? `Bands: ${ours}. ` : ""}Serves: service condition ${num(v.service)} on this sheet, as is usual. Corrosion tests of the piece decide.`)];
}
