// Tables of the page Press plan: stations, what each does, bends, safety distances.

import { h } from "../dom.js";
import { facts, grid } from "../parts.js";
import { fixed, handy, num, quantity, words } from "../words.js";

const left = (name) => ({ name, left: true });
const col = (name, unit = "") => ({ name, unit });

/** All stations; the slowest is named, the one whose cycle is shown stands out. `pick(key)` shows another. */
export function stationTable(v, shown, pick) {
  const list = [...v.stations.map((s) => ({ ...s, key: String(s.station) })), ...(v.transfer ? [{ ...v.transfer, key: "transfer", station: "all" }] : [])];
  const rows = list.map((s) => [
    h("button", { type: "button", class: "word", onclick: () => pick(s.key) }, s.key === "transfer" ? "together" : String(s.station)), s.operations.join(", "), s.press, num(s.force_flat_kN), num(s.force_kN), fixed(s.share_pct, 0), num(s.touch_height_mm), num(s.rate_per_min),
    num(s.feed_height_mm), num(s.window_s, 2), num(s.period_s), num(s.parts_per_hour),
  ]); // prettier-ignore
  return grid([left("Station"), left("Does"), left("Press"), col("At once", "kN"), col("Stepped", "kN"), col("Of the press", "%"), col("Touches at", "mm"), col("Strokes", "1/min"), col("Opens for", "mm"), col("Stands open", "s"), col("Period", "s"), col("Parts an hour")], rows, { caption: "Stations", className: "tight-table stations-table", chosen: list.findIndex((s) => s.key === shown) }); // prettier-ignore
}

/** Why a station is as it is. */
export function stationWords(s) {
  const steps = (s.steps ?? []).map((p) => `${words(p.piece)} by ${p.steps === 1 ? "one thickness" : `${num(p.steps)} thicknesses`}`);
  const lines = [
    s.why ? `${words(s.why)}.` : null,
    s.presses_that_serve === 0 ? "No press of the table serves." : Number.isFinite(s.presses_that_serve) ? `${num(s.presses_that_serve)} ${s.presses_that_serve === 1 ? "press" : "presses"} of the table serve${s.presses_that_serve === 1 ? "s" : ""}; this is ${s.press}.` : null,
    Number.isFinite(s.work_J) ? `Work of a stroke: ${quantity(...handy(s.work_J, "J"))}.` : null,
    steps.length ? `Ground shorter: ${steps.join(", ")}. That lowers the largest force by ${fixed(s.lowered_pct, 0)} %.` : null,
    ...Object.entries(s.how ?? {}).map(([name, how]) => `${words(name)}: ${how}.`),
    ...(s.checks ?? []).filter((c) => c.level !== "ok").map((c) => c.sentence),
  ].filter(Boolean);
  return lines.length ? h("ul", { class: "notes" }, lines.map((l) => h("li", {}, l))) : null;
}

export function safetyFacts(v) {
  const d = v.safety ?? {};
  if (!Number.isFinite(d.stop_time_s) && !Number.isFinite(d.trip_mm)) return h("p", { class: "quiet" }, "Safety distances are told when the stopping time of the press, measured together with its protective device, is stated (plan.stop_time_s). Local codes and licensed practice come first.");
  return [
    facts([["Stopping time, measured", d.stop_time_s, "s"], ["Light curtain, ISO 13855", d.curtain_mm, "mm"], ["Two-hand control, ISO 13855", d.two_hand_mm, "mm"], ["Presence sensing or two-hand control, 29 CFR 1910.217", d.us_mm, "mm"], ["Two-hand trip, full-revolution clutch", d.trip_mm, "mm"]]),
    h("p", { class: "quiet" }, "Distances from the point of operation at least. Local codes and licensed practice come first."),
  ]; // prettier-ignore
}

export function compoundWords(c) {
  return c ? h("p", {}, `Blank and first draw ${c.possible ? "can" : "cannot"} share a die: ${c.why}.`) : null;
}

const LINES = { straight: "straight", stretch: "stretched", shrink: "shrunk" };

export function bendTables(v) {
  const shape = v.bends.map((b) => [String(b.number), b.name || (b.flange ? `flange ${b.flange}` : "–"), `${b.kind}, ${b.kind === "hem" ? "closed" : b.method}`, LINES[b.line] ?? b.line ?? "–", num(b.angle_deg), num(b.radius_mm), num(b.length_mm, 4), num(b.leg_mm), num(b.arc_mm), num(b.deduction_mm), num(b.flat_leg_mm), num(b.developed_mm, 4)]);
  const work = v.bends.map((b) => [String(b.number), num(b.force_kN), num(b.hem_kN), num(b.least_radius_mm), num(b.least_leg_mm), num(b.outer_strain_pct, 2), num(b.edge_strain_pct, 2), num(b.springback_deg, 2), num(b.tool_angle_deg, 4), num(b.tool_radius_mm), num(b.hole_mm)]);
  const operations = v.operations ?? [];
  return [
    grid([col("No."), left("Bend"), left("How"), left("Line"), col("Angle", "deg"), col("Radius", "mm"), col("Length", "mm"), col("Leg", "mm"), col("Arc, flat", "mm"), col("Deduction", "mm"), col("Flat leg", "mm"), col("Developed", "mm")], shape, { caption: "Bends and hems", className: "tight-table" }),
    grid([col("No."), col("Force", "kN"), col("Hem closes at", "kN"), col("Least radius", "mm"), col("Least leg", "mm"), col("Outer fibre", "%"), col("Edge", "%"), col("Springs back", "deg"), col("Tool’s angle", "deg"), col("Tool’s radius", "mm"), col("Next hole", "mm")], work, { caption: "What the bends ask for", className: "tight-table" }),
    operations.length ? grid([left("Operation"), left("Bends"), col("Force", "kN"), col("Touches at", "mm"), col("Work", "J"), col("Of the press", "%")], operations.map((o) => [words(o.name), o.bends.join(", "), num(o.force_kN), num(o.touch_height_mm), num(o.work_J), fixed(o.use_pct, 0)]), { caption: "Bending operations", className: "tight-table" }) : null,
    v.left_out?.length ? h("p", {}, `Flanges that the draw leaves open and that are bent nowhere: ${v.left_out.join(", ")}.`) : null,
  ]; // prettier-ignore
}
