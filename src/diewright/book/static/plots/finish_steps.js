// Polishing step by step: the roughness that each step leaves as a band on a logarithmic scale, and beside it what it takes off the sheet.

import { s } from "../dom.js";
import { num } from "../words.js";
import { niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const ROW = 34;
const TOP = 54;
const FOOT = 40;
const NAMES = 116;

/** `v`: values of the stage; `wanted`: Ra before plating [µm]. */
export const stepsDrawing = (v, wanted) => fitted((width) => draw(width, v, wanted), { className: "plot steps-plot" });

/** Decades round all bands: the lowest power of ten below, the highest above [µm]. */
export function decades(values) {
  const positive = values.filter((x) => x > 0);
  return [10 ** Math.floor(Math.log10(Math.min(...positive)) + 1e-9), 10 ** Math.ceil(Math.log10(Math.max(...positive)) - 1e-9)];
}

function draw(width, v, wanted) {
  const start = [v.start.rolled_ra_um, v.start.ra_max_um];
  const rows = [{ name: "as drawn", ra: start, stock: null }, ...v.steps.map((t) => ({ name: t.name, ra: t.ra_um, stock: t.stock_um }))];
  const height = TOP + rows.length * ROW + FOOT;
  const base = TOP + rows.length * ROW;
  const split = NAMES + (width - NAMES - 24) * 0.6;
  const [lo, hi] = decades([wanted, ...rows.flatMap((r) => r.ra)]);
  const x = (ra) => NAMES + ((Math.log10(ra) - Math.log10(lo)) / (Math.log10(hi) - Math.log10(lo) || 1)) * (split - 34 - NAMES);
  const most = Math.max(...v.steps.map((t) => t.stock_um[1]));
  const [left, right] = [split + 26, width - 62];
  const z = (um) => left + (um / most) * (right - left);
  const powers = Array.from({ length: Math.round(Math.log10(hi / lo)) + 1 }, (_, k) => lo * 10 ** k);
  const minor = powers.slice(0, -1).flatMap((p) => [2, 3, 4, 5, 6, 7, 8, 9].map((m) => m * p));
  const bar = (at, to, y, kind) => s("rect", { class: `step-bar ${kind}`, x: at, y: y + 8, width: Math.max(to - at, 1.5), height: ROW - 16 });
  const wide = width > 560;
  return s(
    "svg",
    { class: "drawing steps-drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Polishing in ${v.steps.length} steps from ${num(start[1])} to ${num(v.ends_ra_um[0])} to ${num(v.ends_ra_um[1])} µm Ra` },
    minor.map((q) => s("path", { class: "grid faint", d: `M${x(q)} ${TOP}V${base}` })),
    powers.map((q) => [s("path", { class: "grid", d: `M${x(q)} ${TOP}V${base}` }), s("text", { class: "tick-figure", x: x(q), y: base + 18, "text-anchor": "middle" }, num(q))]),
    niceTicks(0, most, 4).map((q) => [s("path", { class: "grid", d: `M${z(q)} ${TOP}V${base}` }), s("text", { class: "tick-figure", x: z(q), y: base + 18, "text-anchor": "middle" }, num(q))]),
    s("path", { class: "axis", d: `M${NAMES} ${TOP}V${base}H${split - 34}M${left} ${TOP}V${base}H${right}` }),
    rows.map((r, k) => {
      const y = TOP + k * ROW;
      return s("g", { class: "step" },
        s("text", { class: "step-name", x: NAMES - 10, y: y + ROW / 2 + 4.5, "text-anchor": "end" }, r.name),
        bar(x(r.ra[0]), x(r.ra[1]), y, r.stock ? "ra" : "drawn"),
        r.stock ? [bar(z(r.stock[0]), z(r.stock[1]), y, "stock"), wide ? s("text", { class: "step-figure", x: z(r.stock[1]) + 7, y: y + ROW / 2 + 4 }, `${num(r.stock[1])}`) : null] : null);
    }),
    s("path", { class: "step-wanted", d: `M${x(wanted)} ${TOP - 14}V${base}` }),
    s("text", { class: "step-wanted-name", x: x(wanted) - 6, y: TOP - 6, "text-anchor": "end" }, `wanted ${num(wanted)} µm`),
    s("text", { class: "axis-name", x: NAMES, y: 18 }, "Ra that is left, µm"),
    s("text", { class: "axis-name", x: left, y: 18 }, "Taken off, µm"),
    s("text", { class: "axis-note", x: NAMES, y: base + 34 }, "from fine to coarse end of the charts"),
  ); // prettier-ignore
}
