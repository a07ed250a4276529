"""The page Plating: thickness on the rack, the rack in its tank to scale, what each bath lays, what bodies change, where anodes were tried."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
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
    origin,
    row,
    sheet,
    small,
    state_of,
    status,
    table,
)
from diewright.book.paper.colours import GREY, INK
from diewright.book.paper.digits import number, said
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svg import Svg
from diewright.book.paper.svgplot import SMALL
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import FieldMesh, Floats, TriMesh
from diewright.job.schema import PlatingStated
from diewright.job.stage import Result

STAGE, SEARCH = "plating", "anodes"
CAUTIONS = Path(__file__).resolve().parent.parent / "static" / "plating_cautions.txt"
SIDES = ("upper", "lower")
PAINTED = 0.95
"""Share of the area that lies within the colours: a rim's peak has no end."""
COMPARED = (
    ("min_um", "Least, µm"), ("thinnest_um", "Thinnest 1 %, µm"), ("mean_um", "Mean, µm"), ("max_um", "Most, µm"), ("mean_over_min", "Mean / least"), ("max_a_dm2", "Most, A/dm²"), ("burnt_pct", "Burnt, %"),
    ("starved_pct", "Starved, %"), ("minutes", "Time, min"), ("voltage_V", "Voltage, V"), ("thieves_pct", "On thieves, % of the current"),
)  # fmt: skip


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page; a job that is not plated has none."""
    found, tried = bench.result(STAGE), bench.result(SEARCH)
    if STAGE not in bench.states or (found is None and tried is None):
        return []
    blocks: list[Block | None] = [*status(bench, STAGE)]
    if found is not None and "part_1" in found.meshes:
        for layer in found.values["layers"]:
            blocks.append(attempt(f"The picture of {layer['name']}", lambda layer=layer: _thickness(bench, found, layer)))  # type: ignore[misc]
        blocks.append(attempt("The drawing of the tank", lambda: bench.svg("plating-tank", tank(found, bench.job.plating, bench.width), "The rack in its tank, from the front and from above, one scale; boxes of the parts, bodies as stated; mm.")))  # fmt: skip
        blocks += [
            *_layers(found),
            attempt("The table of the parts", lambda: _parts(found)),
            attempt("What the bodies change", lambda: _bodies(found)),
        ]
    else:
        blocks.append(missing("There is no plated rack to show yet."))
    if tried is not None:
        blocks.append(attempt("The search for the anodes", lambda: _tried(tried)))
    blocks.append(
        row(decisions("The rack", stated(bench.job.plating, skip=("layers", "bodies")), slim=True), _stated_layers(bench.job.plating))
    )
    blocks.append(_stated_bodies(bench.job.plating))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage in (STAGE, SEARCH)]))
    blocks.append(figures("Figures", found.figures if found else ()))
    baths = [layer["bath"] for layer in found.values["layers"]] if found else [layer.bath for layer in bench.job.plating.layers]
    blocks.append({"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in cautions(baths)]})
    blocks.append(small("Method and sources", [
        "The potential in the stirred bath obeys Laplace's equation, the current density at the metal rises with the potential step by the bath's kinetics; tetrahedra, every part and both sides. Thickness by Faraday's law with the bath's efficiency.",
        "At a free rim the current has a peak without an end: flagged values there are means over the last row of triangles, and the colours end where 95 % of the surface lies below. The sheet is without thickness. Supply of ions, agitation, levelling, hooks, and the growth of the deposit are not covered.",
        *origin(bench, STAGE, SEARCH),
    ]))  # fmt: skip
    return [sheet("Plating", state_of(bench, STAGE), blocks)]


@lru_cache(maxsize=1)
def _lines() -> tuple[str, ...]:
    text = CAUTIONS.read_text(encoding="utf-8").splitlines()
    return tuple(line for line in text if line and not line.startswith("#"))


def cautions(baths: list[str]) -> list[str]:
    """Cautions of plating, with those of chromium(VI) where one of ``baths`` has it; the same lines as on the screen."""
    lines = _lines()
    cut = next(i for i, line in enumerate(lines) if line.startswith("["))
    hexavalent = any("chromium-vi" in b or "chromic" in b for b in baths)
    return [*lines[:cut], *(lines[cut + 1 :] if hexavalent else ())]


def _names(found: Result) -> list[str]:
    return sorted((n for n in found.meshes if n.startswith("part_")), key=lambda n: int(n[5:]))


def _side(found: Result) -> str:
    side = str(found.values["significant_side"])
    return side if side in SIDES else SIDES[0]


def _thickness(bench: Bench, found: Result, layer: dict[str, Any]) -> Block:
    """All parts of the rack with one deposit on the significant side, seen from the front anodes."""
    side, names = _side(found), _names(found)
    meshes = [found.meshes[n] for n in names]
    start = np.cumsum([0, *(len(m.mesh.points) for m in meshes)])
    points = np.concatenate([m.mesh.points for m in meshes]) * [-1.0, -1.0, 1.0]  # the eye of the sheet stands at -y: half a turn about z
    whole = FieldMesh(
        TriMesh(points, np.concatenate([m.mesh.triangles + s for m, s in zip(meshes, start[:-1], strict=True)]).astype(np.int32))
    )
    values = np.concatenate([np.asarray(m.cell[f"{layer['name']}_um_{side}"], dtype=float) for m in meshes])
    name = str(layer["name"])
    picture = Picture(
        f"plating-{name}", whole, segments_of(whole, None), bench.width, 78.0, f"{name.capitalize()}, {side} side", "µm", values=values, scale="batlow",
        span=(0.0, within(values, np.asarray(whole.mesh.areas))), limit=(float(layer["minimum_um"]), "least wanted"), low="least", high="most", down="",
    )  # fmt: skip
    return bench.picture(
        picture,
        f"{name.capitalize()} on the {side} side of all parts, seen from the front anodes; the colours end where {100 * PAINTED:.0f} % of this side lies below.",
    )


def within(values: Floats, areas: Floats) -> float:
    """The value below which :data:`PAINTED` of the area lies."""
    order = np.argsort(values, kind="stable")
    room = np.cumsum(areas[order])
    return float(values[order[min(int(np.searchsorted(room, PAINTED * room[-1])), len(values) - 1)]]) or 1.0


def _layers(found: Result) -> list[Block | None]:
    layers = found.values["layers"]
    runs = [[x["title"], number(x["minutes"]) + ("" if x["timed"] else ", stated"), number(x["current_A"], 4), number(x["mean_a_dm2"]), number(x["voltage_V"]), number(x["energy_kWh"]), number(x["metal_parts_g"], 4), number(x["metal_thieves_g"])] for x in layers]  # fmt: skip
    lays = [[x["title"], number(x["min_um"]), number(x["thinnest_um"]), number(x["mean_um"]), number(x["max_um"]), number(x["mean_over_min"]), f"{x['short_pct']:.1f}", f"{x['burnt_pct']:.1f}", f"{x['starved_pct']:.1f}"] for x in layers]  # fmt: skip
    return [
        table("Bath by bath", _columns("Bath", "Time, min", "Current, A", "A/dm²", "Voltage, V", "Energy, kWh", "On parts, g", "On thieves, g"), runs),
        table("On the significant surface of all parts", _columns("Bath", "Least, µm", "Thinnest 1 %", "Mean, µm", "Most, µm", "Mean / least", "Too thin, %", "Burnt, %", "Starved, %"), lays),
    ]  # fmt: skip


def _columns(first: str, *names: str) -> list[tuple[str, str, float]]:
    return [(first, "left", 1.0), *((n, "right", 0.0) for n in names)]


def _parts(found: Result) -> Block | None:
    t, layers, side = found.tables["parts"], found.values["layers"], found.values["significant_side"]
    rows = [
        [
            layers[int(t["layer"][i]) - 1]["name"], str(int(t["part"][i])), SIDES[int(t["side"][i])] + (", significant" if SIDES[int(t["side"][i])] == side else ""),
            *(said(_finite(t[c][i]), "", 3) for c in ("min_um", "mean_um", "max_um", "mean_over_min", "min_a_dm2", "mean_a_dm2", "max_a_dm2")), f"{t['burnt_pct'][i]:.1f}", f"{t['starved_pct'][i]:.1f}",
        ]
        for i in range(len(t["layer"]))
    ]  # fmt: skip
    names = [("Deposit", "left", 0.0), ("Part", "right", 0.0), ("Side", "left", 1.0), *((n, "right", 0.0) for n in ("Least, µm", "Mean", "Most", "Mean / least", "Least, A/dm²", "Mean", "Most", "Burnt, %", "Starved, %"))]  # fmt: skip
    return table("Thickness and current density by part and side", names, rows)


def _finite(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _bodies(found: Result) -> Block | None:
    t = found.tables.get("bodies")
    if t is None:
        return None
    layers = found.values["layers"]
    rows = [[words, *(said(_finite(t[f"{c}_{w}"][i]), "", 3) for i in range(len(t["layer"])) for w in ("without", "with"))] for c, words in COMPARED if f"{c}_with" in t]  # fmt: skip
    heads = [f"{layers[i]['name']}, {w}" for i in range(len(t["layer"])) for w in ("without", "with")]
    return table("What shields, thieves and bipolar metal change", _columns("", *heads), rows)


def _tried(tried: Result) -> Block | None:
    t, v = tried.tables["tried"], tried.values
    rows = [
        [("as stated" if i == 0 else f"try {i + 1}") + (", best" if i == int(v["best"]) else ""), *(number(float(t[c][i]), 4) for c in ("distance", "span", "length")), "does not fit" if not np.isfinite(t["ratio"][i]) or t["ratio"][i] >= 1e6 else number(float(t["ratio"][i])), *(said(_finite(t[c][i]), "", 3) for c in ("mean_over_min", "max_over_mean"))]
        for i in range(len(t["distance"]))
    ]  # fmt: skip
    return table("Places of the anodes that were tried, first deposit, coarse mesh", _columns("Place", "Distance, mm", "Row, mm", "Depth, mm", "Mean / thinnest 1 %", "Mean / least", "Most / mean current"), rows)  # fmt: skip


def _stated_layers(s: PlatingStated) -> Block | None:
    rows = [[str(k), x.bath, number(x.minimum_um), said(x.current_density, "", 3), said(x.current, "", 4), said(x.minutes, "", 4)] for k, x in enumerate(s.layers, 1)]  # fmt: skip
    return table("Deposits as stated", [("", "left", 0.0), ("Bath", "left", 1.0), *((n, "right", 0.0) for n in ("Least, µm", "A/dm²", "A", "min"))], rows)  # fmt: skip


def _stated_bodies(s: PlatingStated) -> Block | None:
    rows = [[str(k), b.role, b.kind, said(list(b.at), "", 4), said(list(b.size), "", 4)] for k, b in enumerate(s.bodies, 1)]
    return table("Bodies in the bath as stated", [("", "left", 0.0), ("Role", "left", 0.5), ("Form", "left", 0.5), ("Middle x, y, z, mm", "right", 0.0), ("Size x, y, z, mm", "right", 0.0)], rows)  # fmt: skip


def tank(found: Result, asked: PlatingStated, width: float) -> Svg:
    """The bath from the front (x, z) and from above (x, y) to one scale, with its measures."""
    v = found.values
    low, high = (np.asarray(c, dtype=float) for c in v["bath"])
    size = high - low
    scale = min((width - 44.0) / 2 / size[0], 62.0 / max(size[1], size[2]))
    tall = float(max(size[1], size[2]) * scale)
    svg = Svg(width, tall + 22.0)
    boxes = [(m.mesh.points.min(axis=0), m.mesh.points.max(axis=0)) for m in (found.meshes[n] for n in _names(found))]
    for n, axes in enumerate(((0, 2), (0, 1))):
        x0, y0 = 2.0 + n * width / 2, 6.0
        _one(svg, v, asked, boxes, (x0, y0), axes, low, high, scale)
        w, t = float(size[0] * scale), float(size[axes[1]] * scale)
        svg.text(x0, y0 - 2.0, "from the front" if n == 0 else "from above, front anodes at the top", italic=True, size=SMALL)
        _dimension(svg, (x0, y0 + t + 7.0), (x0 + w, y0 + t + 7.0), float(size[0])) if n == 0 else None
        _dimension(svg, (x0 + w + 10.0, y0), (x0 + w + 10.0, y0 + t), float(size[axes[1]]))
        near = [a[0][1] for a in v["anodes"] if a[0][1] > 0]
        if n == 1 and near:
            middle = y0 + float(high[1]) * scale
            _dimension(svg, (x0 + w + 4.0, middle - min(near) * scale), (x0 + w + 4.0, middle), float(min(near)))
            svg.line(x0, middle, x0 + w, middle, width=0.15, dash="4 0.8 0.6 0.8", colour=GREY)
    return svg


def _one(
    svg: Svg, v: dict[str, Any], asked: PlatingStated, boxes: list[tuple[Floats, Floats]], origin: tuple[float, float], axes: tuple[int, int],
    low: Floats, high: Floats, scale: float,
) -> None:  # fmt: skip
    def box(a: Any, b: Any, **look: Any) -> None:
        x = origin[0] + (float(a[axes[0]]) - low[axes[0]]) * scale
        y = origin[1] + (high[axes[1]] - float(b[axes[1]])) * scale
        svg.rect(
            float(x),
            float(y),
            max((float(b[axes[0]]) - float(a[axes[0]])) * scale, 0.3),
            max((float(b[axes[1]]) - float(a[axes[1]])) * scale, 0.3),
            **look,
        )

    box(low, high, colour=INK, width=0.3)
    for a, b in v["anodes"]:
        box(a, b, fill="#e8e8e6", colour=INK, width=0.2)
    for body in asked.bodies:
        at, size = np.asarray(body.at), np.asarray(body.size)
        box(at - size / 2, at + size / 2, colour=GREY, width=0.35)
    for a, b in boxes:
        box(a, b, colour=INK, width=0.4)


def _dimension(svg: Svg, a: tuple[float, float], b: tuple[float, float], mm: float) -> None:
    svg.arrow(*a, *b, both=True, width=0.15)
    upright = a[0] == b[0]
    svg.text(
        a[0] + 1.0 if upright else (a[0] + b[0]) / 2,
        (a[1] + b[1]) / 2 + (0.9 if upright else -0.8),
        number(round(mm), 5),
        anchor="start" if upright else "middle",
        size=SMALL,
        halo=True,
    )
