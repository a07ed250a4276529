"""What goes into ``cutting.dxf`` and ``steels.csv``: outlines of the stages ``blank``, ``trim`` and ``cutting``, and the choppers, joints and steels found here."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.job.stage import Result
from diewright.trim.loads.line import Cut
from diewright.trim.scrap.drawing import Sheet
from diewright.trim.scrap.found import Found

Floats = NDArray[np.float64]


def sheets_of(f: Found, cuts: list[Cut], blank: Result, trim: Result, cutting: Result) -> tuple[Sheet, dict[str, Sheet]]:
    """The plan and, by name of the block, what each cam cuts."""
    plan = Sheet()
    cams: dict[str, Sheet] = {}
    outline = blank.arrays.get("outline")
    if outline is not None and len(outline) >= 3:
        plan.outline("blank", np.asarray(outline)[:, :2])
    rim = trim.arrays["rim"][:, :2]
    if shapely.Polygon(rim).is_valid:  # an edge that stands on a wall has no outline in plan
        plan.outline("drawn edge", rim, fitted=False)
    of = {c["id"]: c for c in cutting.values.get("cuts", [])}
    punches = cutting.tables.get("punches", {})
    button = dict(zip(punches.get("cut", ()), punches.get("button_mm", ()), strict=True))
    row = {c["id"]: i for i, c in enumerate(cutting.values.get("cuts", []))}
    for cut in cuts:
        inner = cutting.arrays.get(f"inner_{cut.id}")
        if inner is None or cut.id not in of:
            continue  # cams cut it bit by bit
        straight = bool(cut.direction[2] < -1.0 + 1e-9)
        to = plan if straight else cams.setdefault(f"cam_{cut.id}", Sheet())
        if cut.kind == "trim":
            to.outline("trim line", cut.across)
            to.pair("post", "trim steel", np.asarray(inner), float(of[cut.id]["clearance_mm"]))
        else:
            _hole(to, cut, np.asarray(inner), of[cut.id], float(button.get(row[cut.id], np.nan)))
    for cut_id, points in ((k.removeprefix("frame_"), k) for k in cutting.arrays if k.startswith("frame_") and "_cam_" in k):
        stretch = _stretch(trim, cut_id, np.asarray(cutting.arrays[points]))
        if stretch is not None:
            cams.setdefault(f"cam_{cut_id}", Sheet()).lines.append(("trim line", stretch))
    _steels(f, plan, cams)
    _choppers(f, plan, cams)
    _springs(plan, cams, cutting)
    return plan, {k: s for k, s in cams.items() if s.shapes or s.lines}


def _hole(to: Sheet, cut: Cut, inner: Floats, sizes: dict[str, Any], button: float) -> None:
    middle = np.asarray(shapely.Polygon(cut.across).centroid.coords)[0]
    height = float(np.clip(np.ptp(cut.across, axis=0).max() / 10.0, 1.0, 4.0))
    note = cut.id
    if sizes.get("punch_mm") is not None and sizes.get("die_mm") is not None:
        to.circle("hole", middle, float(cut.diameter or sizes["punch_mm"]))
        to.circle("punch", middle, float(sizes["punch_mm"]))
        to.circle("die opening", middle, float(sizes["die_mm"]))
        note += f": punch {sizes['punch_mm']:.3f}, die {sizes['die_mm']:.3f}"
    else:
        to.outline("hole", cut.across)
        to.pair("punch", "die opening", inner, float(sizes["clearance_mm"]))
        note += f": punch to the line, die {float(sizes['clearance_mm']):.3f} larger all round"
    if np.isfinite(button):
        to.circle("die button", middle, button)
        note += f", button {button:g}"
    to.notes.append((note, np.array([middle[0], middle[1] + 0.6 * float(np.ptp(cut.across[:, 1]))]), height))


def _stretch(trim: Result, name: str, frame: Floats) -> Floats | None:
    """The open line that the cam ``name`` cuts, across its travel."""
    line, _, number = name.rpartition("_cam_")
    entry = next((c for c in trim.values["cuts"] if c["id"] == line), None)
    if entry is None or not number.isdigit() or int(number) > len(entry.get("cams") or ()):
        return None
    cam, points = entry["cams"][int(number) - 1], np.asarray(trim.arrays[f"cut_{line}"])
    first, last, k = int(cam["from"]), int(cam["to"]), len(points)
    return np.asarray(points[np.arange(first, last + 1 if last > first else last + 1 + k) % k] @ frame[:2].T)


def _sheet_of(f: Found, cut: str, plan: Sheet, cams: dict[str, Sheet]) -> Sheet | None:
    """Where the tools of a cut are drawn; None where its view is the flat blank."""
    line = next((k for k in f.lines.lines if k.cut.id == cut), None)
    if line is None or line.flat:
        return None
    return plan if line.straight else cams.setdefault(f"cam_{cut}", Sheet())


def _steels(f: Found, plan: Sheet, cams: dict[str, Sheet]) -> None:
    number = 0
    for g in f.segmented:
        to = _sheet_of(f, g.cut, plan, cams)
        for s in g.steels:
            number += 1
            if to is None or s.outline is None:
                continue
            for ring in (s.outline.exterior, *s.outline.interiors):
                to.outline(f"steel {s.side}", np.asarray(ring.coords)[:-1], fitted=False)
            if s.side == "upper":
                at = np.asarray(s.outline.representative_point().coords)[0]
                to.notes.append((f"{number}: {f.section.width:g} x {f.section.height:g}, edge {s.edge:.1f}", at, 4.0))
        if to is not None:
            for j in g.joints:
                to.lines.append(("joint", np.array([j.at - f.section.width * j.normal, j.at + f.section.width * j.normal])))


def _choppers(f: Found, plan: Sheet, cams: dict[str, Sheet]) -> None:
    for c in f.chopped:
        to = _sheet_of(f, c.ring.line.cut.id, plan, cams)
        if to is None:
            to = cams.setdefault(f"{c.ring.line.cut.id}_on_the_blank", Sheet())
            to.outline("trim line", c.ring.line.view)
            to.outline("blank", c.ring.outer)
        to.lines += [("chopper", np.array([k.start, k.end])) for k in c.choppers]
        for shape in c.pieces:
            for ring in (shape.exterior, *shape.interiors):
                to.outline("scrap piece", np.asarray(ring.coords)[:-1], fitted=False)


def _springs(plan: Sheet, cams: dict[str, Sheet], cutting: Result) -> None:
    diameters = iter(cutting.tables.get("springs", {}).get("diameter_mm", ()))
    strippers = [s for o in cutting.values.get("operations", []) for s in o["strippers"]]
    for k, s in enumerate(strippers, start=1):
        diameter = next(diameters, None) if s["springs"] is not None else None
        places = cutting.arrays.get(f"springs_{k}")
        if places is None or diameter is None:
            continue
        to = cams.setdefault(f"cam_{s['of']}", Sheet()) if f"frame_{s['of']}" in cutting.arrays else plan
        for p in places:
            to.circle("spring", p, float(diameter))


def steel_rows(f: Found) -> list[dict[str, str | float | int]]:
    """Rows of ``steels.csv``."""
    steels = [s for g in f.segmented for s in g.steels]
    return [
        {
            "number": i, "cut": s.cut, "side": s.side, "edge_mm": round(s.edge, 2), "width_mm": f.section.width, "height_mm": f.section.height, "force_kN": round(s.force / 1000, 3), "thrust_kN": round(s.thrust / 1000, 3),
            "screws": s.screws, "screw": f"M{f.section.screw:g}", "dowels": s.dowels, "dowel_mm": f.section.dowel, "key": "yes" if s.key else "no", "mass_kg": round(s.mass, 3), "steel": f.grade.number, "name": f.grade.name, "hardness": f.grade.hardness,
        }
        for i, s in enumerate(steels, start=1)
    ]  # fmt: skip
