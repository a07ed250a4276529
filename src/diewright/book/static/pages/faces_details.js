// What the toolmaker adds to the faces: draw bead, pins for the blank, vents, spotting. Rows and marks for the page Faces.

import { h } from "../dom.js";
import { facts, grid } from "../parts.js";
import { fixed, num, words } from "../words.js";

export const BEADS = [{ name: "Bead", left: true }, { name: "Radius", unit: "mm" }, { name: "Height", unit: "mm" }, { name: "From the opening", unit: "mm" }, { name: "Length", unit: "mm" }, { name: "Pieces" }, { name: "Restraint", unit: "N/mm" }, { name: "Uplift", unit: "kN" }]; // prettier-ignore

/** The bead the job states, with what the details or the tryout made of it; null without one. */
export function beadRows(job, tryout, found) {
  const { bead_kind: kind, bead_radius: radius, bead_height: height, bead_offset: offset } = job.tryout ?? {};
  const restraint = job.blank?.bead_restraint ?? 0;
  const own = kind && kind !== "none";
  if (!own && !(restraint > 0)) return null;
  const name = own ? `${words(kind)} bead, along the punch opening` : "Only its restraint is stated";
  const size = own ? [num(radius), num(height)] : ["–", "–"];
  if (found && (!own || found.kind === kind)) {
    const locks = found.locks ? " The bead locks: the sheet is stretched over it and does not pass." : "";
    return { rows: [[name, ...size, num(found.offset), num(found.cut_length ?? found.length, 4), num(found.pieces), num(found.restraint), num(found.uplift_kN)]], note: `${found.after_draw_in ?? ""}${locks}` };
  }
  const got = tryout?.values?.bead;
  const measured = got && (!own || got.kind === kind) ? got : null;
  const row = [name, ...size, measured ? num(measured.offset_mm) : offset === "auto" ? "auto" : num(offset), num(measured?.length_mm, 4), "–", num(measured?.restraint_N_per_mm ?? (own ? null : restraint)), num(measured?.uplift_kN)]; // prettier-ignore
  const note = measured ? `Place, length and forces are those of the tryout${tryout.state === "current" ? "" : ", which is out of date"}.${measured.locks ? " The bead locks: the sheet is stretched over it and does not pass." : ""}` : "Its restraint and its line are worked out with the tryout.";
  return { rows: [row], note };
}

/** Pins and vents for the plan: flat arrays of 4 and 6 numbers each. */
export function marksOf(pins, vents) {
  const every = (list, size) => Array.from({ length: (list?.length ?? 0) / size }, (_, i) => list.slice(size * i, size * (i + 1)));
  return [
    ...every(pins, 4).map(([x, y]) => ({ x, y, kind: "pin", text: `pin at x ${num(x, 4)}, y ${num(y, 4)} mm` })),
    ...every(vents, 6).map(([x, y, , d, , punch]) => ({ x, y, kind: "vent", text: `vent ${num(d)} mm in the ${punch ? "punch" : "die"} at x ${num(x, 4)}, y ${num(y, 4)} mm` })),
  ];
}

const ZONES = { polished: "die radius, polished along the draw", eased: "bears, eased for thickening" };

/** Pins, vents and spotting as tables. */
export function detailsOf(r) {
  const { values: v, tables } = r;
  const pins = tables.locators;
  const zones = Object.entries(v.zones ?? {}).flatMap(([face, areas]) => Object.entries(areas).filter(([, mm2]) => mm2 > 0).map(([name, mm2]) => [`${words(face)}: ${ZONES[name] ?? name.replaceAll("_", " ")}`, mm2 / 100, "cm²"]));
  return [
    h(
      "div",
      { class: "columns" },
      facts([
        ["Pins for the blank", v.locators?.count], ["Their diameter", v.locators?.diameter, "mm"], v.locators?.count ? ["They hold the blank", v.locators.fixes ? "in its place" : v.locators.round ? "but for its turning" : "not in every direction"] : null, ["Least distance to the punch opening", v.locators?.opening_least, "mm"],
        ["Vents", v.vents?.count], ["Vents wanted", v.vents?.wanted], ["Air displaced", Number.isFinite(v.vents?.volume) ? v.vents.volume / 1000 : null, "cm³"], ["Sheet thicker than the gap by at most", v.allowance_max, "mm"],
      ]),
      zones.length ? facts(zones, { caption: "Areas by how they are spotted" }) : null,
    ),
    pins?.x_mm?.length ? grid([{ name: "Pin", left: true }, { name: "x", unit: "mm" }, { name: "y", unit: "mm" }, { name: "to the opening", unit: "mm" }, { name: "to the bead", unit: "mm" }], pins.x_mm.map((x, i) => [num(i + 1), fixed(x, 1), fixed(pins.y_mm[i], 1), fixed(pins.opening_mm[i], 1), Number.isFinite(pins.bead_mm?.[i]) ? fixed(pins.bead_mm[i], 1) : "–"]), { caption: "Pins that hold the blank in place" }) : null,
  ]; // prettier-ignore
}
