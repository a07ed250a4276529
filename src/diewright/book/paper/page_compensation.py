"""The page Compensation: how far the faces are moved, and what is left of the part's deviation run by run."""

from __future__ import annotations

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
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.colours import GREY
from diewright.book.paper.digits import said
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svgplot import SMALL, Plot
from diewright.book.paper.words import stated
from diewright.job.stage import Result

STAGE = "compensation"
COLUMNS = (
    ("max_mm", "Largest", 3), ("rms_mm", "Mean square", 3), ("left_max_pct", "Left, %", 1), ("left_rms_pct", "of the square, %", 1), ("fit_max_mm", "Best fit", 3), ("supports_max_mm", "Supports", 3),
    ("lift_max_mm", "Off the face", 3), ("shift_max_mm", "Move", 3),
)  # fmt: skip


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page."""
    found = bench.result(STAGE)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    values = found.values if found else {}
    if found and "die" in found.meshes:
        blocks.append(attempt("The picture of the moved die", lambda: _die(bench, found)))
        half = (bench.width - 6.0) / 2
        blocks.append(row(
            attempt("The part from the nominal faces", lambda: _part(bench, found, "before", half, "The part from the nominal faces.")), attempt("The part from the moved faces", lambda: _part(bench, found, "sprung", half, "The part from the moved faces, to the same scale.")),
        ))  # fmt: skip
        blocks.append(
            attempt(
                "What is left",
                lambda: bench.svg(
                    "compensation-left", left(found, bench.width).svg, "Deviation of the trimmed part by run; each point is a fresh tryout."
                ),
            )
        )
        blocks.append(attempt("The table of the runs", lambda: _runs(found)))
    else:
        blocks.append(missing("There is no compensation to show yet."))
    blocks.append(
        row(
            decisions("How the faces are moved", stated(bench.job.compensation), slim=True),
            numbers("What moving did to the faces", _moves(values) if values else []),
        )
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures if found else ()))
    files = (
        f"File: {', '.join(sorted(found.files))}, places on both skins of the sheet in the nominal faces and how far each is to go."
        if found and found.files
        else ""
    )
    blocks.append(small("Method and sources", [
        "Each run is a whole tryout on the same mesh. The deviation of the trimmed part along its normal goes, smoothed and turned round, into the faces, and the next run is drawn in them. Only waves longer than the one stated are passed on. "
        "Move along the face: above nothing out of the metal, below it into the metal.", files, *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Compensation", state_of(bench, STAGE), blocks)]


def _die(bench: Bench, found: Result) -> Block:
    fields = found.meshes["die"]
    picture = Picture(
        "compensation-die", fields, segments_of(fields, None), bench.width, 84.0, "Move along the face", "mm", values=np.asarray(fields.point["shift_normal_mm"], dtype=float), scale="vik", about_zero=True,
        low="most, into the metal", high="most, out of the metal",
    )  # fmt: skip
    return bench.picture(picture, "The die as it is to be cut, coloured by how far it goes from the nominal one.")


def _part(bench: Bench, found: Result, name: str, width: float, words: str) -> Block:
    both = [np.asarray(found.meshes[n].point["deviation_mm"], dtype=float) for n in ("before", "sprung")]
    most = max(float(np.nanmax(np.abs(v))) for v in both)
    fields = found.meshes[name]
    picture = Picture(
        f"compensation-{name}", fields, segments_of(fields, None), width, 52.0, "Deviation", "mm", values=np.asarray(fields.point["deviation_mm"], dtype=float), scale="vik", span=(-most, most), about_zero=True,
        low="most below" if width > 120 else "", high="most above" if width > 120 else "",
    )  # fmt: skip
    return bench.picture(picture, words)


class _Runs(Plot):
    """Axes whose x is the number of a run."""

    def __init__(self, width: float, height: float, runs: int, top: float) -> None:
        self.runs = runs
        super().__init__(width, height, (-0.15, runs - 0.55), (0.0, top), "times the faces were moved", "deviation of the part, mm")

    def _x_marks(self, y0: float, nx: int) -> None:
        for i in range(self.runs):
            x = self.at(float(i), 0.0)[0]
            self.svg.line(x, y0, x, y0 + 0.8, width=0.18)
            self.svg.text(x, y0 + 3.6, "nominal" if i == 0 else str(i), anchor="middle", size=SMALL, colour=GREY)


def left(found: Result, width: float, height: float = 52.0) -> Plot:
    """What is left of the deviation, run by run, over the tolerance."""
    t, v = found.tables["iterations"], found.values
    most, mean = np.asarray(t["max_mm"], dtype=float), np.asarray(t["rms_mm"], dtype=float)
    tolerance = float(v["tolerance_mm"])
    plot = _Runs(width, height, len(most), 1.12 * max(float(most.max()), tolerance, 1e-6))
    x = np.arange(len(most), dtype=float)
    plot.curve(np.array([plot.x[0], plot.x[1]]), np.array([tolerance, tolerance]), "tolerance", where=0.99, width=0.25, dash="1.2 0.8")
    fine = np.linspace(0.0, float(x[-1]), 81)  # the name of a curve stands between two runs
    plot.curve(fine, np.interp(fine, x, most), "largest", where=0.3, width=0.45)
    plot.curve(fine, np.interp(fine, x, mean), "mean square", where=0.3, width=0.3, dash="2.2 1")
    for i, (a, b) in enumerate(zip(most, mean, strict=True)):
        px, py = plot.at(float(i), float(a))
        plot.svg.circle(px, py, 1.2 if i == int(v["best"]) else 0.9, fill="#000000" if i == int(v["best"]) else "#ffffff", width=0.3)
        plot.svg.text(px + 1.8, py - 1.2, f"{a:.3f}", size=2.5, halo=True)
        plot.svg.circle(*plot.at(float(i), float(b)), 0.7, fill="#ffffff", width=0.25)
    return plot


def _runs(found: Result) -> Block | None:
    t, best = found.tables["iterations"], int(found.values["best"])
    shown = [c for c in COLUMNS if c[0] in t]
    rows = [
        [
            ("nominal" if i == 0 else f"moved {i}") + (", given" if i == best else ""),
            *(f"{float(t[k][i]):.{p}f}" for k, _, p in shown),
        ]
        for i in range(len(t["run"]))
    ]
    return table("Deviation of the trimmed part by run, mm", [("Run in", "left", 1.0), *((n, "right", 0.0) for _, n, _ in shown)], rows)


def _moves(v: dict[str, Any]) -> list[list[str]]:
    def from_to(before: str, after: str, unit: str) -> str:
        return f"{said(v.get(before), '', 3)} to {said(v.get(after), unit, 3)}"

    rows = [
        ["Deviation before, largest", said(v.get("before_max_mm"), "mm", 3)], ["Deviation after, largest", said(v.get("after_max_mm"), "mm", 3)], ["Left, largest", said(v.get("left_max_pct"), "%", 2)], ["Left, mean square", said(v.get("left_rms_pct"), "%", 2)],
        ["Largest move of the faces", said(v.get("shift_max_mm"), "mm", 3)], ["Faces turn by at most", said(v.get("turn_max_deg"), "deg", 2)], ["Least gap", from_to("gap_min_before_mm", "gap_min_mm", "mm")],
        ["Least draft", from_to("draft_min_before_deg", "draft_min_deg", "deg")], ["Undercut", said(v["undercut_mm2"], "mm2", 3) if v.get("undercut_mm2") else "none"],
        ["Blankholder", f"moves with the part, {said(v.get('holder_move_mm'), 'mm', 3)} at most" if v.get("blankholder") == "follow" else "keeps its surface"],
        ["Wave passed on by half", said(v.get("wave_mm"), "mm", 3)], ["Part laid", "on three points" if v.get("alignment") == "supports" else "by best fit"],
    ]  # fmt: skip
    return rows
