// The flat blank with the cuts laid back on it: where the sheet that is cut comes from, and where a hole would be pierced in the flat.

import { h, s } from "../dom.js";
import { dimension } from "../view3d/section.js";
import { num, words } from "../words.js";
import { fitted } from "./chart.js";

const finite = (p) => p.every(Number.isFinite);

/** `outline`: [[x, y], ...] of the blank; `developed`: the same or null; `cuts`: [{id, kind, points}] on the blank; `rolling` [deg]. */
export function flatBlank({ outline, developed, cuts, rolling }) {
  if (!outline?.length) return h("p", { class: "quiet" }, "No outline of the blank was kept.");
  return fitted((width) => draw(width, outline, developed, cuts, rolling), { className: "plot cut-flat" });
}

function draw(width, outline, developed, cuts, rolling) {
  const all = [...outline, ...(developed ?? []), ...cuts.flatMap((c) => c.points.filter(finite))];
  const lo = [0, 1].map((k) => all.reduce((a, q) => Math.min(a, q[k]), Infinity));
  const hi = [0, 1].map((k) => all.reduce((a, q) => Math.max(a, q[k]), -Infinity));
  const pad = { left: 66, right: 30, top: 26, foot: 66 };
  const k = Math.min((width - pad.left - pad.right) / (hi[0] - lo[0]), 420 / (hi[1] - lo[1]));
  const size = [(hi[0] - lo[0]) * k, (hi[1] - lo[1]) * k];
  const x0 = pad.left + (width - pad.left - pad.right - size[0]) / 2;
  const x = (v) => x0 + (v - lo[0]) * k;
  const y = (v) => pad.top + (hi[1] - v) * k;
  const height = pad.top + size[1] + pad.foot;
  const ring = (q, kind) => s("path", { class: kind, d: path(q, x, y) });
  const low = [0, 1].map((m) => outline.reduce((a, q) => Math.min(a, q[m]), Infinity));
  const high = [0, 1].map((m) => outline.reduce((a, q) => Math.max(a, q[m]), -Infinity));
  const base = y(low[1]);
  const wanted = 110 / k;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
  const [c, q] = [Math.cos((rolling * Math.PI) / 180), Math.sin((rolling * Math.PI) / 180)];
  const at = [width - pad.right - 40, height - 22];
  return s(
    "svg",
    { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `The flat blank, ${num(high[0] - low[0], 4)} by ${num(high[1] - low[1], 4)} mm, with ${cuts.length} cut lines laid back on it` },
    ring(outline, "blank first"),
    developed ? ring(developed, "flat-developed") : null,
    cuts.map((one) => ring(one.points, `flat-cut ${one.kind}`)),
    cuts.filter((one) => one.kind === "pierce").map((one) => name(one, x, y)),
    dimension([x(low[0]), base + 26], [x(high[0]), base + 26], num(high[0] - low[0], 4), [base + 5, "v"]),
    dimension([x(low[0]) - 26, y(low[1])], [x(low[0]) - 26, y(high[1])], num(high[1] - low[1], 4), [x(low[0]) - 5, "h"]),
    s("g", { class: "scale-bar" }, s("path", { d: `M8 ${height - 14}v6h${length * k}v-6` }), s("text", { x: 14 + length * k, y: height - 8 }, `${num(length, 2)} mm`)),
    s("path", { class: "dim-line", d: `M${at[0] - 26 * c} ${at[1] + 26 * q}L${at[0] + 26 * c} ${at[1] - 26 * q}` }),
    [1, -1].map((g) => s("path", { class: "dim-head", d: `M${at[0] + g * 26 * c} ${at[1] - g * 26 * q}l${-g * 9 * c - 2 * q} ${g * 9 * q - 2 * c}l${4 * q} ${4 * c}Z` })),
    s("text", { class: "curve-name", x: at[0] - 36, y: at[1] + 5, "text-anchor": "end" }, "rolling direction"),
  );
}

/** A line with gaps where points are not known. */
function path(points, x, y) {
  let d = "";
  let pen = false;
  for (const p of points) {
    if (finite(p)) d += `${pen ? "L" : "M"}${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`;
    pen = finite(p);
  }
  return points.every(finite) ? `${d}Z` : d;
}

function name(one, x, y) {
  const known = one.points.filter(finite);
  if (!known.length) return null;
  const middle = [0, 1].map((k) => known.reduce((sum, p) => sum + p[k], 0) / known.length);
  const reach = Math.max(...known.map((p) => Math.abs(y(p[1]) - y(middle[1]))));
  return s("text", { class: "curve-name", x: x(middle[0]), y: y(middle[1]) + (reach > 22 ? 5 : reach + 17), "text-anchor": "middle" }, words(one.id));
}
