// All attitudes on two discs of equal area: the colour of each patch is the air and the pools that stay with that way up.

import { h, put, s } from "../dom.js";
import { fixed, num } from "../words.js";
import { colourAt, table } from "../view3d/lut.js";
import { anglesOf, upOf } from "../view3d/bath_view.js";
import { fitted } from "./chart.js";

const ROUND = [0, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000];
const MAP = "batlow";
const RIM = Math.SQRT2;

/** Lambert's azimuthal equal-area projection of a half sphere on a disc of radius 1: [disc, x, y]. */
export function placeOf([x, y, z]) {
  const k = 1 / Math.sqrt(1 + Math.abs(z)); // sqrt(2) sin(lean / 2) / sin(lean)
  return [z >= 0 ? 0 : 1, x * k, y * k];
}

/** The way up at a place of a disc, null outside it. */
export function upAt(disc, x, y) {
  const r2 = x * x + y * y;
  if (r2 > 1) return null;
  const k = Math.sqrt(2 - r2);
  return [x * k, y * k, disc === 0 ? 1 - r2 : r2 - 1];
}

/** For many places the nearest of about even directions: candidates are found by their height. */
export function nearest(ups) {
  const n = ups.length / 3;
  const order = Array.from({ length: n }, (_, i) => i).sort((a, b) => ups[3 * a + 2] - ups[3 * b + 2]);
  const z = Float64Array.from(order, (i) => ups[3 * i + 2]);
  const reach = 2.2 * Math.sqrt((4 * Math.PI) / n);
  const from = (v) => {
    let [a, b] = [0, n];
    while (a < b) {
      const m = (a + b) >> 1;
      if (z[m] < v) a = m + 1;
      else b = m;
    }
    return a;
  };
  return ([x, y, w]) => {
    let [best, found] = [-2, order[Math.min(from(w), n - 1)]];
    for (let k = from(w - reach); k < n && z[k] <= w + reach; k++) {
      const i = order[k];
      const d = ups[3 * i] * x + ups[3 * i + 1] * y + ups[3 * i + 2] * w;
      if (d > best) [best, found] = [d, i];
    }
    return found;
  };
}

/** `ups` (3n), `values` (n) [mL], `best` [{up, text}], `title`; `chosen(up)` is called for a place that is pointed at or walked to. Gives {root, set(up), show(values, title)}. */
export function attitudeMap({ ups, values, best, title, chosen }) {
  let up = [0, 0, 1];
  let mark = () => {};
  let fill = () => {};
  const find = nearest(ups);
  const shown = { values, title };
  const root = fitted((width) => {
    const stacked = width < 460;
    const radius = Math.floor(Math.min(stacked ? (width - 90) / 2 : (width - 110) / 4, 190));
    const gap = 46;
    const [top, side] = [40, radius + 34];
    const centres = stacked ? [[width / 2, top + radius], [width / 2, top + 3 * radius + gap + 26]] : [[width / 2 - side + 6, top + radius], [width / 2 + side - 6, top + radius]]; // prettier-ignore
    const foot = centres[1][1] + radius + 34;
    const height = foot + 58;
    const at = (v) => {
      const [disc, x, y] = placeOf(v);
      return [centres[disc][0] + x * radius, centres[disc][1] - y * radius];
    };
    const ratio = Math.min(devicePixelRatio || 1, 1.5);
    const canvas = h("canvas", { class: "dip-map-colours", width: Math.round(width * ratio), height: Math.round(height * ratio), "aria-hidden": "true", css: { height: `${height}px` } });
    const here = s("g", { class: "dip-here" });
    const rule = s("g", { class: "dip-rule" });
    const said = s("title", {});
    const svg = s(
      "svg",
      { class: "drawing dip-map", viewBox: `0 0 ${width} ${height}`, height, role: "slider", tabindex: "0", "aria-label": "Way up of the part: all attitudes", "aria-valuemin": 0, "aria-valuemax": 180, onclick: pointed, onkeydown: walked },
      said,
      centres.map(([cx, cy], disc) => grids(cx, cy, radius, disc)),
      best.map((b, i) => flag(at(b.up), i + 1, b.text)),
      here,
      rule,
    );
    function pointed(e) {
      const box = svg.getBoundingClientRect();
      const [px, py] = [((e.clientX - box.left) / box.width) * width, ((e.clientY - box.top) / box.height) * height];
      for (const [disc, [cx, cy]] of centres.entries()) {
        const v = upAt(disc, (px - cx) / radius, (cy - py) / radius);
        if (v) return chosen(v);
      }
      return null;
    }
    function walked(e) {
      const step = e.shiftKey ? 1 : 5;
      const turn = { ArrowUp: [-step, 0], ArrowDown: [step, 0], ArrowLeft: [0, step], ArrowRight: [0, -step] }[e.key];
      if (!turn || e.ctrlKey || e.altKey || e.metaKey) return;
      e.preventDefault();
      const { lean, towards } = anglesOf(up);
      chosen(upOf(Math.min(180, Math.max(0, lean + turn[0])), towards + turn[1]));
    }
    mark = () => {
      const [x, y] = at(up);
      put(here, s("circle", { class: "dip-here-halo", cx: x, cy: y, r: 13 }), s("path", { class: "dip-here-cross", d: `M${x - 20} ${y}h7M${x + 13} ${y}h7M${x} ${y - 20}v7M${x} ${y + 13}v7` }), s("circle", { class: "dip-here-ring", cx: x, cy: y, r: 13 }));
      const { lean, towards } = anglesOf(up);
      const value = shown.values[find(up)];
      svg.setAttribute("aria-valuenow", String(Math.round(lean)));
      svg.setAttribute("aria-valuetext", `leaning ${fixed(lean, 0)} degrees towards ${fixed(towards, 0)}, ${num(value)} mL`);
      put(said, `${shown.title}: ${num(value)} mL near this attitude`);
    };
    fill = async () => {
      const rows = await table(MAP);
      const most = Math.max(...shown.values, 1e-6);
      colour(canvas, ratio, centres, radius, (v) => shareOf(shown.values[find(v)], most), rows);
      put(rule, ruleMarks(30, foot, width - 60, most, rows, shown.title));
    };
    fill();
    mark();
    return h("div", { class: "dip-map-box" }, canvas, svg);
  }, { className: "plot dip-map-plot" });
  const set = (v) => {
    up = v;
    mark();
  };
  return { root, set, show: (next, name) => { Object.assign(shown, { values: next, title: name }); fill(); mark(); } }; // prettier-ignore
}

/** Place on the scale: with the cube root, so that a millilitre can be told from ten. */
const shareOf = (value, most) => Math.cbrt(Math.max(value, 0) / most);

function colour(canvas, ratio, centres, radius, shade, rows) {
  const c = canvas.getContext("2d");
  c.clearRect(0, 0, canvas.width, canvas.height);
  const size = Math.ceil(2 * radius * ratio);
  for (const [disc, [cx, cy]] of centres.entries()) {
    const image = c.createImageData(size, size);
    for (let j = 0; j < size; j++) {
      for (let i = 0; i < size; i++) {
        const v = upAt(disc, (2 * (i + 0.5)) / size - 1, 1 - (2 * (j + 0.5)) / size);
        if (!v) continue;
        const row = rows[Math.round(shade(v) * (rows.length - 1))];
        image.data.set([row[0], row[1], row[2], 255], 4 * (j * size + i));
      }
    }
    c.putImageData(image, Math.round((cx - radius) * ratio), Math.round((cy - radius) * ratio));
  }
}

function grids(cx, cy, radius, disc) {
  const rings = [30, 60].map((lean) => s("circle", { class: "dip-grid", cx, cy, r: RIM * Math.sin((lean * Math.PI) / 360) * radius }));
  const names = [["x", 1, 0], ["y", 0, 1], ["−x", -1, 0], ["−y", 0, -1]]; // prettier-ignore
  return s(
    "g",
    {},
    rings,
    s("path", { class: "dip-grid", d: `M${cx - radius} ${cy}H${cx + radius}M${cx} ${cy - radius}V${cy + radius}` }),
    s("circle", { class: "dip-rim", cx, cy, r: radius }),
    names.map(([text, x, y]) => s("text", { class: "dip-axis", x: cx + x * (radius + 12), y: cy - y * (radius + 12) + 4, "text-anchor": "middle" }, text)),
    s("text", { class: "axis-name", x: cx, y: cy - radius - 24, "text-anchor": "middle" }, disc === 0 ? "part’s z up" : "part’s z down"),
  );
}

const flag = ([x, y], n, text) => s("g", { class: "dip-best" }, s("title", {}, text), s("circle", { cx: x, cy: y, r: 9 }), s("text", { x, y: y + 4.5, "text-anchor": "middle" }, String(n)));

function ruleMarks(x0, y, w, most, rows, title) {
  const n = 120;
  const x = (v) => x0 + shareOf(v, most) * w;
  let last = -99;
  return [
    s("text", { class: "rule-name", x: x0, y: y - 6 }, `${title}, mL`),
    Array.from({ length: n }, (_, i) => s("rect", { x: x0 + (i * w) / n, y, width: w / n + 0.6, height: 13, fill: colourAt(rows, (i + 0.5) / n) })),
    s("path", { class: "rule-frame", d: `M${x0} ${y}h${w}v13h${-w}Z` }),
    ROUND.filter((v) => v <= most * 0.985).map((v) => {
      const room = x(v) - last > 30 && x(v) < x0 + w - 44;
      if (room) last = x(v);
      return [s("path", { class: "rule-tick", d: `M${x(v)} ${y + 13}v6` }), room ? s("text", { class: "rule-figure", x: x(v), y: y + 33, "text-anchor": "middle" }, num(v, 3)) : null];
    }),
    s("path", { class: "rule-tick", d: `M${x0 + w} ${y + 13}v6` }),
    s("text", { class: "rule-figure", x: x0 + w, y: y + 33, "text-anchor": "end" }, `most ${num(most, 3)}`),
  ];
}
