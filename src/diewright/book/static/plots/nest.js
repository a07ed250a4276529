// How the blanks lie on the strip: drawn to one scale, with pitch, width and webs as dimensions.

import { h, s } from "../dom.js";
import { num } from "../words.js";
import { dimension } from "../view3d/section.js";
import { fitted } from "./chart.js";

/** `placed`: Float32Array of (parts, k, 2); `layout`: a row of nest.values.layouts. */
export function nestDrawing(placed, shape, layout) {
  const [parts, k] = shape;
  const ring = (i) => Array.from({ length: k }, (_, j) => [placed[2 * (i * k + j)], placed[2 * (i * k + j) + 1]]);
  const rings = Array.from({ length: parts }, (_, i) => ring(i));
  const all = rings.flat();
  const lo = [0, 1].map((m) => all.reduce((a, q) => Math.min(a, q[m]), Infinity));
  const hi = [0, 1].map((m) => all.reduce((a, q) => Math.max(a, q[m]), -Infinity));
  // the strip runs along the axis whose extent does not make up the strip width
  const strip = layout.strip_width ?? hi[1] - lo[1];
  const across = Math.abs(hi[1] - lo[1] - strip) <= Math.abs(hi[0] - lo[0] - strip) ? 1 : 0;
  const along = 1 - across;
  return fitted((width) => draw(width, rings, lo, hi, strip, along, across, layout), { className: "plot nest-drawing" });
}

function draw(width, rings, lo, hi, strip, along, across, layout) {
  const [left, right, top] = [24, 76, 40];
  const length = hi[along] - lo[along];
  const overhang = Math.max((layout.web ?? 0) * 2, length * 0.02);
  const scale = Math.min((width - left - right) / (length + 2 * overhang), 340 / strip);
  const middle = (lo[across] + hi[across]) / 2;
  const x = (v) => left + (v - lo[along] + overhang) * scale;
  const y = (v) => top + (strip / 2 - (v - middle)) * scale;
  const [y0, y1] = [top, top + strip * scale];
  const [x0, x1] = [left, left + (length + 2 * overhang) * scale];
  const height = y1 + 52;
  const wave = (at) => {
    const n = 6;
    const step = (y1 - y0) / n;
    return `M${at} ${y0}${Array.from({ length: n }, (_, i) => `q${i % 2 ? -5 : 5} ${step / 2} 0 ${step}`).join("")}`;
  };
  const first = rings[0];
  const start = Math.min(...first.map((q) => q[along]));
  const pitch = layout.pitch;
  const dims = [];
  if (pitch && start + pitch <= hi[along] + 1e-6) dims.push(dimension([x(start), y1 + 30], [x(start + pitch), y1 + 30], `pitch ${num(pitch, 4)}`, [y1 - 6, "v"]));
  dims.push(dimension([x1 + 34, y1], [x1 + 34, y0], `strip ${num(strip, 4)}`, [x1 + 4, "h"]));
  return s(
    "svg",
    { class: "drawing", viewBox: `0 0 ${Math.max(width, 100)} ${height}`, height, role: "img", "aria-label": `${layout.layout} layout, pitch ${num(pitch, 4)} mm, strip ${num(strip, 4)} mm` },
    s("rect", { class: "strip", x: x0, y: y0, width: x1 - x0, height: y1 - y0 }),
    rings.map((r, i) => s("path", { class: i === 0 ? "blank first" : "blank", d: `M${r.map((q) => `${x(q[along]).toFixed(1)} ${y(q[across]).toFixed(1)}`).join("L")}Z` })),
    s("path", { class: "strip-edge", d: `M${x0} ${y0}H${x1}M${x0} ${y1}H${x1}` }),
    s("path", { class: "strip-break", d: wave(x0) + wave(x1) }),
    s("path", { class: "dim-line", d: `M${x0 + 6} ${top - 16}H${x0 + 74}` }),
    s("path", { class: "dim-head", d: `M${x0 + 82} ${top - 16}l-10 -3v6Z` }),
    s("text", { class: "curve-name", x: x0 + 90, y: top - 12 }, "rolling direction and feed"),
    dims,
  );
}

export const nothingPlaced = () => h("p", { class: "quiet" }, "No drawing was kept for this layout.");
