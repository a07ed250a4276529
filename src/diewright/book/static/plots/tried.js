// What was tried for the proposal: blankholder force against margin, each try with its own mark, the best one named.

import { h, s } from "../dom.js";
import { num, tickText } from "../words.js";
import { niceStep, niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const PAD = { left: 60, right: 24, top: 26, bottom: 46 };
const ROUND = [1, 1.5, 2, 3, 5, 7];
const FLOOR = -40; // a margin below this says only that it tore: it is drawn at the foot, with its number

/** `rows`: [{how, force, margin, stops, words, best}] in the order tried; `wanted` margin [%]; `base` the handbook's force [kN]. */
export function triedPicture(rows, { wanted, base }) {
  const seen = rows.filter((r) => Number.isFinite(r.margin) && r.force > 0);
  if (!seen.length) return h("p", { class: "quiet" }, "No force was tried that gave a margin.");
  return fitted((width) => draw(width, seen, wanted, base), { className: "plot tried-picture" });
}

/** Round forces from lo to hi, equal steps being equal ratios. */
function marks(lo, hi) {
  const out = [];
  for (let p = Math.floor(Math.log10(lo)); p <= Math.ceil(Math.log10(hi)); p++) for (const m of ROUND) out.push(m * 10 ** p);
  return out.filter((v) => v >= lo && v <= hi);
}

function draw(width, rows, wanted, base) {
  const height = Math.round(Math.min(400, Math.max(280, width * 0.42)));
  const forces = [...rows.map((r) => r.force), ...(base > 0 ? [base] : [])];
  const [f0, f1] = [Math.min(...forces) / 1.35, Math.max(...forces) * 1.35];
  const margins = [...rows.map((r) => Math.max(r.margin, FLOOR)), wanted, 0];
  const [m0, m1] = [Math.min(...margins), Math.max(...margins)];
  const pad = 0.12 * (m1 - m0 || 1);
  const [lo, hi] = [m0 === 0 ? 0 : m0 - pad, m1 + pad];
  const [right, base0] = [width - PAD.right, height - PAD.bottom];
  const x = (f) => PAD.left + (Math.log(f / f0) / Math.log(f1 / f0)) * (right - PAD.left);
  const y = (m) => base0 - ((Math.max(m, FLOOR) - lo) / (hi - lo)) * (base0 - PAD.top);
  let last = -99;
  const xs = marks(f0, f1).map((f) => {
    const room = x(f) - last > 38;
    if (room) last = x(f);
    return [s("path", { class: "window-tick", d: `M${x(f)} ${base0}v6` }), room ? s("text", { class: "tick-figure", x: x(f), y: base0 + 20, "text-anchor": "middle" }, num(f, 2)) : null];
  });
  const yt = niceTicks(lo, hi, 6);
  const step = niceStep(lo, hi, 6);
  const tryouts = rows.filter((r) => r.how === "tryout");
  const quick = rows.filter((r) => r.how === "one-step");
  const boxes = [];
  return s(
    "svg",
    { class: "drawing tried-svg", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Margin over blankholder force: ${tryouts.length} tryouts, ${quick.length} one-step solutions` },
    yt.map((m) => [s("path", { class: m === 0 ? "grid nought" : "grid", d: `M${PAD.left} ${y(m)}H${right}` }), s("text", { class: "tick-figure", x: PAD.left - 8, y: y(m) + 4, "text-anchor": "end" }, tickText(m, step))]),
    s("path", { class: "axis", d: `M${PAD.left} ${PAD.top}V${base0}H${right}` }),
    xs,
    s("path", { class: "window-limit", d: `M${PAD.left} ${y(wanted)}H${right}` }),
    s("text", { class: "curve-name", x: PAD.left + 8, y: y(wanted) - 6 }, `wanted ${num(wanted)} %`),
    base > 0 ? [s("path", { class: "window-stated", d: `M${x(base)} ${PAD.top}V${base0}` }), s("text", { class: "curve-name", x: x(base) + 5, y: base0 - 8 }, "handbook")] : null,
    quick.length > 1 ? s("path", { class: "curve thin", d: `M${[...quick].sort((a, b) => a.force - b.force).map((r) => `${x(r.force).toFixed(1)} ${y(r.margin).toFixed(1)}`).join("L")}` }) : null,
    tryouts.length > 1 ? s("path", { class: "tried-way", d: `M${tryouts.map((r) => `${x(r.force).toFixed(1)} ${y(r.margin).toFixed(1)}`).join("L")}` }) : null,
    rows.map((r) => mark(r, x(r.force), y(r.margin))),
    [...rows].sort((a, b) => Number(b.best) - Number(a.best)).map((r) => written(r, x(r.force), y(r.margin), boxes, width)),
    s("text", { class: "axis-name", x: right, y: base0 + 40, "text-anchor": "end" }, "Blankholder force, kN (equal steps are equal ratios)"),
    s("text", { class: "axis-name", x: 14, y: PAD.top, "text-anchor": "end", transform: `rotate(-90 14 ${PAD.top})` }, "Least margin to necking, %"),
  );
}

/** A square a one-step solution, a circle a tryout; what stops is crossed out; the best has a second ring. */
function mark(r, x, y) {
  const body = r.how === "one-step" ? s("rect", { class: "tried-mark", x: x - 5, y: y - 5, width: 10, height: 10 }) : s("circle", { class: "tried-mark", cx: x, cy: y, r: 6 });
  return s("g", { class: `tried ${r.how}${r.best ? " best" : ""}` }, r.best ? s("circle", { class: "tried-best", cx: x, cy: y, r: 11 }) : null, body, r.margin < FLOOR ? s("path", { class: "tried-below", d: `M${x} ${y + 12}v10m-4 -5l4 5l4 -5` }) : null, r.stops > 0 ? s("path", { class: "tried-stop", d: `M${x - 8} ${y - 8}l16 16M${x + 8} ${y - 8}l-16 16` }) : null);
}

function written(r, x, y, boxes, width) {
  const text = r.margin < FLOOR ? `${r.words}${r.words ? ", " : ""}${num(r.margin, 3)} %` : r.words;
  if (!text) return null;
  const w = text.length * 7;
  for (const [dx, dy] of [[16, 5], [-16, 5], [16, -12], [16, 22], [-16, -12], [-16, 22], [16, 38], [-16, 38]]) {
    const box = { x: dx > 0 ? x + dx : x + dx - w, y: y + dy - 12, w, t: 16 };
    if (box.x < PAD.left || box.x + w > width - 4 || boxes.some((o) => box.x < o.x + o.w && o.x < box.x + w && box.y < o.y + o.t && o.y < box.y + box.t)) continue;
    boxes.push(box);
    return s("text", { class: r.best ? "curve-name tried-name-best" : "curve-name", x: x + dx, y: y + dy, "text-anchor": dx > 0 ? "start" : "end" }, text);
  }
  return null;
}
