// Tryout: the press stroke from hold to springback, forces under the press's capacity, strains against the limit.

import { data, live } from "../api.js";
import { calm, h, memo, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, fromResult, grid, section } from "../parts.js";
import { Now } from "../plots/chart.js";
import { drawInPlan } from "../plots/drawin.js";
import { energyPlot, forcePlot } from "../plots/press_curve.js";
import { Strains } from "../plots/strains.js";
import { Stroke, stopsOf } from "../plots/stroke.js";
import { fixed, handy, num, quantity, timeLeft, words } from "../words.js";
import { StrokeView, TOOLS, wholeStroke } from "../view3d/stroke_view.js";
import { cautionList, done, frame, lazyPicture, statedIn } from "./page.js";

function make(ctx) {
  const now = new Now();
  const strains = new Strains({
    hover: (triangle) => view.picture?.light(triangle, false),
    pick: (triangle) => scene?.pick(triangle),
  });
  const stroke = new Stroke((stop) => moved(stop));
  const toolRow = h("div", { class: "tool-row" });
  const under = h("div", { class: "stroke-under" }, stroke.root, toolRow);
  const view = lazyPicture({ panes: [{ name: "part", caption: "Sheet and tools" }], bare: "bare metal", under, thickness: () => ctx.book.job.sheet.thickness, kind: "moving" }, linked);
  const forceBox = h("div", { class: "plot-place" });
  const picture = h("div", {}, view.box, h("div", { class: "pair-row tryout-pair" }, forceBox, strains.root));
  const stated = statedIn(ctx, "tryout");
  const side = decisions(ctx, stated.slice(0, 7), { title: "How it is drawn", more: stated.slice(7) });
  const numbers = section("The tryout in numbers");
  const drawIn = section("Draw-in");
  const spring = section("Springback");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "tryout", title: "Tryout", stages: ["tryout"], picture, side: stated.length ? side.root : [], sections: [numbers, drawIn, spring, cautions],
    print: [
      "The sheet is a shell of triangles between rigid tools, drawn in small steps of time by central differences: contact on both skins with the present thickness, Coulomb friction, plane stress at several stations through the thickness. Punch and blankholder move as the press moves them, faster than the press; the share of kinetic energy says whether that matters.",
      "The frames are those that were computed; nothing is drawn between them. The scale of a field is the same from first to last frame.",
      "The margin is the distance to the forming limit curve in major engineering strain, in percent points; below nothing the point lies beyond the limit.",
      "Springback is found by letting go of the tools, then of the metal beyond the trim line; the part is held without force.",
      "The force curve is the sum of the contact forces on a tool. On a single-action press the slide carries punch and blankholder together.",
    ],
  }); // prettier-ignore
  let scene = null; // what is drawn of the result
  let drawn = "";
  let running = null; // what follows the live frames of a run
  let busy = false;
  let liveFrame = -1;
  const cloud = calm(() => showCloud(), 130);

  function linked(pic) {
    pic.on("pick", (hit) => strains.mark(hit?.triangle ?? null));
    pic.on("hover", (hit) => strains.ring(hit?.triangle ?? strains.marked));
    pic.on("field", () => pic.hurried || strains.colour(pic.scale?.cell && scene?.linked ? pic.scale : null));
    update();
  }

  async function draw() {
    const r = ctx.result("tryout");
    const pic = view.picture;
    if (!pic) return;
    pic.job = ctx.book.job;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-tryout`;
    if (!r?.series?.sheet) {
      stroke.set([]);
      return pic.say(ctx.stage("tryout").state === "refused" ? "There is no tryout to show." : "The picture appears when the tryout has been worked. Press Work below.");
    }
    if (drawn === r.key) return done(pic.redraw());
    const before = drawn;
    drawn = r.key;
    try {
      const made = new StrokeView(pic, r, ctx.book.job);
      await made.load();
      if (drawn !== r.key) return;
      scene = made;
      tools();
      const stops = stopsOf(r, made.strokes, made.operations, (name, mm) => `${words(name)}: ${fixed(mm, 2)} mm from first touch, ${fixed(Math.max(made.end - mm, 0), 2)} mm above bottom`);
      stroke.set(stops, before && stroke.at < stops.length ? stroke.at : made.count - 1);
      done();
    } catch (problem) {
      drawn = "";
      console.error(problem);
      pic.say(problem.error ?? "The picture cannot be drawn.");
    }
  }

  async function moved(stop) {
    if (!scene || running) return;
    await scene.show(stop);
    now.set(stop.frame === undefined ? NaN : scene.end - stop.stroke);
    cloud();
  }

  async function showCloud() {
    const found = await scene?.strains();
    if (!found) return;
    const limit = ctx.result("sheet")?.tables?.limit ?? null;
    await strains.set({ ...found, limit: limit?.minor ? limit : null, wanted: ctx.book.job.blank.margin_wanted });
    const pic = view.picture;
    strains.colour(pic.scale?.cell && scene.linked ? pic.scale : null);
  }

  /** Which tools are seen, and which body is coloured. */
  function tools() {
    const tick = (name) =>
      h("label", { class: "tick" }, h("input", { type: "checkbox", checked: view.picture.shown.has(name), onchange: (e) => view.picture.showTool(name, e.target.checked) }), name);
    const bodies = ["sheet", ...scene.worn];
    const body = h("select", { "aria-label": "Body that is coloured", onchange: (e) => scene.colour(e.target.value) }, bodies.map((b) => h("option", { value: b }, `the ${b}`)));
    put(
      toolRow,
      h("span", { class: "pair" }, h("span", { class: "pair-name" }, "Seen as well:"), scene.tools.map(tick), scene.hasSkid ? h("label", { class: "tick" }, h("input", { type: "checkbox", onchange: (e) => scene.skid(e.target.checked) }), "skid line") : null),
      bodies.length > 1 ? h("span", { class: "pair" }, h("span", { class: "pair-name" }, "Coloured:"), body) : null,
    );
  }

  /** The newest live frame of a run: shape, thinning and the curve so far. */
  async function follow(working) {
    const pic = view.picture;
    if (!pic || busy || liveFrame === working.frame) return;
    busy = true;
    liveFrame = working.frame;
    try {
      const got = await live("tryout");
      if (!got?.arrays.points || ctx.book.working?.stage !== "tryout") return;
      if (!running) {
        page.root.classList.add("live");
        stroke.set([]);
        [scene, drawn] = [null, ""];
        strains.clear();
        put(toolRow);
        running = await StrokeView.begin(pic, got, await TOOLS.of(ctx.result("faces")));
      }
      await running.live(got);
      const v = got.values;
      stroke.say(`At work: ${words(v.operation ?? "")}, ${fixed(v.stroke_mm, 2)} of ${fixed(v.stroke_end_mm, 2)} mm, ${timeLeft(ctx.book.working?.seconds_left)}.`);
      const k = (got.arrays.curve?.length ?? 0) / 3;
      const column = (c) => Array.from({ length: k }, (_, i) => got.arrays.curve[3 * i + c]);
      memo(forceBox, `live/${liveFrame}`, () => put(forceBox, forcePlot({ stroke: column(0), punch: column(1), holder: column(2), end: v.stroke_end_mm, press: ctx.result("press"), title: "Forces so far, against what the press gives." })));
      done();
    } catch (problem) {
      console.error(problem); // the next frame may do better; the run itself goes on
    } finally {
      busy = false;
      if (ctx.book.working?.stage !== "tryout") update();
    }
  }

  function update() {
    page.update();
    side.update();
    const working = ctx.book.working;
    const r = ctx.result("tryout");
    const v = r?.values;
    page.verdict(v ? verdict(v, ctx.book.job) : "");
    fromResult(numbers.body, r, (box) => put(box, numbersOf(r)));
    drawIn.show(Boolean(r?.arrays?.edge_start));
    fromResult(drawIn.body, r?.arrays?.edge_start ? r : null, (box) => drawInOf(box, r), "");
    spring.show(Boolean(v?.springback?.length));
    fromResult(spring.body, v?.springback?.length ? r : null, (box) => put(box, springTable(v)), "");
    const press = ctx.result("press");
    cautions.show(Boolean(press?.values?.cautions?.length));
    fromResult(cautions.body, press, (box) => put(box, cautionList(press.values.cautions ?? [])), "");
    if (working?.stage === "tryout") {
      if (working.frame) follow(working);
      return;
    }
    if (busy) return; // the last live frame is still being drawn; then this is called again
    liveFrame = -1;
    if (running) {
      running = null;
      page.root.classList.remove("live");
    }
    memo(forceBox, r ? [r.key, press?.key ?? ""] : "none", () => put(forceBox, r?.tables?.press_curve ? curveOf(r, press, now) : h("p", { class: "quiet" }, "The force over the stroke appears when the tryout has been worked.")));
    draw();
  }

  return {
    root: page.root,
    update,
    shown: () => view.show(),
    place: (f) =>
      view.promise.then((pic) => {
        if (scene) stroke.go(scene.count - 1);
        pic.mark(f.place);
      }),
    view,
    stroke,
    strains,
  };
}

function curveOf(r, press, now) {
  const t = r.tables.press_curve;
  const end = Math.max(...t.stroke_mm.filter(Number.isFinite), wholeStroke(r));
  return [
    forcePlot({ stroke: t.stroke_mm, height: t.height_above_bottom_mm, punch: t.punch_kN, holder: t.blankholder_kN, end, press, now, title: "Forces over the height above bottom, against what the press gives." }),
    h("details", { class: "more" }, h("summary", {}, "Energies over the stroke"), energyPlot(t)),
  ];
}

function verdict(v, job) {
  if (v.stopped) return `Stopped before the end: ${v.stopped.replace(/\.$/, "")}. What you see ends at the last good frame.`;
  const wrinkles = Number.isFinite(v.wrinkle_height_max) ? `; wrinkles ${num(v.wrinkle_height_max, 2)} mm` : "";
  return `Margin to necking ${fixed(v.margin_min_pct, 1)} %, wanted ${quantity(job.blank.margin_wanted, "%")}; thinning ${fixed(v.thinning_max_pct, 1)} % at most${wrinkles}; punch ${num(v.punch_force_max_kN)} kN with ${num(v.blankholder_force_kN)} kN on the blankholder.`;
}

const share = (x) => (Number.isFinite(x) ? num(100 * x, 2) : "–");

function numbersOf(r) {
  const v = r.values;
  const mesh = v.mesh ?? {};
  const ops = v.operations ?? [];
  return [
    h(
      "div",
      { class: "columns" },
      facts([
        ["Highest punch force", v.punch_force_max_kN, "kN"], ["Blankholder force", v.blankholder_force_kN, "kN"], ["Work of the press", ...handy(v.press_work_J, "J")],
        ["Least margin to necking", v.margin_min_pct, "%"], ["Most thinning", v.thinning_max_pct, "%"], ["Highest wrinkle", v.wrinkle_height_max, "mm"],
      ]),
      facts([
        ["Deepest contact penetration, of the thickness", share(v.penetration_max_share), "%"], ["Highest share of kinetic energy", share(v.kinetic_share_max), "%"],
        ["Energy balance, worst", v.balance_worst_pct, "%"], ["Mass added for the time step", share(v.mass_added_share), "%"],
        ["Triangles of the sheet", num(mesh.triangles, 7)], ["Edges", `${num(mesh.edge_min)} to ${num(mesh.edge_max)}`, "mm"], mesh.how ? ["Mesh", mesh.how] : null,
      ]),
    ),
    ops.length ? grid([{ name: "Operation", left: true }, { name: "Steps of time" }], ops.map((o) => [words(o.name), num(o.steps, 9)]), { caption: "Operations" }) : null,
  ]; // prettier-ignore
}

async function drawInOf(box, r) {
  const [start, end] = await Promise.all([data.array(r.stage, r.key, "edge_start"), data.array(r.stage, r.key, "edge_end")]);
  put(box, drawInPlan(start, end, r.values.draw_in), h("p", { class: "quiet" }, "Seen from above: the blank's edge before (dashed) and after the draw, and how far it ran in, in mm."));
}

function springTable(v) {
  const rows = v.springback.map((s) => [s.point, (s.at ?? []).map((x) => num(Math.abs(x) < 5e-4 ? 0 : x, 4)).join("   "), num(s.released_mm, 3), num(s.trimmed_mm, 3)]);
  return grid([{ name: "Point", left: true }, { name: "x   y   z", unit: "mm" }, { name: "Released", unit: "mm" }, { name: "Trimmed", unit: "mm" }], rows, { caption: "How far reference points move from the drawn shape" });
}

export default { name: "tryout", title: "Tryout", stages: ["tryout"], reads: ["part", "tipping", "shape", "sheet", "solution", "blank", "press", "faces", "tryout"], slow: true, make };
