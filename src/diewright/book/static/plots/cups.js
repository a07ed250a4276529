// The cups of a sequence side by side to one scale: each cut through its axis, with its diameter, height and radius.

import { h, s } from "../dom.js";
import { fixed, num } from "../words.js";
import { dimension } from "../view3d/section.js";
import { fitted } from "./chart.js";

/** `draws`: rows of the stage; `meridians`: flat arrays of r, z [mm], bottom at z = 0; `blank` diameter, `t` thickness [mm]. */
export function cupsPicture(draws, meridians, blank, t) {
  if (!draws.length || meridians.some((m) => !m?.length)) return h("p", { class: "quiet" }, "No shapes were kept.");
  return fitted((width) => draw(width, draws, meridians, blank, t), { className: "plot cups" });
}

function draw(width, draws, meridians, blank, t) {
  const shapes = meridians.map((m) => Array.from({ length: m.length / 2 }, (_, i) => [m[2 * i], m[2 * i + 1]]));
  const wide = shapes.map((q) => 2 * Math.max(...q.map((v) => v[0])));
  const tall = Math.max(...shapes.map((q) => Math.max(...q.map((v) => v[1]))));
  const gap = 74;
  const k = Math.min((width - 30 - gap * (draws.length + 1)) / (blank + wide.reduce((a, b) => a + b, 0)), 300 / tall);
  const height = Math.round(tall * k + 92);
  const base = height - 56;
  const free = (width - 30 - k * (blank + wide.reduce((a, b) => a + b, 0))) / (draws.length + 1);
  let left = 15;
  const place = (w) => {
    const x = left + (w * k) / 2;
    left += w * k + free;
    return x;
  };
  const centre = (x, top) => s("path", { class: "centre-line", d: `M${x} ${top}V${base + 12}` });
  const under = (x, text) => s("text", { class: "cup-name", x, y: height - 4, "text-anchor": "middle" }, text);
  const flat = place(blank);
  const parts = [
    s("path", { class: "cup-wall", d: `M${flat - (blank * k) / 2} ${base}H${flat + (blank * k) / 2}`, "stroke-width": Math.max(t * k, 1.6) }),
    centre(flat, base - 16),
    dimension([flat - (blank * k) / 2, base + 28], [flat + (blank * k) / 2, base + 28], `Ø ${fixed(blank, 1)}`, [base + 6, "v"]),
    under(flat, "blank"),
  ];
  shapes.forEach((q, i) => {
    const d = draws[i];
    const x = place(wide[i]);
    const [w, high] = [(wide[i] * k) / 2, Math.max(...q.map((v) => v[1])) * k];
    const half = (sign) => q.map((v) => `${(x + sign * v[0] * k).toFixed(1)} ${(base - v[1] * k).toFixed(1)}`);
    parts.push(
      s("path", { class: "cup-wall", d: `M${half(-1).reverse().join("L")}L${half(1).join("L")}`, "stroke-width": Math.max(t * k, 1.6) }),
      centre(x, base - high - 10),
      dimension([x - w, base + 28], [x + w, base + 28], `Ø ${fixed(d.diameter, 1)}`, [base + 6, "v"]),
      dimension([x + w + 22, base], [x + w + 22, base - high], fixed(d.height, 1), [x + w + 5, "h"]),
      s("text", { class: "cup-note", x: x - w * 0.5, y: base - Math.min(20, high * 0.3), "text-anchor": "middle" }, `R ${num(d.punch_radius, 3)}`),
      under(x, `${d.kind} ${d.draw}`),
    );
  });
  return s("svg", { class: "drawing cups-svg", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Blank ${fixed(blank, 1)} mm, then ${draws.map((d) => `${d.kind} ${d.draw} to ${fixed(d.diameter, 1)} mm, ${fixed(d.height, 1)} mm high`).join("; ")}` }, parts);
}
