// What a result offers to the job: the fields and files, what stands there now, and the button that takes them over.

import { h } from "../dom.js";
import { choice, label, quantity, vector } from "../words.js";

const at = (job, path) => path.split(".").reduce((o, k) => o?.[k], job);

const said = (path, value, unit) => (value === undefined || value === null || value === "" ? "nothing" : typeof value === "number" ? quantity(value, unit, 4) : Array.isArray(value) ? vector(value) : choice(path, String(value)));

const same = (a, b) => a === b || (Array.isArray(a) && Array.isArray(b) && a.length === b.length && a.every((v, k) => same(v, b[k]))) || (typeof a === "number" && typeof b === "number" && Math.abs(a - b) < 1e-9 * Math.max(1, Math.abs(a)));

/** The block for the offer of a result; null where it offers nothing. `title` heads it. */
export function offered(ctx, stage, result, title) {
  const offer = result?.values?.take_over;
  const fields = Object.entries(offer?.fields ?? {});
  const files = Object.entries(offer?.files ?? {});
  if (!fields.length && !files.length) return null;
  const { job } = ctx.book;
  const unit = (path) => ctx.book.fields[path]?.unit ?? "";
  const several = new Set(fields.map(([path]) => path.split(".")[0])).size > 1; // then it is said for which page a field is
  const named = (path) => (several ? `${label(path)} (${path.split(".")[0]})` : label(path));
  const rows = [
    ...fields.map(([path, value]) => [named(path), said(path, value, unit(path)), said(path, at(job, path), unit(path)), same(at(job, path), value)]),
    ...files.map(([path, name]) => [label(path), name, at(job, path) || "nothing", false]),
  ];
  const taken = !files.length && rows.every((r) => r[3]);
  const current = ctx.stage(stage)?.state === "current";
  return [
    h("h2", {}, title),
    h(
      "table",
      { class: "offer" },
      h("thead", {}, h("tr", {}, ["", "proposed", "stated now"].map((t) => h("th", { scope: "col" }, t)))),
      h("tbody", {}, rows.map(([name, value, now]) => h("tr", {}, h("th", { scope: "row" }, name), h("td", {}, h("strong", {}, value)), h("td", { class: "quiet" }, now)))),
    ),
    taken
      ? h("p", { class: "taken" }, "This is what the job states.")
      : [
          h("button", { type: "button", class: "do take-offer", disabled: !current, onclick: () => ctx.take(stage) }, "Take over"),
          current ? h("p", { class: "quiet" }, "It is written into the job; Undo takes it back.") : h("p", { class: "quiet" }, "It was worked for another state of the job. Work it again before it is taken over."),
        ],
  ];
}
