"""The page Dip: the part in its attitude with air and pools, all attitudes on two discs, pockets, holes and drag-out."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from diewright.book.paper.blocks import (  # fmt: skip
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    missing,
    numbers,
    origin,
    row,
    sheet,
    small,
    state_of,
    status,
    table,
)
from diewright.book.paper.colours import GREY, HAIR, hexed, stops
from diewright.book.paper.colours import table as scale_of
from diewright.book.paper.digits import number, quantity, said
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svg import Svg
from diewright.book.paper.svgplot import SMALL
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import FieldMesh, Floats, TriMesh
from diewright.job.stage import Result

STAGE = "dip"
MAP = "batlow"
ROWS = 120
"""Strips of a disc of the map."""
NARROW = 5.0
"""[mm] width below which surface tension decides (inferred, see the method)."""
ROUND = (0.0, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4)


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page; a job whose part is not dipped has none."""
    found = bench.result(STAGE)
    if STAGE not in bench.states or found is None:
        return []
    values = found.values
    blocks: list[Block | None] = [*status(bench, STAGE)]
    if "part" in found.meshes:
        blocks.append(attempt("The picture of the part in the bath", lambda: _picture(bench, found)))
    else:
        blocks.append(missing("There is no picture of the part in the bath in this result."))
    caption = f"All attitudes on two discs of equal area: which way of the part is up. One patch each of {len(found.arrays['map_up'])} attitudes tried; numbers mark the best."
    blocks.append(attempt("The map of the attitudes", lambda: bench.svg("dip-map", attitude_map(found, bench.width), caption)))
    blocks += [
        _best(found),
        attempt("The table of the pockets", lambda: _pockets(found)),
        attempt("The table of the holes", lambda: _holes(found)),
    ]
    blocks.append(row(numbers("Drag-out", _drag_out(values)), decisions("Decisions", stated(bench.job.dip), slim=True)))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures))
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in values.get("cautions") or ()]})
    blocks.append(small("Method and sources", [
        "The space round the part is filled with cells that follow every triangle of the sheet. Air stays where the rising bath cuts off its last way up, bath stays where the falling one leaves it without a way out: exact for these triangles, "
        "slow lowering and lifting taken for granted, the sheet one skin without thickness.",
        "Below about 5 mm width surface tension decides and more may stay than is shown; no source gives a limit. Drops, foam, gas that the bath makes and the swing of the rack are not covered.",
        "Drag-out by Kushner and Konishi et al. (1974), bead plus or minus 15 %; film after dripping by Jeffreys (1930, from memory); shops' figures after Soderberg 1936, from memory.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Dip", state_of(bench, STAGE), blocks)]


def standing(up: Floats) -> Floats:
    """The rotation ``(3, 3)`` whose rows are level across, level away and ``up``, with the part's x or y kept as level as it will go."""
    w = np.asarray(up, dtype=float) / np.linalg.norm(up)
    across = np.eye(3)[0] if abs(w[0]) < 0.9 else np.eye(3)[1]
    u = across - (across @ w) * w
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(w, u), w])


def _picture(bench: Bench, found: Result) -> Block:
    """The part as it hangs, coloured by how deep air (above nothing) or bath (below) stands on it."""
    part = found.meshes["part"]
    turned = TriMesh(part.mesh.points @ standing(np.array(found.values["up"])).T, part.mesh.triangles)
    depth = np.asarray(part.point["air_depth"], dtype=float) - np.asarray(part.point["pool_depth"], dtype=float)
    some = bool(np.abs(depth).max(initial=0.0) > 1e-6)
    fields = FieldMesh(turned)
    picture = Picture(
        "dip-part", fields, segments_of(fields, None), bench.width, 96.0, "Air over the sheet (above 0), bath on it (below 0)", "mm", values=depth if some else np.zeros(0), scale="vik",
        about_zero=True, low="deepest pool" if depth.min() < -1e-6 else "", high="highest air" if depth.max() > 1e-6 else "", down="plumb",
    )  # fmt: skip
    lean, towards = angles(np.array(found.values["up"]))
    tail = "" if some else " Nothing stays in this attitude, so nothing is coloured."
    return bench.picture(
        picture,
        f"The part in the bath, whose surface is level: up leans {lean:.1f}° from the part's z, towards {towards:.1f}° from its x.{tail}",
    )


def angles(up: Floats) -> tuple[float, float]:
    """How far up leans from the part's z, and towards which side counted from its x [deg]."""
    flat = float(np.hypot(up[0], up[1]))
    return float(np.degrees(np.arctan2(flat, up[2]))), float(np.degrees(np.arctan2(up[1], up[0])) % 360.0) if flat > 1e-6 else 0.0


def _ml(mm3: float | None, digits: int = 3) -> str:
    return number(None if mm3 is None else float(mm3) / 1000.0, digits)


def _best(found: Result) -> Block | None:
    t = found.tables["attitudes"]
    rows = []
    for i in range(len(t["up_x"])):
        lean, towards = angles(np.array([t["up_x"][i], t["up_y"][i], t["up_z"][i]]))
        rows.append([f"Best {i + 1}", f"{lean:.1f}", f"{towards:.1f}", _ml(t["air_mm3"][i]), _ml(t["pool_mm3"][i]), number(float(t["dry_significant_mm2"][i]) / 100.0), f"{t['room_deg'][i]:.0f}"])  # fmt: skip
    names = [("Attitude", "left", 1.0), ("Lean, °", "right", 0.0), ("towards, °", "right", 0.0), ("Air, mL", "right", 0.0), ("Pools, mL", "right", 0.0), ("Dry significant, cm²", "right", 0.0), ("Room, °", "right", 0.0)]  # fmt: skip
    return table("The best attitudes that lie 30° apart", names, rows, "Room: how far the rack may hang off before a millilitre more stays.")  # fmt: skip


def _name(t: dict[str, np.ndarray], i: int) -> str:
    return f"{'Air pocket' if t['kind'][i] == 0 else 'Pool'} {int(t['number'][i]) + 1}"


def _place(t: dict[str, np.ndarray], i: int, what: str) -> str:
    return ", ".join(number(round(float(t[f"{what}_{c}_mm"][i]), 1), 5) for c in "xyz")


def _pockets(found: Result) -> Block | None:
    t = found.tables.get("pockets")
    if t is None:
        return small("Pockets", ["Nothing stays in this attitude: no air when it goes in, no bath when it comes out."])
    rows = [
        [_name(t, i), _ml(t["mm3"][i]), number(float(t["mm3"][i]), 4), f"{t['depth_mm'][i]:.1f}", f"{t['width_mm'][i]:.1f}{', narrow' if t['width_mm'][i] < NARROW else ''}", number(float(t["band_mm3"][i]) / 1000.0, 2), _place(t, i, "far"), _place(t, i, "lip")]
        for i in range(len(t["kind"]))
    ]  # fmt: skip
    names = [("Pocket", "left", 1.0), ("mL", "right", 0.0), ("mm³", "right", 0.0), ("Depth, mm", "right", 0.0), ("Width, mm", "right", 0.0), ("Band, mL", "right", 0.0), ("Far end, mm", "right", 0.0), ("Spills at, mm", "right", 0.0)]  # fmt: skip
    return table("Pockets, in the part's coordinates", names, rows, "Band: how much less may be in it if the meshed skin is the far one. Narrow: below 5 mm surface tension decides.")  # fmt: skip


def _holes(found: Result) -> Block | None:
    t, w = found.tables.get("pockets"), found.values.get("with_holes")
    if t is None:
        return None
    rows = [
        [_name(t, i), "too shallow" if t["holds"][i] else number(float(t["hole_mm"][i])), _place(t, i, "far"), number(float(t["hole_by_time_mm"][i])), said(_finite(t["hole_table_mm"][i]), "", 3), f"{t['time_s'][i]:.1f}", _ml(t["saved_mm3"][i]), _ml(t["after_mm3"][i])]
        for i in range(len(t["kind"]))
    ]  # fmt: skip
    names = [("At", "left", 1.0), ("Hole, mm", "right", 0.0), ("Place, mm", "right", 0.0), ("By time, mm", "right", 0.0), ("Galvanizing table, mm", "right", 0.0), ("Empties, s", "right", 0.0), ("Takes away, mL", "right", 0.0), ("Then stay, mL", "right", 0.0)]  # fmt: skip
    note = "Size: the time to empty (Torricelli), the head that surface tension holds, the least hole stated, whichever asks for most. The galvanizing table is an upper bound."
    if w:
        note = f"With all of them {_ml(w['air_mm3'])} mL of air and {_ml(w['pool_mm3'])} mL of bath stay. {note}"
    return table("Holes that let air out and bath off", names, rows, note)


def _finite(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _drag_out(v: dict[str, Any]) -> list[list[str]]:
    d = v["drag_out"]
    low, high = (min(s * d["bead_mL"] + d["film_mL"], d["pulled_mL"]) + d["pools_mL"] for s in (0.85, 1.15))
    rows = [
        ["A part carries off", f"{number(d['part_mL'])} mL"], ["with the bead's 15 %", f"{number(low)} to {number(high)} mL"], ["A rack carries off", quantity(d["rack_mL"], "mL")], ["Bead, film, pools", f"{number(d['bead_mL'])}, {number(d['film_mL'])}, {number(d['pools_mL'])} mL"],
        ["Pulled out before it drips", quantity(d["pulled_mL"], "mL")], ["Still running after the drip time", quantity(d["running_mL"], "mL")], ["Trapped air lifts with", quantity(v["lift_N"], "N")], ["Part weighs in the bath", quantity(v["weight_in_bath_N"], "N")],
    ]  # fmt: skip
    for name, (a, b) in d["published"].items():
        rows.append([f"Shops: {name}", quantity(a, "mL") if a == b else f"{number(a)} to {number(b)} mL"])
    return rows


def share_of(value: Floats, most: float) -> Floats:
    """Place on the scale of the map: with the cube root."""
    return np.cbrt(np.clip(value, 0.0, None) / max(most, 1e-12))


def attitude_map(found: Result, width: float) -> Svg:
    """Air and pools [mL] over all attitudes, half spheres on discs by Lambert's equal-area projection; every place takes the colour of the attitude tried nearest to it."""
    up, value = np.asarray(found.arrays["map_up"]), (np.asarray(found.arrays["map_air"]) + np.asarray(found.arrays["map_pool"])) / 1000.0
    most = max(float(value.max()), 1e-6)
    radius = min((width - 60.0) / 4.0, 34.0)
    svg = Svg(width, 2 * radius + 34.0)
    middle = [(width / 2 - radius - 12.0, radius + 12.0), (width / 2 + radius + 12.0, radius + 12.0)]

    def at(v: Floats) -> tuple[float, float]:
        x0, y0 = middle[0 if v[2] >= 0 else 1]
        k = radius / np.sqrt(1.0 + abs(float(v[2])))
        return x0 + k * float(v[0]), y0 - k * float(v[1])

    for n, (x0, y0) in enumerate(middle):
        _patches(svg, up, np.rint(255 * share_of(value, most)).astype(int), (x0, y0), radius, 1.0 if n == 0 else -1.0)
    for n, (x0, y0) in enumerate(middle):
        for lean in (30.0, 60.0):
            svg.circle(x0, y0, radius * np.sqrt(2.0) * np.sin(np.radians(lean / 2)), colour="#ffffff", width=0.15)
        svg.circle(x0, y0, radius, width=0.3)
        svg.text(x0, y0 - radius - 7.0, "part's z up" if n == 0 else "part's z down", anchor="middle", italic=True)
        for words, dx, dy in (("x", 1, 0), ("y", 0, 1), ("\u2212x", -1, 0), ("\u2212y", 0, -1)):
            svg.text(x0 + dx * (radius + 4.2), y0 - dy * (radius + 3.6) + 0.9, words, anchor="middle", size=SMALL, colour=GREY)
    for i, a in enumerate(found.values["attitudes"], 1):
        x, y = at(np.array(a["up"]))
        svg.circle(x, y, 2.1, fill="#ffffff", width=0.3)
        svg.text(x, y + 0.9, str(i), anchor="middle", size=SMALL, weight=600)
    x, y = at(np.array(found.values["up"]))
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        svg.line(x + 2.3 * dx, y + 2.3 * dy, x + 5.0 * dx, y + 5.0 * dy, width=0.5)
    _rule(svg, width, 2 * radius + 22.0, most)
    return svg


def _patches(svg: Svg, up: Floats, shade: np.ndarray, middle: tuple[float, float], radius: float, sense: float) -> None:
    """One disc, row by row of strips that have one colour."""
    colours = [hexed(c) for c in scale_of(MAP)]
    step = 2.0 / ROWS
    for y in np.arange(ROWS) * step - 1.0 + step / 2:
        half = float(np.sqrt(1.0 - y * y))
        x = np.linspace(-half, half, max(int(2 * half / step), 1) + 1)
        middles = 0.5 * (x[1:] + x[:-1])
        r2 = middles**2 + y * y
        k = np.sqrt(2.0 - r2)
        near = shade[np.argmax(np.stack([middles * k, -y * k, sense * (1.0 - r2)], axis=1) @ up.T, axis=1)]
        cuts = np.flatnonzero(np.diff(near, prepend=-1, append=-1))
        for a, b in pairwise(cuts):
            svg.rect(
                middle[0] + radius * x[a],
                middle[1] + radius * (y - step / 2),
                radius * (x[b] - x[a]) + 0.03,
                radius * step + 0.03,
                fill=colours[near[a]],
            )


def _rule(svg: Svg, width: float, y: float, most: float) -> None:
    x0, long = 44.0, width - 56.0
    svg.text(0.5, y + 2.0, "Air and pools, mL")
    svg.rect(x0, y, long, 2.4, fill=svg.gradient(stops(MAP)), colour=HAIR, width=0.1)
    last = -99.0
    for v in (r for r in ROUND if r <= 0.985 * most):
        x = x0 + long * float(share_of(np.array(v), most))
        svg.line(x, y + 2.4, x, y + 3.2, width=0.18)
        if x - last > 8.0 and x < x0 + long - 14.0:
            svg.text(x, y + 5.8, number(v, trim=True), anchor="middle", size=SMALL, colour=GREY)
            last = x
    svg.text(x0 + long, y + 5.8, f"most {number(most)}", anchor="end", size=SMALL, colour=GREY)
