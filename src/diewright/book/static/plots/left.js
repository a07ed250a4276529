// What is left of the deviation, run by run, over the tolerance: points on a line of runs, since nothing lies between two of them.

import { s } from "../dom.js";
import { fixed, num, tickText } from "../words.js";
import { niceStep, niceTicks } from "../view3d/lut.js";
import { fitted } from "./chart.js";

const PAD = { left: 60, right: 118, top: 22, bottom: 46 };

/** `runs`: [{name, max, rms}]; `tolerance` [mm]; `best` number of the run whose faces are given. */
export const leftPicture = (runs, tolerance, best) => fitted((width) => draw(width, runs, tolerance, best), { className: "plot left-picture" });

function draw(width, runs, tolerance, best) {
  const height = Math.round(Math.min(360, Math.max(250, width * 0.4)));
  const top = 1.08 * Math.max(tolerance, ...runs.map((r) => r.max));
  const [right, base] = [width - PAD.right, height - PAD.bottom];
  const x = (i) => PAD.left + 40 + (runs.length > 1 ? (i / (runs.length - 1)) * (right - PAD.left - 70) : (right - PAD.left) / 2);
  const y = (mm) => base - (mm / top) * (base - PAD.top);
  const step = niceStep(0, top, 6);
  const line = (key) => `M${runs.map((r, i) => `${x(i).toFixed(1)} ${y(r[key]).toFixed(1)}`).join("L")}`;
  const end = runs.length - 1;
  const apart = Math.abs(y(runs[end].max) - y(runs[end].rms)) < 16 ? 9 : 0;
  return s(
    "svg",
    { class: "drawing left-svg", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `Deviation of the part by run: from ${fixed(runs[0].max, 3)} to ${fixed(runs[end].max, 3)} mm` },
    niceTicks(0, top, 6).map((mm) => [s("path", { class: mm === 0 ? "grid nought" : "grid", d: `M${PAD.left} ${y(mm)}H${right}` }), s("text", { class: "tick-figure", x: PAD.left - 8, y: y(mm) + 4, "text-anchor": "end" }, tickText(mm, step))]),
    s("path", { class: "axis", d: `M${PAD.left} ${PAD.top}V${base}H${right}` }),
    s("path", { class: "window-limit", d: `M${PAD.left} ${y(tolerance)}H${right}` }),
    s("text", { class: "curve-name", x: right + 6, y: y(tolerance) + 4 - (Math.abs(y(tolerance) - y(runs[end].rms)) < 14 ? 14 : 0) }, `tolerance ${num(tolerance)}`),
    s("path", { class: "curve bold", d: line("max") }),
    s("path", { class: "curve dash", d: line("rms") }),
    runs.map((r, i) => [
      s("circle", { class: i === best ? "run-clean left-best" : "run-clean", cx: x(i), cy: y(r.max), r: i === best ? 6 : 4.5 }),
      s("circle", { class: "run-clean", cx: x(i), cy: y(r.rms), r: 3.5 }),
      s("text", { class: "left-figure", x: x(i) + 9, y: y(r.max) - 8 }, fixed(r.max, 3)),
      s("text", { class: "tick-figure", x: x(i), y: base + 20, "text-anchor": "middle" }, r.name),
    ]),
    s("text", { class: "curve-name", x: right + 6, y: y(runs[end].max) + 4 - apart }, "largest"),
    s("text", { class: "curve-name", x: right + 6, y: y(runs[end].rms) + 4 + apart }, "mean square"),
    s("text", { class: "axis-name", x: right, y: base + 40, "text-anchor": "end" }, "Times the faces were moved"),
    s("text", { class: "axis-name", x: 14, y: PAD.top, "text-anchor": "end", transform: `rotate(-90 14 ${PAD.top})` }, "Deviation of the part, mm"),
  );
}
