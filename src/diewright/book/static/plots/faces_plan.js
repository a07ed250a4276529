// Die, punch opening, part's edge and blank from above, with the line of the section: drag it, turn it, or move it by keys.

import { h, s, put } from "../dom.js";
import { fixed, num } from "../words.js";

const HALF_TURN = 180;

/** Keep an angle of a line from 0 up to 180 degrees. */
export const lineAngle = (a) => ((a % HALF_TURN) + HALF_TURN) % HALF_TURN;

export class FacesPlan {
  /** `moved({angle, point})` is called for each change by hand. */
  constructor(moved) {
    this.moved = moved;
    this.root = h("div", { class: "plot faces-plan" });
    this.place = { angle: 0, point: [0, 0] };
    new ResizeObserver(([entry]) => {
      const width = Math.floor(entry.contentRect.width);
      if (width > 40 && width !== this.width) {
        this.width = width;
        this.draw();
      }
    }).observe(this.root);
  }

  /** `rings`: [{name, points (flat), size, kind}]; `box`: [[x0, y0], [x1, y1]] of the die; `marks`: [{x, y, kind, text}] of pins and vents. */
  set(rings, box, marks = []) {
    Object.assign(this, { rings, box, marks });
    this.draw();
  }

  /** Show a line without telling anyone. */
  show(place) {
    this.place = place;
    this.line?.();
  }

  draw() {
    if (!this.width || !this.box) return;
    const { width, box } = this;
    const [w, t] = [box[1][0] - box[0][0], box[1][1] - box[0][1]];
    const k = Math.min((width - 20) / w, 300 / t);
    const height = Math.round(t * k + 24);
    const centre = [(box[0][0] + box[1][0]) / 2, (box[0][1] + box[1][1]) / 2];
    const x = (v) => width / 2 + (v - centre[0]) * k;
    const y = (v) => height / 2 - (v - centre[1]) * k;
    const back = (px, py) => [centre[0] + (px - width / 2) / k, centre[1] - (py - height / 2) / k];
    const ring = ({ points, size, kind }) => {
      const q = Array.from({ length: points.length / size }, (_, i) => `${x(points[size * i]).toFixed(1)} ${y(points[size * i + 1]).toFixed(1)}`);
      return s("path", { class: `plan-line ${kind}`, d: `M${q.join("L")}Z` });
    };
    const handle = (name, text) => s("g", { class: `plan-handle ${name}`, tabindex: "0", role: "slider", "aria-label": text }, s("circle", { class: "plan-grip", r: 13 }), s("circle", { class: "plan-dot", r: name === "move" ? 6.5 : 5 }));
    const line = s("path", { class: "plan-cut" });
    const wide = s("path", { class: "plan-cut-grip" });
    const [move, turn] = [handle("move", "Place of the section"), handle("turn", "Direction of the section")];
    const svg = s(
      "svg",
      { class: "drawing", viewBox: `0 0 ${width} ${height}`, height, "aria-label": "The faces from above, with the line of the section", role: "group" },
      s("rect", { class: "plan-die", x: x(box[0][0]), y: y(box[1][1]), width: w * k, height: t * k }),
      this.rings.map(ring),
      this.marks.map((m) => s("g", { class: `plan-mark ${m.kind}` }, m.kind === "pin" ? s("circle", { cx: x(m.x), cy: y(m.y), r: 4 }) : s("path", { d: `M${x(m.x) - 3} ${y(m.y)}h6M${x(m.x)} ${y(m.y) - 3}v6` }), s("title", {}, m.text))),
      line,
      wide,
      turn,
      move,
    );
    this.line = () => {
      const { angle, point } = this.place;
      const [c, q] = [Math.cos((angle * Math.PI) / 180), Math.sin((angle * Math.PI) / 180)];
      const ends = clip([x(point[0]), y(point[1])], [c, -q], width, height);
      const d = `M${ends.map((e) => e.map((v) => v.toFixed(1)).join(" ")).join("L")}`;
      line.setAttribute("d", d);
      wide.setAttribute("d", d);
      const at = [Math.min(Math.max(x(point[0]), 8), width - 8), Math.min(Math.max(y(point[1]), 8), height - 8)];
      const reach = Math.min(0.3 * width, 0.36 * Math.max(width, height));
      const one = [at[0] + c * reach, at[1] - q * reach];
      const inside = one[0] > 8 && one[0] < width - 8 && one[1] > 8 && one[1] < height - 8;
      const grip = inside ? one : [ends[1][0] - c * 12, ends[1][1] + q * 12];
      move.setAttribute("transform", `translate(${at[0]} ${at[1]})`);
      turn.setAttribute("transform", `translate(${grip[0]} ${grip[1]})`);
      const across = c * point[1] - q * point[0];
      move.setAttribute("aria-valuenow", fixed(across, 1));
      move.setAttribute("aria-valuetext", `through x ${num(point[0], 4)}, y ${num(point[1], 4)} mm`);
      turn.setAttribute("aria-valuenow", fixed(angle, 1));
      turn.setAttribute("aria-valuetext", `${fixed(angle, 1)} degrees from x`);
    };
    const tell = (place) => {
      this.place = place;
      this.line();
      this.moved(place);
    };
    const inside = (q) => q.map((v, i) => Math.min(box[1][i], Math.max(box[0][i], v)));
    const here = (e) => {
      const r = svg.getBoundingClientRect();
      return back(((e.clientX - r.left) / r.width) * width, ((e.clientY - r.top) / r.height) * height);
    };
    drag(move, (e) => tell({ ...this.place, point: inside(here(e)) }));
    drag(wide, (e) => tell({ ...this.place, point: inside(here(e)) }));
    drag(turn, (e) => {
      const [dx, dy] = here(e).map((v, i) => v - this.place.point[i]);
      if (Math.hypot(dx, dy) * k > 6) tell({ ...this.place, angle: Math.round(lineAngle((Math.atan2(dy, dx) * 180) / Math.PI) * 2) / 2 });
    });
    move.addEventListener("keydown", (e) => {
      const step = e.shiftKey ? 10 : 1;
      const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[e.key];
      if (!way) return;
      e.preventDefault();
      tell({ ...this.place, point: inside(this.place.point.map((v, i) => v + way[i])) });
    });
    turn.addEventListener("keydown", (e) => {
      const way = { ArrowLeft: 1, ArrowUp: 1, ArrowRight: -1, ArrowDown: -1 }[e.key];
      if (!way) return;
      e.preventDefault();
      tell({ ...this.place, angle: lineAngle(this.place.angle + way * (e.shiftKey ? 5 : 1)) });
    });
    put(this.root, svg);
    this.line();
  }
}

/** Both ends of a line through (px, py) at the frame of the drawing. */
function clip([px, py], [ux, uy], width, height) {
  let [a, b] = [-1e9, 1e9];
  for (const [q, u, lo, hi] of [[px, ux, 3, width - 3], [py, uy, 3, height - 3]]) {
    if (Math.abs(u) < 1e-9) continue;
    const [f, g] = [(lo - q) / u, (hi - q) / u];
    a = Math.max(a, Math.min(f, g));
    b = Math.min(b, Math.max(f, g));
  }
  return [[px + a * ux, py + a * uy], [px + b * ux, py + b * uy]]; // prettier-ignore
}

function drag(node, go) {
  let held = false;
  node.addEventListener("pointerdown", (e) => {
    held = true;
    node.setPointerCapture(e.pointerId);
    node.focus?.({ preventScroll: true });
    e.preventDefault();
  });
  node.addEventListener("pointermove", (e) => held && go(e));
  const stop = () => (held = false);
  node.addEventListener("pointerup", stop);
  node.addEventListener("pointercancel", stop);
}
