// The cut edge as one sees it under the glass: roll-over, burnish, fracture and burr, to one scale, with the side named.

import { s } from "../dom.js";
import { fixed, num } from "../words.js";
import { fitted } from "./chart.js";

const TALL = 190; // of the sheet [px]

/** `cut`: a row of cutting.values.cuts. */
export function edgeSection(cut) {
  return fitted((width) => draw(width, cut), { className: "plot edge-section" });
}

const middle = (pair) => (Array.isArray(pair) ? (pair[0] + pair[1]) / 2 : 0);

function draw(width, cut) {
  const t = cut.thickness;
  const k = TALL / t;
  const burr = Math.max(cut.burr_mm ?? 0, 0) * k;
  const [roll, burnish, fracture] = [cut.rollover_pct, cut.burnish_pct, cut.fracture_pct].map((p) => (middle(p) / 100) * t * k);
  const sum = roll + burnish + fracture || 1;
  const [yr, yb] = [(roll / sum) * TALL, ((roll + burnish) / sum) * TALL];
  const below = cut.burr_side !== "upper";
  const top = 46 + (below ? 0 : burr);
  const y = (v) => top + (below ? v : TALL - v); // v runs from the roll-over's face through the sheet
  const way = below ? 1 : -1;
  const left = Math.min(150, width * 0.24);
  const edge = Math.min(left + 190, width * 0.52);
  const slope = Math.min((cut.clearance_mm ?? 0) * k, 46);
  const foot = edge + slope; // fracture runs out towards the burr by about the clearance
  const d = `M${left} ${y(0)}H${edge - yr * 1.6}Q${edge} ${y(0)} ${edge} ${y(yr)}V${y(yb)}L${foot} ${y(TALL)}L${foot - 1} ${y(TALL) + way * burr}L${foot - Math.max(burr * 0.55, 3)} ${y(TALL)}H${left}`;
  const height = TALL + 92 + burr;
  const pct = (pair) => (Array.isArray(pair) ? `${num(pair[0], 2)} to ${num(pair[1], 2)} %` : "–");
  const band = (a, b, name, pair) => {
    const [y0, y1] = [y(a), y(b)];
    const x = foot + 22;
    return s("g", { class: "edge-band" }, s("path", { class: "dim-line", d: `M${x} ${y0 + way * 1.5}V${y1 - way * 1.5}M${x - 5} ${y0}h10M${x - 5} ${y1}h10` }), s("text", { x: x + 14, y: (y0 + y1) / 2 + 4.5 }, `${name}, ${pct(pair)}`));
  };
  const pattern = `edge-hatch-${Math.round(TALL / t)}`;
  const zones = [[yr, yb, "edge-burnish"], [yb, TALL, "edge-fracture"]];
  const b = y(TALL) + way * burr;
  return s(
    "svg",
    { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Cut edge of ${num(t, 3)} mm sheet: roll-over ${pct(cut.rollover_pct)}, burnish ${pct(cut.burnish_pct)}, fracture ${pct(cut.fracture_pct)}, burr up to ${num(cut.burr_mm, 2)} mm on the ${cut.burr_side} face` },
    s("defs", {}, s("pattern", { id: pattern, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "tool-tick", d: "M0 0V7" }))),
    s("path", { class: "edge-metal", d: `${d}Z` }),
    s("path", { class: "edge-lines", d: `${d}Z`, fill: `url(#${pattern})` }),
    zones.map(([a, c, kind]) => s("path", { class: kind, d: kind === "edge-burnish" ? `M${edge} ${y(a)}V${y(c)}` : `M${edge} ${y(a)}L${foot} ${y(c)}` })),
    s("path", { class: "edge-outline", d }),
    s("path", { class: "strip-break", d: `M${left} ${Math.min(y(0), y(TALL))}${Array.from({ length: 6 }, (_, i) => `q${i % 2 ? -5 : 5} ${TALL / 12} 0 ${TALL / 6}`).join("")}` }),
    band(0, yr, "roll-over", cut.rollover_pct),
    band(yr, yb, "burnish", cut.burnish_pct),
    band(yb, TALL, "fracture", cut.fracture_pct),
    s("path", { class: "dim-line", d: `M${foot - 2} ${b}L${foot - 26} ${b + way * 18}h-8` }),
    s("text", { class: "edge-burr", x: foot - 38, y: b + way * 18 + 4.5, "text-anchor": "end" }, `burr up to ${num(cut.burr_mm, 2)} mm`),
    s("text", { class: "edge-face", x: left, y: y(0) - way * 10 + (below ? 0 : 12), "text-anchor": "start" }, `${below ? "upper" : "lower"} face, where the steel enters`),
    s("text", { class: "edge-face", x: left, y: height - (below ? 8 : height - 18), "text-anchor": "start" }, `${below ? "lower" : "upper"} face${cut.burr_seen ? ", which is seen" : ""}`),
    s("g", { class: "dimension" }, s("path", { class: "dim-line", d: `M${left - 26} ${top}V${top + TALL}M${left - 6} ${top}h-26M${left - 6} ${top + TALL}h-26` }), s("text", { x: left - 31, y: top + TALL / 2, "text-anchor": "middle", transform: `rotate(-90 ${left - 31} ${top + TALL / 2})` }, `${num(t, 3)} mm`)),
    s("text", { class: "tick-figure", x: width - 8, y: height - 8, "text-anchor": "end" }, `drawn ${fixed(k / 3.78, 0)} : 1`),
  );
}
