// How far the edge ran in: the blank's outline before and after, seen from above, to one scale.

import { h, s } from "../dom.js";
import { fixed } from "../words.js";
import { fitted } from "./chart.js";

const ring = (a, size) => Array.from({ length: a.length / size }, (_, i) => [a[size * i], a[size * i + 1]]);

/** `start` (2k), `end` (3k) typed arrays; `labels` [{at: [x, y], mm}]. */
export function drawInPlan(start, end, labels) {
  const [before, after] = [ring(start, 2), ring(end, 3)];
  if (before.length < 3 || after.length < 3) return h("p", { class: "quiet" }, "No outlines were kept.");
  return fitted((width) => draw(width, before, after, labels ?? []), { className: "plot drawin" });
}

function draw(width, before, after, labels) {
  const all = [...before, ...after];
  const lo = [0, 1].map((k) => all.reduce((a, q) => Math.min(a, q[k]), Infinity));
  const hi = [0, 1].map((k) => all.reduce((a, q) => Math.max(a, q[k]), -Infinity));
  const side = 62;
  const scale = Math.min((width - 2 * side) / (hi[0] - lo[0]), 430 / (hi[1] - lo[1]));
  const height = (hi[1] - lo[1]) * scale + 2 * 34;
  const centre = [(lo[0] + hi[0]) / 2, (lo[1] + hi[1]) / 2];
  const x = (v) => width / 2 + (v - centre[0]) * scale;
  const y = (v) => height / 2 - (v - centre[1]) * scale;
  const path = (q) => `M${q.map((v) => `${x(v[0]).toFixed(1)} ${y(v[1]).toFixed(1)}`).join("L")}Z`;
  const written = [];
  const extreme = (one) => ({ largest: "most", least: "least" })[one.name] ?? "";
  const ordered = [...labels.filter(extreme), ...labels.filter((one) => !extreme(one))]; // the extremes are written in any case
  const marks = ordered.map((one) => {
    const { at, mm } = one;
    const to = nearest(after, at);
    const [dx, dy] = [at[0] - centre[0], at[1] - centre[1]];
    const l = Math.hypot(dx, dy) || 1;
    const [px, py] = [x(at[0]) + (dx / l) * 14, y(at[1]) - (dy / l) * 14];
    if (written.some(([wx, wy]) => Math.abs(wx - px) < 58 && Math.abs(wy - py) < 15)) return null;
    written.push([px, py]);
    const anchor = dx / l > 0.35 ? "start" : dx / l < -0.35 ? "end" : "middle";
    const [a, b] = [[x(at[0]), y(at[1])], [x(to[0]), y(to[1])]]; // prettier-ignore
    const run = Math.hypot(b[0] - a[0], b[1] - a[1]);
    const [ux, uy] = run > 1 ? [(b[0] - a[0]) / run, (b[1] - a[1]) / run] : [0, 0];
    return s(
      "g",
      { class: "dimension" },
      s("path", { class: "dim-line", d: `M${a.join(" ")}L${b.join(" ")}` }),
      run > 14 ? s("path", { class: "dim-head", d: `M${b[0]} ${b[1]}l${-ux * 9 - uy * 1.8} ${-uy * 9 + ux * 1.8}l${uy * 3.6} ${-ux * 3.6}Z` }) : null,
      s("text", { x: px, y: py + 4, "text-anchor": anchor }, extreme(one) ? `${extreme(one)} ${fixed(mm, 1)}` : fixed(mm, 1)),
    );
  });
  const wanted = 110 / scale;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
  return s(
    "svg",
    { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": "The blank's outline before and after the draw, with the draw-in in mm" },
    s("path", { class: "edge-before", d: path(before) }),
    s("path", { class: "edge-after", d: path(after) }),
    marks,
    s("g", { class: "scale-bar" }, s("path", { d: `M8 ${height - 12}v5h${length * scale}v-5` }), s("text", { x: 14 + length * scale, y: height - 6 }, `${fixed(length, 0)} mm`)),
  );
}

const nearest = (list, at) => list.reduce((a, q) => (Math.hypot(q[0] - at[0], q[1] - at[1]) < Math.hypot(a[0] - at[0], a[1] - at[1]) ? q : a));
