// The cut as a drawing: hatched metal, overall dimensions as ISO 129 sets them.

import { h, s } from "../dom.js";
import { num } from "../words.js";
import { chains } from "./geometry.js";

/** `segments` of a cut across `axis` at `at` [mm]; `thickness` of the sheet [mm]; `width` of the drawing [px]. */
export function sectionDrawing(segments, axis, at, thickness, width) {
  if (!segments.length) return h("p", { class: "quiet" }, "The cut passes beside the part.");
  const [i, j] = [[1, 2], [0, 2], [0, 1]][axis]; // prettier-ignore
  const lines = chains(segments.map((seg) => seg.map((q) => [q[i], q[j]])));
  const all = lines.flat();
  const lo = [0, 1].map((k) => Math.min(...all.map((q) => q[k])));
  const hi = [0, 1].map((k) => Math.max(...all.map((q) => q[k])));
  const [w, t] = [hi[0] - lo[0], hi[1] - lo[1]];
  const side = 70;
  const scale = Math.min((width - 2 * side) / Math.max(w, 1e-6), 300 / Math.max(t, 1e-6));
  const height = t * scale + 92;
  const left = (width - w * scale) / 2;
  const x = (v) => left + (v - lo[0]) * scale;
  const y = (v) => 30 + (hi[1] - v) * scale;
  const times = Math.max(1, Math.ceil(5 / Math.max(thickness * scale, 1e-6)));
  const stroke = Math.max(thickness * scale * times, 3);
  const d = lines.map((c) => `M${c.map((q) => `${x(q[0]).toFixed(2)} ${y(q[1]).toFixed(2)}`).join("L")}`).join("");
  const base = height - 30;
  const right = x(hi[0]) + 30;
  const pattern = s("pattern", { id: "hatch", width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "hatch-line", d: "M0 0V5" }));
  return [
    s(
      "svg",
      { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Section at ${"xyz"[axis]} ${num(at, 4)} mm, ${num(w, 4)} mm wide and ${num(t, 3)} mm high` },
      s("defs", {}, pattern),
      s("path", { class: "cut-edge", d, "stroke-width": stroke + 2 }),
      s("path", { class: "cut-paper", d, "stroke-width": stroke }),
      s("path", { class: "cut-hatch", d, "stroke-width": stroke, stroke: "url(#hatch)" }),
      dimension([x(lo[0]), base], [x(hi[0]), base], num(w, 4), [y(lo[1]) + 8, "v"]),
      dimension([right, y(lo[1])], [right, y(hi[1])], num(t, 3), [x(hi[0]) + 8, "h"]),
    ),
    h("p", { class: "quiet" }, `Section at ${"xyz"[axis]} ${num(at, 4)} mm. Dimensions of the meshed skin in mm. ${times > 1 ? `Sheet thickness drawn ${times} times.` : "Sheet thickness to scale."}`),
  ];
}

/** A dimension line with arrow heads, extension lines and its figure above the line. `from`: where the extension lines start. */
export function dimension(a, b, text, [from, way]) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const l = Math.hypot(dx, dy) || 1;
  const [ux, uy] = [dx / l, dy / l];
  const head = (p, sign) => `M${p[0]} ${p[1]}l${sign * (ux * 9) - uy * 1.8} ${sign * (uy * 9) + ux * 1.8}l${uy * 3.6} ${-ux * 3.6}Z`;
  const out = way === "v" ? `M${a[0]} ${from}V${a[1] + 4}M${b[0]} ${from}V${b[1] + 4}` : `M${from} ${a[1]}H${a[0] + 4}M${from} ${b[1]}H${b[0] + 4}`;
  const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  const upright = way === "h";
  return s(
    "g",
    { class: "dimension" },
    s("path", { class: "dim-line", d: `M${a.join(" ")}L${b.join(" ")}${out}` }),
    l > 26 ? s("path", { class: "dim-head", d: head(a, 1) + head(b, -1) }) : null,
    s("text", { x: middle[0] - (upright ? 5 : 0), y: middle[1] - (upright ? 0 : 5), "text-anchor": "middle", transform: upright ? `rotate(-90 ${middle[0] - 5} ${middle[1]})` : null }, text),
  );
}
