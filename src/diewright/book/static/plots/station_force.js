// Force of a station over the slide's height: all steels at once, with steps between them, and what the press gives there.

import { chart, rangeOf } from "./chart.js";
import { num } from "../words.js";

const most = (list) => (list ?? []).reduce((a, v) => (Number.isFinite(v) && v > a ? v : a), 0);

/** `t`: columns stroke_mm, height_above_bottom_mm, flat_kN, force_kN, slide_kN, capacity_kN; other columns may be left out. */
export function stationForce(t, { title = "" } = {}) {
  const x = t.height_above_bottom_mm;
  const stepped = t.flat_kN && most(t.flat_kN.map((v, i) => Math.abs(v - t.force_kN[i]))) > 0.002 * most(t.flat_kN);
  const slide = t.slide_kN && most(t.slide_kN.map((v, i) => Math.abs(v - t.force_kN[i]))) > 0.002 * most(t.slide_kN) ? t.slide_kN : null;
  const high = Math.max(most(t.flat_kN), most(t.force_kN), most(slide)) * 1.16 || 1;
  const capacity = t.capacity_kN ? Math.min(...t.capacity_kN.filter(Number.isFinite)) : Infinity;
  const seen = capacity <= high * 2.2;
  const peak = most(t.force_kN);
  const i = t.force_kN.indexOf(peak);
  return [
    chart({
      x: { label: "Slide above bottom", symbol: "height", unit: "mm", lo: most(x) || 1, hi: 0 }, y: { label: "Force", unit: "kN", lo: 0, hi: rangeOf([seen ? Math.max(high, Math.min(most(t.capacity_kN), capacity * 1.6) * 1.05) : high], { zero: true })[1] },
      series: [
        seen ? { name: "the press gives", x, y: t.capacity_kN, kind: "bold", at: 0.3 } : null,
        stepped ? { name: "all at once", x, y: t.flat_kN, kind: "dash", at: 0.45 } : null,
        slide ? { name: "on the slide", x, y: slide, kind: "thin", at: 0.3 } : null,
        { name: stepped ? "with steps" : "force", x, y: t.force_kN, kind: "line", at: 0.6, below: stepped },
      ].filter(Boolean), marks: i >= 0 ? [{ x: x[i], y: peak, label: `${num(peak)} kN` }] : [], height: (w) => Math.min(360, Math.max(250, w * 0.4)), title,
    }),
    Number.isFinite(capacity) && !seen ? `The press gives ${num(capacity, 4)} kN or more here, above this plot.` : "",
  ]; // prettier-ignore
}
