"""The stage ``scrap``: pieces of scrap, choppers, how each piece falls, the steels in segments, and the drawing of all cuts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import positive
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.trim.loads.line import Cut
from diewright.trim.scrap.choppers import ChopLimits, Chopped, chop
from diewright.trim.scrap.drawing import crossings, cutting_drawing, steels_csv
from diewright.trim.scrap.drawn import sheets_of, steel_rows
from diewright.trim.scrap.findings import findings_of
from diewright.trim.scrap.found import LOWER_HALF, Button, Found, ScrapInputs, Thin
from diewright.trim.scrap.pieces import pieces_of, slug_of
from diewright.trim.scrap.rings import NOISE, Line, Ring, rings_of, whole_cuts
from diewright.trim.scrap.segments import STEEL_DENSITY, Section, Segmented, Steel, grade_of, section_of, segment
from diewright.trim.scrap.tables import arrays_of, figures_of, tables_of, values_of
from diewright.watch import Watch

Floats = NDArray[np.float64]
CORNER = 25.0
"""Radius below which a line is a corner for joints and choppers [mm]; half the radius of a circle of the line's area where that is less (ours)."""


def _inputs(job: Job) -> ScrapInputs:
    return ScrapInputs(thickness=job.sheet.thickness, quantity=job.job.quantity, lean_most=job.trim.lean_most, **job.scrap.model_dump())


def work(inputs: ScrapInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """See the module's docstring. Raises :class:`InputError` for results of the stages before that cannot be used."""
    trim, cutting, sheet, blank = upstream["trim"], upstream["cutting"], upstream["sheet"], upstream["blank"]
    density = positive(sheet.values.get("density", math.nan), "the sheet's density", "kg/m3")
    watch.step("rings of scrap", 0, 5)
    cuts, cams = whole_cuts(trim, inputs.thickness)
    lines = rings_of(trim, cuts, cams)
    drop = _drop(inputs, upstream["press"])
    shoe = _shoe(cuts, trim, inputs.shoe_margin)
    watch.step("choppers", 1, 5)
    chopped = [_chopped(r, inputs, watch) for r in lines.rings]
    watch.step("pieces", 2, 5)
    pieces = [p for c in chopped for p in pieces_of(c, inputs.thickness, density, shoe, drop, inputs.chute_angle)]
    sizes = {str(c["id"]): c.get("slug_mm") for c in cutting.values.get("cuts", [])}
    slugs = [slug_of(c, _opening(cutting, c), sizes.get(c.id), density) for c in cuts if c.kind == "pierce"]
    watch.step("steels", 3, 5)
    section = section_of(inputs.thickness)
    circles = _circles(cuts, cutting)
    segmented = [
        _segmented(k, chopped, cutting, inputs, section, shapely.union_all([*circles.values()]) if k.straight else shapely.Polygon(), watch)
        for k in lines.lines
    ]
    grade = grade_of(inputs.thickness, float(sheet.values.get("Rm", 0.0)), str(sheet.values.get("family", "")), inputs.quantity)
    mass = blank.values.get("mass_kg")
    found = Found(
        inputs, lines, chopped, pieces, slugs, _thin(lines.rings), _buttons(cuts, circles, lines.lines, segmented, section.width), segmented, section, grade, drop, density, None if mass is None else float(mass),
    )  # fmt: skip
    watch.step("drawing", 4, 5)
    plan, blocks = sheets_of(found, cuts, blank, trim, cutting)
    found = replace(found, crossing=crossings([plan, *blocks.values()]))
    return Result(
        values=values_of(found), figures=tuple(figures_of(found)), findings=tuple(findings_of(found)), tables=tables_of(found), arrays=arrays_of(found),
        files={"cutting.dxf": cutting_drawing(plan, blocks), "steels.csv": steels_csv(steel_rows(found))},
    )  # fmt: skip


def _drop(inputs: ScrapInputs, press: Result) -> float:
    """Height that a chute has from the cut down [mm]."""
    if not isinstance(inputs.drop_height, str):
        return inputs.drop_height
    shut = (press.values.get("press") or {}).get("shut_height_mm")
    if shut is None:
        raise InputError(
            "the press states no shut height.",
            where="scrap.drop_height",
            help="State the height from the cut down to where the scrap must be out.",
        )
    return LOWER_HALF * positive(shut, "the press's shut height", "mm")


def _shoe(cuts: list[Cut], trim: Result, margin: float) -> tuple[float, float, float, float]:
    """The die shoe in plan: the box round all that is cut and the drawn edge, and the margin round it."""
    points = np.concatenate([trim.arrays["rim"][:, :2], *(c.points[:, :2] for c in cuts)])
    (x0, y0), (x1, y1) = points.min(axis=0) - margin, points.max(axis=0) + margin
    return float(x0), float(y0), float(x1), float(y1)


def _radius(inputs: ScrapInputs, line: Line) -> float:
    if not isinstance(inputs.corner_radius, str):
        return inputs.corner_radius
    return min(CORNER, 0.5 * math.sqrt(shapely.Polygon(line.view).area / math.pi))


def _chopped(ring: Ring, inputs: ScrapInputs, watch: Watch) -> Chopped:
    limits = ChopLimits(inputs.longest, inputs.chopper_max, _radius(inputs, ring.line), inputs.corner_distance, inputs.lean_most)
    post = shapely.make_valid(shapely.Polygon(ring.line.view), method="structure")
    return chop(ring, limits, post, watch.check, None if isinstance(inputs.choppers, str) else inputs.choppers)


def _opening(cutting: Result, cut: Cut) -> Floats:
    """The die's outline of a hole; its own line where the stage 'cutting' gives none."""
    outline = cutting.arrays.get(f"outer_{cut.id}")
    return cut.across if outline is None or len(outline) < 3 else np.asarray(outline)


def _force(cutting: Result, cut: str) -> float:
    """Cutting force of a line, or of the cams that cut it bit by bit [N]."""
    return 1000.0 * sum(
        float(c["flat_kN"]) for c in cutting.values.get("cuts", []) if c["id"] == cut or str(c["id"]).startswith(f"{cut}_cam_")
    )


def _segmented(
    line: Line, chopped: list[Chopped], cutting: Result, inputs: ScrapInputs, section: Section, buttons: Any, watch: Watch
) -> Segmented:
    name = line.cut.id
    if line.flat:
        return _cam_steels(name, cutting, inputs, section)
    outer = cutting.arrays.get(f"outer_{name}")
    starts = [k.start for c in chopped if c.ring.line.cut.id == name for k in c.choppers]
    return segment(
        name, line.view, line.view if outer is None or len(outer) < 3 else np.asarray(outer), section, inputs.steel_length_max, _radius(inputs, line), inputs.corner_distance, starts, buttons, _force(cutting, name), watch.check,
    )  # fmt: skip


def _cam_steels(name: str, cutting: Result, inputs: ScrapInputs, section: Section) -> Segmented:
    """Each cam carries a steel of its own, in as many equal pieces as its length asks for; no outline is drawn."""
    steels, long = [], 0.0
    for c in cutting.values.get("cuts", []):
        if str(c["id"]).startswith(f"{name}_cam_"):
            count = max(1, math.ceil(float(c["length_mm"]) / inputs.steel_length_max))
            edge, force = float(c["length_mm"]) / count, 1000.0 * float(c["flat_kN"]) / count
            mass = edge * section.width * section.height * STEEL_DENSITY * 1e-9
            steels += [Steel.bar(name, side, edge, force, section, mass) for side in ("upper", "lower") for _ in range(count)]
            long = max(long, edge)
    return Segmented(name, steels, [], long, False)


def _thin(rings: list[Ring]) -> dict[str, Thin]:
    """Where each cut's rings are narrowest, measured from the trim line to the edge outside it; where nothing is left there is no ring."""
    out: dict[str, Thin] = {}
    for r in rings:
        points = shapely.points(r.line.view)
        width = np.asarray(shapely.distance(points, shapely.LinearRing(r.outer)))
        on = (shapely.distance(points, r.region) < 1e-6) & (width > NOISE)
        if on.any():
            i = int(np.argmin(np.where(on, width, np.inf)))
            best = out.get(r.line.cut.id)
            if best is None or width[i] < best.width:
                out[r.line.cut.id] = Thin(float(width[i]), r.line.space[i])
    return out


def _circles(cuts: list[Cut], cutting: Result) -> dict[str, Any]:
    """Die buttons of straight cuts as circles in plan."""
    table = cutting.tables.get("punches", {})
    names = [str(c["id"]) for c in cutting.values.get("cuts", [])]
    size = {names[int(i)]: float(d) for i, d in zip(table.get("cut", ()), table.get("button_mm", ()), strict=True) if np.isfinite(d)}
    return {
        c.id: shapely.Polygon(c.across).centroid.buffer(0.5 * size[c.id], quad_segs=90)
        for c in cuts
        if c.id in size and c.direction[2] < -1.0 + 1e-9
    }


def _buttons(cuts: list[Cut], circles: Mapping[str, Any], lines: list[Line], segmented: list[Segmented], deep: float) -> list[Button]:
    """Die buttons that overlap, run over the edge of the innermost post, or lie in the joint of its steels."""
    out = []
    at = {c.id: c for c in cuts}
    radius = {k: math.sqrt(float(g.area) / math.pi) for k, g in circles.items()}
    posts = [shapely.Polygon(k.view) for k in lines if k.straight]
    post = min(posts, key=lambda g: float(g.area)) if posts else None
    straight = {k.cut.id for k in lines if k.straight}
    joints = [shapely.LineString([j.at, j.at - deep * j.normal]) for g in segmented if g.cut in straight for j in g.joints]
    names = list(circles)
    for i, a in enumerate(names):
        middle = circles[a].centroid
        away = [
            (b, radius[a] + radius[b] - middle.distance(circles[b].centroid)) for b in names[i + 1 :] if at[a].operation == at[b].operation
        ]
        if post is not None and post.contains(middle):
            away.append(("post", radius[a] - post.exterior.distance(middle)))
        if joints:
            away.append(("joint", radius[a] - min(j.distance(middle) for j in joints)))
        out += [Button(a, b, over, at[a].points.mean(axis=0)) for b, over in away if over > 1e-3]
    return out


STAGE = Stage(
    name="scrap", title="Scrap and steels", plural=True, version=1, packages=("trim/scrap", "trim/loads/line", "geometry"), needs=("sheet", "press", "blank", "trim", "cutting"), inputs=_inputs, work=work,
)  # fmt: skip
