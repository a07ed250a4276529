// Other finishes: what a square metre costs against the usual one, as bands.

import { s } from "../dom.js";
import { num } from "../words.js";
import { niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const ROW = 34;
const TOP = 34;

/** `choices`: those of the stage. */
export const costBands = (choices) => fitted((width) => draw(width, choices), { className: "plot cost-plot" });

function draw(width, choices) {
  const names = Math.min(330, width * 0.46);
  const right = width - 150;
  const known = choices.filter((c) => c.relative_cost);
  const most = Math.max(1, ...known.map((c) => c.relative_cost[1])) * 1.05;
  const base = TOP + choices.length * ROW;
  const x = (v) => names + (v / most) * (right - names);
  return s(
    "svg",
    { class: "drawing cost-drawing", viewBox: `0 0 ${width} ${base + 30}`, height: base + 30, role: "img", "aria-label": `Cost against nickel and chromium(VI): ${choices.map((c) => `${c.title} ${c.relative_cost ? c.relative_cost.map((v) => num(v)).join(" to ") : "not known"}`).join("; ")}` },
    s("text", { class: "axis-name", x: names, y: 18 }, "cost of a square metre, nickel and chromium(VI) = 1"),
    niceTicks(0, most, Math.max(3, Math.floor((right - names) / 80))).map((q) => [s("path", { class: q === 1 ? "grid nought" : "grid", d: `M${x(q)} ${TOP}V${base}` }), s("text", { class: "tick-figure", x: x(q), y: base + 18, "text-anchor": "middle" }, num(q))]),
    choices.map((c, k) => {
      const y = TOP + k * ROW + ROW / 2;
      const [a, b] = c.relative_cost ?? [];
      return s("g", { class: c.serves ? "cost-row" : "cost-row short" },
        s("text", { class: "step-name", x: names - 10, y: y + 4.5, "text-anchor": "end" }, c.title.length > 44 && names < 320 ? `${c.title.slice(0, 40)} …` : c.title),
        c.relative_cost ? s("rect", { class: `cost-bar${c.rate_stated ? " stated" : ""}`, x: x(a), y: y - 8, width: Math.max(x(b) - x(a), 3), height: 16 }) : s("text", { class: "axis-note", x: names + 8, y: y + 4.5 }, "rates are stated for one of the two only"),
        s("text", { class: "reading-verdict", x: right + 12, y: y + 4.5 }, c.serves ? "serves" : "does not serve"));
    }),
  ); // prettier-ignore
}
