// The rack in its tank as a drawing: from the front and from above, to one scale, with the measures that are stated.

import { s } from "../dom.js";
import { fixed } from "../words.js";
import { fitted } from "./chart.js";

const HEAD = 8;

/** `v`: values of the stage; `boxes`: [[low, high], ...] of the parts; `bodies` as they are stated. */
export function rackDrawing(v, boxes, bodies) {
  return fitted((width) => draw(width, v, boxes, bodies), { className: "plot rack-plot" });
}

function draw(width, v, boxes, bodies) {
  const [low, high] = v.bath;
  const size = high.map((x, k) => x - low[k]);
  const pad = { left: 54, right: 98, top: 30, mid: 84, foot: 40 };
  const wide = width > 820; // side by side where there is room
  const scale = wide ? Math.min((width - 2 * pad.left - 2 * pad.right) / 2 / size[0], 300 / Math.max(size[1], size[2])) : Math.min((width - pad.left - pad.right) / size[0], 320 / size[2]);
  const w = size[0] * scale;
  const front = { x0: pad.left, y0: pad.top, axes: [0, 2] };
  const above = wide ? { x0: width / 2 + pad.left, y0: pad.top, axes: [0, 1] } : { x0: pad.left, y0: pad.top + size[2] * scale + pad.mid, axes: [0, 1] };
  const height = wide ? pad.top + Math.max(size[1], size[2]) * scale + pad.mid : above.y0 + size[1] * scale + pad.mid;
  const at = (view, q) => [view.x0 + (q[view.axes[0]] - low[view.axes[0]]) * scale, view.y0 + (high[view.axes[1]] - q[view.axes[1]]) * scale];
  const box = (view, [a, b], kind) => {
    const [x0, y1] = at(view, a);
    const [x1, y0] = at(view, b);
    return s("rect", { class: kind, x: x0, y: y0, width: Math.max(x1 - x0, 1.2), height: Math.max(y1 - y0, 1.2) });
  };
  const solid = bodies.map((b) => [b.role, [b.at.map((c, k) => c - b.size[k] / 2), b.at.map((c, k) => c + b.size[k] / 2)]]);
  const view = (one, name) => [
    box(one, v.bath, "tank-wall"),
    v.anodes.map((a) => box(one, a, "rack-anode")),
    solid.map(([role, b]) => box(one, b, `rack-body ${role}`)),
    boxes.map((b) => box(one, b, "rack-part")),
    one.axes[1] === 2 ? s("path", { class: "tank-level", d: `M${one.x0} ${one.y0}h${w}m-26 -2l-6 -9h12Z` }) : null,
    s("text", { class: "axis-name", x: one.x0, y: one.y0 - 14 }, name),
  ];
  const first = boxes[0];
  const face = v.anodes.reduce((best, a) => (a[0][1] > 0 && a[0][1] < best ? a[0][1] : best), Infinity);
  const dims = [];
  const right = boxes.find((b) => b[0][0] > first[1][0] - 1e-6 && Math.abs(b[0][2] - first[0][2]) < 1);
  const under = boxes.find((b) => b[1][2] < first[0][2] + 1e-6 && Math.abs(b[0][0] - first[0][0]) < 1);
  const foot = front.y0 + size[2] * scale;
  dims.push(level(at(front, low)[0], at(front, high)[0], foot + 46, size[0]));
  dims.push(upright(front.x0 + w + 58, front.y0, foot, size[2]));
  if (right) dims.push(level(at(front, first[1])[0], at(front, right[0])[0], foot + 14, right[0][0] - first[1][0]));
  if (under) dims.push(upright(front.x0 + w + 12, at(front, first[0])[1], at(front, under[1])[1], first[0][2] - under[1][2]));
  if (Number.isFinite(face)) dims.push(upright(above.x0 + w + 12, at(above, [0, face, 0])[1], at(above, [0, 0, 0])[1], face));
  dims.push(upright(above.x0 + w + 48, above.y0, above.y0 + size[1] * scale, size[1]));
  const middle = at(above, [0, 0, 0])[1];
  return s(
    "svg",
    { class: "drawing rack-drawing", viewBox: `0 0 ${width} ${height}`, height, role: "img", "aria-label": `The rack in its bath of ${fixed(size[0], 0)} by ${fixed(size[1], 0)} by ${fixed(size[2], 0)} mm, from the front and from above` },
    view(front, "from the front"),
    view(above, "from above, front anodes at the top"),
    s("path", { class: "rack-bar", d: `M${above.x0} ${middle}h${w}` }),
    dims,
  );
}

const arrow = (x, y, dx, dy) => s("path", { class: "dim-head", d: `M${x} ${y}l${-dx * HEAD - dy * 1.7} ${-dy * HEAD + dx * 1.7}l${dy * 3.4} ${-dx * 3.4}Z` });

export function level(x0, x1, y, mm) {
  const tight = x1 - x0 < 44;
  return s("g", { class: "dimension" }, s("path", { class: "dim-line", d: `M${x0} ${y - 6}V${y + 4}M${x1} ${y - 6}V${y + 4}M${tight ? x0 - 16 : x0} ${y}H${tight ? x1 + 16 : x1}` }), arrow(x0, y, tight ? 1 : -1, 0), arrow(x1, y, tight ? -1 : 1, 0), s("text", { x: tight ? x1 + 20 : (x0 + x1) / 2, y: tight ? y + 4 : y - 4, "text-anchor": tight ? "start" : "middle" }, fixed(mm, 0)));
}

export function upright(x, y0, y1, mm) {
  const tight = y1 - y0 < 40;
  const m = tight ? y1 + 20 : (y0 + y1) / 2;
  return s("g", { class: "dimension" }, s("path", { class: "dim-line", d: `M${x - 6} ${y0}H${x + 4}M${x - 6} ${y1}H${x + 4}M${x} ${tight ? y0 - 14 : y0}V${tight ? y1 + 14 : y1}` }), arrow(x, y0, 0, tight ? 1 : -1), arrow(x, y1, 0, tight ? -1 : 1), s("text", { x: x + 6, y: m + 4 }, fixed(mm, 0)));
}
