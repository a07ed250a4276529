// Tables of the page Cutting: cuts, punches and buttons, springs, edges, scrap, steels, the flat blank's iterations.

import { data } from "../api.js";
import { h } from "../dom.js";
import { downloads, facts, grid } from "../parts.js";
import { fixed, num, quantity, words } from "../words.js";

const left = (name) => ({ name, left: true });
const col = (name, unit = "") => ({ name, unit });

/** How a steel travels, in words. */
export function travelText(direction, cam) {
  if (!Array.isArray(direction)) return "–";
  if (!(cam > 0.05)) return "straight down";
  const [x, y] = direction;
  return Math.hypot(x, y) < 1e-6 ? "straight" : `towards ${sideOf((Math.atan2(y, x) * 180) / Math.PI)}`;
}

const SIDES = ["right", "back right", "back", "back left", "left", "front left", "front", "front right"];
/** A side of the press by the angle from +x: front is where one stands. */
export const sideOf = (deg) => (Number.isFinite(deg) ? SIDES[Math.round((((deg % 360) + 360) % 360) / 45) % 8] : "–");

/** The record of the trim that a cut of the stage cutting belongs to; cams of a line are numbered. */
function lineOf(trim, id) {
  const whole = trim?.values.cuts.find((c) => c.id === id);
  if (whole) return whole;
  const found = /^(.*)_cam_(\d+)$/.exec(id);
  const parent = found && trim?.values.cuts.find((c) => c.id === found[1]);
  return parent ? { ...parent, ...(parent.cams[Number(found[2]) - 1] ?? {}) } : null;
}

/** All cuts; a click on a name shows its worst place. `show(place, label)`. */
export function cutTable(trim, cutting, show) {
  const rows = cutting?.values.cuts ?? (trim?.values.cuts ?? []).map((c) => ({ ...c, flat_kN: null, sheared_kN: null }));
  const columns = [left("Cut"), left("Operation"), left("Steel travels"), col("Cam", "deg"), col("Length", "mm"), col("Sheet", "mm"), col("Leans up to", "deg"), col("Clearance", "mm"), col("Plain", "kN"), col("As ground", "kN")];
  const cells = rows.map((c) => {
    const line = lineOf(trim, c.id);
    const name = line?.lean_at ? h("button", { type: "button", class: "word", onclick: () => show(line.lean_at, `${words(c.id)}, leans most`) }, words(c.id)) : words(c.id);
    const sheet = line && Number.isFinite(line.thickness_min) ? (line.thickness_max - line.thickness_min < 0.005 ? fixed(line.thickness_min, 2) : `${fixed(line.thickness_min, 2)}–${fixed(line.thickness_max, 2)}`) : num(c.thickness);
    return [name, c.operation, travelText(line?.direction, line?.cam_deg), line && line.cam_deg > 0.05 ? fixed(line.cam_deg, 1) : "0", num(c.length_mm, 4), sheet, line ? fixed(line.lean_max_deg, 1) : "–", num(c.clearance_mm, 2), num(c.flat_kN), num(c.sheared_kN)];
  });
  return grid(columns, cells, { caption: "Cuts", className: "tight-table" });
}

export function operationTable(cutting) {
  const rows = cutting.values.operations.map((o) => [words(o.name), num(o.flat_kN), num(o.sheared_kN), num(o.slide_kN), fixed(o.use_pct, 0), num(o.touch_height_mm), num(o.work_J), num(o.released_kN), fixed(o.reverse_pct, 0), num(o.off_mm, 2), num(o.tilt_kNm, 2)]);
  return grid([left("Operation"), col("Plain", "kN"), col("As ground", "kN"), col("Slide", "kN"), col("Of the press", "%"), col("Touches at", "mm"), col("Work", "J"), col("Let go", "kN"), col("Snap-back", "%"), col("Off centre", "mm"), col("Tilts by", "kNm")], rows, { caption: "Operations", className: "tight-table", chosen: cutting.values.operations.findIndex((o) => o.name === cutting.values.heaviest) });
} // prettier-ignore

export function punchTables(cutting) {
  const t = cutting.tables.punches;
  const names = (t.cut ?? []).map((k) => words(cutting.values.cuts[k]?.id ?? "–"));
  const at = (n, k, digits = 3) => num(t[n]?.[k], digits);
  const off = (n, m, k, sign) => (Number.isFinite(t[n]?.[k]) ? `${fixed(t[n][k], 3)} ${sign}${fixed(t[m][k], 3)}` : "to the line");
  const strength = names.map((name, k) => [name, off("punch_mm", "punch_tolerance_mm", k, "−"), off("die_mm", "die_tolerance_mm", k, "+"), at("narrowest_mm", k), at("smallest_allowed_mm", k, 2), at("force_kN", k), at("stress_MPa", k), at("free_mm", k), at("longest_free_mm", k), at("slenderness", k, 2), at("safety", k)]);
  const holders = names.map((name, k) => [name, at("length_mm", k), at("shank_mm", k), at("head_mm", k), at("head_MPa", k), at("button_mm", k), at("land_mm", k), at("relief_mm", k, 2), at("taper_deg", k, 2), at("slugs_in_land", k, 2)]);
  return [
    grid([left("Punch"), col("Punch, tolerance", "mm"), col("Die, tolerance", "mm"), col("Narrowest", "mm"), col("Least allowed", "mm"), col("Force", "kN"), col("Stress", "MPa"), col("Free", "mm"), col("Free at most", "mm"), col("Slenderness"), col("Against buckling")], strength, { caption: "Piercing punches", className: "tight-table" }),
    grid([left("Punch"), col("Length", "mm"), col("Shank", "mm"), col("Head", "mm"), col("Under the head", "MPa"), col("Button", "mm"), col("Land", "mm"), col("Relief", "mm"), col("Taper", "deg"), col("Slugs in the land")], holders, { caption: "Shanks and die buttons", className: "tight-table" }),
  ]; // prettier-ignore
}

export function springTable(cutting) {
  const rows = cutting.values.operations.flatMap((o) => (o.strippers ?? []).map((s) => [words(s.of), s.springs || "none found", num(s.count), num(s.force_kN), `${fixed(s.preload_mm, 1)} mm, ${num(s.preload_kN)} kN`, fixed(s.work_mm, 1), num(s.end_kN), Number.isFinite(s.life_share) ? fixed(100 * s.life_share, 0) : "–", fixed(s.off_mm, 1)]));
  return grid([left("Strips"), left("Springs"), col("Count"), col("Needed", "kN"), col("Preload"), col("Works", "mm"), col("At the end", "kN"), col("Of long life", "%"), col("Off centre", "mm")], rows, { caption: "Springs of the strippers", className: "tight-table" });
} // prettier-ignore

export function webTable(cutting) {
  return grid([left("Between"), col("Web", "mm"), col("Over thickness")], cutting.values.webs.slice(0, 12).map((w) => [w.between.map(words).join(" and "), num(w.mm), num(w.over_thickness, 2)]), { caption: "Webs, narrowest first", className: "tight-table" });
}

/** Facts beside the drawing of an edge. */
export function edgeFacts(cut) {
  return facts([["Burr, up to", cut.burr_mm, "mm"], ["lies on", cut.burr_side ? `the ${cut.burr_side} face${cut.burr_seen ? ", which is seen" : ""}` : null], ["Cutting clearance a side", cut.clearance_mm, "mm"], ["Sheet there", cut.thickness, "mm"], ["Made to the line", cut.tool], Number.isFinite(cut.slug_mm) ? ["Slug", cut.slug_mm, "mm"] : null]); // prettier-ignore
}

export function pieceTable(scrap, show) {
  const t = scrap.tables.pieces;
  const { hooked, held, slugs, cuts } = scrap.values;
  let slug = 0;
  const rows = (t.piece ?? []).map((n, k) => {
    const isSlug = Boolean(t.slug[k]);
    const what = isSlug ? `slug of ${words(slugs[slug++] ?? cuts[t.cut[k]] ?? "")}` : `piece of ${words(cuts[t.cut[k]] ?? "")}`;
    const falls = isSlug ? "through the die" : hooked.includes(n) ? "hooked on the post" : held.includes(n) ? `held by choppers${Number.isFinite(t.way_deg[k]) ? `, ${sideOf(t.way_deg[k])}` : ""}` : Number.isFinite(t.way_deg[k]) ? `to the ${sideOf(t.way_deg[k])}, ${fixed(t.way_deg[k], 0)}°` : "no way found";
    return [h("button", { type: "button", class: "word", onclick: () => show(n, what) }, String(n)), what, `${num(t.length_mm[k])} × ${num(t.width_mm[k])}`, num(t.across_mm[k]), num(t.mass_kg[k] * 1000), falls, Number.isFinite(t.free_deg[k]) ? fixed(t.free_deg[k], 0) : "–", num(t.run_mm[k]), Number.isFinite(t.chute_deg[k]) ? fixed(t.chute_deg[k], 0) : "–"];
  });
  return grid([col("No."), left("What"), col("Size", "mm"), col("Across", "mm"), col("Mass", "g"), left("Falls"), col("Free over", "deg"), col("Slides", "mm"), col("Chute", "deg")], rows, { caption: "Scrap", className: "tight-table" });
} // prettier-ignore

export function scrapFacts(scrap) {
  const v = scrap.values;
  return facts([["Scrap of a stroke", Number.isFinite(v.scrap_kg) ? v.scrap_kg * 1000 : null, "g"], ["Pieces, of them with a way out", `${num(v.pieces)}, ${num(v.fall)}`], ["Choppers", v.choppers], ["Longest piece allowed", v.piece_max, "mm"], ["Width of the chutes", v.chute_width, "mm"], ["Height under the cut", v.drop_height, "mm"]]); // prettier-ignore
}

export function steelTables(scrap) {
  const v = scrap.values;
  const t = scrap.tables.steels;
  const joints = scrap.tables.joints;
  const screw = (k) => `${num(t.screws[k])} × M${num(t.screw_mm[k])}`;
  const rows = (t?.steel ?? []).map((n, k) => [String(n), t.upper[k] ? "upper steel" : "post", words(v.cuts[t.cut[k]] ?? "–"), num(t.edge_mm[k], 4), `${num(t.width_mm[k])} × ${num(t.height_mm[k])}`, num(t.force_kN[k]), num(t.thrust_kN[k]), screw(k), `${num(t.dowels[k])} × ${num(t.dowel_mm[k])}`, t.key[k] ? "key" : "–", num(t.mass_kg[k])]);
  return [
    facts([["Steel", v.steel ? `${v.steel.number} ${v.steel.name}, ${v.steel.hardness}` : null], ["Steels, mass of all", `${num(v.steels)}, ${quantity(v.steels_kg, "kg")}`], ["Section", v.section ? `${num(v.section.width)} wide, ${num(v.section.height)} high` : null, "mm"]]),
    v.steel?.why ? h("p", { class: "quiet" }, `${words(v.steel.why)}.`) : null,
    grid([col("No."), left("What"), left("Cut"), col("Edge", "mm"), col("Section", "mm"), col("Force", "kN"), col("Thrust", "kN"), col("Screws"), col("Dowels", "mm"), left("Key"), col("Mass", "kg")], rows, { caption: "Steels in segments", className: "tight-table" }),
    joints?.cut?.length ? h("details", { class: "more" }, h("summary", {}, `${joints.cut.length} joints`), grid([left("Cut"), col("Along the line", "mm"), col("Line turns on", "mm"), col("Nearest chopper", "mm")], joints.cut.map((c, k) => [words(v.cuts[c] ?? "–"), num(joints.way_mm[k], 4), joints.radius_mm[k] > 1e5 ? "straight" : num(joints.radius_mm[k]), num(joints.chopper_mm[k])]), { caption: "Joints", className: "tight-table" })) : null,
    scrap.files?.length ? downloads(scrap.files.map((f) => [data.file("scrap", scrap.key, f), f === "cutting.dxf" ? "Take the drawing of all cuts, cutting.dxf" : f === "steels.csv" ? "Take the list of steels, steels.csv" : `Take ${f}`, f])) : null,
  ]; // prettier-ignore
}

/** What the developed blank came to, run by run. */
export function developedTables(r) {
  const t = r.tables.iterations ?? {};
  const v = r.values;
  const rows = (t.run ?? []).map((n, k) => [num(n + (t.run[0] === 0 ? 1 : 0)), t.blank[k], num(t.max_mm[k], 2), num(t.rms_mm[k], 2), num(t.over_mm[k], 2), num(t.short_mm[k], 2), num(t.moved_mm[k], 2)]);
  const holes = (v.holes ?? []).map((o) => [words(o.id), o.flat?.map((x) => fixed(x, 2)).join("   ") ?? "–", o.flat_size?.map((x) => fixed(x, 2)).join(" × ") ?? "–", num(o.one_step_off_mm, 2), num(o.springback_mm, 2)]);
  return [
    grid([col("Run"), left("Blank"), col("Off, at most", "mm"), col("Off, mean", "mm"), col("Past the line", "mm"), col("Short of it", "mm"), col("Outline moved", "mm")], rows, { caption: "Tryouts of the developed blank", className: "tight-table", chosen: v.best }),
    holes.length ? grid([left("Hole"), col("Pierce in the flat at x   y", "mm"), col("Size there", "mm"), col("One-step would miss by", "mm"), col("Moves when let go", "mm")], holes, { caption: "Holes pierced in the flat", className: "tight-table" }) : null,
    r.files?.length ? downloads(r.files.map((f) => [data.file("developed", r.key, f), `Take ${f}`, f])) : null,
  ]; // prettier-ignore
}
