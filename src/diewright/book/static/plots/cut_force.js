// Force over the way of a cut or of a whole operation: plain steels, with shear, pad, slide, and what the press gives.

import { h } from "../dom.js";
import { num } from "../words.js";
import { chart, rangeOf } from "./chart.js";

const most = (list) => (list ?? []).reduce((a, v) => (Number.isFinite(v) && v > a ? v : a), 0);

/** The largest value and where it is, and where the curve falls fastest: [peak, at, break]. */
export function peakOf(x, y) {
  const peak = most(y);
  const at = x[y.indexOf(peak)] ?? 0;
  let [drop, down] = [0, null];
  const reach = Math.max(2, Math.round(y.length / 60));
  for (let i = reach; i < y.length; i++) {
    const fall = y[i - reach] - y[i];
    if (fall > drop) [drop, down] = [fall, i];
  }
  return { peak, at, down: down === null ? null : { x: x[down - Math.floor(reach / 2)], y: y[down - Math.floor(reach / 2)], drop } };
}

/** `t`: columns of a force table; `released`: force let go at the break [kN] (null: not told). */
export function cutForce(t, { title = "", released = null } = {}) {
  const x = t.stroke_mm;
  const plain = most(t.flat_kN.map((v, i) => Math.abs(v - t.sheared_kN[i]))) < 0.002 * Math.max(most(t.flat_kN), 1e-9);
  const slide = t.slide_kN ?? null;
  const top = slide ?? t.sheared_kN;
  const { peak, at, down } = peakOf(x, top);
  const capacity = t.capacity_kN ? Math.min(...t.capacity_kN.filter(Number.isFinite)) : Infinity;
  const high = Math.max(peak, most(t.flat_kN)) * 1.16;
  const seen = capacity <= high * 2.2;
  const series = [
    seen ? { name: "the press gives", x, y: t.capacity_kN, kind: "bold", at: 0.9 } : null,
    slide ? { name: "", x, y: slide, kind: "line" } : null,
    plain ? { name: slide ? "cuts" : "force", x, y: t.sheared_kN, kind: slide ? "fine" : "line", at: slide ? 0.035 : 0.3, below: true } : { name: "plain steels", x, y: t.flat_kN, kind: "dash", at: 0.3 },
    plain ? null : { name: "with shear and stagger", x, y: t.sheared_kN, kind: slide ? "fine" : "line", at: 0.6 },
    t.pad_kN ? { name: "pad and strippers", x, y: t.pad_kN, kind: "thin", at: 0.8, below: true } : null,
  ].filter(Boolean);
  const marks = [{ x: at, y: peak, label: `${slide ? "slide, cuts and pad: " : ""}peak ${num(peak)} kN` }];
  if (released && down && down.drop > 0.2 * peak) marks.push({ x: down.x, y: down.y, label: `break: ${num(released)} kN let go`, below: true });
  const notes = [plain ? "No shear and no stagger is ground: all of a cut is met at once." : `Shear and stagger take the cuts from ${num(most(t.flat_kN))} to ${num(most(t.sheared_kN))} kN.`];
  if (Number.isFinite(capacity) && !seen) notes.push(`The press gives ${num(capacity, 4)} kN or more here, above this plot.`);
  return [
    chart({ x: { label: "Way from first touch", symbol: "way", unit: "mm", lo: 0, hi: most(x) || 1 }, y: { label: "Force", unit: "kN", lo: 0, hi: rangeOf([seen ? Math.max(high, capacity * 1.05) : high], { zero: true })[1] }, series, marks, height: (w) => Math.min(380, Math.max(260, w * 0.42)), title }),
    h("p", { class: "quiet" }, notes.join(" ")),
  ]; // prettier-ignore
}
