// What all pages share: the order of things on a page, and the line that says how it stands.

import { h, memo, put } from "../dom.js";
import { findingsList, fromResult, section, smallPrint } from "../parts.js";

/** The frame of a page. `picture` and `side` stand beside each other; `sections` follow. `also`: stages whose findings stand here as well. */
export function frame(ctx, { name, title, stages, also = [], picture, side, sections, print = [] }) {
  const verdict = h("p", { class: "verdict" });
  const notice = h("div", { class: "notice", role: "status" });
  const findings = section("Findings");
  const small = smallPrint(print);
  const root = h(
    "article",
    { class: `page page-${name}` },
    h("header", { class: "page-head" }, h("h1", {}, title), verdict),
    notice,
    h("div", { class: "plate" }, h("div", { class: "plate-picture" }, picture), h("div", { class: "plate-side" }, side)),
    sections.map((s) => s.root),
    findings.root,
    small,
  );
  return {
    root,
    verdict: (text) => (verdict.textContent = text || ""),
    update() {
      const rows = stages.map(ctx.stage).filter((s) => s && s.state !== "current");
      memo(notice, [rows, ctx.book.working?.stage ?? ""], () => {
        root.classList.toggle("stale", rows.some((s) => s.state !== "not worked"));
        const roots = rows.filter((s) => !rows.some((o) => o !== s && (s.because.includes(`${o.title} ${o.be} ${o.state}`) || (o.state === "refused" && s.state === "not worked"))));
        const followers = rows.filter((s) => !roots.includes(s)).map((s) => s.title);
        put(notice, roots.map((s, i) => h("p", { class: `state state-${s.state.replaceAll(" ", "-")}` }, h("strong", {}, `${s.title} ${s.be} ${s.state}`), sentenceFor(s), i === roots.length - 1 && followers.length ? ` ${followers.join(" and ")} ${s.state === "refused" ? "waits for it" : "will follow"}.` : null)));
      });
      findingsList(ctx, findings.body, ctx.book.findings.filter((f) => stages.includes(f.stage) || also.includes(f.stage)));
    },
  };
}

function sentenceFor(s) {
  if (s.state === "out of date") return ` because ${s.because}. What you see is the earlier result.`;
  if (s.state === "refused") return `. ${s.because}`;
  return `: ${s.because}.`;
}

/** Point and cell loaders for the fields of a result's mesh, in the order wanted. */
export function fieldsOf(data, result, mesh, names) {
  const have = result.meshes?.[mesh];
  if (!have) return [];
  return names
    .filter((n) => have.point?.[n] || have.cell?.[n])
    .filter((n) => (have.cell?.[n] ?? have.point?.[n]).components === undefined || (have.cell?.[n] ?? have.point?.[n]).components === 1)
    .map((n) => ({
      name: n,
      point: have.point?.[n] ? () => data.point(result.stage, result.key, mesh, n) : null,
      cell: have.cell?.[n] ? () => data.cell(result.stage, result.key, mesh, n) : null,
    }));
}

/** The fields that a person states under one heading of the job file, as far as they have a control. */
export const statedIn = (ctx, table) => Object.keys(ctx.book.fields).filter((path) => path.startsWith(`${table}.`) && !["list", "vector", "auto-vector"].includes(ctx.book.fields[path].kind));

/** What to heed before anyone works at the press. */
export const cautionList = (list) => h("details", { class: "cautions", open: false }, h("summary", {}, `Before anyone works at the press: ${list.length || "no"} cautions`), h("ul", {}, list.map((c) => h("li", {}, c))));

/** The cautions that a stage gives, folded under `title`. */
export function cautionsOf(place, result, title) {
  const list = result?.values.cautions ?? [];
  place.show(list.length > 0);
  fromResult(place.body, result, (box) => put(box, h("details", { class: "cautions", open: false }, h("summary", {}, `${title}: ${list.length} cautions`), h("ul", {}, list.map((c) => h("li", {}, c))))));
}

/** Note on the page when its picture stands (measured by the tests and the benchmark). */
export function done() {
  document.documentElement.dataset.drawn ??= String(Math.round(performance.now()));
}

/** Gives `draw(key, work)`: calls `work(stillWanted)` when the key of what is shown has changed; what goes wrong is said in the picture and tried again at the next change. */
export function drawsOnce(view) {
  let drawn = "";
  return async (key, work) => {
    const { picture } = view;
    if (drawn === key) return done(picture.redraw());
    drawn = key;
    try {
      await work(() => drawn === key);
      if (drawn === key) done();
    } catch (problem) {
      drawn = "";
      console.error(problem);
      picture.say(problem.error ?? "The picture cannot be drawn.");
    }
  };
}

/** Load the 3-D picture when the browser has shown the page; `make` gets the class. */
export function lazyPicture({ kind = "still", ...options }, ready) {
  const box = h("div", { class: "picture-place" }, h("p", { class: "quiet" }, "Drawing the picture."));
  const later = { box, picture: null, shown: false };
  const load = { moving: () => import("../view3d/moving.js").then((m) => m.Moving), bath: () => import("../view3d/bath.js").then((m) => m.Bath), cuts: () => import("../view3d/cuts.js").then((m) => m.Cuts), picked: () => import("../view3d/picked.js").then((m) => m.Picked), still: () => import("../view3d/picture.js").then((m) => m.Picture) }[kind]();
  later.promise = load.then((Picture) => {
    later.picture = new Picture(options);
    put(box, later.picture.root);
    document.addEventListener("theme", () => later.picture.applyLook());
    addEventListener("beforeprint", () => printed(later.picture));
    if (later.shown && box.isConnected) later.picture.mount(); // a page that was left meanwhile must not take the canvas from the one that is seen
    ready?.(later.picture);
    return later.picture;
  });
  later.promise.catch((problem) => {
    console.error(problem);
    put(box, h("p", { class: "quiet" }, "The 3-D view cannot be loaded. All numbers below are complete without it."));
  });
  later.show = () => {
    later.shown = true;
    later.picture?.mount();
  };
  return later;
}

function printed(picture) {
  if (!picture.mounted) return;
  const canvas = picture.canvas();
  canvas.className = "print-picture";
  picture.root.querySelector(".print-picture")?.remove();
  picture.stage.after(canvas);
  addEventListener("afterprint", () => canvas.remove(), { once: true });
}
