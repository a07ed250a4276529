// Readiness: everything that stands between the job and cut steel, in one list, and the way to paper.

import { h, memo, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { findingsList, grid, section } from "../parts.js";
import { words } from "../words.js";

function make(ctx) {
  const verdict = h("p", { class: "verdict" });
  const counts = h("div", { class: "counts" });
  const findings = section("Findings");
  const stages = section("How the stages stand");
  const title = decisions(ctx, ["job.title", "job.number", "job.revision", "job.quantity", "job.drawn_by", "job.checked_by"], { title: "Title block" });
  const print = h(
    "div",
    { class: "print-block" },
    h("h2", {}, "Paper"),
    h("p", {}, "The whole book as numbered sheets with title block, pictures, tables, findings and sources."),
    h("p", { class: "downloads" }, h("a", { class: "take", href: "/paper.pdf", download: "" }, "Print the book, A4"), h("a", { class: "take", href: "/paper.pdf?size=Letter", download: "" }, "Letter")),
    h("p", { class: "hint" }, "A stage that is out of date is printed as such."),
  );
  const root = h(
    "article",
    { class: "page page-readiness" },
    h("header", { class: "page-head" }, h("h1", {}, "Readiness"), verdict),
    h("div", { class: "plate" }, h("div", { class: "plate-picture" }, counts, findings.root, stages.root), h("div", { class: "plate-side" }, print, title.root)),
    h("details", { class: "small-print" }, h("summary", {}, "Method and sources"), h("p", {}, "Stop: do not cut steel. Attend: decide, and say why; an accepted finding keeps its reason and opens again when its value changes by more than 2 %. Note: good to know."), h("p", {}, "A job is ready when every stage is current, no stop is left, and every attend is settled or accepted with a reason.")),
  );

  function update() {
    const list = ctx.book.findings;
    const stops = list.filter((f) => f.severity === "stop").length;
    const open = list.filter((f) => f.severity === "attend" && !f.accepted).length;
    const settled = list.filter((f) => f.accepted).length;
    const stale = ctx.book.stages.filter((s) => s.state !== "current");
    verdict.textContent = ready(stops, open, stale);
    memo(counts, [stops, open, settled, list.length, stale.length], () =>
      put(counts, count("stop", stops, "stop", "do not cut steel"), count("attend", open, "attend", "to decide"), count("settled", settled, "note", "accepted with a reason"), count("note", list.filter((f) => f.severity === "note").length, "note", "notes"), count("stale", stale.length, "", "stages not current")),
    );
    findingsList(ctx, findings.body, list, { everywhere: true });
    memo(stages.body, [ctx.book.stages, ctx.book.working?.stage ?? ""], () =>
      put(
        stages.body,
        grid([{ name: "Stage", left: true }, { name: "State", left: true }, { name: "Why", left: true }], ctx.book.stages.map((s) => [s.title, ctx.book.working?.stage === s.name ? "working" : s.state, s.because || "–"]), { caption: "Stages", className: "words-table" }),
        stale.length && !ctx.book.working ? h("p", {}, h("button", { type: "button", class: "do", onclick: () => ctx.work([]) }, "Work all that is not current")) : null,
      ),
    ); // prettier-ignore
    title.update();
  }
  return { root, update };
}

function ready(stops, open, stale) {
  const parts = [];
  if (stale.length) parts.push(`${stale.length === 1 ? `${stale[0].title} ${stale[0].be}` : `${stale.length} stages are`} not current`);
  if (stops) parts.push(stops === 1 ? "one stop stands" : `${stops} stops stand`);
  if (open) parts.push(open === 1 ? "one decision is open" : `${open} decisions are open`);
  return parts.length ? `Not ready: ${parts.join(", ")}.` : "Ready: every stage is current and nothing is open.";
}

const count = (kind, n, shape, text) => h("div", { class: `count count-${kind}` }, h("p", { class: "count-figure" }, shape ? h("span", { class: `shape ${shape}`, "aria-hidden": "true" }) : null, h("span", { class: "figure" }, String(n))), h("p", { class: "hint" }, words(text)));

export default { name: "readiness", title: "Readiness", stages: [], reads: [], make };
