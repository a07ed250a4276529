// The book: title strip, contents, pages, and the one state that all of them read.

import { get, post, listen, upload, Problem } from "./api.js";
import { calm, h, put, memo } from "./dom.js";
import { num, sentence, timeLeft, words } from "./words.js";
import part from "./pages/part.js";
import sheet from "./pages/sheet.js";
import blank from "./pages/blank.js";
import press from "./pages/press.js";
import faces from "./pages/faces.js";
import draws from "./pages/draws.js";
import cutting from "./pages/cutting.js";
import plan from "./pages/plan.js";
import finish from "./pages/finish.js";
import dip from "./pages/dip.js";
import plating from "./pages/plating.js";
import line from "./pages/line.js";
import proposal from "./pages/proposal.js";
import tryout from "./pages/tryout.js";
import blankholder from "./pages/blankholder.js";
import compensation from "./pages/compensation.js";
import readiness from "./pages/readiness.js";

const QUIET_MS = 450;
const made = new Map();
const results = new Map();
let page = null;
let held = ""; // why the desk does not work by itself at this moment
let pending = false;
let lost = false;
let saidLast = "";

const BOOT = JSON.parse(document.getElementById("boot").textContent);
// a page is in the book when the desk knows its stages
const PAGES = [part, sheet, blank, press, faces, draws, proposal, tryout, blankholder, compensation, cutting, plan, finish, dip, plating, line, readiness].filter((p) => !p.stages.length || p.stages.some((name) => BOOT.stages.some((s) => s.name === name)));

const ctx = {
  book: BOOT,
  /** The last result of a stage as far as it has been fetched: {stage, key, state, because, values, ...} or null. */
  result: (stage) => results.get(stage) ?? null,
  stage: (name) => ctx.book.stages.find((s) => s.name === name),
  pageOf: (stage) => (PAGES.find((p) => p.stages.includes(stage) || p.also?.includes(stage)) ?? readiness).name,
  say,
  go,
  work,

  /** Change stated fields. Gives the sentence of a refusal, or "". */
  async edit(changes, name = "") {
    const problem = await change(() => post("/api/edit", { changes }));
    if (!problem) say(`${name || "The job"} is changed.`);
    return problem;
  },
  /** Take over what a result offers: fields and files. Gives the sentence of a refusal, or "". */
  async take(stage) {
    const problem = await change(() => post("/api/take", { stage }));
    if (!problem) say("It is taken over into the job.");
    return problem;
  },
  accept: (finding, reason, by) => change(() => post("/api/accept", { finding, reason, by })),
  unaccept: (finding) => change(() => post("/api/unaccept", { finding })),
  upload: (file) => change(() => upload("/api/part", file)),

  showPlace(finding) {
    const name = ctx.pageOf(finding.stage);
    const target = ["tipping", "part", "shape", "blank", "faces", "details", "cad", "draws", "draws_tryout", "proposal", "tryout", "compensation", "trim", "developed", "cutting", "scrap", "plan", "bends", "surface", "finish", "dip", "plating"].includes(finding.stage) ? name : "blank";
    go(target);
    made.get(target)?.place?.(finding);
    made.get(target)?.root.querySelector(".stage")?.scrollIntoView({ block: "nearest" });
  },
};

let last = Promise.resolve();

/** One change after the other: the job file has one writer. Gives the sentence of a refusal, or "". */
function change(ask) {
  last = last.then(() => changeNow(ask));
  return last;
}

async function changeNow(ask) {
  pending = true;
  footer();
  try {
    held = "";
    take(await ask());
    if (ctx.book.working && auto()) work(page.stages, false); // the desk drops the work for the state that has passed
    else soon();
    return "";
  } catch (problem) {
    const text = problem instanceof Problem ? sentence(problem) : String(problem);
    say(text, true);
    return text;
  } finally {
    pending = false;
    footer();
  }
}

/** Take a new state of the book. */
function take(book) {
  if (ctx.book && book.serial < ctx.book.serial) return; // an answer that was overtaken by a later one
  ctx.book = book;
  render();
  refresh();
}

/** Fetch the results of this page that are missing or have changed. */
async function refresh() {
  const wanted = page.stages.length ? [...page.reads, ...(page.looks ?? [])] : []; // what a page looks at as well is shown where it is, and never asked for
  await Promise.all(
    wanted.map(async (name) => {
      const stage = ctx.stage(name);
      const have = results.get(name);
      if (!stage?.key || stage.state === "not worked") return results.delete(name);
      if (have && have.key === stage.key && have.state === stage.state) return null;
      if (have && have.asked === `${stage.key}/${stage.state}`) return null;
      try {
        const got = await get(`/api/result/${name}`);
        results.set(name, { ...got, stage: name, asked: `${stage.key}/${stage.state}` });
      } catch (problem) {
        if (problem.status !== 404) say(sentence(problem), true);
        results.delete(name);
      }
      return null;
    }),
  );
  made.get(page.name)?.update();
}

/** Work stages; without a name, those of the page. */
async function work(stages = page.stages, again = true) {
  if (again) held = "";
  try {
    take(await post("/api/work", { stages: stages.filter(ctx.stage) }));
  } catch (problem) {
    held = "it was refused";
    say(sentence(problem), true);
  }
}

const auto = () => localStorage.getItem("diewright-auto") !== "off";

function consider() {
  if (!auto() || held || ctx.book.working || lost || !page.stages.length || page.slow) return; // what takes minutes is worked when it is asked for
  const stale = page.reads.map(ctx.stage).filter((s) => s && (s.state === "out of date" || s.state === "not worked"));
  const refused = page.reads.map(ctx.stage).some((s) => s?.state === "refused");
  if (stale.length && !refused) work(page.stages, false);
}
const soon = calm(consider, QUIET_MS);

async function stop() {
  held = "you stopped it";
  say("Stopping; what was finished is kept.");
  try {
    take(await post("/api/stop"));
  } catch (problem) {
    say(sentence(problem), true);
  }
}

function say(text, grave = false) {
  saidLast = text;
  const line = document.getElementById("said");
  line.textContent = text;
  line.classList.toggle("grave", grave);
}

/** How a page stands, in words. */
function standing(p) {
  const own = p.stages.map(ctx.stage).filter(Boolean);
  const working = ctx.book.working;
  if (working && p.stages.includes(working.stage)) return ["working", `working ${Math.round(100 * (working.share ?? 0))} %`];
  for (const state of ["refused", "out of date", "not worked"]) {
    const s = own.find((x) => x.state === state);
    if (s) return [state.replaceAll(" ", "-"), state, s.because];
  }
  const list = p === readiness ? ctx.book.findings : ctx.book.findings.filter((f) => p.stages.includes(f.stage) || p.also?.includes(f.stage));
  const stops = list.filter((f) => f.severity === "stop").length;
  const open = list.filter((f) => f.severity === "attend" && !f.accepted).length;
  if (stops) return ["decide", stops === 1 ? "1 stop" : `${stops} stops`];
  if (open) return ["decide", open === 1 ? "needs a decision" : `needs ${open} decisions`];
  return p === readiness ? ["current", ctx.book.stages.every((s) => s.state === "current") ? "nothing open" : "not all worked"] : ["current", "current"];
}

function render() {
  const { job } = ctx.book;
  document.title = `${words(page.name)} – ${job.job.title}`;
  const index = PAGES.indexOf(page) + 1;
  const strip = document.getElementById("title-block");
  const cells = [["Job", job.job.number || ctx.book.folder], ["Part", job.job.title, "wide"], ["Sheet", `${job.sheet.material}, ${num(job.sheet.thickness)} mm`], ["Quantity", `${num(job.job.quantity, 9)} a year`], ["Revision", job.job.revision, "short"], ["Page", `${index} of ${PAGES.length}`, "short"]]; // prettier-ignore
  memo(strip, cells, () => put(strip, cells.map(([name, value, kind = ""]) => h("div", { class: `cell ${kind}` }, h("dt", {}, name), h("dd", { title: value }, value)))));
  const list = document.getElementById("contents");
  const items = PAGES.map((p, i) => [p.name, p.title, i + 1, p === page, ...standing(p)]);
  memo(list, items, () => {
    const focused = list.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    put(
      list,
      items.map(([name, title, n, here, state, text, because]) =>
        h("li", {}, h("a", { href: `/${name}`, "aria-current": here ? "page" : null, class: `state-${state}`, title: because ? `${text}: ${because}` : text }, h("span", { class: "entry" }, h("span", {}, title), h("span", { class: "dots", "aria-hidden": "true" }), h("span", { class: "figure" }, n)), h("span", { class: "entry-state" }, text))),
      ),
    );
    if (focused) list.querySelector(`a[href="${focused}"]`)?.focus();
  });
  made.get(page.name)?.update();
  footer();
}

function footer() {
  const { working, undo, redo } = ctx.book;
  const bar = document.getElementById("progress");
  bar.hidden = !working;
  const doing = document.getElementById("doing");
  if (working) {
    const done = working.count ? (working.index + (working.share ?? 0)) / working.count : 0;
    bar.value = done;
    doing.textContent = working.title ? `${working.title}: ${working.phase}. ${working.count > 1 ? `Stage ${working.index + 1} of ${working.count}, ` : ""}${timeLeft(working.seconds_left)}.` : "Starting.";
  } else doing.textContent = pending ? "Writing the change." : "";
  const stale = page?.stages.length && page.reads.map(ctx.stage).some((s) => s && s.state !== "current");
  document.getElementById("stop").hidden = !working;
  document.getElementById("work").hidden = Boolean(working) || !stale;
  document.getElementById("undo").disabled = !undo;
  document.getElementById("redo").disabled = !redo;
  document.getElementById("said").hidden = Boolean(doing.textContent) && !document.getElementById("said").classList.contains("grave");
}

function go(name, push = true) {
  const next = PAGES.find((p) => p.name === name) ?? PAGES[0];
  if (push && location.pathname !== `/${next.name}`) history.pushState(null, "", `/${next.name}`);
  if (next === page) return;
  delete document.documentElement.dataset.drawn;
  const before = page && made.get(page.name);
  before?.root.remove();
  page = next;
  if (!made.has(page.name)) made.set(page.name, page.make(ctx));
  const now = made.get(page.name);
  document.getElementById("page").replaceChildren(now.root);
  render();
  now.shown?.();
  scrollTo(0, 0);
  refresh();
  soon();
}

function keys(e) {
  const typing = e.target.matches?.("input:not([type=range]):not([type=checkbox]), textarea, select");
  if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "z" && !typing) {
    e.preventDefault();
    step(e.shiftKey ? "redo" : "undo");
  } else if ((e.ctrlKey || e.metaKey) && e.key.toLowerCase() === "y" && !typing) {
    e.preventDefault();
    step("redo");
  } else if (e.altKey && PAGES[Number(e.key) - 1]) {
    e.preventDefault();
    go(PAGES[Number(e.key) - 1].name);
    document.getElementById("page").focus();
  }
}

async function step(way) {
  const problem = await change(() => post(`/api/${way}`));
  if (!problem) say(way === "undo" ? "The last change is taken back." : "The change is made again.");
}

function theme(name) {
  if (name) document.documentElement.dataset.theme = name;
  else delete document.documentElement.dataset.theme;
  const dark = name ? name === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.getElementById("theme").textContent = dark ? "Light" : "Dark";
  document.dispatchEvent(new CustomEvent("theme"));
}

function start() {
  const on = (id, fn) => document.getElementById(id).addEventListener("click", fn);
  on("stop", stop);
  on("work", () => work());
  on("undo", () => step("undo"));
  on("redo", () => step("redo"));
  on("theme", () => {
    const dark = document.getElementById("theme").textContent === "Light";
    localStorage.setItem("diewright-theme", dark ? "light" : "dark");
    theme(dark ? "light" : "dark");
  });
  theme(localStorage.getItem("diewright-theme"));
  const box = document.getElementById("auto");
  box.checked = auto();
  box.addEventListener("change", () => {
    localStorage.setItem("diewright-auto", box.checked ? "on" : "off");
    say(box.checked ? "Changes are worked at once." : "Changes wait until you press Work.");
    soon();
  });
  document.addEventListener("keydown", keys);
  document.addEventListener("click", (e) => {
    const link = e.target.closest?.("a[href^='/']");
    if (!link || e.ctrlKey || e.metaKey || link.hasAttribute("download") || !PAGES.some((p) => `/${p.name}` === link.getAttribute("href"))) return;
    e.preventDefault();
    go(link.getAttribute("href").slice(1));
  });
  addEventListener("popstate", () => go(location.pathname.slice(1), false));
  go(location.pathname.slice(1), false);
  listen((kind, content) => {
    if (kind === "progress") {
      ctx.book.working = content;
      render();
    } else if (kind === "book") {
      take(content);
      soon();
    } else if (kind === "failed") {
      held = "it was refused";
      say(sentence(content), true);
    } else if (kind === "lost") {
      lost = true;
      say("The desk does not answer. Start it again with: diewright book", true);
    } else if (kind === "open" && lost) {
      lost = false;
      say("The desk answers again.");
      get("/api/book").then(take, () => {});
    }
  });
}

start();
