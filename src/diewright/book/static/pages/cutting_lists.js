// What a person states in lists: further cut lines, and the stations of the press plan.

import { h } from "../dom.js";
import { cellOf } from "../decisions.js";
import { grid } from "../parts.js";
import { plain, typed } from "../words.js";

const left = (name) => ({ name, left: true });
const mm = (name) => ({ name, unit: "mm" });
const word = (text, onclick, label = null) => h("button", { type: "button", class: "word", "aria-label": label, onclick }, text);

/** A record without what is not stated: the job file has no word for nothing. */
const bare = (one) => Object.fromEntries(Object.entries(one).filter(([, v]) => v !== null));

/** A field of one record of a list that may be left empty. */
function optional(ctx, path, list, k, name, title) {
  const error = h("span", { class: "field-error", role: "alert" });
  const input = h("input", { type: "text", class: "figure", inputmode: "decimal", autocomplete: "off", "aria-label": title, value: plain(list[k][name]), onchange: async () => (error.textContent = await ctx.edit({ [path]: list.map((one, n) => (n === k ? bare({ ...one, [name]: input.value.trim() === "" ? null : typed(input.value) }) : one)) }, title)) }); // prettier-ignore
  return h("span", {}, input, error);
}

const choose = (list, value, label, change) => h("select", { "aria-label": label, onchange: (e) => change(e.target.value) }, list.map(([v, text]) => h("option", { value: v, selected: v === value }, text)));

const KINDS = [["pierce", "pierce"], ["trim", "trim"]]; // prettier-ignore
const OPERATIONS = ["auto", "first trim", "second trim", "cam"].map((o) => [o, o === "auto" ? "chosen by the desk" : o]);

/** The cut lines of [[trim.line]]: round holes and outlines from files. */
export function lineTable(ctx, stated) {
  const list = stated.map(bare);
  const path = "trim.line";
  const set = (k, name, value) => ctx.edit({ [path]: list.map((one, n) => (n === k ? { ...one, [name]: value } : one)) }, `Line ${k + 1}`);
  const cell = (k, name, title) => cellOf(ctx, path, list, k, name, `line ${k + 1}: ${title}`);
  const rows = list.map((one, k) => [
    String(k + 1), choose(KINDS, one.kind, `line ${k + 1}: kind`, (v) => set(k, "kind", v)), one.file || "round hole", cell(k, "x", "x"), cell(k, "y", "y"), optional(ctx, path, list, k, "z", `line ${k + 1}: z`), one.file ? "–" : optional(ctx, path, list, k, "diameter", `line ${k + 1}: diameter`),
    choose(OPERATIONS, one.operation, `line ${k + 1}: operation`, (v) => set(k, "operation", v)), word("Take away", () => ctx.edit({ [path]: list.filter((_, n) => n !== k) }, `Line ${k + 1}`), `take line ${k + 1} away`),
  ]); // prettier-ignore
  return [
    list.length ? grid([left("Line"), left("Kind"), left("Outline"), mm("x"), mm("y"), mm("z"), mm("Diameter"), left("Operation"), left("")], rows, { caption: "Stated cut lines, beside those of the part", className: "tight-table stated-list" }) : h("p", { class: "quiet" }, "No cut lines are stated beside the part’s own edge and holes. Outlines from a file (DXF or CSV) are stated in the job file as [[trim.line]]."),
    list.length < 200 ? h("p", { class: "finding-actions" }, word("Add a round hole", () => ctx.edit({ [path]: [...list, { kind: "pierce", x: 0, y: 0, diameter: 10 }] }, "The cut lines"))) : null,
  ]; // prettier-ignore
}

/** The stations of [[plan.station]]; without any, those found can be stated to be changed. `found`: stations of the result. */
export function stationList(ctx, list, found) {
  const path = "plan.station";
  const presses = [["auto", "the smallest that serves"], ...ctx.book.presses.filter((p) => p.name !== "auto").map((p) => [p.name, p.name])]; // prettier-ignore
  const change = (next) => ctx.edit({ [path]: next }, "The stations");
  const set = (k, name, value) => change(list.map((one, n) => (n === k ? { ...one, [name]: value } : one)));
  if (!list.length) return found?.length ? h("p", { class: "finding-actions" }, word("State these stations", () => change(found.map((s) => ({ name: s.name, operations: s.operations, press: "auto" })))), h("span", { class: "quiet" }, "They are then yours: name them, choose their presses, join them or part them.")) : null;
  const rows = list.map((one, k) => [
    String(k + 1), cellOf(ctx, path, list, k, "name", `station ${k + 1}: name`), one.operations.join(", "), choose(presses, one.press, `station ${k + 1}: press`, (v) => set(k, "press", v)),
    h("span", { class: "station-words" }, k ? word("Join with the one before", () => change(list.flatMap((s, n) => (n === k ? [] : n === k - 1 ? [{ ...s, name: "", operations: [...s.operations, ...one.operations] }] : [s]))), `join station ${k + 1} with ${k}`) : null, one.operations.length > 1 ? word("Part", () => change(list.flatMap((s, n) => (n === k ? s.operations.map((o) => ({ ...s, name: o, operations: [o] })) : [s]))), `part station ${k + 1}`) : null),
  ]); // prettier-ignore
  return [
    grid([left("Station"), left("Name"), left("Does"), left("Press"), left("")], rows, { caption: "Stations as stated", className: "tight-table stated-list" }),
    h("p", { class: "finding-actions" }, word("Let the desk divide them", () => change([]))),
  ]; // prettier-ignore
}
