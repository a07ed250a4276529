// The rack from the front, as one sees it from the anodes: bars, hooks, parts in outline, level and bottom of the bath, to scale.

import { s, uid } from "../dom.js";
import { fixed } from "../words.js";
import { fitted } from "./chart.js";
import { level, upright } from "./rack_drawing.js";

const PAD = { left: 66, right: 74, top: 40, foot: 66 };

/** `v`: values; `t`: tables; `lines`: segments (6k) of the part in press coordinates; `contacts`: [[x, y, z]]; `stated`: [finish]. */
export const rackFront = (v, t, lines, contacts, stated) => fitted((width) => draw(width, v, t, lines, contacts, stated), { className: "plot rack-plot" });

/** A place of the part as it is seen from the anodes: to the right and up [mm]. Across the rack runs to the left of who looks from there. */
export function seen({ facing: f, up: u }) {
  const across = [f[1] * u[2] - f[2] * u[1], f[2] * u[0] - f[0] * u[2], f[0] * u[1] - f[1] * u[0]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  return (p) => [-dot(p, across), dot(p, u)];
}

function draw(width, v, t, lines, contacts, stated) {
  const r = v.rack;
  const [wide, , tall] = r.size;
  const turn = seen(r);
  const flat = [];
  for (let i = 0; i < lines.length; i += 3) flat.push(turn([lines[i], lines[i + 1], lines[i + 2]]));
  const [cx, cy] = [0, 1].map((k) => flat.reduce(([lo, hi], p) => [Math.min(lo, p[k]), Math.max(hi, p[k])], [Infinity, -Infinity])).map(([lo, hi]) => (lo + hi) / 2);
  const across = t.rack.across_mm;
  const down = t.rack.down_mm;
  const span = Math.max(stated.rack_width, Math.max(...across) - Math.min(...across) + wide);
  const depth = Math.max(stated.rack_height, Math.max(...down) + tall / 2);
  const [top, bottom] = [-stated.cover_mm, stated.tank_depth - stated.cover_mm];
  const low = Math.min(Math.max(depth, r.immersed_mm - stated.cover_mm) + 60, Math.max(bottom, depth + 60));
  const head = top - 0.12 * (low - top); // the bar on which the rack hangs stands over the bath
  const scale = Math.min((width - PAD.left - PAD.right) / span, 460 / (low - head));
  const [x0, y0] = [PAD.left + (width - PAD.left - PAD.right) / 2, PAD.top - head * scale];
  const X = (mm) => x0 + mm * scale;
  const Y = (mm) => y0 + mm * scale;
  const height = Y(low) + PAD.foot;
  const part = flat.reduce((d, p, i) => `${d}${i % 2 ? "L" : "M"}${((p[0] - cx) * scale).toFixed(1)} ${((cy - p[1]) * scale).toFixed(1)}`, "");
  const id = uid("rack-part"); // one outline for all: a full rack of a fine part is many lines
  const hooks = contacts.map((c) => turn(c)).map(([a, b]) => [(a - cx) * scale, (cy - b) * scale]);
  const rows = [...new Set(down)];
  const columns = [...new Set(across)].sort((a, b) => a - b);
  const bar = (row) => Y(row - tall / 2) - Math.min(16, 0.4 * stated.spacing * scale + 4);
  const ends = [Math.min(...columns) - wide / 2, Math.max(...columns) + wide / 2];
  const foot = Y(low);
  const dims = [level(X(-stated.rack_width / 2), X(stated.rack_width / 2), foot + 46, stated.rack_width)];
  if (columns.length > 1) dims.push(level(X(columns[0] + wide / 2), X(columns[1] - wide / 2), Y(rows.at(-1) + tall / 2) + 20, columns[1] - columns[0] - wide));
  if (rows.length > 1) dims.push(upright(X(ends[1]) + 14, Y(rows[0] + tall / 2), Y(rows[1] - tall / 2), rows[1] - rows[0] - tall));
  dims.push(level(X(columns[0] - wide / 2), X(columns[0] + wide / 2), Y(rows.at(-1) + tall / 2) + (columns.length > 1 ? 46 : 24), wide));
  dims.push(upright(X(Math.max(stated.rack_width / 2, ends[1])) + 26, Y(top), Y(r.immersed_mm - stated.cover_mm), r.immersed_mm));
  dims.push(upright(X(ends[1]) + (rows.length > 1 ? 50 : 14), Y(rows[0] - tall / 2), Y(rows[0] + tall / 2), tall));
  return s(
    "svg",
    { class: "drawing rack-drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `The rack from the anodes: ${r.columns} by ${r.rows} parts, ${r.contacts} contacts each, ${fixed(r.immersed_mm, 0)} mm deep in the bath` },
    s("defs", {}, s("path", { id, class: "rack-outline", d: part })),
    s("rect", { class: "rack-room", x: X(-stated.rack_width / 2), y: Y(0), width: stated.rack_width * scale, height: stated.rack_height * scale }),
    s("path", { class: "rack-spine", d: `M${X(ends[0]) - 8} ${Y(head)}H${X(ends[1]) + 8}M${X(0)} ${Y(head)}V${bar(rows.at(-1))}` }),
    rows.map((row) => s("path", { class: "rack-cross", d: `M${X(ends[0])} ${bar(row)}H${X(ends[1])}` })),
    down.map((row, k) => {
      const [px, py] = [X(-across[k]), Y(row)];
      return s("g", { class: "rack-one", transform: `translate(${px} ${py})` }, s("rect", { class: "rack-part-box", x: (-wide / 2) * scale, y: (-tall / 2) * scale, width: wide * scale, height: tall * scale }), s("use", { href: `#${id}` }),
        hooks.map(([a, b]) => [s("path", { class: "rack-hook", d: `M${a} ${bar(row) - py}V${b}` }), s("circle", { class: "rack-contact", cx: a, cy: b, r: 3 })]));
    }),
    s("path", { class: "tank-level", d: `M${PAD.left - 22} ${Y(top)}H${width - 20}M${PAD.left - 20} ${Y(top) - 2}l-6 -9h12Z` }),
    s("text", { class: "axis-name", x: PAD.left - 6, y: Y(top) - 6 }, "level of the bath"),
    bottom <= low ? [s("path", { class: "tank-wall", d: `M${PAD.left - 22} ${Y(bottom)}H${width - 20}` }), s("text", { class: "axis-name", x: PAD.left - 22, y: Y(bottom) + 15 }, "bottom of the tank")] : null,
    s("text", { class: "axis-name", x: X(-stated.rack_width / 2) + 6, y: Y(Math.min(stated.rack_height, low)) - 7 }, "room for parts"),
    s("text", { class: "axis-name", x: 8, y: 20 }, "from the anodes, mm"),
    dims,
  ); // prettier-ignore
}
