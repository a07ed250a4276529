"""Tables of the sheets Cutting, Scrap and steels."""

from __future__ import annotations

import math
import re
from typing import Any

from diewright.book.paper.blocks import Block, numbers, row, table
from diewright.book.paper.digits import quantity, said
from diewright.book.paper.words import plain
from diewright.job.stage import Result

SIDES = ("right", "back right", "back", "back left", "left", "front left", "front", "front right")


def side_of(degrees: float) -> str:
    """The side of the press by the angle from +x; front is where one stands."""
    return SIDES[round((degrees % 360.0) / 45.0) % 8] if math.isfinite(degrees) else "–"


def name_of(identifier: str) -> str:
    """``hole_1`` as it is written: ``Hole 1``."""
    return plain(identifier.replace("_", " ").capitalize())


def _line_of(trim: Result | None, identifier: str) -> dict[str, Any]:
    """The record of the trim for a cut; stretches that cams cut are numbered."""
    cuts = {c["id"]: c for c in trim.values["cuts"]} if trim else {}
    if identifier in cuts:
        return dict(cuts[identifier])
    found = re.fullmatch(r"(.*)_cam_(\d+)", identifier)
    if found and found[1] in cuts and int(found[2]) <= len(cuts[found[1]]["cams"]):
        return {**cuts[found[1]], **cuts[found[1]]["cams"][int(found[2]) - 1]}
    return {}


def _travel(line: dict[str, Any]) -> str:
    way, cam = line.get("direction"), line.get("cam_deg")
    if not way or cam is None:
        return "–"
    return "straight down" if cam <= 0.05 else f"cam {cam:.1f}°, towards {side_of(math.degrees(math.atan2(way[1], way[0])))}"


def cuts(trim: Result, cutting: Result | None) -> Block | None:
    """All cuts: travel, length, thickness, lean, clearance and force."""
    cuts = cutting.values["cuts"] if cutting else trim.values["cuts"]
    rows = []
    for c in cuts:
        line = _line_of(trim, c["id"])
        thin, thick = line.get("thickness_min"), line.get("thickness_max")
        band = "–" if thin is None or thick is None else said(round(thin, 2), "") if thick - thin < 0.005 else f"{thin:.2f} to {thick:.2f}"
        rows.append([name_of(c["id"]), c["operation"], _travel(line), said(c["length_mm"], "", 4), band, f"{line['lean_max_deg']:.1f}" if line else "–", said(c.get("clearance_mm"), "", 2), said(c.get("flat_kN"), "", 3), said(c.get("sheared_kN"), "", 3)])  # fmt: skip
    names = (("Cut", "left", 1.0), ("Operation", "left", 1.0), ("Steel travels", "left", 1.6), ("Length, mm", "right", 0.0), ("Sheet, mm", "right", 0.0), ("Leans to, °", "right", 0.0), ("Clearance", "right", 0.0), ("Plain, kN", "right", 0.0), ("Ground, kN", "right", 0.0))  # fmt: skip
    return table("Cuts", list(names), rows)


def operations(cutting: Result) -> Block | None:
    """The operations against the press."""
    rows = [
        [name_of(o["name"]), said(o["flat_kN"], "", 3), said(o["sheared_kN"], "", 3), said(o["slide_kN"], "", 3), f"{o['use_pct']:.0f}", said(o["touch_height_mm"], "", 3), said(o["work_J"], "", 3), said(o["released_kN"], "", 3), f"{o['reverse_pct']:.0f}", said(o["off_mm"], "", 2)]
        for o in cutting.values["operations"]
    ]  # fmt: skip
    heads = ("Operation", "Plain, kN", "Ground, kN", "Slide, kN", "Of the press, %", "Touches at, mm", "Work, J", "Let go, kN", "Snap-back, %", "Off centre, mm")  # fmt: skip
    return table("Operations", [(h, "right" if i else "left", 0.0 if i else 1.0) for i, h in enumerate(heads)], rows)


def punches(cutting: Result) -> list[Block | None]:
    """Piercing punches, and their shanks and die buttons."""
    t = cutting.tables.get("punches") or {}
    names = [name_of(cutting.values["cuts"][int(k)]["id"]) for k in t.get("cut", ())]
    if not names:
        return []

    def at(column: str, k: int, digits: int = 3) -> str:
        value = float(t[column][k])
        return said(value, "", digits) if math.isfinite(value) else "–"

    def size(column: str, off: str, k: int, sign: str) -> str:
        value = float(t[column][k])
        return f"{value:.3f} {sign}{float(t[off][k]):.3f}" if math.isfinite(value) else "to the line"

    strength = [[n, size("punch_mm", "punch_tolerance_mm", k, "\u2212"), size("die_mm", "die_tolerance_mm", k, "+"), *(at(c, k) for c in ("force_kN", "stress_MPa", "free_mm", "longest_free_mm", "safety"))] for k, n in enumerate(names)]  # fmt: skip
    holders = [[n, *(at(c, k) for c in ("length_mm", "shank_mm", "head_mm", "head_MPa", "button_mm", "land_mm", "relief_mm", "taper_deg", "slugs_in_land"))] for k, n in enumerate(names)]  # fmt: skip
    first = ("Punch", "Punch, mm", "Die, mm", "Force, kN", "Stress, MPa", "Free, mm", "Free at most, mm", "Against buckling")
    second = ("Punch", "Length, mm", "Shank, mm", "Head, mm", "Under head, MPa", "Button, mm", "Land, mm", "Relief, mm", "Taper, °", "Slugs in land")  # fmt: skip
    return [
        table(title, [(h, "right" if i else "left", 0.0 if i else 1.0) for i, h in enumerate(heads)], rows)
        for title, heads, rows in (("Piercing punches", first, strength), ("Shanks and die buttons", second, holders))
    ]


def springs(cutting: Result) -> Block | None:
    """Springs of the strippers."""
    rows = [
        [name_of(s["of"]), str(s["springs"] or "none found"), said(s["count"]), said(s["force_kN"], "", 3), said(s["preload_mm"], "", 2), said(s["work_mm"], "", 2), said(s["end_kN"], "", 3), "–" if s["life_share"] is None else f"{100 * s['life_share']:.0f}"]
        for o in cutting.values["operations"]
        for s in o.get("strippers") or []
    ]  # fmt: skip
    heads = ("Strips", "Springs", "Count", "Needed, kN", "Preload, mm", "Works, mm", "At the end, kN", "Of long life, %")
    return table("Springs of the strippers", [(h, "right" if i > 1 else "left", 0.0 if i > 1 else 1.0) for i, h in enumerate(heads)], rows)


def webs(cutting: Result) -> Block | None:
    """The narrowest webs."""
    rows = [
        [" and ".join(name_of(b) for b in w["between"]), said(w["mm"], "", 3), said(w["over_thickness"], "", 2)]
        for w in (cutting.values.get("webs") or [])[:8]
    ]
    return table("Webs, narrowest first", [("Between", "left", 1.0), ("Web, mm", "right", 0.0), ("Over thickness", "right", 0.0)], rows)


def scrap_numbers(found: Result) -> Block | None:
    """What is cut off and the steels, in numbers."""
    v = found.values
    steel, section = v.get("steel") or {}, v.get("section") or {}
    return row(
        numbers("Scrap", [
            ["Scrap of a stroke", quantity(1000 * v["scrap_kg"], "g")], ["Pieces, of them with a way out", f"{v['pieces']}, {v['fall']}"], ["Choppers", said(v["choppers"])], ["Longest piece allowed", said(v["piece_max"], "mm", 3)],
            ["Width of the chutes", said(v["chute_width"], "mm", 3)], ["Height under the cut", said(v["drop_height"], "mm", 3)],
        ]),
        numbers("Steels", [
            ["Steel", " ".join(str(steel.get(k, "")) for k in ("number", "name"))], ["Hardness", str(steel.get("hardness", "–"))], ["Section", f"{said(section.get('width'))} wide, {said(section.get('height'), 'mm')} high"], ["Steels, mass of all", f"{v['steels']}, {quantity(v['steels_kg'], 'kg')}"], ["Files", ", ".join(sorted(found.files)) or "none"],
        ]),
    )  # fmt: skip


def pieces(found: Result) -> Block | None:
    """Every piece of scrap and where it falls."""
    t, v = found.tables.get("pieces") or {}, found.values
    rows, slugs = [], iter(v["slugs"])
    for k, number in enumerate(t.get("piece", ())):
        slug, way = bool(t["slug"][k]), float(t["way_deg"][k])
        what = f"slug of {name_of(next(slugs, ''))}" if slug else f"piece of {name_of(v['cuts'][int(t['cut'][k])])}"
        falls = "through the die" if slug else "hooked on the post" if number in v["hooked"] else f"held by choppers, {side_of(way)}" if number in v["held"] else f"to the {side_of(way)}, {way:.0f}°" if math.isfinite(way) else "no way found"  # fmt: skip
        rest = [said(float(t[c][k]), "", 3) if math.isfinite(float(t[c][k])) else "–" for c in ("free_deg", "run_mm", "chute_deg")]
        rows.append([str(int(number)), what, f"{said(float(t['length_mm'][k]), '', 3)} × {said(float(t['width_mm'][k]), '', 3)}", said(1000 * float(t["mass_kg"][k]), "", 3), falls, *rest])  # fmt: skip
    heads = (("No.", "right", 0.0), ("What", "left", 1.0), ("Size, mm", "right", 0.0), ("Mass, g", "right", 0.0), ("Falls", "left", 1.0), ("Free over, °", "right", 0.0), ("Slides, mm", "right", 0.0), ("Chute, °", "right", 0.0))  # fmt: skip
    return table("Scrap", list(heads), rows)


def steels(found: Result) -> Block | None:
    """The segments of steels and post."""
    t, v = found.tables.get("steels") or {}, found.values
    rows = [
        [str(int(n)), "upper" if t["upper"][k] else "post", name_of(v["cuts"][int(t["cut"][k])]), *(said(float(t[c][k]), "", 3) for c in ("edge_mm", "force_kN", "thrust_kN")), f"{t['screws'][k]:.0f} × M{t['screw_mm'][k]:g}", f"{t['dowels'][k]:.0f} × {t['dowel_mm'][k]:g}", "key" if t["key"][k] else "–", said(float(t["mass_kg"][k]), "", 3)]
        for k, n in enumerate(t.get("steel", ()))
    ]  # fmt: skip
    heads = (("No.", "right", 0.0), ("What", "left", 1.0), ("Cut", "left", 1.0), ("Edge, mm", "right", 0.0), ("Force, kN", "right", 0.0), ("Thrust, kN", "right", 0.0), ("Screws", "right", 0.0), ("Dowels, mm", "right", 0.0), ("Key", "left", 0.0), ("Mass, kg", "right", 0.0))  # fmt: skip
    return table("Trim steels", list(heads), rows)


def iterations(developed: Result) -> Block | None:
    """The developed blank, tryout by tryout."""
    t = developed.tables["iterations"]
    rows = [[str(k + 1), str(t["blank"][k]), *(f"{float(t[c][k]):.2f}" if math.isfinite(float(t[c][k])) else "–" for c in ("max_mm", "rms_mm", "over_mm", "short_mm", "moved_mm"))] for k in range(len(t["run"]))]  # fmt: skip
    heads = (("Run", "right", 0.0), ("Blank", "left", 1.0), ("Off, at most, mm", "right", 0.0), ("Off, mean, mm", "right", 0.0), ("Past the line, mm", "right", 0.0), ("Short of it, mm", "right", 0.0), ("Outline moved, mm", "right", 0.0))  # fmt: skip
    return table("Tryouts of the developed blank", list(heads), rows)
