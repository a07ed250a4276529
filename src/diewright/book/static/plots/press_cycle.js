// The cycle of a press as a timing diagram: the slide's way over the crank angle, below it who does what from when to when.

import { put, s } from "../dom.js";
import { fixed, num } from "../words.js";
import { niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const ROW = 25;
const PATH = 170;

/** Bands of a cycle from its events [{event, angle_deg, time_s, slide_mm}]: [{name, kind, from, to}] in degrees; over the top `to` is less than `from`. */
export function bandsOf(events) {
  const at = (name) => events.find((e) => e.event === name)?.angle_deg ?? null;
  const all = (start) => events.filter((e) => e.event.startsWith(start)).map((e) => [e.event.slice(start.length), e.angle_deg]);
  const bottom = at("bottom") ?? 180;
  const out = [];
  const band = (name, kind, from, to) => Number.isFinite(from) && Number.isFinite(to) && out.push({ name, kind, from, to });
  for (const [o, from] of all("blankholder touches, ")) band(`blank held, ${o}`, "hold", from, at("part is stripped off the punch") ?? bottom);
  for (const [o, from] of all("pad touches, ")) band(`pad holds, ${o}`, "hold", from, at(`pad leaves the sheet, ${o}`) ?? bottom);
  for (const { event, angle_deg: from } of events) {
    const o = /^(.*) begins$/.exec(event)?.[1];
    if (o && o !== "dwell") band(o, "work", from, at(`${o} is through`) ?? bottom);
  }
  band("dwell", "dwell", at("dwell begins"), at("dwell ends"));
  for (const [o, to] of all("steels leave the sheet, ")) band(`stripped off, ${o}`, "strip", bottom, to);
  band("stripped off the punch", "strip", at("dwell ends") ?? bottom, at("part is stripped off the punch"));
  band("upper ejector", "eject", at("upper ejector knocks out"), 360);
  band("open for feeding", "feed", at("feeding may begin"), at("feeding must be over"));
  return out;
}

/** `cycle`: columns angle_deg, time_s, slide_mm, speed_mm_s; `events` as in bandsOf; `crank`: false for a hydraulic press. */
export function pressCycle(cycle, events, { crank = true } = {}) {
  return fitted((width) => draw(width, cycle, events, crank), { className: "plot press-cycle" });
}

function draw(width, cycle, events, crank) {
  const bands = bandsOf(events);
  const pad = { left: Math.min(190, width * 0.26), right: 56, top: 26 };
  const w = width - pad.left - pad.right;
  const base = pad.top + PATH;
  const height = base + 34 + bands.length * ROW + 46;
  const high = cycle.slide_mm.reduce((a, v) => Math.max(a, v ?? 0), 1e-9);
  const period = cycle.time_s[cycle.time_s.length - 1];
  const x = (deg) => pad.left + (deg / 360) * w;
  const y = (mm) => base - (mm / high) * PATH;
  const foot = base + 30 + bands.length * ROW;
  const ticks = crank ? [0, 45, 90, 135, 180, 225, 270, 315, 360] : niceTicks(0, period, w > 520 ? 9 : 5).map((t) => (t / period) * 360);
  const figure = (deg) => (crank ? `${fixed(deg, 0)}°` : `${fixed((deg / 360) * period, 1)} s`);
  const curve = cycle.angle_deg.map((a, i) => `${i ? "L" : "M"}${x(a).toFixed(1)} ${y(cycle.slide_mm[i] ?? 0).toFixed(1)}`).join("");
  const row = (k) => base + 26 + k * ROW;
  const reading = s("g", { class: "reading" });
  const svg = s(
    "svg",
    { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", tabindex: "0", "aria-label": `Cycle of ${num(period, 3)} s: ${bands.map((b) => `${b.name} ${fixed(b.from, 0)} to ${fixed(b.to, 0)} degrees`).join(", ")}` },
    s("defs", {}, s("pattern", { id: "cycle-hatch", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "cycle-hatch", d: "M0 0V6" }))),
    ticks.map((a) => s("path", { class: a === 180 ? "grid nought" : "grid", d: `M${x(a)} ${pad.top}V${foot}` })),
    niceTicks(0, high, 4).map((v) => s("g", {}, s("path", { class: v === 0 ? "grid nought" : "grid", d: `M${pad.left} ${y(v)}H${pad.left + w}` }), s("text", { class: "tick-figure", x: pad.left - 8, y: y(v) + 4, "text-anchor": "end" }, num(v, 4)))),
    s("path", { class: "curve bold", d: curve }),
    s("text", { class: "axis-name", x: pad.left, y: 14 }, "slide above bottom, mm"),
    bands.map((b, k) => bandMark(b, x, row(k), pad.left, w, figure)),
    ticks.filter((a) => !crank || w > 520 || a % 90 === 0).map((a) => s("text", { class: "tick-figure", x: x(a), y: foot + 17, "text-anchor": "middle" }, crank ? `${a}°` : `${num((a / 360) * period, 3)} s`)),
    s("text", { class: "axis-name", x: pad.left + w, y: foot + 37, "text-anchor": "end" }, crank ? `crank angle from the top; a turn takes ${num(period, 3)} s` : `time of the cycle of ${num(period, 3)} s`),
    reading,
  ); // prettier-ignore
  read(svg, reading, { cycle, x, y, pad, w, foot, width, crank });
  return svg;
}

function bandMark(b, x, top, left, w, figure) {
  const spans = b.to >= b.from ? [[b.from, b.to]] : [[b.from, 360], [0, b.to]]; // prettier-ignore
  const angle = (b.to - b.from + 360) % 360;
  const longest = spans.reduce((a, q) => (q[1] - q[0] > a[1] - a[0] ? q : a));
  const text = `${figure(b.from)} to ${figure(b.to)}`;
  const inside = x(longest[1]) - x(longest[0]) > text.length * 7.4 + 8;
  const end = x(longest[1]) + text.length * 7.2 + 8 > left + w + 50;
  const tx = inside ? (x(longest[0]) + x(longest[1])) / 2 : end ? x(longest[0]) - 7 : x(longest[1]) + 7;
  return s(
    "g",
    { class: `cycle-band ${b.kind}` },
    s("text", { class: "cycle-name", x: left - 10, y: top + 14, "text-anchor": "end" }, b.name),
    s("path", { class: "grid", d: `M${left} ${top + 21}H${left + w}` }),
    spans.map(([from, to]) => s("rect", { class: "cycle-bar", x: x(from), y: top + 2, width: Math.max(x(to) - x(from), 2), height: 15, rx: 0 })),
    s("text", { class: "cycle-figure", x: tx, y: top + 14, "text-anchor": inside ? "middle" : end ? "end" : "start" }, text),
    s("title", {}, `${b.name}: ${fixed(angle, 1)}°`),
  );
}

function read(svg, g, { cycle, x, y, pad, w, foot, width, crank }) {
  let at = 90;
  const show = (deg) => {
    at = Math.min(360, Math.max(0, deg));
    const last = cycle.angle_deg.length - 1;
    const i = Math.min(last, Math.max(0, Math.round((at / 360) * last)));
    const lines = [crank ? `${fixed(at, 0)}°` : "", `${fixed(cycle.time_s[i], 2)} s`, `${num(cycle.slide_mm[i], 4)} mm above bottom`, `${num(Math.abs(cycle.speed_mm_s?.[i] ?? NaN), 3)} mm/s ${(cycle.speed_mm_s?.[i] ?? 0) >= 0 ? "down" : "up"}`].filter(Boolean);
    const wide = Math.max(...lines.map((t) => t.length)) * 7.4 + 16;
    const bx = x(at) > width / 2 ? x(at) - 10 - wide : x(at) + 10;
    put(g, s("path", { class: "reading-line", d: `M${x(at)} ${pad.top}V${foot}` }), s("circle", { class: "reading-dot", cx: x(at), cy: y(cycle.slide_mm[i]), r: 3.5 }), s("rect", { class: "reading-box", x: bx, y: pad.top + 4, width: wide, height: lines.length * 18 + 8 }), lines.map((t, k) => s("text", { x: bx + 8, y: pad.top + 21 + 18 * k }, t)));
  };
  svg.addEventListener("pointermove", (e) => {
    const r = svg.getBoundingClientRect();
    show(((((e.clientX - r.left) / r.width) * width - pad.left) / w) * 360);
  });
  svg.addEventListener("pointerleave", () => put(g));
  svg.addEventListener("blur", () => put(g));
  svg.addEventListener("focus", () => svg.matches(":focus-visible") && show(at));
  svg.addEventListener("keydown", (e) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
    if (!step) return;
    e.preventDefault();
    show(at + step * (e.shiftKey ? 10 : 1));
  });
}

/** The events of a cycle as rows, for the table beside the diagram. */
export const eventRows = (events) => events.map((e) => [e.event, fixed(e.angle_deg, 1), fixed(e.time_s, 2), num(e.slide_mm, 4)]);
