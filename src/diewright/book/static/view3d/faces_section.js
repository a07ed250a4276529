// The section through the working faces as a drawing: die, punch and blankholder closed on the sheet, with the dimensions a toolmaker asks for.

import { h, s } from "../dom.js";
import { fixed, num } from "../words.js";
import { LineCut, crossingsOf, gapsOf, radiiOf, sheetOn } from "./line_cut.js";
import { PressSection, SOLID, bar, ticks, toolName } from "./press_section.js";
import { dimension } from "./section.js";

const MARGIN = 58;

export class FacesSection extends PressSection {
  /** `tools` as {name, points, triangles}, `before` those of the revision they were moved from; `lines`: {opening (2k), trim (3k)} typed arrays or null; `t` thickness, `widest` gap of the punch in which the sheet lies [mm]. */
  set(tools, before, lines, t, widest) {
    [this.cutters, this.earlier] = [tools, before].map((list) => list.map((one) => new LineCut(one.name, one.points, one.triangles)));
    Object.assign(this, { lines, t, limit: 1.005 * widest + 0.003, zoom: 1, middle: null });
  }

  /** Everything the plane meets at a line through `point` at `angle` degrees. */
  meet(angle, point) {
    const [c, q] = [Math.cos((angle * Math.PI) / 180), Math.sin((angle * Math.PI) / 180)];
    const offset = c * point[1] - q * point[0];
    const tools = this.cutters.map((one) => one.at(angle, offset));
    const die = tools.find((one) => one.name === "die");
    const others = tools.filter((one) => one !== die && one.name !== "pad");
    const punch = tools.find((one) => one.name === "punch");
    return {
      tools,
      before: this.earlier.map((one) => one.at(angle, offset)),
      sheet: die ? sheetOn(die, others, this.t) : [],
      gaps: die && punch ? gapsOf(punch, die, this.limit) : null,
      // radii that the sheet bends round: their centre lies in the metal
      radii: [die, punch].filter(Boolean).flatMap((one) => one.chains.flatMap((chain, n) => radiiOf(chain, this.t).filter((r) => r.left === one.metal[n] > 0).map((r) => ({ ...r, tool: one.name })))),
      opening: this.lines.opening ? crossingsOf(this.lines.opening, 2, angle, offset).map((v) => v[0]) : [],
      trim: this.lines.trim ? crossingsOf(this.lines.trim, 3, angle, offset) : [],
      depth: die && punch ? depthOf(die, punch, this.t) : null,
    };
  }

  /** The drawing of what `meet` gave, `width` pixels wide. */
  drawing(met, width, where, redraw) {
    const all = met.tools.flatMap((one) => one.chains.flat());
    if (!all.length) return [h("p", { class: "quiet" }, "The line passes beside all faces.")];
    const box = boxOf(all);
    const height = Math.round(Math.min(440, Math.max(250, (width * (box.y1 - box.y0)) / Math.max(box.x1 - box.x0, 1e-6) + 2 * MARGIN)));
    const k = Math.min((width - 130) / Math.max(box.x1 - box.x0, 1e-6), (height - 2 * MARGIN) / Math.max(box.y1 - box.y0, 1e-6)) * this.zoom;
    if (this.zoom === 1 || !this.middle) this.middle = [(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2];
    const x = (v) => width / 2 - 18 + (v - this.middle[0]) * k;
    const y = (v) => height / 2 - 12 - (v - this.middle[1]) * k;
    const p = (q) => `${x(q[0]).toFixed(1)} ${y(q[1]).toFixed(1)}`;
    const seen = (q) => x(q[0]) > 8 && x(q[0]) < width - 8 && y(q[1]) > 8 && y(q[1]) < height - 30;
    const names = met.tools.map((one) => (one.chains.length ? toolName(one, x, y, width) : null)).filter(Boolean);
    const notes = new Notes(width, height, names, met.tools.flatMap((one) => one.chains.map((c) => c.map((q) => [x(q[0]), y(q[1])]))));
    if (this.zoom === 1) notes.boxes.push({ x: x(box.x1) + 6, y: 0, w: 64, t: height }); // the depth is dimensioned there
    const svg = s(
      "svg",
      { class: "drawing press-section faces-section", viewBox: `0 0 ${width} ${height}`, height, role: "img", tabindex: "0", "aria-label": `${where}. ${this.said(met)} Plus and minus come closer and go back, arrow keys move, 0 shows the whole section.` },
      s("defs", {}, s("pattern", { id: "faces-hatch", width: 4.5, height: 4.5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "hatch-line", d: "M0 0V4.5" }))),
      met.before.map((one) => one.chains.map((c) => s("path", { class: "tool-before", d: `M${c.map(p).join("L")}` }))),
      met.tools.map((one) => [
        one.chains.map((c) => s("path", { class: "tool-metal", d: `M${c.map(p).join("L")}`, fill: "none" })),
        one.chains.map((c, n) => ticks(c, x, y, one.metal[n])),
      ]),
      met.sheet.map((band) => sheetBand(band, p, this.t * k)),
      met.trim.filter(seen).map((q) => trimMark(q, x, y, notes)),
      met.radii.filter((r) => seen(r.at) && r.radius * k > 9).map((r) => radiusMark(r, x, y, notes)),
      met.gaps ? [gapMark(met.gaps.most, "largest gap", x, y, notes, seen), met.gaps.most.d - met.gaps.least.d > 5e-3 ? gapMark(met.gaps.least, "least gap", x, y, notes, seen) : null] : null,
      names,
      this.zoom === 1 ? this.overall(met, box, x, y, width, height) : null,
      bar(k),
    );
    this.hands(svg, redraw, k, width, height);
    const again = (f) => () => {
      this.zoom = f ? Math.min(60, Math.max(1, this.zoom * f)) : 1;
      redraw();
    };
    const tightest = met.radii.filter((r) => r.tool === "die").sort((a, b) => a.radius - b.radius)[0];
    const near = () => {
      this.zoom = Math.max(1.6, Math.min(60, (0.28 * height * this.zoom) / Math.max(tightest.radius * k, 1e-6)));
      this.middle = [...tightest.at];
      redraw();
    };
    return [
      svg,
      h(
        "p",
        { class: "section-words" },
        h("button", { type: "button", class: "word", onclick: again(1.6) }, "Closer"),
        h("button", { type: "button", class: "word", disabled: this.zoom <= 1, onclick: again(1 / 1.6) }, "Further off"),
        h("button", { type: "button", class: "word", disabled: this.zoom <= 1, onclick: again(0) }, "Whole section"),
        tightest ? h("button", { type: "button", class: "word", onclick: near }, "Tightest radius of the die") : null,
        h("span", { class: "quiet" }, `${where}, closed. Length, height and sheet thickness to one scale; dimensions in mm, in the plane of the section.${met.before.length ? " Dashed: the nominal faces." : ""}`),
      ),
    ];
  }

  /** What the section shows, in words. */
  said(met) {
    const parts = [];
    if (met.depth) parts.push(`depth ${fixed(met.depth.mm, 2)} mm`);
    if (met.gaps) parts.push(`gap between punch and die ${fixed(met.gaps.least.d, 2)} to ${fixed(met.gaps.most.d, 2)} mm`);
    for (const tool of ["die", "punch"]) {
      const found = met.radii.filter((r) => r.tool === tool).map((r) => r.radius);
      if (found.length) parts.push(`tightest radius of the ${tool} ${num(Math.min(...found), 3)} mm`);
    }
    if (met.opening.length > 1) parts.push(`punch opening ${fixed(met.opening.at(-1) - met.opening[0], 1)} mm`);
    const text = parts.join(", ");
    return text ? `${text.charAt(0).toUpperCase()}${text.slice(1)}.` : "";
  }

  overall(met, box, x, y, width, height) {
    const out = [];
    const low = y(box.y0);
    if (met.opening.length > 1) {
      const [a, b] = [met.opening[0], met.opening.at(-1)];
      out.push(dimension([x(a), height - 16], [x(b), height - 16], fixed(b - a, 1), [low + 12, "v"]));
    }
    if (met.depth && met.depth.mm > 0.5) {
      const right = Math.min(x(box.x1) + 26, width - 14);
      out.push(dimension([right, y(met.depth.bottom)], [right, y(met.depth.top)], fixed(met.depth.mm, 2), [x(box.x1) + 6, "h"]));
    }
    return out;
  }
}

const boxOf = (all) => all.reduce((b, q) => ({ x0: Math.min(b.x0, q[0]), x1: Math.max(b.x1, q[0]), y0: Math.min(b.y0, q[1]), y1: Math.max(b.y1, q[1]) }), { x0: Infinity, x1: -Infinity, y0: Infinity, y1: -Infinity });

/** From the die's highest place to the sheet's lower side under the punch, in this section. */
function depthOf(die, punch, t) {
  const top = Math.max(...die.chains.flat().map((q) => q[1]));
  const bottom = Math.min(...punch.chains.flat().map((q) => q[1])) - t;
  return Number.isFinite(top) && Number.isFinite(bottom) && top > bottom ? { top, bottom, mm: top - bottom } : null;
}

function sheetBand({ lower, upper }, p, thick) {
  const d = `M${lower.map(p).join("L")}L${[...upper].reverse().map(p).join("L")}Z`;
  if (thick < SOLID) return s("path", { class: "sheet-solid", d });
  return [s("path", { class: "sheet-paper", d }), s("path", { class: "sheet-hatch", d, fill: "url(#faces-hatch)" })];
}

/** Places for what is written at the section: nothing covers another, nor a line of the drawing. */
class Notes {
  constructor(width, height, names, lines) {
    Object.assign(this, { width, height, boxes: [{ x: 0, y: 0, w: 170, t: 26 }] });
    for (const one of names) this.boxes.push({ x: Number(one.getAttribute("x")) - 4 * one.textContent.length, y: Number(one.getAttribute("y")) - 13, w: 8 * one.textContent.length, t: 17 });
    this.dots = lines.flatMap((line) => line.slice(1).flatMap((b, i) => between(line[i], b))).filter(([px, py]) => px > 0 && px < width && py > 0 && py < height);
  }

  /** A free place for `w` x 16 pixels round (x, y), trying the directions in order: [dx, dy] in pixels, or null. */
  free(x, y, w, ways) {
    for (const reach of [22, 34, 48, 64, 84, 110]) {
      for (const [ux, uy] of ways) {
        const [px, py] = [x + ux * reach, y + uy * reach];
        const box = { x: ux < 0 ? px - w : px, y: py - 8, w, t: 16 };
        if (box.x < 2 || box.x + box.w > this.width - 2 || box.y < 2 || box.y + box.t > this.height - 32) continue;
        if (this.boxes.some((o) => box.x < o.x + o.w + 4 && o.x < box.x + box.w + 4 && box.y < o.y + o.t + 2 && o.y < box.y + box.t + 2)) continue;
        if (this.dots.some(([dx, dy]) => dx > box.x - 2 && dx < box.x + box.w + 2 && dy > box.y - 1 && dy < box.y + box.t + 1)) continue;
        this.boxes.push(box);
        return { px, py, end: ux < 0 };
      }
    }
    return null;
  }
}

/** Points along a line on the paper, 8 pixels apart. */
function between(a, b) {
  const n = Math.min(400, Math.max(1, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / 8)));
  return Array.from({ length: n }, (_, i) => [a[0] + ((b[0] - a[0]) * i) / n, a[1] + ((b[1] - a[1]) * i) / n]);
}

function note(x, y, text, ways, notes, className) {
  const spot = notes.free(x, y, text.length * 7.6 + 4, ways);
  if (!spot) return null;
  const shift = spot.end ? -3 : 3;
  return s(
    "g",
    { class: `section-note ${className}` },
    s("path", { class: "dim-line", d: `M${x.toFixed(1)} ${y.toFixed(1)}L${spot.px.toFixed(1)} ${spot.py.toFixed(1)}` }),
    s("text", { x: spot.px + shift, y: spot.py + 4.5, "text-anchor": spot.end ? "end" : "start" }, text),
  );
}

/** The arrow of a radius comes from its own centre's side, or from outside where there is no room. */
function radiusMark(r, x, y, notes) {
  const [px, py] = [x(r.at[0]), y(r.at[1])];
  const [dx, dy] = [px - x(r.centre[0]), py - y(r.centre[1])];
  const l = Math.hypot(dx, dy) || 1;
  const out = [dx / l, dy / l];
  const level = out[0] < 0 ? -1 : 1;
  const mark = note(px, py, `R ${num(r.radius, 3)}`, [[-out[0], -out[1]], out, [level * 0.9, 0.45], [level * 0.9, -0.45], [-level * 0.9, 0.45], [-level * 0.9, -0.45]], notes, "radius-note");
  return mark ? [mark, s("path", { class: "radius-arc", d: arc(r, x, y) })] : null;
}

/** The fitted circle over its bend, drawn in the accent so that one sees what was measured. */
function arc(r, x, y) {
  const at = Math.atan2(r.at[1] - r.centre[1], r.at[0] - r.centre[0]);
  const half = Math.min(r.turn / 2, 1.4);
  const q = Array.from({ length: 13 }, (_, i) => at - half + (half * i) / 6).map((a) => [r.centre[0] + r.radius * Math.cos(a), r.centre[1] + r.radius * Math.sin(a)]);
  return `M${q.map((v) => `${x(v[0]).toFixed(1)} ${y(v[1]).toFixed(1)}`).join("L")}`;
}

function gapMark(gap, word, x, y, notes, seen) {
  const middle = [(gap.from[0] + gap.to[0]) / 2, (gap.from[1] + gap.to[1]) / 2];
  if (!seen(middle)) return null;
  const [px, py] = [x(middle[0]), y(middle[1])];
  const side = px < notes.width / 2 ? 1 : -1;
  const mark = note(px, py, `${word} ${fixed(gap.d, 2)}`, [[side * 0.85, -0.55], [side * 0.5, -0.9], [side * 0.98, -0.2], [-side * 0.85, -0.55], [side * 0.85, 0.6], [-side * 0.85, 0.6], [-side, -0.1]], notes, "gap-note");
  return mark ? [s("path", { class: "gap-line", d: `M${x(gap.from[0])} ${y(gap.from[1])}L${x(gap.to[0])} ${y(gap.to[1])}` }), mark] : null;
}

function trimMark(q, x, y, notes) {
  const [px, py] = [x(q[0]), y(q[1])];
  return [s("path", { class: "trim-tick", d: `M${px} ${py - 9}V${py + 9}` }), note(px, py - 8, "part's edge", [[-0.5, -0.9], [0.5, -0.9], [-0.9, -0.5], [0.9, -0.5]], notes, "trim-note")];
}
