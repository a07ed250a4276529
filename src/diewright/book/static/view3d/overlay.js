// What is written over a view: flags with leader lines, contour figures, scale bar, press direction, marks.

import { s, put } from "../dom.js";
import { num } from "../words.js";

const CLEAR = 10;

/** Lay flags out beside their places: pushed outward from the middle, kept inside, kept apart. */
function layout(flags, view, taken) {
  const boxes = [];
  const middle = view.project(view.centre);
  for (const flag of flags) {
    const [x, y] = view.project(flag.place);
    if (x < -20 || y < -20 || x > view.width + 20 || y > view.height + 20) continue;
    const w = 7.3 * Math.max(flag.text.length, (flag.name ?? "").length * 0.92) + 8;
    const t = flag.name ? 34 : 20;
    const away = x >= middle[0] ? 1 : -1;
    const up = y >= middle[1] + view.height * 0.08 ? 1 : -1;
    const box = { flag, x, y, w, t, left: away > 0 ? x + 34 : x - 34 - w, top: y + up * 48 - t / 2 };
    box.left = Math.min(Math.max(box.left, CLEAR), view.width - w - CLEAR);
    box.top = Math.min(Math.max(box.top, 34), view.height - t - 44);
    const hit = () => [...boxes, ...taken].find((o) => box.left < o.left + o.w && o.left < box.left + w && box.top < o.top + o.t + 4 && o.top < box.top + t + 4);
    for (let tries = 0, other; tries < 8 && (other = hit()); tries++) {
      box.top = up > 0 ? other.top + other.t + 6 : other.top - t - 6;
      if (box.top < 30 || box.top > view.height - t - 40) {
        box.top = Math.min(Math.max(box.top, 30), view.height - t - 40);
        box.left += away * -40;
      }
    }
    boxes.push(box);
  }
  return boxes;
}

function flagMarks({ flag, x, y, w, t, left, top }) {
  const right = left + w;
  const near = x < left ? left - 4 : x > right ? right + 4 : x;
  const shoulder = top + t - 5;
  const below = y > top + t;
  const knee = x < left ? left : x > right ? right : x;
  return s(
    "g",
    { class: `flag ${flag.kind ?? ""}` },
    s("path", { class: "leader", d: `M${x} ${y}L${near === x ? knee : near} ${near === x ? (below ? top + t : top) : shoulder}${near === x ? "" : `L${x < left ? right : left} ${shoulder}`}` }),
    s("circle", { class: "spot", cx: x, cy: y, r: 3.2 }),
    flag.name ? s("text", { class: "flag-name", x: left + 3, y: top + 10 }, flag.name) : null,
    s("text", { class: "flag-text", x: left + 3, y: top + t - 9 }, flag.text),
  );
}

function scaleBar(view) {
  const wanted = 110 / view.scale;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const length = [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
  const w = length * view.scale;
  const y = view.height - 16;
  return s(
    "g",
    { class: "scale-bar" },
    s("path", { d: `M14 ${y - 7}V${y}H${14 + w}V${y - 7}M${14 + w / 2} ${y - 4}V${y}` }),
    s("text", { x: 14 + w + 7, y: y + 1 }, `${num(length, 2)} mm`),
  );
}

function pressArrow(view) {
  const { right, up, out } = view.basis;
  const [dx, dy, dz] = [-right[2], up[2], -out[2]]; // of the punch's travel, -z; y of the screen points down
  const x = view.width - 34;
  const y = view.height - 62;
  const g = s("g", { class: "press-arrow" });
  const length = Math.hypot(dx, dy);
  if (length > 0.18) {
    const [ux, uy] = [dx / length, dy / length];
    const half = 17 * length;
    const [hx, hy] = [x + ux * half, y + uy * half];
    g.append(
      s("path", { class: "shaft", d: `M${x - ux * half} ${y - uy * half}L${hx - ux * 8} ${hy - uy * 8}` }),
      s("path", { class: "head", d: `M${hx} ${hy}L${hx - ux * 11 - uy * 4.2} ${hy - uy * 11 + ux * 4.2}L${hx - ux * 11 + uy * 4.2} ${hy - uy * 11 - ux * 4.2}Z` }),
    );
  } else {
    g.append(s("circle", { class: "shaft", cx: x, cy: y, r: 8 }));
    g.append(dz < 0 ? s("path", { class: "shaft", d: `M${x - 5.6} ${y - 5.6}L${x + 5.6} ${y + 5.6}M${x + 5.6} ${y - 5.6}L${x - 5.6} ${y + 5.6}` }) : s("circle", { class: "head", cx: x, cy: y, r: 2.6 }));
  }
  g.append(s("text", { x: view.width - 12, y: view.height - 15, "text-anchor": "end" }, "press direction"));
  return g;
}

/** Draw everything of one pane anew. */
export function draw(svg, view, { flags = [], contours = [], ring = null, arrow = true, cross = false }) {
  svg.setAttribute("viewBox", `0 0 ${view.width} ${view.height}`);
  const taken = [
    { left: 0, top: view.height - 34, w: 190, t: 34 },
    { left: view.width - 110, top: view.height - 84, w: 110, t: 84 },
  ];
  const boxes = layout(flags, view, taken);
  const blocked = [...boxes, ...taken];
  const figures = contours
    .filter((c) => c.visible !== false)
    .map((c) => ({ ...c, at: view.project(c.place) }))
    .filter(({ at: [x, y] }) => x > 20 && y > 20 && x < view.width - 20 && y < view.height - 20 && !blocked.some((o) => x > o.left - 18 && x < o.left + o.w + 18 && y > o.top - 8 && y < o.top + o.t + 8));
  const apart = [];
  for (const f of figures) if (apart.every((g) => Math.hypot(g.at[0] - f.at[0], g.at[1] - f.at[1]) > 44)) apart.push(f);
  put(
    svg,
    apart.map((f) => s("text", { class: "contour", x: f.at[0], y: f.at[1] + 4, "text-anchor": "middle" }, num(f.level, 4))),
    boxes.map(flagMarks),
    ring ? ringMark(view, ring) : null,
    cross ? s("path", { class: "cross", d: `M${view.width / 2 - 9} ${view.height / 2}h18M${view.width / 2} ${view.height / 2 - 9}v18` }) : null,
    scaleBar(view),
    arrow ? pressArrow(view) : null,
  );
}

function ringMark(view, place) {
  const [x, y] = view.project(place);
  return s("g", { class: "ring" }, s("circle", { class: "ring-halo", cx: x, cy: y, r: 10 }), s("circle", { cx: x, cy: y, r: 10 }));
}

/** Paint an overlay on a 2-D canvas as it looks on the page (for saved pictures and print). */
export function paint(svg, context) {
  for (const node of svg.querySelectorAll("path, circle, line, rect, text")) {
    const style = getComputedStyle(node);
    if (style.display === "none") continue;
    const fill = style.fill;
    const stroke = style.stroke;
    const g = (name) => Number(node.getAttribute(name) ?? 0);
    context.lineWidth = parseFloat(style.strokeWidth) || 1;
    context.lineJoin = "round";
    context.setLineDash(style.strokeDasharray === "none" ? [] : style.strokeDasharray.split(/[ ,]+/).map(parseFloat));
    if (node.tagName === "text") {
      context.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      context.textAlign = { middle: "center", end: "right" }[node.getAttribute("text-anchor")] ?? "left";
      if (stroke !== "none") {
        context.strokeStyle = stroke;
        context.strokeText(node.textContent, g("x"), g("y"));
      }
      context.fillStyle = fill;
      context.fillText(node.textContent, g("x"), g("y"));
      continue;
    }
    const path = new Path2D(node.tagName === "path" ? node.getAttribute("d") : undefined);
    if (node.tagName === "circle") path.arc(g("cx"), g("cy"), g("r"), 0, 7);
    if (node.tagName === "rect") path.rect(g("x"), g("y"), g("width"), g("height"));
    if (node.tagName === "line") {
      path.moveTo(g("x1"), g("y1"));
      path.lineTo(g("x2"), g("y2"));
    }
    if (fill !== "none") {
      context.fillStyle = fill;
      context.fill(path);
    }
    if (stroke !== "none") {
      context.strokeStyle = stroke;
      context.stroke(path);
    }
  }
}
