"""The page Tryout: the part at several strokes, forces under the press, a section, draw-in, springback."""

from __future__ import annotations

from typing import Any

import numpy as np

from diewright.book.paper import drawing
from diewright.book.paper.blocks import (
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    in_press_units,
    missing,
    numbers,
    origin,
    row,
    sheet,
    small,
    stack,
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.colours import GREY, WATER
from diewright.book.paper.digits import said
from diewright.book.paper.page_blank import strains
from diewright.book.paper.pictures import RULER, Picture, segments_of
from diewright.book.paper.press_section import section
from diewright.book.paper.svg import Svg
from diewright.book.paper.svgplot import Falling, Plot, end_of
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import FieldMesh, Floats, TriMesh
from diewright.job.series import FieldSeries
from diewright.job.stage import Result

STAGE = "tryout"
SHARES = (0.25, 0.5, 0.75)  # of the stroke, for the small pictures


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page: pictures with forces, then section, draw-in and numbers."""
    found = bench.result(STAGE)
    if found is None or "sheet" not in found.series:
        blocks = [
            *status(bench, STAGE),
            missing("There is no tryout to show yet."),
            decisions("Decisions", stated(bench.job.tryout), slim=True),
        ]
        return [sheet("Tryout", state_of(bench, STAGE), blocks)]
    return [_shape(bench, found), _section(bench, found)]


def _shape(bench: Bench, found: Result) -> dict[str, Any]:
    series = found.series["sheet"]
    stroke = _stroke(found, series)
    third = (bench.width - 12.0) / 3
    span = _span(series)
    row_of = row(
        *(attempt(f"The picture at {share:.0%} of the stroke", _at(bench, series, stroke, share, third, span)) for share in SHARES)
    )
    low = max((float(b.get("height", 6.0)) for b in (row_of or {}).get("blocks", [])), default=0.0)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    if stopped := found.values.get("stopped"):
        text = f"{str(stopped).rstrip('.')}. What is shown ends at the last good frame."
        blocks.append({"kind": "status", "state": "stopped before the end", "text": plain(text)})
    blocks.append(
        attempt(
            "The picture of the thinning", lambda: _thinning(bench, series, stroke, span, max(bench.height - low - 108.0 - RULER, 60.0))
        )
    )
    blocks.append(row_of)
    press = bench.result("press")
    blocks.append(
        attempt("The force curve", lambda: bench.svg("tryout-force", force(found, press, bench.width).svg, _words_of_force(press)))
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    return sheet("Tryout", state_of(bench, STAGE), blocks)


def _section(bench: Bench, found: Result) -> dict[str, Any]:
    series = found.series["sheet"]
    half = (bench.width - 6.0) / 2
    made: list[drawing.Drawing] = []

    def cut() -> Block:
        last = series.frame(-1)
        spread = np.ptp(last.mesh.points[:, :2], axis=0)
        axis = 1 if spread[0] >= spread[1] else 0  # along the longer side
        at = float((last.mesh.points[:, axis].min() + last.mesh.points[:, axis].max()) / 2)
        tools: list[tuple[str, TriMesh, float]] = [
            (n, found.meshes[n].mesh, _lift(found, n)) for n in ("die", "punch", "blankholder") if n in found.meshes
        ]
        thickness = np.asarray(last.cell.get("thickness", np.full(len(last.mesh.triangles), bench.job.sheet.thickness)), dtype=float)
        made.append(section(last.mesh, thickness, tools, axis, at, bench.width, 100.0))
        return bench.svg(
            "tryout-section",
            made[0].svg,
            f"Section at {'xy'[axis]} {said(round(at, 2), 'mm')} in the closed press. Sheet thickness to scale, as the cut meets it.",
        )

    blocks: list[Block | None] = [attempt("The section", cut)]
    plan = (
        attempt(
            "The draw-in",
            lambda: bench.svg("tryout-draw-in", draw_in(found, half), "The blank's edge before (dashed) and after, draw-in in mm."),
        )
        if "edge_start" in found.arrays
        else None
    )
    metal = bench.result("sheet")
    cloud = None
    if metal is not None and "limit" in metal.tables and "drawn" in found.meshes:
        part = Result(meshes={"part": found.meshes["drawn"]})
        cloud = attempt(
            "The strains",
            lambda: bench.svg(
                "tryout-strains",
                strains(part, metal, half, 62.0).svg,
                "Strains of every triangle of the drawn part against the forming limit (true strain).",
            ),
        )
    blocks.append(row(plan, cloud))
    blocks.append(_springback(found))
    blocks.append(
        row(
            decisions("Decisions", stated(bench.job.tryout), slim=True),
            stack(numbers("The tryout", _numbers(found)), numbers("How far it can be trusted", _trust(found))),
        )
    )
    blocks.append(figures("Figures", found.figures))
    blocks.append(small("Method and sources", [
        "Shell triangles between rigid tools, in small steps of time by central differences; contact on both skins with the present thickness, Coulomb friction. The margin is the distance to the forming limit in major "
        "engineering strain. Springback is what the part does when the tools, then the metal beyond the trim line, are taken away.",
        *origin(bench, STAGE),
    ]))  # fmt: skip
    return sheet("Tryout, section", state_of(bench, STAGE), blocks, scale=made[0].said if made else "")


def _stroke(found: Result, series: FieldSeries) -> Floats:
    stroke = np.asarray(found.arrays.get("frame_stroke", np.arange(len(series))), dtype=float)
    return stroke if len(stroke) == len(series) else np.arange(len(series), dtype=float)


def _span(series: FieldSeries) -> tuple[float, float]:
    values = series.cell["thinning_pct"]
    return float(np.nanmin(values)), float(np.nanmax(values))


def _at(bench: Bench, series: FieldSeries, stroke: Floats, share: float, width: float, span: tuple[float, float]) -> Any:
    """A small picture of the frame nearest to a share of the stroke, in the colours of the large one."""
    frame = int(np.argmin(np.abs(stroke - share * stroke.max())))

    def make() -> Block:
        fields = series.frame(frame)
        values = np.asarray(fields.cell["thinning_pct"], dtype=float)
        picture = Picture(
            f"tryout-{round(100 * share)}",
            fields,
            segments_of(fields, None),
            width,
            42.0,
            "Thinning",
            "%",
            values=values,
            scale="vik",
            span=span,
            about_zero=True,
        )
        return bench.picture(picture, f"At {said(float(stroke[frame]), 'mm', 3)} of {said(float(stroke.max()), 'mm', 3)} of stroke.")

    return make


def _thinning(bench: Bench, series: FieldSeries, stroke: Floats, span: tuple[float, float], tallest: float) -> Block:
    fields = series.frame(-1)
    picture = Picture(
        "tryout-end", fields, segments_of(fields, None), bench.width, min(tallest, 100.0), "Thinning", "%", values=np.asarray(fields.cell["thinning_pct"], dtype=float), scale="vik",
        span=span, about_zero=True, limit=(bench.job.blank.thinning_limit, "limit"), low="thickest", high="thinnest",
    )  # fmt: skip
    return bench.picture(
        picture, f"The sheet at the last instant in the tools, after {said(float(stroke.max()), 'mm', 3)} of stroke from first touch."
    )


def force(found: Result, press: Result | None, width: float, height: float = 62.0) -> Plot:
    """Punch and blankholder force over the height above bottom, bottom at the right, under what the press gives."""
    t = {k: np.asarray(v, dtype=float) for k, v in found.tables["press_curve"].items()}
    h, punch, holder = t["height_above_bottom_mm"], t["punch_kN"], t["blankholder_kN"]
    both = punch + holder if _carries_both(press) else punch
    needed = float(np.nanmax(np.concatenate([both, holder, [1e-3]])))
    deepest = end_of(h, 1.0)
    reach, capacity = _capacity(press, deepest)
    top = max(needed * 1.18, min(float(np.min(capacity, initial=np.inf)) * 1.3, needed * 2.6))
    plot = Falling(width, height, (-deepest, 0.0), (0.0, top), "height above bottom, mm", "force, kN")
    if len(capacity) and (capacity < top).any():
        plot.curve(-reach, capacity, "what the press gives", where=0.3, width=0.3)
    elif len(capacity):
        plot.svg.text(
            plot.left + 2,
            plot.top + 3.0,
            f"the press gives {said(float(capacity.min()), 'kN', 3)} or more here, above this plot",
            size=2.5,
            halo=True,
        )
    if _carries_both(press):
        plot.curve(-h, both, "together", where=0.45, width=0.2, dash="0.8 0.8")
    plot.curve(-h, punch, "punch", where=0.7, above=False)
    plot.curve(-h, holder, "blankholder", where=0.35, colour=WATER, dash="2.2 1")
    return plot


def _carries_both(press: Result | None) -> bool:
    """On a press with one slide it carries punch and blankholder (against the cushion) together."""
    kind = ((press.values.get("press") or {}) if press else {}).get("kind", "")
    return "double" not in str(kind)


def _capacity(press: Result | None, deepest: float) -> tuple[Floats, Floats]:
    if press is None or "force_stroke" not in press.tables or "capacity_kN" not in press.tables["force_stroke"]:
        return np.zeros(0), np.zeros(0)
    t = press.tables["force_stroke"]
    h, c = np.asarray(t["height_above_bottom_mm"], dtype=float), np.asarray(t["capacity_kN"], dtype=float)
    near = np.isfinite(c) & (h <= deepest * 1.001)
    return h[near], c[near]


def _words_of_force(press: Result | None) -> str:
    tail = " The slide carries punch and blankholder together." if _carries_both(press) else ""
    return f"Forces over the height above bottom.{tail}"


def _lift(found: Result, name: str) -> float:
    names = list(found.values.get("tools") or [])
    lifts = found.arrays.get("tools")
    return float(lifts[-1, names.index(name)]) if lifts is not None and name in names else 0.0


def draw_in(found: Result, width: float) -> Svg:
    """The blank's edge before and after from above, with the draw-in written at its places."""
    before, after = np.asarray(found.arrays["edge_start"])[:, :2], np.asarray(found.arrays["edge_end"])[:, :2]
    low, high = np.minimum(before.min(axis=0), after.min(axis=0)), np.maximum(before.max(axis=0), after.max(axis=0))
    k = float(min((width - 26.0) / (high[0] - low[0]), 48.0 / (high[1] - low[1])))
    svg = Svg(width, float((high[1] - low[1]) * k) + 14.0)
    centre = (low + high) / 2

    def paper(points: Floats) -> Floats:
        d = np.atleast_2d(points) - centre
        return np.column_stack([width / 2 + d[:, 0] * k, svg.height / 2 - d[:, 1] * k])

    svg.path(paper(before), width=0.2, dash="2 0.9", closed=True, colour=GREY)
    svg.path(paper(after), width=0.45, closed=True)
    written: list[Floats] = []
    named = {"largest": "most ", "least": "least "}  # these are written in any case, the others where there is room
    for one in sorted(found.values.get("draw_in") or [], key=lambda one: one.get("name") not in named):
        at = np.asarray(one["at"], dtype=float)[:2]
        to = after[int(np.argmin(np.linalg.norm(after - at, axis=1)))]
        (x, y), (u, v) = paper(at)[0], paper(to)[0]
        if any(abs(float(w[0]) - x) < 12 and abs(float(w[1]) - y) < 3.2 for w in written):
            continue
        written.append(np.array([x, y]))
        svg.arrow(x, y, u, v, width=0.15, head=1.6)
        way = (at - centre) / max(float(np.linalg.norm(at - centre)), 1e-9)
        anchor = "start" if way[0] > 0.35 else "end" if way[0] < -0.35 else "middle"
        svg.text(x + 2.2 * way[0], y - 3.2 * way[1] + 0.9, f"{named.get(str(one.get('name')), '')}{one['mm']:.1f}", anchor=anchor, size=2.4)
    return svg


def _springback(found: Result) -> Block | None:
    rows = [
        [
            s["point"],
            ", ".join(said(round(float(x), 2)) for x in s.get("at") or []),
            said(s.get("released_mm"), "", 3),
            said(s.get("trimmed_mm"), "", 3),
        ]
        for s in found.values.get("springback") or []
    ]
    return table(
        "Springback at the reference points, mm",
        [("Point", "left", 1.0), ("At x, y, z", "right", 0), ("Released", "right", 0), ("Trimmed", "right", 0)],
        rows,
    )


def _numbers(found: Result) -> list[list[str]]:
    v = found.values
    rows = [
        ["Highest punch force", said(v.get("punch_force_max_kN"), "kN", 3)], ["Blankholder force", said(v.get("blankholder_force_kN"), "kN", 3)],
        ["Work of the press", in_press_units(v.get("press_work_J"), "J")], ["Least margin to necking", said(v.get("margin_min_pct"), "%", 3)],
        ["Most thinning", said(v.get("thinning_max_pct"), "%", 3)], ["Highest wrinkle", said(v.get("wrinkle_height_max"), "mm", 2)],
    ]  # fmt: skip
    return [["Stopped before the end", str(v["stopped"])], *rows] if v.get("stopped") else rows


def _trust(found: Result) -> list[list[str]]:
    v, mesh = found.values, found.values.get("mesh") or {}

    def share(key: str) -> str:
        return said(100 * v[key], "%", 2) if v.get(key) is not None else "–"

    return [
        ["Highest share of kinetic energy", share("kinetic_share_max")], ["Energy balance, worst", said(v.get("balance_worst_pct"), "%", 2)],
        ["Mass added for the time step", share("mass_added_share")], ["Deepest penetration, of the thickness", share("penetration_max_share")],
        ["Triangles of the sheet", said(mesh.get("triangles"))], ["Edges", f"{said(mesh.get('edge_min'), '', 3)} to {said(mesh.get('edge_max'), 'mm', 3)}"],
    ]  # fmt: skip


def apart(fields: dict[str, FieldMesh], lifts: dict[str, float]) -> FieldMesh:
    """Several tools as one mesh, each lifted by its own amount [mm]."""
    points, triangles, start = [], [], 0
    for name, lift in lifts.items():
        mesh = fields[name].mesh
        points.append(mesh.points + np.array([0.0, 0.0, lift]))
        triangles.append(mesh.triangles + start)
        start += len(mesh.points)
    return FieldMesh(TriMesh(np.concatenate(points), np.concatenate(triangles)))
