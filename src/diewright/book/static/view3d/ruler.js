// The scale of a field: an engraved rule under the picture, with its unit, the limit by name, the extremes and the probe.

import { s, put } from "../dom.js";
import { num, tickText, unitText } from "../words.js";
import { colourAt, niceStep, niceTicks } from "./lut.js";

const SIDE = 26;
const TOP = 28;
const BAND = 15;

/** `state`: {spec, rows, lo, hi, stepped, level, min, max, limit: [value, name] | null, probe}. */
export function drawRuler(svg, width, state) {
  const { spec, rows, lo, hi } = state;
  svg.setAttribute("viewBox", `0 0 ${width} 74`);
  svg.setAttribute("height", 74);
  const span = Math.max(hi - lo, 1e-12);
  const x = (v) => SIDE + ((v - lo) / span) * (width - 2 * SIDE);
  const parts = state.stepped ? niceTicks(lo, hi, 9) : null;
  const keys = spec.words ? Object.keys(spec.words).map(Number).filter((v) => v >= lo && v <= hi) : null; // no values between words
  const edges = keys ? [lo, ...keys.slice(1).map((v, i) => (v + keys[i]) / 2), hi] : parts ? [lo, ...parts.filter((v) => v > lo && v < hi), hi] : Array.from({ length: 161 }, (_, i) => lo + (span * i) / 160);
  const cells = edges.slice(1).map((b, i) => {
    const a = edges[i];
    const middle = keys ? keys[i] : state.stepped ? (Math.floor((a + b) / 2 / state.level) + 0.5) * state.level : (a + b) / 2;
    const w = x(b) - x(a);
    return s("rect", { x: x(a), y: TOP, width: w + (parts || keys ? 0 : 0.6), height: BAND, fill: colourAt(rows, (middle - lo) / span, spec.reverse) });
  });
  const wanted = Math.max(4, Math.min(12, Math.floor(width / 84)));
  const major = keys ?? niceTicks(lo, hi, wanted);
  const step = niceStep(lo, hi, wanted);
  const minor = [];
  for (let i = Math.ceil((lo / step) * 5); !keys && (i * step) / 5 <= hi; i++) if (i % 5) minor.push((i * step) / 5);
  const y = TOP + BAND;
  const unit = unitText(spec.unit);
  const inside = (v) => v !== null && v !== undefined && v >= lo && v <= hi;
  put(
    svg,
    s("title", {}, `${spec.label}${unit ? `, ${unit}` : ""}: from ${num(state.min)} to ${num(state.max)}`),
    s("text", { class: "rule-name", x: SIDE, y: 17 }, spec.label + (unit ? `, ${unit}` : "")),
    cells,
    s("path", { class: "rule-frame", d: `M${SIDE} ${TOP}H${width - SIDE}V${y}H${SIDE}Z` }),
    minor.map((v) => s("path", { class: "rule-tick", d: `M${x(v)} ${y}v4` })),
    major.map((v) => s("g", {}, s("path", { class: "rule-tick", d: `M${x(v)} ${y}v8` }), s("text", { class: "rule-figure", x: x(v), y: y + 22, "text-anchor": spec.words && v === lo ? "start" : spec.words && v === hi ? "end" : "middle" }, spec.words?.[v] ?? tickText(v, step)))),
    state.limit && inside(state.limit[0]) ? limitMark(x(state.limit[0]), width, state.limit, unit, y, SIDE + 7.6 * (spec.label.length + unit.length + 2)) : null,
    inside(state.probe) ? s("path", { class: "rule-probe", d: `M${x(state.probe)} ${TOP - 2}l-5 -8h10Z` }) : null,
    state.limit && !inside(state.limit[0]) ? s("text", { class: "rule-limit-name", x: width - SIDE, y: 17, "text-anchor": "end" }, `${state.limit[1]} ${num(state.limit[0])}${unit ? ` ${unit}` : ""} lies outside this range`) : null,
  );
}

/** `free`: where the name of the field ends; the name of a limit near the left end stands behind it. */
function limitMark(at, width, [value, name], unit, y, free) {
  const text = `${name} ${num(value)}${unit ? ` ${unit}` : ""}`;
  const room = text.length * 6.6 + 10;
  const end = at + room > width - 8;
  return s(
    "g",
    { class: "rule-limit" },
    s("path", { d: `M${at} 15V${y + 5}` }),
    s("text", { class: "rule-limit-name", x: end ? at - 6 : Math.max(at + 6, at < free ? free + 8 : 0), y: 22, "text-anchor": end ? "end" : "start" }, text),
  );
}
