"""The page Sheet: the metal's curves, its numbers, and where each comes from."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from diewright.book.paper.blocks import (
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
    stack,
    state_of,
    status,
    table,
)
from diewright.book.paper.colours import GREY, WATER
from diewright.book.paper.digits import said
from diewright.book.paper.svgplot import Plot, end_of
from diewright.book.paper.words import label, rows_of, spoken, stated
from diewright.job.stage import Result

HEIGHT = 57.0


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page."""
    values = bench.values("sheet")
    blocks: list[Block | None] = [*status(bench, "sheet")]
    found = bench.result("sheet")
    if found:
        half = (bench.width - 6.0) / 2
        blocks.append(row(
            attempt("The hardening curve", lambda: bench.svg("hardening", hardening(found, half).svg, "Flow stress over plastic strain (true).")),
            attempt("The forming limit", lambda: bench.svg("limit", limit(found, half).svg, "Forming limit for straight strain paths (true strain).")),
        ))  # fmt: skip
        blocks.append(row(
            attempt("The yield locus", lambda: bench.svg("locus", locus(found, half).svg, _locus_words(found))),
            attempt("The directions", lambda: bench.svg("directions", directions(found, half).svg, "Yield stress and r-value over the angle to the rolling direction.")),
        ))  # fmt: skip
    else:
        blocks.append(missing("There are no curves to show yet."))
    flat = {**values, **{k: v for k, v in (values.get("anisotropy") or {}).items() if k in ("r0", "r45", "r90", "rbar", "delta_r")}}
    keys = ("family", "E", "nu", "density", "Rp02", "Rm", "Ag", "A80", "n", "r0", "r45", "r90", "rbar", "delta_r")
    blocks.append(
        row(
            decisions("Decisions", stated(bench.job.sheet), slim=True),
            numbers("The metal", rows_of(flat, keys)),
            stack(numbers("Laws in use", _laws(values)), numbers("Tensile tests fitted", _fit(values))),
        )
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == "sheet"]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(_sources(values))
    blocks.append(small("Method and sources", [
        "Strains are true (logarithmic) strains, stresses true stresses. The forming limit holds for straight strain paths only; bending and changes of path are not in it.",
        *origin(bench, "sheet"),
    ]))  # fmt: skip
    return [
        sheet("Sheet", state_of(bench, "sheet"), blocks, aside=f"{bench.job.sheet.material}, {said(bench.job.sheet.thickness, 'mm')} thick")
    ]


def hardening(found: Result, width: float) -> Plot:
    """Flow stress over strain; measured curves beside it where there are any."""
    strain, stress = found.tables["hardening"]["strain"], found.tables["hardening"]["stress"]
    shown = strain <= 1.0 + 1e-9
    plot = Plot(width, HEIGHT, (0.0, 1.0), (0.0, end_of(stress[shown])), "plastic strain", "flow stress, MPa")
    for name in sorted(t for t in found.tables if t.startswith("tensile_")):
        columns = [np.asarray(c) for c in found.tables[name].values() if np.asarray(c).dtype.kind == "f"]
        if len(columns) >= 2:
            plot.dots(columns[0], columns[1], colour=GREY, size=0.5)
    law = (found.values.get("hardening") or {}).get("law", "hardening")
    plot.curve(strain[shown], stress[shown], spoken(law), where=0.55, above=False)
    return plot


def limit(found: Result, width: float, height: float = HEIGHT, under: Callable[[Plot], None] | None = None) -> Plot:
    """The forming limit curve; ``under`` may draw on the axes first, so that the curve and its name stay readable."""
    minor, major = found.tables["limit"]["minor"], found.tables["limit"]["major"]
    near = np.abs(minor) <= 0.45
    plot = Plot(width, height, (-0.4, 0.4), (0.0, min(end_of(major[near], 1.1), 1.2)), "minor strain", "major strain")
    if under is not None:
        under(plot)
    _paths(plot)
    kind = spoken((found.values.get("limit") or {}).get("kind", "forming limit"))
    plot.curve(minor, major, kind, where=0.82, above=True)
    return plot


def _paths(plot: Plot) -> None:
    """Thin rays of the plain strain paths, named at their ends."""
    top = plot.y[1]
    for slope, name in ((-2.0, "tension"), (1.0, "equal stretch")):
        reach = min(top, abs(slope) * 0.38)
        plot.svg.path(plot.places([0.0, reach / slope], [0.0, reach]), width=0.12, colour=GREY, dash="1.5 1")
        x, y = plot.at(0.55 * reach / slope, 0.55 * reach)
        plot.svg.text(
            x + (-1.5 if slope < 0 else 1.5), y + 1.0, name, anchor="end" if slope < 0 else "start", size=2.3, colour=GREY, halo=True
        )
    plot.svg.line(*plot.at(0.0, 0.0), *plot.at(0.0, top), width=0.12, colour=GREY, dash="1.5 1")


def locus(found: Result, width: float) -> Plot:
    """The yield locus with equal axes."""
    s11, s22 = found.tables["yield_locus"]["s11"], found.tables["yield_locus"]["s22"]
    reach = 1.15 * float(max(np.abs(s11).max(), np.abs(s22).max()))
    plot = Plot(width, HEIGHT, (-reach, reach), (-reach, reach), "along rolling, σ11/σ0", "across, σ22/σ0", cross=True, square=True)
    t = np.linspace(0, 2 * np.pi, 181)
    a, b = np.cos(t) * np.sqrt(2.0), np.sin(t) * np.sqrt(2.0 / 3.0)  # the ellipse of v. Mises on its own axes
    plot.curve((a + b) / np.sqrt(2.0), (a - b) / np.sqrt(2.0), "", width=0.15, colour=GREY, dash="1.5 1")
    plot.curve(np.append(s11, s11[:1]), np.append(s22, s22[:1]), "", width=0.45)
    return plot


def _locus_words(found: Result) -> str:
    kind = spoken((found.values.get("yield_surface") or {}).get("kind", "the yield surface"))
    return f"Yield locus without shear, over the yield stress along rolling. Full line {kind}, dashed v. Mises."


def directions(found: Result, width: float) -> Plot:
    """Yield stress and r-value over the angle to the rolling direction."""
    t = found.tables["directional"]
    angle, ratio, r = t["angle"], t["stress_ratio"], t["r"]
    plot = Plot(width, HEIGHT, (0.0, 90.0), (0.0, end_of(np.concatenate([ratio, r]), 1.15)), "angle to rolling direction, °", "r, and σ/σ0")
    plot.curve(angle, r, "r-value", where=0.25, above=True)
    plot.curve(angle, ratio, "yield stress ratio", where=0.75, above=False, colour=WATER, dash="2.2 1")
    return plot


def _laws(values: dict[str, Any]) -> list[list[str]]:
    rows = []
    for key, name, kind in (
        ("hardening", "Hardening", "law"),
        ("yield_surface", "Yield surface", "kind"),
        ("limit", "Forming limit", "kind"),
    ):
        record = values.get(key) or {}
        if not record:
            continue
        rows.append([name, spoken(record.get(kind, ""))])
        rows += [[f"   {k}", said(v, "", 4)] for k, v in (record.get("parameters") or {}).items() if isinstance(v, (int, float, str))]
        if record.get("flc0") is not None:
            rows.append(["   limit in plane strain", said(record["flc0"], "", 3)])
    return rows


def _fit(values: dict[str, Any]) -> list[list[str]]:
    fit = values.get("fit")
    return rows_of(fit) if isinstance(fit, dict) else []


def _sources(values: dict[str, Any]) -> Block | None:
    record = values.get("sheet")
    sources = record.get("sources") if isinstance(record, dict) else None
    if isinstance(sources, dict):
        grouped: dict[str, list[str]] = {}
        for key, source in sources.items():
            grouped.setdefault(str(source), []).append(label(str(key))[0])
        return table(
            "Where the numbers come from",
            [("Numbers", "left", 0.45), ("Source", "left", 0.55)],
            [[", ".join(keys), source] for source, keys in grouped.items()],
        )
    return None
