// The press's side of a tryout: forces under the capacity curve, energies.

import { h } from "../dom.js";
import { chart, rangeOf } from "./chart.js";

const most = (list) => list.reduce((a, v) => (Number.isFinite(v) && v > a ? v : a), 0);

/** Forces [kN] over the height above bottom [mm], bottom at the right. `height` is worked out from `stroke` and `end` where it is not given. */
export function forcePlot({ stroke, height, punch, holder, end, press, now = null, title }) {
  const x = height ?? stroke.map((s) => end - s);
  const table = press?.tables?.force_stroke;
  const both = punch.map((v, i) => v + (holder[i] ?? 0));
  const together = !String(press?.values?.press?.kind ?? "").includes("double");
  const needed = Math.max(most(together ? both : punch), most(holder), 1);
  const far = Math.max(end, 1e-6);
  const near = table?.capacity_kN ? table.capacity_kN.filter((v, i) => Number.isFinite(v) && table.height_above_bottom_mm[i] <= far * 1.001) : [];
  const least = near.length ? Math.min(...near) : needed;
  const top = Math.max(needed * 1.18, Math.min(least * 1.3, needed * 2.6));
  const series = [
    near.length ? { name: "the press gives", x: table.height_above_bottom_mm, y: table.capacity_kN, kind: "bold", at: 0.2 } : null,
    together && punch.length ? { name: "together", x, y: both, kind: "dash", at: 0.5, followed: true } : null,
    { name: "punch", x, y: punch, kind: "line", at: 0.7, followed: true },
    { name: "blankholder", x, y: holder, kind: "thin", at: 0.42, followed: true },
  ].filter(Boolean);
  const plot = chart({
    x: { label: "Height above bottom", symbol: "height", unit: "mm", lo: far, hi: 0 }, y: { label: "Force", unit: "kN", lo: 0, hi: rangeOf([top], { zero: true })[1] },
    series, now, height: (w) => Math.min(400, Math.max(250, w * 0.58)), title,
  }); // prettier-ignore
  return near.length && least > top ? [plot, h("p", { class: "quiet" }, `The press gives ${Math.round(least)} kN or more here, above this plot.`)] : plot;
}

/** Kinetic, internal and outer energy over the stroke, in joules. */
export function energyPlot(t) {
  const x = t.stroke_mm;
  const top = Math.max(most(t.internal_J), most(t.external_J ?? []), 1e-9);
  return chart({
    x: { label: "Stroke from first touch", symbol: "stroke", unit: "mm", lo: 0, hi: most(x) || 1 }, y: { label: "Energy", unit: "J", lo: 0, hi: rangeOf([top], { zero: true })[1] },
    series: [
      t.external_J ? { name: "work of the tools", x, y: t.external_J, kind: "dash", at: 0.55 } : null, { name: "in the sheet", x, y: t.internal_J, kind: "line", at: 0.8, below: true },
      { name: "kinetic", x, y: t.kinetic_J, kind: "bold", at: 0.5 },
    ].filter(Boolean), height: 260, title: "Where the work goes. The kinetic energy has to stay small against that in the sheet.",
  }); // prettier-ignore
}
