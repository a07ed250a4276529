// Press plan: the cycle of the press as a timing diagram, stations and their presses, forces with steps between steels, bends.

import { h, memo, put, uid } from "../dom.js";
import { decisions } from "../decisions.js";
import { figureList, fromResult, grid, section } from "../parts.js";
import { eventRows, pressCycle } from "../plots/press_cycle.js";
import { stationForce } from "../plots/station_force.js";
import { fixed, num, words } from "../words.js";
import { stationList } from "./cutting_lists.js";
import { frame, statedIn } from "./page.js";
import { bendTables, compoundWords, safetyFacts, stationTable, stationWords } from "./plan_tables.js";

const FIRST = ["plan.feed", "plan.compound", "plan.stagger_steps", "plan.hand_time_s", "plan.transfer_time_s", "plan.stop_time_s"];

function make(ctx) {
  let shown = ""; // key of the station whose cycle and force are shown
  const picture = h("div", { class: "cycle-picture" });
  const first = FIRST.filter((path) => path in ctx.book.fields);
  const side = decisions(ctx, first, { title: "The press and its feeding", more: ["plan", "bends"].flatMap((t) => statedIn(ctx, t)).filter((path) => !first.includes(path)) });
  const stations = section("Stations");
  const force = section("Force of the station");
  const events = section("The cycle, event by event");
  const safety = section("Safety distances");
  const bends = section("Bends and hems");
  const numbers = section("Figures");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "plan", title: "Press plan", stages: ["plan", "bends"], picture, side: [side.root], sections: [cautions, stations, force, events, safety, bends, numbers],
    print: [
      "Operations that can share a die share one: trim and piercing where the webs allow, cams together, blank and draw only where a compound die is asked for. Stations and their presses can be stated in the job file, one table [[plan.station]] each.",
      "Steels that follow each other by whole thicknesses are searched so that the largest force is least; the pad’s force is in it. The press is the smallest of the table that serves; its force is that of its crank at the same height.",
      "The cycle is the slide’s motion at the stroking rate of the press; the time in which it stands open above the height that feeding needs is time for feeding, not for reaching in.",
      "Bends: developed length by DIN 6935 or the K factor, springback from the sheet’s own hardening, least radii from memory and for orientation.",
    ],
  }); // prettier-ignore

  const keyOf = (v) => (v.transfer && v.feed === "transfer" ? "transfer" : String(v.cycle_of));
  const entry = (v) => (shown === "transfer" ? v.transfer : v.stations.find((s) => String(s.station) === shown)) ?? v.transfer ?? v.stations[0];

  function pick(key) {
    shown = key;
    update();
  }

  function update() {
    page.update();
    side.update();
    const [r, b] = [ctx.result("plan"), ctx.result("bends")];
    const v = r?.values;
    if (v && !(shown === "transfer" ? v.transfer : v.stations.some((s) => String(s.station) === shown))) shown = keyOf(v);
    page.verdict(v ? verdict(v) : b ? bendVerdict(b.values) : "");
    memo(picture, [r?.key ?? "none", shown], (box) => cycleOf(box, r));
    const list = ctx.book.job.plan?.station ?? [];
    memo(stations.body, [r?.key ?? "none", shown, list], (box) => put(box, v ? [stationTable(v, shown, pick), stationList(ctx, list, v.stations), compoundWords(v.compound), v.unclaimed?.length ? h("p", {}, `No stated station names ${v.unclaimed.join(", ")}; stations of their own were added.`) : null] : [stationList(ctx, list, null), h("p", { class: "quiet" }, ctx.stage("plan") ? "Not worked yet." : "This desk has no press plan.")]));
    force.show(Boolean(v));
    memo(force.body, [r?.key ?? "none", shown], (box) => v && forceOf(box, r));
    events.show(Boolean(v));
    memo(events.body, [r?.key ?? "none", shown], (box) => v && put(box, eventTable(entry(v))));
    safety.show(Boolean(v));
    fromResult(safety.body, r, (box) => put(box, safetyFacts(v)));
    bends.show(Boolean(ctx.stage("bends")));
    fromResult(bends.body, b, (box) => put(box, b.values.bends?.length ? [bendTables(b.values), bendForce(b)] : h("p", { class: "quiet" }, "Nothing is bent after the draw.")));
    const figures = [...(r?.figures ?? []), ...(b?.figures ?? [])];
    numbers.show(figures.length > 0);
    memo(numbers.body, [r?.key ?? "", b?.key ?? ""], (box) => put(box, figureList(figures)));
    const all = [...new Set([...(v?.cautions ?? []), ...(b?.values.cautions ?? [])])];
    cautions.show(all.length > 0);
    memo(cautions.body, all, (box) => put(box, h("details", { class: "cautions", open: false }, h("summary", {}, `Before anyone works at the press: ${all.length} cautions`), h("ul", {}, all.map((c) => h("li", {}, c))))));
  }

  function cycleOf(box, r) {
    const v = r?.values;
    if (!v) return put(box, h("p", { class: "quiet" }, ctx.stage("plan") ? "The cycle of the press appears when the press plan has been worked." : "This desk has no press plan."));
    const id = uid("station");
    const s = entry(v);
    const keys = [...v.stations.map((one) => [String(one.station), `${one.station}, ${one.name}`]), ...(v.transfer ? [["transfer", "all stations under one slide"]] : [])];
    const cycle = r.tables[`cycle_${shown}`] ?? r.tables.cycle;
    const choose = h("select", { id, onchange: (e) => pick(e.target.value) }, keys.map(([value, text]) => h("option", { value, selected: value === shown }, text)));
    put(
      box,
      h("p", { class: "picture-words" }, h("span", { class: "pair" }, h("label", { for: id }, "Cycle of station"), choose), h("span", { class: "quiet" }, s ? `${s.press}, ${num(s.rate_per_min)} strokes a minute` : "")),
      h("div", { class: "plot-place wide" }, cycle ? pressCycle(cycle, s?.events ?? [], { crank: crankOf(s) }) : h("p", { class: "quiet" }, "No cycle was kept for this station.")),
      s && !s.events?.some((e) => e.event === "feeding may begin") ? h("p", { class: "quiet" }, `The press never opens by the ${num(s.feed_height_mm)} mm that feeding needs.`) : null,
    ); // prettier-ignore
  }

  function forceOf(box, r) {
    const t = r.tables[`load_${shown}`];
    const s = entry(r.values);
    if (!t) return put(box, h("p", { class: "quiet" }, "No force was kept for this station."));
    const [plot, note] = stationForce(t);
    put(box, h("p", { class: "sub" }, `Station ${shown === "transfer" ? "together" : shown}: ${s.name}, on ${s.press}`), h("div", { class: "plot-place wide" }, plot), note ? h("p", { class: "quiet" }, note) : null, stationWords(s));
  }

  return { root: page.root, update };
}

function verdict(v) {
  const n = v.stations.length;
  const fed = v.feed === "transfer" ? "fed by a transfer" : "fed by hand";
  return `${num(n)} station${n > 1 ? "s" : ""}, ${fed}: ${num(v.parts_per_hour)} parts an hour, set by ${v.slowest}${v.transfer ? "" : ` (${fixed(v.stations.find((s) => s.name === v.slowest)?.period_s ?? NaN, 1)} s a part)`}.`;
}

const crankOf = (s) => !String(s?.press_kind ?? "").includes("hydraulic");

/** The events of a station's cycle; a hydraulic press has no crank to tell an angle of. */
function eventTable(s) {
  const columns = [{ name: "Event", left: true }, { name: "Crank", unit: "deg" }, { name: "Time", unit: "s" }, { name: "Slide above bottom", unit: "mm" }];
  const keep = columns.map((_, k) => crankOf(s) || k !== 1);
  return grid(columns.filter((_, k) => keep[k]), eventRows(s?.events ?? []).map((row) => row.filter((_, k) => keep[k])), { caption: "Events", className: "tight-table" }); // prettier-ignore
}

const bendVerdict = (v) => (v.bends?.length ? `${num(v.bends.length)} bends; the heaviest operation takes ${num(Math.max(...v.operations.map((o) => o.force_kN)))} kN.` : "Nothing is bent after the draw.");

/** Force of the bending operations over the slide's height. */
function bendForce(b) {
  const rows = (b.values.operations ?? []).map((o, k) => [o, b.tables[`force_operation_${k + 1}`]]).filter(([, t]) => t);
  return h("div", { class: "plot-row bend-forces" }, rows.map(([o, t]) => stationForce({ ...t, flat_kN: t.force_kN }, { title: `${words(o.name)}: force over the height above bottom.` })[0]));
}

export default { name: "plan", title: "Press plan", stages: ["plan", "bends"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "draws", "trim", "cutting", "bends", "plan"], make };
