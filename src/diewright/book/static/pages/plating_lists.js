// The lists of [plating] that a person edits in the page: deposits in their order, bodies in the bath.

import { h } from "../dom.js";
import { cellOf } from "../decisions.js";
import { grid } from "../parts.js";
import { plain, typed, words } from "../words.js";

const change = (ctx, path, next, text) => ctx.edit({ [path]: next }, text);

/** The deposits as stated, one row each. */
export function depositTable(ctx, list) {
  const path = "plating.layers";
  const cell = (k, name, title, word) => cellOf(ctx, path, list, k, name, `deposit ${k + 1}: ${title}`, word);
  const columns = [{ name: "Deposit", left: true }, { name: "Bath", left: true }, { name: "Least wanted", unit: "µm" }, { name: "Mean current density", unit: "A/dm2" }, { name: "Current", unit: "A" }, { name: "Time", unit: "min" }, { name: "Conductivity", unit: "S/m" }, { name: "Tafel slope", unit: "mV" }]; // prettier-ignore
  const rows = list.map((_, k) => [String(k + 1), cell(k, "bath", "bath"), cell(k, "minimum_um", "least wanted"), cell(k, "current_density", "mean current density", "auto"), cell(k, "current", "current", "auto"), cell(k, "minutes", "time", "auto"), cell(k, "conductivity", "conductivity", "auto"), cell(k, "tafel_slope", "Tafel slope", "auto")]);
  return [
    grid(columns, rows, { caption: "As stated; auto takes the library’s, and the time until the least is reached", className: "tight-table plating-list" }),
    h("p", { class: "finding-actions" },
      h("button", { type: "button", class: "word", onclick: () => change(ctx, path, [...list, { ...list.at(-1) }], "The deposits") }, "Add a deposit"),
      list.length > 1 ? h("button", { type: "button", class: "word", onclick: () => change(ctx, path, list.slice(0, -1), "The deposits") }, "Take the last deposit away") : null),
  ]; // prettier-ignore
}

const ROLES = [["shield", "shield, insulating"], ["thief", "thief, on the cathode bar"], ["bipolar", "bipolar, joined to nothing"]]; // prettier-ignore
const FORMS = [["box", "box"], ["rod", "rod"], ["plate", "plate"]]; // prettier-ignore

/** Shields, thieves and bipolar metal as stated. */
export function bodyTable(ctx, list) {
  const path = "plating.bodies";
  const set = (k, name, value) => change(ctx, path, list.map((b, n) => (n === k ? { ...b, [name]: value } : b)), `Body ${k + 1}`); // prettier-ignore
  const choose = (k, name, rows, title) => h("select", { "aria-label": `body ${k + 1}: ${title}`, onchange: (e) => set(k, name, e.target.value) }, rows.map(([value, text]) => h("option", { value, selected: list[k][name] === value }, text)));
  const rows = list.map((_, k) => [String(k + 1), choose(k, "role", ROLES, "role"), choose(k, "kind", FORMS, "form"), triple(list[k].at, `body ${k + 1}: middle x y z`, (v) => set(k, "at", v)), triple(list[k].size, `body ${k + 1}: size x y z`, (v) => set(k, "size", v)), h("button", { type: "button", class: "word", "aria-label": `Take body ${k + 1} away`, onclick: () => change(ctx, path, list.filter((_b, n) => n !== k), "The bodies") }, "Take away")]); // prettier-ignore
  const columns = [{ name: "Body", left: true }, { name: "Role", left: true }, { name: "Form", left: true }, { name: "Middle x y z", unit: "mm" }, { name: "Size x y z", unit: "mm" }, { name: "", left: true }]; // prettier-ignore
  const add = (role, body) => h("button", { type: "button", class: "word", onclick: () => change(ctx, path, [...list, { role, ...body }], "The bodies") }, `Add a ${role}`);
  return [
    list.length ? grid(columns, rows, { caption: "As stated, in tank coordinates", className: "tight-table plating-list" }) : h("p", { class: "quiet" }, "Nothing stands in the bath beside parts and anodes. A thief along a rim takes current off it; a shield keeps current away from what lies behind."),
    h("p", { class: "finding-actions" }, list.length < 40 ? [add("shield", { kind: "box", at: [0, 120, 0], size: [60, 10, 200] }), add("thief", { kind: "rod", at: [0, 0, 0], size: [10, 10, 300] })] : null),
  ];
}

/** A field that holds three numbers; anything else is refused on the spot. */
function triple(value, title, send) {
  const error = h("span", { class: "field-error", role: "alert" });
  const input = h("input", { type: "text", class: "figure triple", autocomplete: "off", "aria-label": title, value: value.map(plain).join(" "), onchange: async () => {
    const next = input.value.trim().split(/[\s;]+/).map(typed);
    error.textContent = next.length === 3 && next.every((v) => typeof v === "number") ? await send(next) : `${words(title)}: three numbers with spaces between them are wanted.`;
  } }); // prettier-ignore
  return h("span", {}, input, error);
}
