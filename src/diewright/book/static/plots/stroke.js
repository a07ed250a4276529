// The press stroke as a slider: every kept instant a stop, the operations named under it, release and trim at its end.

import { h, s, put, uid } from "../dom.js";
import { words } from "../words.js";

const EVERY_MS = 90; // between instants while it plays

export class Stroke {
  /** `moved(stop)` is called for each stop that is reached. */
  constructor(moved) {
    this.moved = moved;
    this.stops = [];
    const id = uid("stroke");
    this.range = h("input", { type: "range", class: "stroke-range", id, min: 0, max: 0, value: 0, step: 1, oninput: () => this.seen(), onkeydown: (e) => this.keys(e) });
    this.play = h("button", { type: "button", class: "do stroke-play", onclick: () => this.toggle() }, "Play");
    this.text = h("output", { class: "stroke-text", for: id });
    this.marks = s("svg", { class: "stroke-marks", "aria-hidden": "true" });
    this.root = h("div", { class: "stroke" }, this.play, h("div", { class: "stroke-track" }, h("label", { class: "stroke-name", for: id }, "Stroke"), this.range, this.marks), this.text);
    new ResizeObserver(() => this.draw()).observe(this.marks);
  }

  /** `stops`: [{operation, text, ...}] in the order of the work; starts at stop `at`. */
  set(stops, at = stops.length - 1) {
    this.pause();
    this.stops = stops;
    this.range.max = Math.max(stops.length - 1, 0);
    this.range.value = at;
    this.range.disabled = this.play.disabled = stops.length < 2;
    this.draw();
    this.seen();
  }

  say(text) {
    this.text.textContent = text;
  }

  get at() {
    return Number(this.range.value);
  }

  go(i) {
    this.range.value = i;
    this.seen();
  }

  seen() {
    const stop = this.stops[this.at];
    if (!stop) return put(this.text);
    this.text.textContent = stop.text;
    this.range.setAttribute("aria-valuetext", stop.text);
    return this.moved(stop, this.at);
  }

  keys(e) {
    if (e.key === " ") {
      e.preventDefault();
      this.toggle();
    } else if (e.key === "PageUp" || e.key === "PageDown") {
      // from one operation to the next
      e.preventDefault();
      const firsts = this.groups().map((g) => g.from);
      const next = e.key === "PageUp" ? firsts.find((f) => f > this.at) ?? this.stops.length - 1 : firsts.findLast((f) => f < this.at) ?? 0;
      this.go(next);
    }
  }

  toggle() {
    if (this.timer) return this.pause();
    if (this.at >= this.stops.length - 1) this.go(0);
    this.play.textContent = "Pause";
    this.timer = setInterval(async () => {
      if (this.busy) return; // the picture is not ready for the next one yet
      if (this.at >= this.stops.length - 1) return this.pause();
      this.range.value = this.at + 1;
      this.busy = true;
      await this.seen();
      this.busy = false;
    }, EVERY_MS);
  }

  pause() {
    clearInterval(this.timer);
    this.timer = null;
    this.busy = false;
    this.play.textContent = "Play";
  }

  groups() {
    const out = [];
    this.stops.forEach((stop, i) => {
      const last = out[out.length - 1];
      if (last?.name === stop.operation) last.to = i;
      else out.push({ name: stop.operation, from: i, to: i });
    });
    return out;
  }

  draw() {
    const width = this.marks.clientWidth;
    const n = this.stops.length;
    if (!width || n < 2) return put(this.marks);
    const x = (i) => 8 + (i / (n - 1)) * (width - 16);
    const ends = [-Infinity, -Infinity, -Infinity]; // of what is written in each line
    const names = this.groups().map((g) => {
      const text = words(g.name).toLowerCase();
      const middle = (x(g.from) + x(g.to)) / 2;
      const w = text.length * 7.4;
      const left = Math.min(Math.max(middle - w / 2, 0), width - w);
      const line = ends.findIndex((e) => left > e + 6);
      if (line >= 0) ends[line] = left + w;
      return [s("path", { class: "stroke-group", d: g.from === g.to ? `M${x(g.from)} 2v${line > 0 ? 6 + 15 * line : 5}` : `M${x(g.from)} 7V2H${x(g.to)}v5` }), line >= 0 ? s("text", { x: left, y: 20 + 15 * line }, text) : null];
    });
    const height = 26 + 15 * Math.max(ends.findLastIndex((e) => e > 0), 0);
    this.marks.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.marks.setAttribute("height", height);
    put(this.marks, this.stops.map((_, i) => s("path", { class: "stroke-tick", d: `M${x(i)} 2v3` })), names);
  }
}

/** Stops of a tryout: its frames, then what was made of the last one. `r` a result, `stroke` and `operation` arrays over the frames. */
export function stopsOf(r, stroke, operation, say) {
  const ops = r.values.operations ?? [];
  const name = (k) => ops[k]?.name ?? (operation.length ? `operation ${k + 1}` : "stroke");
  const stops = Array.from(stroke, (mm, i) => ({ frame: i, stroke: mm, operation: name(operation[i] ?? 0), text: say(name(operation[i] ?? 0), mm) }));
  if (r.meshes?.released) stops.push({ mesh: "released", operation: "released", text: "Released: taken out of the tools" });
  if (r.meshes?.trimmed) stops.push({ mesh: "trimmed", operation: "trimmed", text: "Trimmed and sprung back" });
  return stops;
}
