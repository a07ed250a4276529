// Thickness readings place by place: the mean as a bar, its uncertainty as a whisker, the least that is wanted as a line.

import { s } from "../dom.js";
import { num } from "../words.js";
import { niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const ROW = 32;
const TOP = 58;
const NAMES = 206;
const WORDS = 150;
export const SAID = { conforms: "conforms", "not proven": "not proven", "does not": "does not conform" };

/** One drawing for each layer: a list of nodes. `places`: those of the stage. */
export const readingsDrawings = (places) => [...new Set(places.map((p) => p.layer))].map((layer) => fitted((width) => draw(width, layer, places.filter((p) => p.layer === layer)), { className: "plot readings-plot" }));

function draw(width, layer, places) {
  const base = TOP + places.length * ROW;
  const limit = places[0].limit_um;
  const most = Math.max(limit, ...places.map((p) => p.um + p.uncertainty_um)) * 1.06;
  const right = width - WORDS;
  const x = (um) => NAMES + (um / most) * (right - NAMES);
  return s(
    "svg",
    { class: "drawing readings-drawing", viewBox: `0 0 ${width} ${base + 42}`, height: base + 42, role: "img", "aria-label": `${layer}: ${places.map((p) => `${p.place} ${num(p.um)} ± ${num(p.uncertainty_um, 2)} µm, ${SAID[p.verdict]}`).join("; ")}` },
    niceTicks(0, most, Math.max(3, Math.floor((right - NAMES) / 80))).map((q) => [s("path", { class: q === 0 ? "grid nought" : "grid", d: `M${x(q)} ${TOP}V${base}` }), s("text", { class: "tick-figure", x: x(q), y: base + 18, "text-anchor": "middle" }, num(q))]),
    s("text", { class: "axis-name", x: NAMES, y: 20 }, `${layer[0].toUpperCase()}${layer.slice(1)} that was measured, µm`),
    places.map((p, k) => {
      const y = TOP + k * ROW + ROW / 2;
      const [a, b] = [Math.max(p.um - p.uncertainty_um, 0), p.um + p.uncertainty_um];
      return s("g", { class: `reading-row ${p.verdict.replaceAll(" ", "-")}` },
        s("text", { class: "step-name", x: NAMES - 10, y: y + 4.5, "text-anchor": "end" }, `${p.place.slice(0, 12)}, ${p.method === "xrf" ? "X-ray" : "coulometric"} × ${p.count}`),
        s("rect", { class: "reading-bar", x: x(0), y: y - 8, width: Math.max(x(p.um) - x(0), 1), height: 16 }),
        s("path", { class: "reading-whisker", d: `M${x(a)} ${y}H${x(b)}M${x(a)} ${y - 6}v12M${x(b)} ${y - 6}v12` }),
        s("text", { class: "reading-verdict", x: right + 12, y: y + 4.5 }, SAID[p.verdict]));
    }),
    s("path", { class: "step-wanted", d: `M${x(limit)} ${TOP - 14}V${base}` }),
    s("text", { class: "step-wanted-name", x: x(limit) > (NAMES + right) / 2 ? x(limit) - 6 : x(limit) + 6, y: TOP - 6, "text-anchor": x(limit) > (NAMES + right) / 2 ? "end" : "start" }, `least wanted ${num(limit)} µm`),
    s("text", { class: "axis-note", x: NAMES, y: base + 36 }, `bar: mean of the readings; whisker: expanded uncertainty, k = 2, up to ${num(Math.max(...places.map((p) => p.uncertainty_um)), 2)} µm`),
  ); // prettier-ignore
}
