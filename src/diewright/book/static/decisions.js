// The decisions of a page: one control a stated field, with its unit, its range and its word of explanation.

import { h, put, uid } from "./dom.js";
import { choice, label, num, plain, typed, unitText } from "./words.js";

const at = (job, path) => path.split(".").reduce((o, k) => (o === null || o === undefined ? o : o[k]), job);

/** A block of decisions for `paths`. Returns {root, update}. `options[path]` gives [{value, text, group}] for a field with a list. */
export function decisions(ctx, paths, { title = "Decisions", options = {}, more = [] } = {}) {
  const controls = paths.map((p) => control(ctx, p, options[p]));
  const folded = more.map((p) => control(ctx, p, options[p]));
  const root = h(
    "form",
    { class: "decisions", onsubmit: (e) => e.preventDefault() },
    h("h2", {}, title),
    controls.map((c) => c.root),
    folded.length ? h("details", { class: "more" }, h("summary", {}, "More"), folded.map((c) => c.root)) : null,
  );
  return { root, update: () => [...controls, ...folded].forEach((c) => c.update()) };
}

function control(ctx, path, list) {
  const spec = ctx.book.fields[path] ?? { unit: "", text: "", kind: "text" };
  const id = uid("field");
  const hint = uid("hint");
  const error = h("p", { class: "field-error", id: uid("error"), role: "alert" });
  const common = { id, "aria-describedby": `${hint} ${error.id}`, dataset: { path } };
  const say = (problem) => {
    error.textContent = problem ?? "";
    input.setAttribute("aria-invalid", problem ? "true" : "false");
  };
  const send = async (value) => {
    if (value === at(ctx.book.job, path)) return say("");
    const problem = await ctx.edit({ [path]: value }, label(path));
    say(problem);
  };
  let input;
  let auto = null;
  let draw;
  if (list || spec.kind === "choice") {
    input = h("select", { ...common, onchange: () => send(input.value) });
    draw = (value) => {
      const rows = list?.() ?? spec.choices.map((v) => ({ value: v, text: choice(path, v) }));
      const key = JSON.stringify(rows);
      if (input.key !== key) {
        input.key = key;
        const groups = new Map();
        for (const r of rows) groups.set(r.group ?? "", [...(groups.get(r.group ?? "") ?? []), h("option", { value: r.value, title: r.title }, r.text)]);
        put(input, [...groups].map(([name, items]) => (name ? h("optgroup", { label: name }, items) : items)));
      }
      if (!rows.some((r) => r.value === value)) input.append(h("option", { value }, String(value)));
      input.value = value;
    };
  } else if (typeof spec.default === "boolean") {
    input = h("input", { ...common, type: "checkbox", onchange: () => send(input.checked) });
    draw = (value) => (input.checked = value === true);
  } else {
    const numeric = spec.kind !== "text";
    input = h("input", { ...common, type: "text", inputmode: numeric ? "decimal" : null, autocomplete: "off", spellcheck: "false", class: numeric ? "figure" : "text" });
    const commit = () => send(numeric ? typed(input.value) : input.value.trim());
    input.addEventListener("change", commit);
    input.addEventListener("keydown", (e) => {
      if (e.key !== "Escape") return; // Enter is a change event already
      draw(at(ctx.book.job, path));
      say("");
    });
    // the word that stands for a number that is not stated: auto, or as that of another place
    const word = spec.kind === "auto-number" ? "auto" : numeric && typeof spec.default === "string" ? spec.default : "";
    if (word) auto = h("button", { type: "button", class: "word", "aria-label": word === "auto" ? `${label(path)}: chosen by the desk` : `${label(path)}: ${word}`, onclick: () => send(word) }, word);
    draw = (value) => {
      input.value = plain(value);
      if (auto) auto.hidden = value === word;
    };
  }
  const update = () => {
    const value = at(ctx.book.job, path);
    if (value === undefined) return;
    const key = JSON.stringify(value);
    if (key === update.key && document.activeElement === input) return; // do not disturb typing
    if (key !== update.key) say("");
    if (error.textContent) return;
    update.key = key;
    draw(value);
  };
  const unit = unitText(spec.unit);
  const root = h(
    "div",
    { class: `decision${list || spec.kind === "choice" ? " choice" : spec.kind === "text" && typeof spec.default !== "boolean" ? " text" : ""}` },
    h("label", { for: id }, label(path)),
    h("span", { class: "control" }, input, unit ? h("span", { class: "unit" }, unit) : null, auto),
    h("p", { class: "hint", id: hint }, worth(sentenceOf(spec), label(path))),
    error,
  );
  update();
  return { root, update };
}

/** A field in a table that changes one value of one record of a list of the job. */
export function cellOf(ctx, path, list, k, name, title, word = "") {
  const error = h("span", { class: "field-error", role: "alert" });
  const input = h("input", {
    type: "text", class: "figure", inputmode: "decimal", autocomplete: "off", "aria-label": title, value: plain(list[k][name]),
    onchange: async () => {
      const text = input.value.trim();
      const value = word && (text === "" || text === word) ? word : typed(text);
      error.textContent = await ctx.edit({ [path]: list.map((one, n) => (n === k ? { ...one, [name]: value } : one)) }, title);
    },
  }); // prettier-ignore
  return h("span", {}, input, error);
}

/** Leave an explanation out that only repeats the name. */
const worth = (text, name) => (text.replace(".", "").toLowerCase() === name.toLowerCase() ? "" : text);

/** The explanation of a field with its range. */
function sentenceOf(spec) {
  const text = spec.text ? `${spec.text.charAt(0).toUpperCase()}${spec.text.slice(1)}` : "";
  const unit = unitText(spec.unit);
  const above = spec.exclusive_minimum ?? null;
  const lo = spec.minimum ?? above;
  const hi = spec.maximum ?? spec.exclusive_maximum ?? null;
  if (!["number", "integer", "auto-number"].includes(spec.kind) || (lo === null && hi === null)) return text ? `${text}.` : "";
  const low = above !== null ? `above ${num(lo)}` : num(lo);
  const bound = hi === null ? (above !== null ? low : `${low} or more`) : lo === null ? `up to ${num(hi, 6)}` : above !== null ? `${low}, up to ${num(hi, 6)}` : `${low} to ${num(hi, 6)}`;
  return `${text}; ${bound}${unit ? ` ${unit}` : ""}.`;
}
