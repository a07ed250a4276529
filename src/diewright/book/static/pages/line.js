// Hoist line: the shortest cycle, played over the tanks; ways of the hoists; what binds and what a change would bring.

import { data } from "../api.js";
import { h, memo, put, uid } from "../dom.js";
import { cellOf, decisions } from "../decisions.js";
import { downloads, figureList, fromResult, grid, section } from "../parts.js";
import { legend, lineView, wayDiagram } from "../plots/hoist_ways.js";
import { fixed, num } from "../words.js";
import { frame } from "./page.js";

const FIELDS = ["line.cycle_most_s", "line.racks_per_cycle", "line.parts_per_rack", "line.lift_m", "line.gap_m"];
const MORE = ["line.tick_s", "line.time_limit_s", "line.what_if_s", "line.track_from_m", "line.track_to_m"];
const RATES = [[1, "as it runs"], [10, "10 times as fast"], [30, "30 times as fast"]]; // prettier-ignore

function make(ctx) {
  const picture = h("div", { class: "line-picture" });
  const side = decisions(ctx, FIELDS, { title: "The line", more: MORE });
  const tanks = section("Tanks");
  const hoists = section("Hoists");
  const binds = section("What sets the cycle");
  const changes = section("What a change would bring");
  const moves = section("The cycle, move by move");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "line", title: "Hoist line", stages: ["line"], picture, side: [side.root], sections: [cautions, tanks, hoists, binds, changes, moves],
    print: [
      "The shortest cycle in which the hoists bring each rack through all tanks within its windows, found by constraint programming in whole steps of time. Where the search ends before it is proved, the bound is told.",
      "The schedule is then played over several cycles by a check of its own: windows, cells, times of the hoists, and their distance on the track at all times. Starting and braking are to be put into the speeds stated.",
    ],
  }); // prettier-ignore
  let player = null;

  function update() {
    page.update();
    side.update();
    const r = ctx.result("line");
    const v = r?.values;
    page.verdict(v ? verdict(v) : "");
    fromResult(picture, r, (box) => {
      player?.stop();
      player = v.cycle && r.tables.way_1 ? playerOf(r) : null;
      put(box, player ? player.root : h("p", { class: "quiet" }, v.cycle ? "This line has no positions to draw." : "There is no schedule to play."));
    }, "The line appears when it has been worked. Press Work below."); // prettier-ignore
    const stated = ctx.book.job.line ?? {};
    memo(tanks.body, [r?.key ?? "", stated.tank ?? []], (box) => put(box, tankTable(ctx, current(stated, v, "tank"), v)));
    memo(hoists.body, [r?.key ?? "", stated.hoist ?? [], (stated.tank ?? []).length], (box) => put(box, hoistTable(ctx, current(stated, v, "hoist"), stated, v)));
    fromResult(binds.body, r, (box) => put(box, h("p", {}, v.bottleneck || v.conflict?.sentence || "–"), v.loop?.length ? h("ol", { class: "notes line-loop" }, v.loop.map((w) => h("li", {}, w))) : null, figureList(r.figures ?? [])));
    changes.show((v?.what_if ?? []).length > 0);
    fromResult(changes.body, v?.what_if?.length ? r : null, (box) => put(box, whatIf(v)), "");
    fromResult(moves.body, v?.cycle ? r : null, (box) => put(box, moveTable(r), downloads((r.files ?? []).map((f) => [data.file("line", r.key, f), `Take ${f}`, f]))));
    fromResult(cautions.body, r, (box) => put(box, h("details", { class: "cautions", open: false }, h("summary", {}, `Before anyone works at the line: ${v.cautions.length} cautions`), h("ul", {}, v.cautions.map((c) => h("li", {}, c))))));
    cautions.show(!v || (v.cautions ?? []).length > 0);
  }
  return { root: page.root, update };
}

function verdict(v) {
  if (!v.cycle) return v.conflict?.sentence ?? (v.status === "none" ? "There is no cycle that keeps these windows." : "No schedule was found in the time.");
  const sure = v.proved ? "the shortest there is" : `not proved: down to ${num(v.bound, 5)} s is not excluded`;
  return `A cycle of ${num(v.cycle, 5)} s, ${sure}: ${fixed(v.racks_per_hour, 1)} racks and ${num(v.parts_per_hour, 4)} parts an hour.`;
}

/** The line that plays: picture, slider and diagram that move together. */
function playerOf(r) {
  const { cycle, tick } = r.values;
  const view = lineView(r);
  const ways = wayDiagram(r, (t) => set(t));
  const id = uid("time");
  const rateId = uid("rate");
  const said = h("output", { class: "figure", for: id });
  const slider = h("input", { id, type: "range", min: 0, max: cycle, step: tick, value: 0, oninput: () => set(Number(slider.value)) });
  const rate = h("select", { id: rateId }, RATES.map(([value, text]) => h("option", { value, selected: value === 10 }, text)));
  const button = h("button", { type: "button", class: "do", onclick: () => (timer ? stop() : play()) }, "Play");
  let [at, timer, last] = [0, 0, 0];
  const set = (t) => {
    at = Math.min(Math.max(t, 0), cycle);
    view.set(at);
    ways.set(at);
    slider.value = String(at);
    said.textContent = `${fixed(at, 1)} of ${num(cycle, 5)} s`;
  };
  const stop = () => {
    cancelAnimationFrame(timer);
    clearTimeout(timer);
    timer = 0;
    button.textContent = "Play";
  };
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const next = (fn) => (still.matches ? setTimeout(() => fn(performance.now()), 1000) : requestAnimationFrame(fn)); // with reduced motion it steps once a second
  const play = () => {
    last = performance.now();
    button.textContent = "Pause";
    const run = (time) => {
      if (!view.root.isConnected) return stop();
      set((at + ((time - last) / 1000) * Number(rate.value)) % cycle);
      last = time;
      timer = next(run);
    };
    timer = next(run);
  };
  set(0);
  const controls = h("div", { class: "line-controls" }, button, h("label", { for: id }, "Time in the cycle"), slider, said, h("label", { for: rateId }, "Plays"), rate);
  return { root: h("div", {}, view.root, controls, ways.root, legend()), stop };
}

const current = (stated, v, what) => (stated[what]?.length ? stated[what] : (v?.stated?.[what] ?? []));

function tankTable(ctx, list, v) {
  if (!list.length) return h("p", { class: "quiet" }, "The tanks appear when the line has been worked.");
  const needs = new Map((v?.tanks ?? []).map((t, k) => [t.name, ctx.result("line")?.tables?.tanks?.needs_s?.[k]]));
  const columns = [{ name: "Tank", left: true }, { name: "At", unit: "m" }, { name: "Cells" }, { name: "Least", unit: "s" }, { name: "Most", unit: "s" }, { name: "Drip", unit: "s" }, { name: "Needs a cycle of", unit: "s" }, { name: "From", left: true }]; // prettier-ignore
  const rows = list.map((t, k) => {
    const edit = (name, word) => cellOf(ctx, "line.tank", list, k, name, `${t.name}: ${name.replace("_s", "").replace("_m", "")}`, word);
    const bath = t.role === "bath";
    return [t.name, edit("position_m"), edit("cells"), edit("least_s"), bath ? edit("most_s", "none") : "–", edit("drip_s"), needs.has(t.name) ? num(needs.get(t.name), 5) : "–", t.source || "–"];
  });
  return [v?.typical ? h("p", { class: "quiet" }, "This is a typical line; the first change takes all of it into the job, to be made your own.") : null, grid(columns, rows, { caption: "Tanks and windows", className: "line-tanks tight-table" })];
}

function hoistTable(ctx, list, stated, v) {
  if (!list.length) return h("p", { class: "quiet" }, "The hoists appear when the line has been worked.");
  const columns = [{ name: "Hoist", left: true }, { name: "Travels", unit: "m/min" }, { name: "Lifts", unit: "m/min" }, { name: "Lowers", unit: "m/min" }, { name: "Carries for", unit: "%" }];
  const rows = list.map((one, k) => {
    const edit = (name, title) => cellOf(ctx, "line.hoist", list, k, name, `${one.name}: ${title}`);
    const load = v?.hoist_load?.[k];
    return [one.name, edit("travel_m_per_min", "travels"), edit("lift_m_per_min", "lifts"), edit("lower_m_per_min", "lowers"), Number.isFinite(load) ? fixed(100 * load, 0) : "–"];
  });
  const change = (next, text) => ctx.edit({ "line.hoist": next }, text);
  return [
    grid(columns, rows, { caption: "Hoists", className: "line-hoists" }),
    h("p", { class: "finding-actions" },
      h("button", { type: "button", class: "word", onclick: () => change([...list, { ...list.at(-1), name: `hoist ${list.length + 1}` }], "The hoists") }, "Add a hoist"),
      list.length > 1 ? h("button", { type: "button", class: "word", onclick: () => change(list.slice(0, -1), "The hoists") }, "Take the last hoist away") : null),
  ]; // prettier-ignore
}

function whatIf(v) {
  const rows = [...v.what_if].sort((a, b) => b.gain_pct - a.gain_pct);
  const table = (list) => grid([{ name: "Change", left: true }, { name: "Cycle", unit: "s" }, { name: "Gain", unit: "%" }, { name: "Proved", left: true }], list.map((w) => [w.change, num(w.cycle, 5), fixed(w.gain_pct, 1), w.proved ? "yes" : `no, from ${num(w.bound, 5)} s`]), { caption: "What a change would bring", className: "words-table" });
  const gains = rows.filter((w) => w.gain_pct > 0.05 || !w.proved);
  const none = rows.filter((w) => !gains.includes(w));
  return [gains.length ? table(gains) : h("p", {}, "None of the changes tried shortens the cycle by itself."), none.length ? h("details", { class: "more" }, h("summary", {}, `${none.length} changes that bring nothing`), table(none)) : null];
}

function moveTable(r) {
  const { tanks, hoists, recipes, mix } = r.values;
  const m = r.tables.moves;
  const many = mix.length > 1;
  const columns = [{ name: "Starts", unit: "s" }, { name: "Ends", unit: "s" }, { name: "Hoist", left: true }, { name: "From", left: true }, { name: "To", left: true }, ...(many ? [{ name: "Rack", left: true }] : [])];
  const rows = m.start_s.map((t, k) => [fixed(t, 1), fixed(m.end_s[k], 1), hoists[m.hoist[k]].name, tanks[m.from[k]].name, tanks[m.to[k]].name, ...(many ? [`${m.item[k] + 1}, ${recipes[mix[m.item[k]]]}`] : [])]);
  return grid(columns, rows, { caption: "Moves of one cycle", className: "tight-table" });
}

export default { name: "line", title: "Hoist line", stages: ["line"], reads: ["line"], slow: true, make };
