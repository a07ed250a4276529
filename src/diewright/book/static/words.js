// How the book says things: numbers, units, names of fields and states.

const UNITS = {
  "-": "", mm2: "mm²", mm3: "mm³", deg: "°", "kg/m3": "kg/m³", "N/mm2": "N/mm²", "mJ/mm2": "mJ/mm²", "g/cm3": "g/cm³", "1/min": "/min", "1/m2": "1/m²", "1/mm2": "1/mm²", "A/dm2": "A/dm²",
}; // prettier-ignore

export const unitText = (unit) => UNITS[unit] ?? unit ?? "";

/** A number with `digits` significant figures, thin spaces between thousands, a true minus; a dash for nothing. */
export function num(value, digits = 3) {
  if (value === null || value === undefined || value === "" || typeof value === "boolean") return "–";
  const v = Number(value);
  if (!Number.isFinite(v)) return "–";
  if (v === 0) return "0";
  const size = Math.floor(Math.log10(Math.abs(v)) + 1e-9);
  if (size < -4 || size > 9) {
    const [m, e] = v.toExponential(Math.max(digits - 1, 0)).split("e");
    return `${m.replace("-", "−")} · 10${raise(Number(e))}`;
  }
  let places = Math.max(0, Math.min(6, digits - 1 - size));
  const short = String(Number(Math.abs(v).toPrecision(12))).split(".")[1]?.length ?? 0;
  if (short < places) places = short; // stated round values stay round: 0.8, 12, 4 000
  const [whole, part] = Math.abs(v).toFixed(places).split(".");
  const grouped = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
  const negative = v < 0 && Number(Math.abs(v).toFixed(places)) !== 0;
  return (negative ? "−" : "") + grouped + (part ? `.${part}` : "");
}

const raise = (n) => String(n).replace(/./g, (c) => "⁰¹²³⁴⁵⁶⁷⁸⁹"[c] ?? "⁻");

/** A number with fixed decimals, for figures that must line up. */
export function fixed(value, places = 1) {
  if (!Number.isFinite(value)) return "–";
  const text = Math.abs(value).toFixed(places);
  return (value < 0 && Number(text) !== 0 ? "−" : "") + text.replace(/^\d{5,}/, (d) => d.replace(/\B(?=(\d{3})+$)/g, "\u202f"));
}

/** The figures at ticks `step` apart, all with the same decimals. */
export function tickText(value, step) {
  const places = [0, 1, 2, 3, 4, 5, 6].find((p) => Math.abs(step * 10 ** p - Math.round(step * 10 ** p)) < 1e-6) ?? 6;
  return Math.abs(value) >= 1e6 || step < 1e-6 ? num(value) : fixed(value, places);
}

export function quantity(value, unit = "", digits = 3) {
  const text = typeof value === "string" ? value : num(value, digits);
  const u = unitText(unit);
  if (text === "–" || !u) return text;
  return u === "°" ? `${text}°` : `${text}\u00a0${u}`;
}

/** A stated value as it is shown in an input: plain digits, no grouping. */
export function plain(value) {
  if (value === null || value === undefined) return "";
  return typeof value === "number" ? String(Number(value.toPrecision(10))) : String(value);
}

/** What a person typed, as a number where it is one (a decimal comma is understood), else as the text itself. */
export function typed(text) {
  const t = text.trim().replace("−", "-").replace(/^(-?\d*),(\d+)$/, "$1.$2");
  return t !== "" && Number.isFinite(Number(t)) ? Number(t) : text.trim();
}

export const vector = (v, digits = 3) => (Array.isArray(v) ? v.map((x) => num(Math.abs(x) < 5e-5 ? 0 : x, digits)).join("   ") : "–");

const LABELS = {
  "job.title": "Part name", "job.number": "Drawing number", "job.revision": "Revision", "job.quantity": "Quantity", "job.drawn_by": "Drawn by", "job.checked_by": "Checked by",
  "part.file": "CAD file", "part.unit": "Unit of the file", "part.skin": "Skin that is meshed", "part.press_direction": "Press direction",
  "part.target_edge": "Edge length on flats", "part.chord_error": "Chord error", "part.min_edge": "Shortest edge",
  "sheet.material": "Sheet", "sheet.thickness": "Thickness", "sheet.rolling_direction": "Rolling direction", "sheet.hardening": "Hardening law",
  "sheet.yield_surface": "Yield surface", "sheet.forming_limit": "Forming limit", "sheet.groove": "Groove ratio", "sheet.tensile_files": "Tensile tests",
  "blank.holes": "Holes", "blank.friction": "Friction", "blank.blankholder_force_kn": "Blankholder force", "blank.bead_restraint": "Bead restraint",
  "blank.trim_allowance": "Trim allowance", "blank.margin_wanted": "Wanted margin", "blank.thinning_limit": "Thinning limit",
  "nest.layout": "Layout", "nest.web": "Web", "nest.edge_web": "Edge web", "nest.strip_width_max": "Widest strip", "nest.sheet_length": "Sheet length", "nest.grain_tolerance": "Free turn from grain",
  "tryout.blankholder_force_kn": "Blankholder force", "tryout.blankholder_end_kn": "Blankholder force at the bottom", "tryout.friction_die": "Friction at die and blankholder", "tryout.friction_punch": "Friction at the punch",
  "tryout.quality": "Mesh of the sheet", "tryout.stations": "Points through the thickness", "tryout.springback": "Springback", "window.runs": "Forces tried", "window.from_share": "Lowest force, of the tryout's",
  "window.to_share": "Highest force, of the tryout's", "window.widen": "Further forces at each end", "window.frictions": "Frictions beside the tryout's", "window.wrinkle_limit": "Wrinkle limit, of the thickness",
  "faces.die_file": "File of the die", "faces.punch_file": "File of the punch", "faces.blankholder_file": "File of the blankholder", "faces.shift_file": "Shift file of a compensation", "faces.clearance": "Gap between punch and die", "faces.lead_on": "How the edge is led on",
  "faces.wall_angle": "Led wall, from vertical", "faces.blankholder": "Blankholder surface", "faces.blankholder_direction": "Direction of its straight lines", "faces.blankholder_radius": "Its tightest bend", "faces.blankholder_apex_x": "Apex of a cone, x", "faces.blankholder_apex_y": "Apex of a cone, y",
  "faces.blankholder_shift": "Blankholder higher by", "faces.blankholder_tilt_x": "Blankholder rising towards +x", "faces.blankholder_tilt_y": "Blankholder rising towards +y",
  "tryout.bead_kind": "Draw bead", "tryout.bead_radius": "Radius of the bead", "tryout.bead_height": "Height of the bead", "tryout.bead_offset": "Bead from the opening",
  "proposal.tryouts": "Tryouts at most", "proposal.beads": "Draw beads may be proposed", "compensation.iterations": "Moves of the faces", "compensation.factor": "Share taken back at a time", "compensation.quality": "Mesh of the sheet",
  "compensation.tolerance": "Tolerance of the part", "compensation.wave": "Wave passed on by half", "compensation.alignment": "How the part is laid", "compensation.blankholder": "Blankholder",
  "draws.blank_diameter": "Diameter of the blank", "draws.quality": "Mesh of the sheet",
  "line.cycle_most_s": "Longest cycle that will do", "line.racks_per_cycle": "Mix repeated in a cycle", "line.parts_per_rack": "Parts on a rack", "line.lift_m": "Height of the lift", "line.gap_m": "Distance of hoists",
  "line.tick_s": "Step of time", "line.time_limit_s": "Longest search", "line.what_if_s": "Time for what changes bring", "line.track_from_m": "Track from", "line.track_to_m": "Track to",
  "dip.attitude": "Attitude", "dip.significant": "Side where air does harm", "dip.directions": "Attitudes tried", "dip.in_speed": "Lowered at", "dip.out_speed": "Raised at", "dip.drip_time": "Drips for", "dip.density": "Density of the bath",
  "dip.viscosity": "Viscosity of the bath", "dip.surface_tension": "Surface tension", "dip.depth": "Bath above the part", "dip.hole_least": "Narrowest hole that counts", "dip.pocket_least": "Smallest pocket named", "dip.parts": "Parts on the rack",
  "plating.columns": "Parts side by side", "plating.rows": "Parts above each other", "plating.spacing": "Gap between parts", "plating.facing": "Looks at the front anodes", "plating.up": "Hangs upwards", "plating.significant": "Significant side", "plating.tank": "Bath inside the tank",
  "plating.anode_rows": "Rows of anodes", "plating.anode_distance": "Anodes from the rack", "plating.anode_count": "Anodes in a row", "plating.anode_width": "Width of an anode", "plating.anode_thickness": "Thickness of an anode", "plating.anode_span": "Length of the anode row",
  "plating.anode_length": "Anode in the bath", "plating.anode_raise": "Anodes hang higher by", "plating.quality": "Mesh of parts and bath", "plating.tries": "Places of the anodes tried", "plating.layers": "Deposits", "plating.bodies": "Bodies in the bath",
  "trim.lean_care": "Lean that is told", "trim.lean_most": "Largest lean under a steel", "trim.knife": "Sheet that no steel cuts", "trim.bend_thicknesses": "Hole from a bend", "trim.web_least": "Narrowest web", "trim.edge_tolerance": "Tolerance of the developed edge",
  "trim.edge_runs": "Tryouts for the developed blank", "trim.edge_quality": "Mesh in these tryouts", "cutting.shear_strength": "Shear strength", "cutting.penetration": "Penetration at the break", "cutting.wear": "Worn edges", "cutting.clearance": "Cutting clearance a side",
  "cutting.trim_steel": "Edge of trim steels", "cutting.shear": "Shear on trim steels", "cutting.shear_depth": "Depth of that shear", "cutting.shear_pitch": "Scallops from crest to crest", "cutting.punch_shear": "Shear on punches", "cutting.punch_shear_depth": "Depth of that shear on punches",
  "cutting.stagger": "Stagger of punches", "cutting.stagger_groups": "Groups of staggered punches", "cutting.entry": "Steels go on by", "cutting.stripping_share": "Stripping over cutting force", "cutting.springs": "Springs of the stripper", "cutting.pad_lead": "Pad touches before by",
  "cutting.hole_tolerance": "Tolerance of round holes", "cutting.punch_length": "Length of punches", "cutting.punch_guide": "Punches are held", "cutting.visible": "Face that is seen", "scrap.piece_max": "Longest piece of scrap", "scrap.chute_width": "Width of chutes", "scrap.chute_angle": "Flattest chute",
  "scrap.drop_height": "Height under the cut", "scrap.shoe_margin": "Die shoe past the blank", "scrap.slug_opening": "Opening for slugs", "scrap.choppers": "Choppers in a ring", "scrap.chopper_max": "Longest chopper", "scrap.corner_radius": "Corners tighter than", "scrap.corner_distance": "Choppers off corners",
  "scrap.steel_length_max": "Longest trim steel", "plan.feed": "Parts are fed", "plan.compound": "Blank and draw in one die", "plan.stagger_steps": "Steps between steels", "plan.holder_lead": "Blank held before the draw", "plan.hand_time_s": "Unloading and loading", "plan.transfer_time_s": "Transfer takes",
  "plan.clearance": "Free height over the part", "plan.dwell_mm": "Dwell counts within", "plan.dwell_s": "Dwell of a hydraulic press", "plan.knockout": "Knock-out below the top", "plan.efficiency": "Share of the hour", "plan.stop_time_s": "Stopping time, measured", "plan.curtain_mm": "Light curtain detects",
  "plan.engaging_points": "Engaging points", "bends.from_shape": "Bend what the draw leaves open", "bends.method": "Way of bending", "bends.neutral": "Neutral fibre", "bends.k_factor": "K factor", "bends.die_radius": "Radius of the wiping steel", "bends.hem_force": "Hem over bend force", "bends.edge_limit": "Largest stretch of an edge",
  "bends.shrink_limit": "Largest shrinking of an edge",
  "finish.service": "Service condition", "finish.base": "Base metal", "finish.chromium": "Chromium", "finish.nickel_um": "Least local nickel", "finish.chromium_um": "Least local chromium", "finish.significant": "Faces that count", "finish.significant_points": "Points on faces that count",
  "finish.side": "Side that is shown", "finish.ball_mm": "Ball that must touch", "finish.start_ra_um": "Ra of the rolled sheet", "finish.grain_um": "Grain of the sheet", "finish.peel_factor": "Orange peel, grains a strain", "finish.scratch_um": "Depth of drawing scratches", "finish.slide_mm": "Slide that scratches",
  "finish.polish_ra_um": "Ra wanted before plating", "finish.grits": "Grits in their order", "finish.buff": "After the last grit", "finish.least_thickness": "Least sheet after polishing", "finish.wheel_mm": "Diameter of the wheel", "finish.wheel_width": "Width of the wheel", "finish.wheel_rpm_most": "Speed marked on the wheel",
  "finish.rate_cm2_min": "Polished a minute, from to", "finish.wheel_life_m2": "A wheel lasts for, from to", "finish.current_density": "Highest mean current density", "finish.facing": "Looks at the anodes", "finish.up": "Hangs upwards", "finish.spacing": "Gap between parts", "finish.rack_width": "Room across the rack",
  "finish.rack_height": "Room down the rack", "finish.rack_kg": "Weight of the empty rack", "finish.rack_load_kg": "Rack and parts at most", "finish.tank_depth": "Depth of the bath", "finish.cover_mm": "Bath over the top part", "finish.spine_mm2": "Section of the spine", "finish.spine_a_mm2": "Current a spine bears",
  "finish.hook_a": "Current a contact bears", "finish.rectifier_a": "Current of the rectifier", "finish.plan_points": "Places to measure a side", "finish.readings_file": "Thickness readings, CSV", "finish.coulometric_pct": "Uncertainty, coulometric", "finish.xrf_pct": "Uncertainty, X-ray", "finish.bath_log_file": "Baths’ book, CSV",
  "finish.nickel_g_l": "Nickel in the bath", "finish.chromic_g_l": "Chromic acid in the bath", "finish.brightener_ml_kah": "Brightener used by the current", "finish.brightener_ml_l": "Brightener in the bath", "finish.drag_out_ml_m2": "Bath carried out", "finish.cost_chromium_vi": "Your rate, nickel and chromium(VI)",
  "finish.cost_chromium_iii": "Your rate, nickel and chromium(III)", "finish.cost_zinc_nickel": "Your rate, zinc-nickel and paint", "finish.cost_powder": "Your rate, powder coating", "finish.cost_stainless": "Your rate, polished stainless",
  "press.name": "Press", "press.strokes_per_minute": "Strokes",
}; // prettier-ignore

export const label = (path) => LABELS[path] ?? words(path.split(".").pop());

export const words = (name) => {
  const t = String(name).replaceAll("_", " ");
  return t.charAt(0).toUpperCase() + t.slice(1);
};

const CHOICES = {
  "part.unit": { "": "as the file says" },
  "sheet.hardening": { auto: "as the library recommends", swift: "Swift", hollomon: "Hollomon", ludwik: "Ludwik", voce: "Voce", "hockett-sherby": "Hockett-Sherby", "swift-voce": "Swift-Voce mix", table: "table of points" },
  "sheet.yield_surface": { mises: "von Mises", hill48: "Hill 1948", yld2000: "Barlat Yld2000-2d" },
  "sheet.forming_limit": { auto: "measured, else estimated", measured: "measured points", "keeler-brazier": "Keeler-Brazier estimate", "swift-hill": "Swift/Hill closed form", "marciniak-kuczynski": "Marciniak-Kuczynski analysis" },
  "blank.holes": { fill: "pierced after drawing", keep: "already in the blank" },
  "nest.layout": { auto: "least metal" },
  "faces.lead_on": { blend: "blended into the blankholder", profile: "land, radius, wall, radius" },
  "tryout.bead_kind": { none: "none" },
  "compensation.alignment": { "best fit": "best fit over its area", supports: "on three points" },
  "dip.significant": { both: "both", upper: "the upper, as in the press", lower: "the lower, as in the press" },
  "plating.significant": { upper: "the upper, as in the press", lower: "the lower, as in the press", both: "both", finish: "what the page Finish picks" },
  "finish.base": { auto: "that of the sheet" },
  "finish.chromium": { auto: "regular where the class has it", r: "regular", mc: "microcracked", mp: "microporous" },
  "finish.side": { auto: "the outer one", upper: "the upper, as in the press", lower: "the lower, as in the press" },
  "finish.buff": { none: "nothing", cut: "a cut buff", bright: "a cut and a bright buff" },
  "cutting.trim_steel": { follow: "follows the drawn sheet", level: "lies in a plane" },
  "cutting.punch_guide": { free: "free below their plate", guided: "guided by the stripper", fixed: "at both ends" },
  "cutting.visible": { upper: "the upper", lower: "the lower" },
  "plan.feed": { hand: "by hand", transfer: "by a transfer" },
  "bends.method": { wipe: "wiped over an edge", v: "in a V-die" },
  "bends.neutral": { din: "by DIN 6935", "k-factor": "by the K factor" },
  "compensation.blankholder": { keep: "keeps its surface", follow: "moves with the part" },
}; // prettier-ignore

export const choice = (path, value) => CHOICES[path]?.[value] ?? (value === "" ? "none" : value === "auto" ? "chosen by the desk" : String(value));

export const LAWS = { swift: "Swift", hollomon: "Hollomon", ludwik: "Ludwik", voce: "Voce", "hockett-sherby": "Hockett-Sherby", "swift-voce": "Swift-Voce", table: "table", mises: "von Mises", hill48: "Hill 1948", yld2000: "Yld2000-2d", measured: "measured points", "keeler-brazier": "Keeler-Brazier", "swift-hill": "Swift/Hill", "marciniak-kuczynski": "Marciniak-Kuczynski" }; // prettier-ignore
export const law = (name) => LAWS[name] ?? (name ? words(name) : "–");

/** The fields a mesh can carry: how they are named, coloured and limited. */
export const FIELDS = {
  thinning_pct: { label: "Thinning", unit: "%", map: "batlow", digits: 3, limit: (job) => [job.blank.thinning_limit, "thinning limit"], flag: "both", least: "most thickening" },
  margin_pct: { label: "Margin to necking", unit: "%", map: "batlow", reverse: true, digits: 3, limit: (job) => [job.blank.margin_wanted, "wanted margin"], flag: "min" },
  major: { label: "Major strain", unit: "", map: "batlow", digits: 3, flag: "max" },
  minor: { label: "Minor strain", unit: "", map: "vik", zero: true, digits: 3, flag: "both" },
  thickness: { least: "thinnest", most: "thickest", label: "Thickness", unit: "mm", map: "lapaz", digits: 3, flag: "min", limit: (job) => [job.sheet.thickness, "sheet as bought"] },
  wrinkle: { label: "Wrinkle tendency", unit: "", map: "lajolla", reverse: true, digits: 2, flag: "max" },
  plastic_strain: { label: "Plastic strain", unit: "", map: "batlow", digits: 3, flag: "max" },
  stress: { label: "Stress, equivalent", unit: "MPa", map: "batlow", digits: 3, flag: "max" },
  pressure: { label: "Contact pressure", unit: "MPa", map: "lajolla", reverse: true, digits: 3, flag: "max" },
  sliding: { label: "Sliding on the tools", unit: "mm", map: "lapaz", reverse: true, digits: 3, flag: "max" },
  wrinkle_height: { label: "Wrinkle height", unit: "mm", map: "lajolla", reverse: true, digits: 2, flag: "max", most: "highest" },
  displacement_mm: { label: "Springback", unit: "mm", map: "lapaz", reverse: true, digits: 2, flag: "max", most: "furthest" },
  wear: { label: "Friction work an area", unit: "mJ/mm2", map: "lajolla", reverse: true, digits: 3, flag: "max" },
  pressure_max: { label: "Highest contact pressure", unit: "MPa", map: "lajolla", reverse: true, digits: 3, flag: "max" },
  depth: { label: "Depth", unit: "mm", map: "lapaz", reverse: true, digits: 3, flag: "max", most: "deepest" },
  draft_deg: { label: "Draft angle", unit: "deg", map: "batlow", digits: 3, flag: "min" },
  radius: { label: "Least radius", unit: "mm", map: "vik", zero: true, digits: 3, flag: "none" },
  zone: { label: "How the face is spotted", unit: "", map: "batlow", digits: 1, flat: true, words: { 0: "relieved", 1: "bears", 2: "die radius", 3: "struck", 4: "eased" }, flag: "none" },
  allowance_mm: { label: "Sheet thicker than the gap by", unit: "mm", map: "lajolla", reverse: true, digits: 3, flag: "max", most: "most" },
  relief_mm: { label: "Thickening under the blankholder", unit: "mm", map: "lajolla", reverse: true, digits: 3, flag: "max", most: "most" },
  gap_mm: { label: "Gap to the die", unit: "mm", map: "batlow", digits: 3, flag: "min", limit: (job) => [job.sheet.thickness, "sheet"] },
  gauss: { label: "Double curvature", unit: "1/m2", map: "vik", zero: true, digits: 2, flag: "none" },
  shift_normal_mm: { label: "Move along the face", unit: "mm", map: "vik", zero: true, digits: 3, flag: "both", most: "most, out of the metal", least: "most, into the metal" },
  shift_mm: { label: "Move, all directions", unit: "mm", map: "lapaz", reverse: true, digits: 3, flag: "max", most: "moved most" },
  deviation_mm: { label: "Deviation along the normal", unit: "mm", map: "vik", zero: true, digits: 3, flag: "both", most: "most above", least: "most below", limit: (job) => [job.compensation?.tolerance ?? null, "tolerance"] },
  lean_deg: { label: "Lean of the sheet under the steel", unit: "deg", map: "batlow", digits: 3, flag: "max", most: "leans most" },
  significant: { label: "What counts", unit: "", map: "lapaz", digits: 1, flat: true, words: { 0: "does not count", 1: "counts" }, flag: "none" },
  ball: { label: "Share that the ball touches", unit: "", map: "lapaz", digits: 2, flag: "none" },
  wheel: { label: "Share that the wheel reaches", unit: "", map: "lapaz", digits: 2, flag: "none" },
  thickness_left: { label: "Sheet left after polishing", unit: "mm", map: "batlow", digits: 3, flag: "min", least: "least left" },
  start_ra_um: { label: "Roughness as drawn, Ra", unit: "µm", map: "lajolla", reverse: true, digits: 3, flag: "max", most: "roughest" },
  removed_um: { label: "Removed by polishing, at most", unit: "µm", map: "lajolla", reverse: true, digits: 3, flag: "max", most: "most removed" },
  undercut: { label: "Undercut", unit: "", map: "lajolla", reverse: true, digits: 1, flat: true, words: { 0: "free", 1: "undercut" }, flag: "none" },
}; // prettier-ignore

/** Deposits carry the name of their metal: `nickel_um`, `nickel_current_density`. */
function depositOf(name) {
  const found = /^(.+)_(um|current_density)$/.exec(name);
  if (!found) return null;
  const metal = words(found[1]);
  const short = metal.toLowerCase();
  if (found[2] === "um") return { label: `${metal} thickness`, unit: "µm", map: "batlow", digits: 3, flag: "both", least: `least ${short}`, most: `most ${short}` };
  return { label: `${metal} current density`, unit: "A/dm2", map: "lajolla", reverse: true, digits: 3, flag: "both", least: "least current", most: "most current" };
}

export const fieldOf = (name) => FIELDS[name] ?? depositOf(name) ?? { label: words(name), unit: "", map: "batlow", digits: 3, flag: "none" };

export function timeLeft(seconds) {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return "time left not known yet";
  if (seconds < 1.5) return "about a second left";
  if (seconds < 90) return `about ${Math.round(seconds)} s left`;
  return `about ${Math.round(seconds / 60)} min left`;
}

export const sentence = (problem) => `${problem.where ? `${labelled(problem.where)}: ` : ""}${problem.error}${problem.help ? ` ${problem.help}` : ""}`;
const labelled = (where) => LABELS[where] ?? where;

/** Large newtons and joules in the size the shop speaks of: [value, unit]. */
export function handy(value, unit) {
  if (typeof value === "number" && Math.abs(value) >= 1000 && (unit === "N" || unit === "J")) return [value / 1000, `k${unit}`];
  return [value, unit];
}
