// The hoist line: the row of tanks seen from the side with its hoists and racks at one instant, and the ways of the hoists over the cycle.

import { h, s } from "../dom.js";
import { num } from "../words.js";
import { fitted } from "./chart.js";

const wrap = (t, cycle) => ((t % cycle) + cycle) % cycle;

/** Position, height and what is carried of a way (table) at a time of the cycle. */
export function placeAt(way, t) {
  const at = way.time_s;
  let k = at.length - 2;
  while (k > 0 && at[k] > t) k -= 1;
  const share = Math.min(Math.max((t - at[k]) / (at[k + 1] - at[k] || 1), 0), 1);
  const mix = (c) => way[c][k] + share * (way[c][k + 1] - way[c][k]);
  return { position: mix("position_m"), height: mix("height_m"), item: way.item[k], step: way.step[k] };
}

/** The stays of all racks in tanks as [{item, tank, enter, leave, least, most}] on the racks' own clocks. */
const stays = (soaks) => soaks.item.map((item, k) => ({ item, tank: soaks.tank[k], enter: soaks.enter_s[k], leave: soaks.leave_s[k], least: soaks.least_s[k], most: soaks.most_s[k] }));

/** How many racks stand in each tank at a time of the cycle. */
export function racksIn(soaks, tanks, cycle, t) {
  const out = new Array(tanks).fill(0);
  for (const one of stays(soaks)) {
    const first = Math.ceil((one.enter - t) / cycle - 1e-9);
    const last = Math.ceil((one.leave - t) / cycle - 1e-9);
    out[one.tank] += last - first;
  }
  return out;
}

/** The row of tanks at an instant. Gives {root, set(t)}. */
export function lineView(r) {
  const { tanks, hoists, cycle, lift_m: lift, gap_m: gap } = r.values;
  const ways = hoists.map((_, k) => r.tables[`way_${k + 1}`]);
  const ends = [...tanks.map((t) => t.position), ...ways.flatMap((w) => [Math.min(...w.position_m), Math.max(...w.position_m)])];
  const [lo, hi] = [Math.min(...ends) - gap / 2, Math.max(...ends) + gap / 2];
  let now = 0;
  let draw = () => {};
  const root = fitted((width) => {
    const [left, right, top, deck, foot] = [12, width - 12, 26, 150, 214];
    const x = (m) => left + ((m - lo) / (hi - lo)) * (right - left);
    const sorted = [...tanks].sort((a, b) => a.position - b.position).map((t) => t.position);
    const pitch = Math.min(...sorted.slice(1).map((p, k) => p - sorted[k]).filter((d) => d > 0), 3);
    const half = Math.max(((x(lo + pitch) - x(lo)) / 2) * 0.82, 5);
    const long = Math.max(...tanks.map((t) => t.name.length));
    const height = foot + 16 + long * 6.2;
    const up = (m) => deck + 6 - (m / lift) * (deck - top - 46);
    const marks = s("g", {});
    const svg = s(
      "svg",
      { class: "drawing hoist-line", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": "The row of tanks from the side, with hoists and racks" },
      s("path", { class: "line-track", d: `M${left} ${top}H${right}M${left} ${top + 5}H${right}` }),
      tanks.map((t) => {
        const c = x(t.position);
        const bath = t.role === "bath";
        return s(
          "g",
          { class: "line-tank" },
          s("path", { class: bath ? "tank-wall" : "tank-stand", d: bath ? `M${c - half} ${deck}V${foot}H${c + half}V${deck}` : `M${c - half} ${foot}H${c + half}M${c - half * 0.7} ${foot}V${deck + 30}H${c + half * 0.7}V${foot}` }),
          bath ? s("path", { class: "tank-level", d: `M${c - half} ${deck + 12}H${c + half}` }) : null,
          s("text", { class: "tank-name", transform: `translate(${c + 4} ${foot + 10}) rotate(-62)`, "text-anchor": "end" }, t.name),
        );
      }),
      marks,
    );
    draw = () => {
      const inside = racksIn(r.tables.soaks, tanks.length, cycle, now);
      const racks = tanks.map((t, k) => (inside[k] > 0 ? s("g", {}, rack(x(t.position), deck + 14, half), t.cells > 1 ? s("text", { class: "tank-count", x: x(t.position), y: deck - 4, "text-anchor": "middle" }, `${inside[k]}/${t.cells}`) : null) : null));
      const carriers = ways.map((w, k) => {
        const p = placeAt(w, now);
        const c = x(p.position);
        const y = up(p.height);
        return s(
          "g",
          { class: `line-hoist${p.item >= 0 ? " loaded" : ""}` },
          s("rect", { x: c - half * 0.9, y: top - 8, width: half * 1.8, height: 17, rx: 2 }),
          s("text", { x: c, y: top + 5, "text-anchor": "middle" }, String(k + 1)),
          s("path", { class: "hoist-rope", d: `M${c} ${top + 9}V${y}` }),
          p.item >= 0 ? rack(c, y, half) : s("path", { class: "hoist-arm", d: `M${c - 4} ${y}h8` }),
        );
      });
      marks.replaceChildren(...[...racks, ...carriers].filter(Boolean));
    };
    draw();
    return svg;
  }, { className: "plot line-view" });
  return { root, set: (t) => { now = wrap(t, cycle); draw(); } }; // prettier-ignore
}

const rack = (x, y, half) => s("path", { class: "rack", d: `M${x - half * 0.62} ${y}H${x + half * 0.62}M${x - half * 0.4} ${y}v40h${half * 0.8}v-40M${x - half * 0.4} ${y + 13}h${half * 0.8}M${x - half * 0.4} ${y + 26}h${half * 0.8}` });

/** The time-way diagram: time across, tanks in their row; ways of hoists as lines, soaks as bars. Gives {root, set(t)}; `seek(t)` is called when a place is pointed at. */
export function wayDiagram(r, seek) {
  const { tanks, hoists, cycle } = r.values;
  const ways = hoists.map((_, k) => r.tables[`way_${k + 1}`]);
  let now = 0;
  let mark = () => {};
  const root = fitted((width) => {
    const left = 14 + Math.max(...tanks.map((t) => t.name.length)) * 7.2;
    const [right, top] = [width - 14, 14];
    const all = ways.flatMap((w) => w.position_m);
    const lo = Math.min(...tanks.map((t) => t.position), ...all);
    const hi = Math.max(...tanks.map((t) => t.position), ...all);
    const rows = [...tanks].sort((a, b) => a.position - b.position);
    const least = Math.min(...rows.slice(1).map((t, k) => t.position - rows[k].position).filter((d) => d > 0), hi - lo || 1);
    const bottom = top + Math.min(Math.max(((hi - lo) / least) * 19, 280), 620);
    const x = (t) => left + (t / cycle) * (right - left);
    const y = (m) => bottom - ((m - lo) / (hi - lo || 1)) * (bottom - top);
    const thick = Math.min(Math.max((least / (hi - lo || 1)) * (bottom - top) * 0.36, 4), 9);
    const power = 10 ** Math.floor(Math.log10(cycle / 6));
    const step = [1, 2, 5, 10].map((m) => m * power).find((v) => cycle / v <= 8);
    const ticks = Array.from({ length: Math.floor(cycle / step) + 1 }, (_, k) => k * step);
    const cursor = s("path", { class: "way-now" });
    mark = () => cursor.setAttribute("d", `M${x(now)} ${top - 8}V${bottom + 6}`);
    mark();
    const pointed = (e) => {
      const box = svg.getBoundingClientRect();
      seek(Math.min(Math.max((((e.clientX - box.left) / box.width) * width - left) / (right - left), 0), 1) * cycle);
    };
    const svg = s(
      "svg",
      { class: "drawing hoist-ways", viewBox: `0 0 ${width} ${bottom + 40}`, height: bottom + 40, role: "img", "aria-label": `Ways of ${hoists.length} hoists over a cycle of ${num(cycle, 5)} s`, onclick: pointed },
      ticks.map((t) => s("g", { class: "way-tick" }, s("path", { d: `M${x(t)} ${bottom}v5M${x(t)} ${top}V${bottom}` }), s("text", { x: x(t), y: bottom + 18, "text-anchor": "middle" }, num(t, 5)))),
      s("text", { class: "axis-name", x: right, y: bottom + 35, "text-anchor": "end" }, "time in the cycle, s"),
      tanks.map((t) => s("g", { class: "way-row" }, s("path", { d: `M${left} ${y(t.position)}H${right}` }), s("text", { x: left - 7, y: y(t.position) + 4, "text-anchor": "end" }, t.name))),
      stays(r.tables.soaks).flatMap((one) => bars(one, cycle).map(([a, b]) => s("rect", { class: "soak-bar", x: x(a), y: y(tanks[one.tank].position) - thick / 2, width: Math.max(x(b) - x(a), 0.8), height: thick - 1 }, s("title", {}, `${tanks[one.tank].name}: ${num(one.leave - one.enter, 5)} s of ${num(one.least, 5)} to ${Number.isFinite(one.most) ? `${num(one.most, 5)} s` : "any time"}`)))),
      ways.flatMap((w, k) => runs(w).map(([from, to, loaded]) => s("path", { class: `way hoist-${(k % 3) + 1}${loaded ? " loaded" : ""}`, d: `M${w.time_s.slice(from, to + 1).map((t, n) => `${x(t).toFixed(1)} ${y(w.position_m[from + n]).toFixed(1)}`).join("L")}` }))),
      ways.map((w, k) => s("text", { class: "way-name", x: right - 2, y: y(w.position_m.at(-1)) - 6, "text-anchor": "end" }, hoists[k].name)),
      cursor,
    );
    return svg;
  }, { className: "plot ways" });
  return { root, set: (t) => { now = wrap(t, cycle); mark(); } }; // prettier-ignore
}

/** Pieces of a stay within the cycle, [from, to]. */
function bars(one, cycle) {
  const out = [];
  const first = Math.floor(one.enter / cycle);
  for (let k = first; k * cycle < one.leave; k += 1) out.push([Math.max(one.enter - k * cycle, 0), Math.min(one.leave - k * cycle, cycle)]);
  return out;
}

/** Runs of a way that are loaded or empty, [first row, last row, loaded]. */
function runs(w) {
  const out = [];
  let from = 0;
  for (let k = 1; k < w.time_s.length; k += 1) {
    if (k < w.time_s.length - 1 && w.loaded[k] === w.loaded[from]) continue;
    out.push([from, k, w.loaded[from] > 0.5]);
    from = k;
  }
  return out;
}

export const legend = () => h("p", { class: "quiet" }, "Thick: with a rack; thin: empty. Bars: racks in the tanks; point at one for its window. Click sets the time.");
