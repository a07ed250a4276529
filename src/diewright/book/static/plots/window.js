// The window of the blankholder: for each force, at which stroke it wrinkles or tears, and how far the setting stands from both.

import { h, s } from "../dom.js";
import { fixed, num } from "../words.js";
import { dimension } from "../view3d/section.js";
import { fitted } from "./chart.js";
import { niceTicks } from "../view3d/lut.js";

const PAD = { left: 60, right: 20, top: 58, bottom: 46 };

/** `runs`: [{force, wrinkle, tear}] (strokes or null), by force; `v`: the values of the stage; `end`: the whole stroke [mm]. */
export function windowPicture(runs, v, end, chosen) {
  if (runs.length < 2) return h("p", { class: "quiet" }, "There are too few runs for a picture.");
  return fitted((width) => draw(width, runs, v, end, chosen), { className: "plot window-picture" });
}

export const logarithmic = (forces) => forces[forces.length - 1] / Math.max(forces[0], 1e-9) > 6;

function draw(width, runs, v, end, chosen) {
  const height = Math.round(Math.min(500, Math.max(330, width * 0.5)));
  const forces = runs.map((r) => r.force);
  const log = logarithmic(forces) && forces[0] > 0;
  const t = log ? Math.log : (q) => q;
  const pad = 0.05 * (t(forces[forces.length - 1]) - t(forces[0])) || 1;
  const [a, b] = [t(forces[0]) - pad, t(forces[forces.length - 1]) + pad];
  const base = height - PAD.bottom;
  const right = width - PAD.right;
  const x = (f) => PAD.left + ((t(Math.max(f, 1e-9)) - a) / (b - a)) * (right - PAD.left);
  const y = (mm) => base - (mm / end) * (base - PAD.top);
  const inside = (f) => f !== null && f !== undefined && Number.isFinite(f) && t(f) > a && t(f) < b;
  const [low, high] = [v.wrinkles_below_kN, v.tears_above_kN];
  const wrinkled = region(runs.filter((r) => r.wrinkle !== null).map((r) => [x(r.force), y(r.wrinkle)]), inside(low) ? [x(low), y(end)] : null, PAD.left, y(end), base);
  const torn = region(runs.filter((r) => r.tear !== null).map((r) => [x(r.force), y(r.tear)]).reverse(), inside(high) ? [x(high), y(end)] : null, right, y(end), base);
  const hatch = (id, angle) => s("pattern", { id, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${angle})` }, s("path", { class: "window-hatch", d: "M0 0V7" }));
  const xt = log ? forces : niceTicks(forces[0], forces[forces.length - 1], Math.max(4, Math.round(width / 110)));
  let last = -99;
  const xs = xt.filter((f) => inside(f)).map((f) => {
    const room = x(f) - last > 34;
    if (room) last = x(f);
    return [s("path", { class: "window-tick", d: `M${x(f)} ${base}v6` }), room ? s("text", { class: "tick-figure", x: x(f), y: base + 20, "text-anchor": "middle" }, num(f, 3)) : null];
  });
  const setting = v.recommended_kN;
  const dims = [];
  if (inside(setting)) {
    if (inside(low)) dims.push(dimension([x(low), PAD.top - 16], [x(setting), PAD.top - 16], percent(v.distance_low_pct, x(setting) - x(low)), [PAD.top, "v"]));
    if (inside(high)) dims.push(dimension([x(setting), PAD.top - 16], [x(high), PAD.top - 16], percent(v.distance_high_pct, x(high) - x(setting)), [PAD.top, "v"]));
  }
  return s(
    "svg",
    { class: "drawing window-svg", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": said(v) },
    s("defs", {}, hatch("hatch-wrinkles", 45), hatch("hatch-tears", -45)),
    niceTicks(0, end, 6).map((mm) => [s("path", { class: mm === 0 ? "grid nought" : "grid", d: `M${PAD.left} ${y(mm)}H${right}` }), s("text", { class: "tick-figure", x: PAD.left - 8, y: y(mm) + 4, "text-anchor": "end" }, fixed(mm, end < 8 ? 1 : 0))]),
    wrinkled ? [s("path", { d: wrinkled.area, fill: "url(#hatch-wrinkles)" }), s("path", { class: "curve bold", d: wrinkled.line }), name("wrinkles", wrinkled.middle, true)] : null,
    torn ? [s("path", { d: torn.area, fill: "url(#hatch-tears)" }), s("path", { class: "curve bold", d: torn.line }), name("tears", torn.middle, false)] : null,
    runs.map((r) => run(r, x, y, end)),
    s("path", { class: "axis", d: `M${PAD.left} ${PAD.top}V${base}H${right}` }),
    xs,
    inside(low) ? s("path", { class: "window-limit", d: `M${x(low)} ${PAD.top}V${base}` }) : null,
    inside(high) ? s("path", { class: "window-limit", d: `M${x(high)} ${PAD.top}V${base}` }) : null,
    inside(setting) ? [s("path", { class: "window-setting", d: `M${x(setting)} ${PAD.top - 22}V${base}` }), s("text", { class: "window-figure", x: x(setting), y: PAD.top - 40, "text-anchor": "middle" }, `set ${num(setting)} kN`)] : null,
    inside(chosen) && Math.abs(x(chosen) - x(setting ?? -1e9)) > 3 ? [s("path", { class: "window-stated", d: `M${x(chosen)} ${PAD.top}V${base}` }), s("text", { class: "curve-name", x: x(chosen) + 5, y: base - 8 }, `stated ${num(chosen)} kN`)] : null,
    dims,
    s("text", { class: "axis-name", x: right, y: base + 40, "text-anchor": "end" }, `Blankholder force, kN${log ? " (equal steps are equal ratios)" : ""}`),
    s("text", { class: "axis-name", x: 14, y: PAD.top, "text-anchor": "end", transform: `rotate(-90 14 ${PAD.top})` }, "Stroke from first touch, mm"),
  );
}

const percent = (value, room) => (value === null || value === undefined ? "" : room > 70 ? `${num(value, 2)} % off` : `${num(value, 2)} %`);

function said(v) {
  const part = (f, words) => (f === null || f === undefined ? "" : `, ${words} ${num(f)} kN`);
  return `Blankholder window: set ${num(v.recommended_kN)} kN${part(v.wrinkles_below_kN, "wrinkles below")}${part(v.tears_above_kN, "tears above")}`;
}

/** The region on one side of the places where it goes wrong: from the first place on, up to the end of the stroke. */
function region(points, limit, side, top, base) {
  if (!points.length) return null;
  const line = [[side, points[0][1]], ...points, ...(limit ? [limit] : [[points[points.length - 1][0], top]])];
  const path = line.map((q) => `${q[0].toFixed(1)} ${q[1].toFixed(1)}`).join("L");
  const first = points[0];
  return { area: `M${path}L${line[line.length - 1][0].toFixed(1)} ${top}L${side} ${top}Z`, line: `M${path}`, middle: [(side + first[0] + line[line.length - 1][0]) / 3, Math.max((top + top + first[1]) / 3, top + 20), base] };
}

const name = (text, [x, y]) => s("text", { class: "window-name", x, y, "text-anchor": "middle" }, text);

/** One run: a line from first touch to where it ended well or went wrong, with its mark. */
function run(r, x, y, end) {
  const wrong = Math.min(r.wrinkle ?? Infinity, r.tear ?? Infinity);
  const clean = !Number.isFinite(wrong);
  const top = y(clean ? end : wrong);
  const [px, tear] = [x(r.force), r.tear !== null && r.tear === wrong];
  const mark = clean ? s("circle", { class: "run-clean", cx: px, cy: top, r: 4 }) : tear ? s("path", { class: "run-tear", d: `M${px - 5} ${top - 5}l10 10M${px + 5} ${top - 5}l-10 10` }) : s("path", { class: "run-wrinkle", d: `M${px - 8} ${top}q4 -9 8 0t8 0` });
  return s("g", { class: "run" }, s("path", { class: "run-line", d: `M${px} ${y(0)}V${top}` }), mark);
}
