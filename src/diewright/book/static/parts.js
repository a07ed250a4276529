// The pieces pages are set from: tables, findings, figures that open, folds.

import { h, put, memo, uid } from "./dom.js";
import { handy, num, quantity, unitText, words } from "./words.js";

/** A section with its heading; empty sections hide themselves. */
export function section(title, ...children) {
  const body = h("div", { class: "section-body" }, children);
  const root = h("section", { class: "section" }, h("h2", {}, title), body);
  return { root, body, show: (yes) => (root.hidden = !yes) };
}

/** A handbook table of facts: rows [label, value, unit, source]. Rows without a value show a dash. */
export function facts(rows, { sources = false, caption = "" } = {}) {
  return h(
    "table",
    { class: "facts" },
    caption ? h("caption", {}, caption) : null,
    sources ? h("thead", {}, h("tr", {}, ["Quantity", "Value", "Unit", "Source"].map((t, i) => h("th", { scope: "col", class: i === 1 ? "figure" : null }, t)))) : null,
    h(
      "tbody",
      {},
      rows.filter(Boolean).map(([label, value, unit = "", source = ""]) =>
        h(
          "tr",
          {},
          h("th", { scope: "row" }, label),
          h("td", { class: typeof value === "string" && /[a-z]{3}/i.test(value) ? "words" : "figure" }, typeof value === "number" ? num(value, 4) : value === null || value === undefined || value === "" ? "–" : value),
          h("td", { class: "unit" }, unitText(unit)),
          sources ? h("td", { class: "source" }, source || "–") : null,
        ),
      ),
    ),
  );
}

/** A table with columns [{name, unit, left}] and rows of cells (nodes or strings). */
export function grid(columns, rows, { className = "", chosen = -1, caption = "" } = {}) {
  return h(
    "div",
    { class: "table-box", tabindex: "0", role: "group", "aria-label": caption || "Table" },
    h(
      "table",
      { class: `grid-table ${className}` },
      h("thead", {}, h("tr", {}, columns.map((c) => h("th", { scope: "col", class: c.left ? null : "figure" }, c.name, c.unit ? h("span", { class: "unit" }, ` ${unitText(c.unit)}`) : null)))),
      h("tbody", {}, rows.map((row, i) => h("tr", { class: i === chosen ? "chosen" : null, "aria-current": i === chosen ? "true" : null }, row.map((cell, j) => h("td", { class: columns[j].left ? null : "figure" }, cell ?? "–"))))),
    ),
  );
}

const MARKS = { stop: "stop", attend: "attend", note: "note" };

/** The findings of a page, each with its number against its limit, and what can be done about it. */
export function findingsList(ctx, box, list, { everywhere = false } = {}) {
  memo(box, [list, everywhere], () => {
    if (!list.length) return put(box, h("p", { class: "quiet" }, "Nothing to report."));
    put(box, h("ol", { class: "findings" }, list.map((f) => finding(ctx, f, everywhere))));
  });
}

function finding(ctx, f, everywhere) {
  const settled = Boolean(f.accepted);
  const meta = [];
  const has = (v) => v !== null && v !== undefined;
  if (has(f.value)) meta.push(h("span", { class: "figure" }, quantity(...handy(f.value, f.unit))), has(f.limit) ? [" against ", h("span", { class: "figure" }, quantity(...handy(f.limit, f.unit)))] : null);
  const item = h(
    "li",
    { class: `finding ${f.severity}${settled ? " settled" : ""}${f.current ? "" : " old"}`, dataset: { key: f.key } },
    h("p", { class: "finding-mark" }, h("span", { class: `shape ${MARKS[f.severity] ?? "note"}`, "aria-hidden": "true" }), h("span", {}, settled ? "accepted" : f.severity)),
    h(
      "div",
      { class: "finding-body" },
      h("p", { class: "finding-sentence" }, f.sentence),
      f.current ? null : h("p", { class: "quiet" }, "From an earlier state of the job."),
      h("p", { class: "finding-meta" }, meta, meta.length && f.source ? h("span", { class: "quiet" }, has(f.limit) ? ` – limit: ${f.source}` : ` – ${f.source}`) : f.source ? h("span", { class: "quiet" }, f.source) : null),
      f.help ? h("p", { class: "finding-help" }, f.help) : null,
      settled ? h("p", { class: "accepted-reason" }, `“${f.accepted}”${f.by ? `, ${f.by}` : ""}`) : null,
      h(
        "p",
        { class: "finding-actions" },
        f.place?.points?.length ? h("button", { type: "button", class: "word", onclick: () => ctx.showPlace(f) }, f.place.label ? `Show the ${f.place.label.replace(/^the /, "")}` : "Show the place") : null,
        everywhere ? h("button", { type: "button", class: "word", onclick: () => ctx.go(ctx.pageOf(f.stage)) }, `Open ${words(ctx.pageOf(f.stage))}`) : null,
        f.severity === "attend" && !settled ? h("button", { type: "button", class: "word accept", onclick: (e) => acceptForm(ctx, f, e.target) }, "Accept with a reason") : null,
        settled ? h("button", { type: "button", class: "word", onclick: () => ctx.unaccept(f.key) }, "Take the acceptance back") : null,
      ),
    ),
  );
  return item;
}

function acceptForm(ctx, f, button) {
  const reason = uid("reason");
  const by = uid("by");
  const error = h("p", { class: "field-error", role: "alert" });
  const form = h(
    "form",
    {
      class: "accept-form",
      onsubmit: async (e) => {
        e.preventDefault();
        const problem = await ctx.accept(f.key, form.elements.reason.value.trim(), form.elements.by.value.trim());
        if (problem) error.textContent = problem;
      },
    },
    h("label", { for: reason }, "Why it may stay"),
    h("textarea", { id: reason, name: "reason", rows: 2, required: true, minlength: 3, maxlength: 500 }),
    h("label", { for: by }, "Accepted by"),
    h("input", { id: by, name: "by", maxlength: 60, value: ctx.book.job.job.checked_by ?? "" }),
    error,
    h("p", { class: "finding-actions" }, h("button", { type: "submit", class: "do" }, "Accept"), h("button", { type: "button", class: "word", onclick: () => { form.replaceWith(button); button.focus(); } }, "Leave it open")),
  );
  button.replaceWith(form);
  form.elements.reason.focus();
}

/** A figure that opens to its formula, inputs, source and how sure it is. */
export function figureRow(f) {
  const inputs = Object.entries(f.inputs ?? {});
  const [value, unit] = handy(f.value, f.unit);
  return h(
    "details",
    { class: "figure-fold", dataset: { key: f.key } },
    h("summary", {}, h("span", { class: "figure-label" }, f.label), h("span", { class: "figure-value figure" }, num(value, f.digits ?? 3)), h("span", { class: "unit" }, value === null ? "" : unitText(unit))),
    h(
      "div",
      { class: "figure-root" },
      f.formula ? h("p", { class: "formula" }, f.formula) : null,
      inputs.length ? h("table", { class: "inputs" }, h("tbody", {}, inputs.map(([name, [value, unit]]) => h("tr", {}, h("th", { scope: "row" }, name), h("td", { class: typeof value === "string" && /[a-z]{3}/i.test(value) ? "words" : "figure" }, typeof value === "number" ? num(value, 4) : value), h("td", { class: "unit" }, unitText(unit)))))) : null,
      h("p", { class: "quiet" }, f.source ? `Source: ${f.source}.` : "No source given.", f.confidence ? ` How sure: ${f.confidence}.` : ""),
    ),
  );
}

/** The last word of a figure's key: what it is, without the stage it is from. */
export const stem = (key) => key.split(".").pop();

export const figureList = (figures) => h("div", { class: "figure-list" }, figures.map(figureRow));

/** The small print: method and sources, folded. */
export function smallPrint(paragraphs, sources = []) {
  return h("details", { class: "small-print" }, h("summary", {}, "Method and sources"), paragraphs.filter(Boolean).map((p) => (p instanceof Node ? p : h("p", {}, p))), sources.length ? h("ul", {}, sources.map((t) => h("li", {}, t))) : null);
}

export const downloads = (links) => h("p", { class: "downloads" }, links.map(([href, text, name]) => h("a", { href, download: name, class: "take" }, text)));

/** Draw `node` again only if a result changed; shows a quiet line where there is none. */
export function fromResult(node, result, draw, missing = "Not worked yet.") {
  memo(node, result ? `${result.stage}/${result.key}` : "none", () => {
    if (!result) return put(node, h("p", { class: "quiet" }, missing));
    try {
      draw(node, result);
    } catch (problem) {
      console.error(problem);
      put(node, h("p", { class: "quiet" }, "This part of the result cannot be shown."));
    }
  });
}
