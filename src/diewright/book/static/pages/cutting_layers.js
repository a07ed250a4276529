// What the picture of the page Cutting shows beside the drawn sheet, look by look.

import { data } from "../api.js";
import { fixed, num, words } from "../words.js";
import { toneOf } from "../view3d/cuts.js";
import { fillCorners, middleOf, rowsOf } from "../view3d/strokes.js";

export const LOOKS = [["operations", "cut lines by operation"], ["lean", "lean of the sheet along the lines"], ["thickness", "thickness along the lines"], ["burr", "side of the burr"], ["scrap", "scrap pieces"], ["upper", "upper steels"], ["post", "post, in steels"]]; // prettier-ignore

/** Line styles of operations: dash [drawn, left out] in hundredths of the part, thickness. Whole for what goes straight down first. */
export const STYLES = { "first trim": { dash: [], size: 1.25 }, "second trim": { dash: [5, 2.4], size: 1.25 }, cam: { dash: [2, 1.6], size: 1.6 } };
const OTHER = { dash: [5, 1.6, 1, 1.6], size: 1.2 };
export const styleOf = (operation) => STYLES[operation] ?? OTHER;

const finite = (p) => p.every(Number.isFinite);
const unit = (a) => {
  const l = Math.hypot(...a) || 1;
  return a.map((v) => v / l);
};

/** Everything that the looks are made from, fetched once for the results shown. */
export async function gathered(ctx, trim) {
  const [cutting, scrap, faces] = ["cutting", "scrap", "faces"].map((n) => ctx.result(n));
  const array = async (r, name) => (r?.arrays?.[name] ? rowsOf(await data.array(r.stage, r.key, name), r.arrays[name].shape[1]) : null);
  const cuts = await Promise.all(
    trim.values.cuts.map(async (c) => ({ ...c, points: (await array(trim, `cut_${c.id}`)) ?? [], lean: await one(trim, `lean_${c.id}`), thickness: await one(trim, `thickness_${c.id}`), frame: await array(cutting, `frame_${c.id}`) })),
  );
  const names = scrap?.values.cuts ?? [];
  const pieces = scrap?.tables?.pieces?.piece ?? [];
  const outlines = await Promise.all(pieces.map((k) => array(scrap, `piece_${k}`)));
  const steels = scrap?.tables?.steels;
  const bodies = await Promise.all((steels?.steel ?? []).map((k) => array(scrap, `steel_${k}`)));
  const rim = (await array(trim, "rim"))?.filter(finite);
  const opening = (await array(faces, "opening"))?.map(([x, y, z = 0]) => [x, y, z]);
  return { cuts, cutting, scrap, names, pieces, outlines, steels, bodies, rim, opening };

  async function one(r, name) {
    return r?.arrays?.[name] ? data.array(r.stage, r.key, name) : null;
  }
}

/** The choppers, drawn on the sheet. */
function choppers(g) {
  const t = g.scrap?.tables?.choppers;
  return (t?.x_mm ?? []).map((_, k) => ({ kind: "line", points: [[t.x_mm[k], t.y_mm[k], t.z_mm[k]], [t.end_x_mm[k], t.end_y_mm[k], t.end_z_mm[k]]], closed: false, size: 2, colour: "--accent" })).filter((i) => i.points.every(finite));
}

const plainLines = (g, colour = "--picture-edge", size = 0.9) => g.cuts.map((c) => ({ kind: "line", points: c.points, closed: c.closed, colour, size, ...(styleOf(c.operation).dash.length ? { dash: styleOf(c.operation).dash } : {}) }));
const around = (g) => [g.rim ? { kind: "line", points: g.rim, closed: true, size: 0.55, dash: [2.4, 1.6], colour: "--picture-edge" } : null, g.opening ? { kind: "line", points: g.opening, closed: true, size: 0.5, dash: [6, 1.2, 0.8, 1.2], colour: "--picture-edge" } : null].filter(Boolean); // prettier-ignore

/** The spot beside a line where its name stands. */
const nameAt = (c) => (c.kind === "pierce" ? middleOf(c.points) : (c.points.reduce((a, p) => (p[0] - p[1] > a[0] - a[1] ? p : a), c.points[0]) ?? [0, 0, 0]));

/** {items, labels, flags, rule, keep, said} of one look; `keep`: leave the scrap of the mesh out. `span`: radius of the mesh [mm]. */
export function lookOf(g, look, span, limits) {
  const names = g.cuts.filter((c) => c.points.length).map((c) => ({ place: nameAt(c), text: words(c.id), kind: "name" }));
  if (look === "lean" || look === "thickness") {
    const lists = g.cuts.filter((c) => c[look]?.length === c.points.length && c.points.length).map((c) => ({ points: c.points, values: Array.from(c[look]) }));
    return {
      items: [...lists.map((l) => ({ kind: "line", points: l.points, closed: true, values: l.values, size: 1.9 })), ...around(g)], labels: [], rule: { name: look === "lean" ? "lean_deg" : "thickness", lists, limit: look === "lean" ? [limits.lean, "largest lean"] : [limits.thickness, "sheet as bought"] },
      said: look === "lean" ? `Lean: between the steel’s travel and the sheet’s normal, at every point of every line.${camWords(g.cuts)}` : "Thickness of the sheet where it is cut.",
    }; // prettier-ignore
  }
  if (look === "scrap") return scrapLook(g, span);
  if (look === "upper" || look === "post") return steelLook(g, look === "upper", span);
  if (look === "burr") return burrLook(g, span, names);
  return {
    items: [...g.cuts.flatMap((c) => lineOf(c)), ...camArrows(g, span), ...choppers(g), ...around(g)],
    labels: names,
    said: "",
  };
}

/** A cut line in the style of its operation; a line of several cams in its stretches. */
function lineOf(c) {
  const { dash, size } = styleOf(c.operation);
  return [{ kind: "line", points: c.points, closed: c.closed, dash, size, colour: "--picture-edge" }];
}

/** The travel of every steel that does not go straight down. */
function camArrows(g, span) {
  const out = [];
  for (const c of g.cuts) {
    const n = c.points.length;
    const cams = c.cams?.length ? c.cams : c.cam_deg > 0.05 ? [{ from: 0, to: n, direction: c.direction }] : [];
    for (const cam of cams) {
      const count = (cam.to - cam.from + n) % n || n;
      const at = c.kind === "pierce" ? middleOf(c.points) : c.points[(cam.from + Math.floor(count / 2)) % n];
      if (!at) continue;
      const way = unit(cam.direction);
      out.push({ kind: "arrow", from: at.map((v, k) => v - way[k] * span * 0.32), way, length: span * 0.3, colour: "--accent" });
    }
  }
  return out;
}

/** A line that cams cut in stretches is coloured as one steel would meet it: say what its cams make of it. */
function camWords(cuts) {
  const split = cuts.filter((c) => c.cams?.length);
  if (!split.length) return "";
  return ` ${split.map((c) => `${words(c.id)} is coloured as one steel straight down would meet it; its ${c.cams.length} cams lean up to ${fixed(Math.max(...c.cams.map((one) => one.lean_max_deg)), 1)}°.`).join(" ")}`;
}

function scrapLook(g, span) {
  const t = g.scrap?.tables?.pieces;
  if (!t?.piece?.length) return { items: [...plainLines(g), ...around(g)], labels: [], said: g.scrap ? "There is no scrap to show." : "Scrap and steels have not been worked." };
  const out = { items: [...plainLines(g)], labels: [], keep: true };
  const rings = t.piece.filter((_, k) => !t.slug[k]).length;
  const shift = 0.07 * span;
  t.piece.forEach((number, k) => {
    const ring = g.outlines[k];
    if (!ring || ring.length < 3) return;
    const slug = Boolean(t.slug[k]);
    const angle = (t.way_deg[k] * Math.PI) / 180;
    const way = slug ? [0, 0, -1] : Number.isFinite(t.way_deg[k]) ? [Math.cos(angle), Math.sin(angle), 0] : null;
    const moved = ring.map((p) => (way ? p.map((v, j) => v + way[j] * shift * (slug ? 2.4 : 1)) : p));
    out.items.push({ kind: "fill", points: moved, colour: way ? `--piece-${toneOf(k, rings)}` : "--accent" });
    const middle = farFrom(moved);
    if (way) out.items.push({ kind: "arrow", from: slug ? middleOf(moved) : middle.map((v, j) => v + way[j] * span * 0.03), way, length: span * (slug ? 0.16 : 0.2) });
    out.labels.push({ place: slug ? middleOf(moved) : middle, text: String(number), kind: "piece" });
  });
  out.items.push(...choppers(g));
  out.said = "Pieces are drawn moved out along the way they fall, slugs moved down; the numbers are those of the table. Choppers in the accent colour. A piece in the accent colour has no way out.";
  return out;
}

/** The point of a ring half-way along its longer side: where a long piece bears its number. */
function farFrom(ring) {
  const c = middleOf(ring);
  return ring.reduce((a, p) => (Math.hypot(...p.map((v, k) => v - c[k])) < Math.hypot(...a.map((v, k) => v - c[k])) ? p : a), ring[0]);
}

function steelLook(g, upper, span) {
  const t = g.steels;
  const out = { items: plainLines(g), labels: [], said: "" };
  let drawn = 0;
  (t?.steel ?? []).forEach((number, k) => {
    const cut = g.cuts.find((c) => c.id === g.names[t.cut[k]]);
    const ring = g.bodies[k];
    if (Boolean(t.upper[k]) !== upper || !ring || ring.length < 3 || !cut?.frame || cut.frame.length < 3) return;
    const [a, b, way] = cut.frame;
    const along = (p) => p[0] * way[0] + p[1] * way[1] + p[2] * way[2];
    const heights = cut.points.map(along);
    const level = upper ? Math.min(...heights) - 0.3 * span : Math.max(...heights) + 0.01 * span;
    const points = ring.map(([p, q]) => [0, 1, 2].map((j) => p * a[j] + q * b[j] + level * way[j]));
    const travel = upper ? way.map((v) => -v) : way;
    out.items.push({ kind: "prism", points, way: travel, height: t.height_mm[k], colour: `--piece-${toneOf(k, t.steel.length)}` });
    out.labels.push({ place: nearMiddle(points).map((v, j) => v + (upper ? t.height_mm[k] : 0) * travel[j]), text: String(number), kind: "piece" });
    drawn++;
  });
  const j = g.scrap?.tables?.joints;
  (j?.cut ?? []).forEach((c, k) => {
    const cut = g.cuts.find((one) => one.id === g.names[c]);
    if (!cut?.frame) return;
    const [a, b, way] = cut.frame;
    const level = cut.points.reduce((sum, p) => sum + p[0] * way[0] + p[1] * way[1] + p[2] * way[2], 0) / cut.points.length;
    const at = [0, 1, 2].map((m) => j.across_1_mm[k] * a[m] + j.across_2_mm[k] * b[m] + level * way[m]);
    out.items.push({ kind: "line", points: [at.map((v, m) => v - 0.05 * span * way[m]), at.map((v, m) => v + 0.05 * span * way[m])], closed: false, size: 1.6, colour: "--accent" });
  });
  out.items.push(...choppers(g));
  const none = !g.scrap ? "Scrap and steels have not been worked." : "No bodies of steels were kept for these cuts: cam steels are told in the table only.";
  out.said = drawn ? `${upper ? "Upper steels, lifted off the sheet" : "Post under the sheet"}, at their height; joints as short strokes and choppers in the accent colour.` : none;
  return out;
}

/** The place well inside a bent body: of the middles of its triangles the one farthest from the outline. */
function nearMiddle(ring) {
  const corners = fillCorners(ring);
  let [best, found] = [-1, ring[0]];
  for (let i = 0; i < corners.length; i += 9) {
    const c = [0, 1, 2].map((k) => (corners[i + k] + corners[i + 3 + k] + corners[i + 6 + k]) / 3);
    const d = ring.reduce((least, p) => Math.min(least, Math.hypot(p[0] - c[0], p[1] - c[1], p[2] - c[2])), Infinity);
    if (d > best) [best, found] = [d, c];
  }
  return found;
}

function burrLook(g, span, names) {
  const rows = g.cutting?.values.cuts ?? [];
  const out = { items: [], labels: names, keep: true, said: "The burr lies on the face by which the steel leaves: the strokes stand there, in the accent colour where that face is seen. Their length says nothing; its height is told at the cut edge." };
  for (const c of g.cuts) {
    const found = rows.filter((r) => r.id === c.id || r.id.startsWith(`${c.id}_cam_`));
    out.items.push({ kind: "line", points: c.points, closed: c.closed, size: 0.8, colour: "--picture-edge" });
    const n = c.points.length;
    c.points.forEach((p, i) => {
      const cam = (c.cams ?? []).findIndex((one) => (one.from < one.to ? i >= one.from && i < one.to : i >= one.from || i < one.to));
      const row = cam >= 0 ? found[cam] : found[0];
      if (!row || i % Math.max(1, Math.round(n / 90))) return;
      const way = unit(cam >= 0 ? c.cams[cam].direction : c.direction);
      out.items.push({ kind: "line", points: [p, p.map((v, k) => v + way[k] * span * 0.045)], closed: false, size: row.burr_seen ? 1.3 : 0.6, colour: row.burr_seen ? "--accent" : "--picture-edge" });
    });
  }
  if (!rows.length) out.said = "Cutting has not been worked.";
  return out;
}

/** Who is the worst, in a sentence. */
export function worstLean(cuts) {
  const at = cuts.reduce((a, c) => (c.lean_max_deg > (a?.lean_max_deg ?? -1) ? c : a), null);
  return at ? `${words(at.id)} leans most, ${fixed(at.lean_max_deg, 1)}°` : "";
}

/** Length of all lines [mm]. */
export const lengthOf = (cuts) => num(cuts.reduce((sum, c) => sum + (c.length_mm ?? 0), 0), 4);
