// What of [finish] is no plain number: the service condition, lists of numbers, and the faces that count.

import { h, memo, put, uid } from "../dom.js";
import { choice, label, num, plain, typed, unitText } from "../words.js";

const at = (job, path) => path.split(".").reduce((o, k) => o?.[k], job);

function framed(path, ctx, id, control, error) {
  const spec = ctx.book.fields[path] ?? { unit: "", text: "" };
  const unit = unitText(spec.unit);
  return h("div", { class: "decision text" }, h("label", { for: id }, label(path)), h("span", { class: "control" }, control, unit ? h("span", { class: "unit" }, unit) : null), h("p", { class: "hint" }, `${spec.text.charAt(0).toUpperCase()}${spec.text.slice(1)}.`), error);
}

/** A field that holds numbers with spaces between them; `word` stands for what the desk chooses, `count` how many there must be. */
export function numbersField(ctx, path, { word = "", count = 0 } = {}) {
  const id = uid("numbers");
  const error = h("p", { class: "field-error", role: "alert" });
  const input = h("input", { id, type: "text", class: "figure text", autocomplete: "off", spellcheck: "false", dataset: { path }, onchange: async () => {
    const text = input.value.trim();
    const list = text.split(/[\s;]+/).map(typed);
    if (word && (text === "" || text === word)) error.textContent = await ctx.edit({ [path]: word }, label(path));
    else if (list.some((v) => typeof v !== "number") || (count && list.length !== count)) error.textContent = `${label(path)}: ${count ? ["", "one number", "two numbers", "three numbers"][count] : "numbers"} with spaces between them ${count === 1 ? "is" : "are"} wanted${word ? `, or ${word}` : ""}.`;
    else error.textContent = await ctx.edit({ [path]: list }, label(path));
  } }); // prettier-ignore
  const update = () => {
    const value = at(ctx.book.job, path);
    memo(input, value ?? null, () => {
      input.value = Array.isArray(value) ? value.map(plain).join(" ") : plain(value);
      error.textContent = "";
    });
  };
  update();
  return { root: framed(path, ctx, id, input, error), update };
}

const SERVICE = ["auto", 1, 2, 3, 4, 5];
const MEANT = { auto: "not stated: the desk takes 2", 1: "1 mild: indoors, warm and dry", 2: "2 moderate: indoors where dew may fall", 3: "3 severe: outdoors, often wet", 4: "4 very severe: outdoors, harsh climate", 5: "5 extended very severe, for long" }; // prettier-ignore

/** The service condition by what it means. */
export function serviceField(ctx) {
  const path = "finish.service";
  const id = uid("service");
  const error = h("p", { class: "field-error", role: "alert" });
  const select = h("select", { id, dataset: { path }, onchange: async () => (error.textContent = await ctx.edit({ [path]: SERVICE[select.selectedIndex] }, label(path))) }, SERVICE.map((v) => h("option", {}, MEANT[v])));
  const update = () => memo(select, ctx.book.job.finish.service, () => (select.selectedIndex = Math.max(0, SERVICE.indexOf(ctx.book.job.finish.service))));
  update();
  const root = h("div", { class: "decision choice" }, h("label", { for: id }, label(path)), h("span", { class: "control" }, select), error);
  return { root, update };
}

/**
 * Which faces count: by rule or by number. `faces()`: {all, now, byPoints} of the part that is shown, or null where it is not known.
 */
export function facesField(ctx, { faces, change }) {
  const id = uid("counts");
  const error = h("p", { class: "field-error", role: "alert" });
  const rule = h("select", { id, dataset: { path: "finish.significant" }, onchange: () => (rule.value === "list" ? change([...(faces()?.all ?? [])]) : ctx.edit({ "finish.significant": rule.value, "finish.significant_points": [] }, "What counts")) }, [["visible", "the whole shown side"], ["all", "both sides"], ["list", "faces that are picked"]].map(([value, text]) => h("option", { value }, text))); // prettier-ignore
  const numbers = numbersField(ctx, "finish.significant");
  const said = h("p", { class: "quiet" });
  const plating = h("p", { class: "quiet" });
  const root = h("div", { class: "decisions counts-field" }, h("h2", {}, "What counts"), h("div", { class: "decision choice" }, h("label", { for: id }, "Significant surface"), h("span", { class: "control" }, rule), error), numbers.root, said, plating);
  const update = () => {
    const { significant, significant_points: points } = ctx.book.job.finish;
    const known = faces();
    const listed = Array.isArray(significant);
    const same = listed && known && known.now?.size === known.all.length && significant.length === known.all.length;
    rule.value = listed ? "list" : significant;
    numbers.root.hidden = !listed;
    if (listed) numbers.update();
    said.textContent = !known ? "" : listed ? `${num(known.now?.size ?? significant.length)} of ${num(known.all.length)} faces count${same ? ", which is the whole shown side" : ""}${points.length ? `; ${num(points.length)} point${points.length > 1 ? "s" : ""} of the job ${points.length > 1 ? "name some" : "names one"} of them` : ""}.` : `All ${num(known.all.length)} faces count, ${significant === "all" ? "on both sides" : "on the side that is shown"}. A click on a face takes it away.`;
    const asked = ctx.book.job.plating?.significant;
    memo(plating, asked ?? "", () => put(plating, asked === undefined ? null : asked === "finish" ? "The plating counts this surface too." : [`The plating counts: ${choice("plating.significant", asked)}. `, h("button", { type: "button", class: "word", onclick: () => ctx.edit({ "plating.significant": "finish" }, "The plating’s significant side") }, "Let it count this surface")]));
  };
  return { root, update };
}
