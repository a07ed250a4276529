// Dip: the part turned in the bath, its air and its pools at once; all attitudes on a map; holes, drag-out.

import { data, pockets } from "../api.js";
import { calm, h, memo, put } from "../dom.js";
import { decisions } from "../decisions.js";
import { facts, fromResult, grid, section } from "../parts.js";
import { attitudeMap } from "../plots/dip_map.js";
import { anglesOf } from "../view3d/bath_view.js";
import { fixed, num } from "../words.js";
import { dragOutOf, holesOf, pocketTable, volume } from "./dip_tables.js";
import { turning } from "./dip_turning.js";
import { cautionsOf, drawsOnce, frame, lazyPicture, statedIn } from "./page.js";

const FIRST = ["dip.significant", "dip.in_speed", "dip.out_speed", "dip.drip_time", "dip.parts"];
const MAPS = [["both", "air and pools"], ["air", "air that stays"], ["pool", "pools that stay"]]; // prettier-ignore

function make(ctx) {
  let up = null; // the attitude that is shown, in the part's coordinates
  let map = null;
  let holes = false;
  const asked = { running: false, again: false };
  const controls = turning({ turned: (next) => turn(next), moment: (way, share) => moment(way, share), look: (el) => look(el), holed: (yes) => ((holes = yes), ask()) });
  const view = lazyPicture({ kind: "bath", panes: [{ name: "part", caption: "The part in the bath" }], under: controls.root }, (pic) => {
    pic.main.view.tipped = () => turned(pic.main.view.vertical);
    draw();
  });
  const takes = h("div", { class: "take-over" });
  const side = decisions(ctx, FIRST, { title: "The bath and the rack", more: statedIn(ctx, "dip").filter((path) => !FIRST.includes(path)) });
  const list = section("Pockets in the attitude shown");
  const all = section("All attitudes");
  const made = section("Holes that let air out and bath off");
  const drag = section("Drag-out");
  const cautions = section("Cautions");
  const page = frame(ctx, {
    name: "dip", title: "Dip", stages: ["dip"], picture: view.box, side: [takes, side.root], sections: [cautions, list, all, made, drag],
    print: [
      "The space round the part is filled with cells that follow every triangle of the sheet. Air stays where the rising bath cuts off its last way up, bath stays where the falling one leaves it without a way out; volumes and levels are exact for these triangles, and slow lowering and lifting are taken for granted.",
      "The sheet counts as one skin without thickness. Drops, foam, gas that the bath makes and the swing of the rack are not covered. Below about 5 mm width surface tension decides and more may stay than is shown; no source gives a limit, so try such places with a part in the bath.",
      "Drag-out: what is pulled out, or bead and film if that is less, and the pools. Bead by Konishi and others (1974), plus or minus 15 %; the draining film by Jeffreys (1930).",
    ],
  }); // prettier-ignore
  const once = drawsOnce(view);

  /** Another way up, by hand, typed, or from the map. */
  function turn(next) {
    const pic = view.picture;
    if (!pic?.main.mesh) return;
    pic.main.view.stand(next);
    pic.redraw();
    turned(pic.main.view.vertical);
  }

  function turned(next) {
    up = next;
    controls.set(up);
    map?.set(up);
    ask();
  }

  function look(el) {
    view.picture.main.view.el = el;
    view.picture.redraw();
  }

  /** Ask the desk for the pockets; while one answer is under way only the newest attitude waits, and an answer that was overtaken is not shown. */
  async function ask() {
    const r = ctx.result("dip");
    if (!r || !up) return;
    if (asked.running) return void (asked.again = true);
    asked.running = true;
    controls.wait(true);
    try {
      do {
        asked.again = false;
        const frameNow = await pockets(r.key, up, holes);
        if (asked.again) continue;
        await view.picture.setPockets(frameNow);
        told(frameNow);
      } while (asked.again);
    } catch (problem) {
      controls.say(problem.error ? `${problem.error} ${problem.help}` : "The pockets cannot be drawn.");
      if (!problem.error) console.error(problem);
    } finally {
      asked.running = false;
      controls.wait(false);
    }
  }

  function told({ values: v }) {
    controls.answer(v);
    rested(v);
  }

  /** Tables wait until the hand rests: they would only flicker. */
  const rested = calm((v) => {
    put(list.body, pocketTable(v, (at, label) => view.picture.mark({ points: [at], label })));
    offer(v);
  }, 90);

  function moment(way, share) {
    const v = view.picture?.frame?.values;
    if (!v) return;
    const room = 0.06 * (v.high - v.low);
    const level = v.low - room + share * (v.high - v.low + 2 * room);
    view.picture.setMoment(way, level);
    controls.level(way, level - v.low, view.picture.there(way === "in" ? "air" : "pool").size, v);
  }

  /** What can be done with the attitude shown. */
  function offer(v) {
    const r = ctx.result("dip");
    const stated = ctx.book.job.dip.attitude;
    const same = (a) => Array.isArray(a) && a.reduce((sum, x, k) => sum + x * v.up[k], 0) / Math.hypot(...a) > 1 - 1e-7;
    const { lean, towards } = anglesOf(v.up);
    const rounded = v.up.map((x) => Number(x.toFixed(5)) + 0);
    put(
      takes,
      h("h2", {}, "The attitude shown"),
      facts([["Up leans from the part’s z", fixed(lean, 1), "deg"], ["towards, from its x", fixed(towards, 1), "deg"], ["Air that stays", ...volume(v.air_mm3)], ["Bath that stays", ...volume(v.pool_mm3)]]),
      same(stated) ? h("p", { class: "taken" }, "This is the attitude that the job states.") : [h("button", { type: "button", class: "do take-attitude", onclick: () => ctx.edit({ "dip.attitude": rounded }, "The attitude") }, "Take this attitude"), h("p", { class: "quiet" }, stated === "auto" && same(r.values.up) ? "The search found it; taking it keeps it as it is." : "It is written into the job; Undo takes it back.")],
      stated === "auto" ? null : h("button", { type: "button", class: "word", onclick: () => ctx.edit({ "dip.attitude": "auto" }, "The attitude") }, "Let the desk search"),
    );
  }

  async function draw() {
    const r = ctx.result("dip");
    const pic = view.picture;
    if (!pic) return;
    pic.fileStem = `${ctx.book.job.job.number || "job"}-dip`;
    controls.show(Boolean(r?.meshes?.part));
    if (!r?.meshes?.part) return pic.say(ctx.stage("dip").state === "refused" ? "There is no part to dip." : "The picture appears when dipping has been worked.");
    return once(r.key, async (wanted) => {
      const [points, triangles] = await Promise.all([data.points("dip", r.key, "part"), data.triangles("dip", r.key, "part")]);
      if (!wanted()) return;
      pic.say("");
      pic.forget();
      pic.setMesh("part", points, triangles);
      await pic.setFields([]);
      controls.bests(r.values.attitudes.map((a) => a.up), r.values.up); // prettier-ignore
      controls.canHole(Boolean(r.tables.pockets?.hole_mm?.length));
      turn(r.values.up);
    });
  }

  function update() {
    page.update();
    side.update();
    const r = ctx.result("dip");
    const v = r?.values;
    page.verdict(v ? verdict(v) : "");
    fromResult(all.body, r, (box) => mapOf(box, r));
    if (!r) put(list.body, h("p", { class: "quiet" }, "Not worked yet."));
    made.show(Boolean(r?.tables?.pockets?.hole_mm?.length));
    fromResult(made.body, r, (box) => put(box, holesOf(r)));
    fromResult(drag.body, r, (box) => put(box, dragOutOf(r, ctx.book.job.dip)));
    cautionsOf(cautions, r, "Before anyone works at the bath");
    memo(takes, [r?.key ?? "", ctx.book.job.dip.attitude], () => (view.picture?.frame && r ? offer(view.picture.frame.values) : put(takes)));
    draw();
  }

  async function mapOf(box, r) {
    const asked = box.memoKey;
    put(box, h("p", { class: "quiet" }, "Reading the attitudes."));
    const [ups, air, pool] = await Promise.all(["map_up", "map_air", "map_pool"].map((name) => data.array("dip", r.key, name)));
    if (box.memoKey !== asked) return; // another result came meanwhile
    const values = { both: air.map((a, i) => (a + pool[i]) / 1000), air: air.map((a) => a / 1000), pool: pool.map((a) => a / 1000) };
    const title = (kind) => MAPS.find((m) => m[0] === kind)[1].replace(/^./, (c) => c.toUpperCase());
    map = attitudeMap({ ups, values: values.both, title: title("both"), best: r.values.attitudes.map((a, i) => ({ up: a.up, text: `Best ${i + 1}` })), chosen: (next) => turn(next) });
    map.set(up ?? r.values.up);
    const choose = h("select", { "aria-label": "What the map shows", onchange: (e) => map.show(values[e.target.value], title(e.target.value)) }, MAPS.map(([value, text]) => h("option", { value }, text)));
    put(
      box,
      h("div", { class: "dip-all" },
        h("div", {}, h("p", { class: "picture-words" }, h("span", { class: "pair" }, h("span", { class: "pair-name" }, "Show"), choose)), h("div", { class: "plot-place wide" }, map.root),
          h("p", { class: "quiet" }, `Every patch is one of ${num(r.values.tried, 6)} attitudes that were tried: which way of the part is up. The middle of the left disc is z up, the rim is z level, the rings are 30° and 60° of lean; areas are true, colours go with the cube root. A click, or the arrow keys, take the part there.`)),
        h("div", {}, bestTable(r, turn))),
    ); // prettier-ignore
  }

  return { root: page.root, update, shown: () => view.show(), place: (f) => view.promise.then((pic) => (ctx.result("dip") && turn(ctx.result("dip").values.up), pic.mark(f.place))), view };
}

function verdict(v) {
  const of = (mm3, n, what) => (n ? `${volume(mm3).join(" ")} in ${num(n)} ${what}${n > 1 ? "s" : ""}` : `no ${what}`);
  return `${v.chosen === "auto" ? "In the best attitude found" : "In the stated attitude"}: ${of(v.air_mm3, v.air_pockets, "air pocket")}, ${of(v.pool_mm3, v.pools, "pool")}; a part carries ${num(v.drag_out.part_mL)} mL off.`;
}

function bestTable(r, turn) {
  const t = r.tables.attitudes;
  const rows = r.values.attitudes.map((a, i) => {
    const { lean, towards } = anglesOf(a.up);
    return [h("button", { type: "button", class: "word", onclick: () => turn(a.up) }, `Best ${i + 1}`), fixed(lean, 1), fixed(towards, 1), num(a.air_mm3 / 1000), num(a.pool_mm3 / 1000), num(t.dry_significant_mm2[i] / 100), fixed(a.room_deg, 0)];
  });
  return [
    grid([{ name: "Attitude", left: true }, { name: "Lean", unit: "deg" }, { name: "towards", unit: "deg" }, { name: "Air", unit: "mL" }, { name: "Pools", unit: "mL" }, { name: "Dry", unit: "cm²" }, { name: "Room", unit: "deg" }], rows, { caption: "The best that lie 30° apart", className: "tight-table" }),
    h("p", { class: "quiet" }, "Dry: significant surface that the bath does not reach. Room: how far the rack may hang off before a millilitre more stays, as coarse as the attitudes tried. Attitudes that cost alike are ranked by it."),
  ]; // prettier-ignore
}

export default { name: "dip", title: "Dip", stages: ["dip"], reads: ["part", "tipping", "sheet", "dip"], make };
