"""The page Blankholder: the window between wrinkling and tearing, and the setting in it."""

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
    stack,
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.colours import INK
from diewright.book.paper.digits import number, said
from diewright.book.paper.svgplot import Plot, end_of, tick_text, ticks
from diewright.book.paper.words import stated
from diewright.geometry.mesh import Floats
from diewright.job.stage import Result

STAGE = "window"
COLUMNS = (
    ("blankholder_kN", "Blankholder, kN"), ("friction", "Friction"), ("wrinkle_height_mm", "Wrinkle, mm"), ("wrinkle_at_stroke_mm", "Wrinkles at, mm"), ("margin_pct", "Margin, %"),
    ("tear_at_stroke_mm", "Tears at, mm"), ("thinning_pct", "Thinning, %"), ("draw_in_mm", "Draw-in, mm"), ("punch_kN", "Punch, kN"),
)  # fmt: skip


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page."""
    found = bench.result(STAGE)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    half = (bench.width - 6.0) / 2
    if found and "runs" in found.tables:
        blocks.append(attempt("The window", lambda: bench.svg("window", window(found, bench.width).svg, _caption())))
        blocks.append(row(
            attempt("The wrinkle heights", lambda: bench.svg("window-wrinkles", curves(found, half, "wrinkle_height_mm", "wrinkle height, mm").svg, "Wrinkle height over the stroke, a curve a force in kN.")),
            attempt("The margins", lambda: bench.svg("window-margins", curves(found, half, "margin_pct", "margin to necking, percent points", bench.job.blank.margin_wanted).svg, "Margin to necking over the stroke, a curve a force in kN.")),
        ))  # fmt: skip
        blocks.append(_runs(found))
    else:
        blocks.append(missing("There is no window to show yet."))
    values = found.values if found else {}
    blocks.append(
        row(
            decisions("Decisions", stated(bench.job.window), slim=True),
            stack(numbers("The setting", _setting(values) if values else []), small("Why", [str(values.get("why") or "")])),
        )
    )
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(small("Method and sources", [
        "Each run is a whole tryout at its own blankholder force. Between the runs the borders are drawn straight. A distance is that from the setting to a border, as a share of the setting.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Blankholder", state_of(bench, STAGE), blocks)]


def _chosen(found: Result) -> np.ndarray:
    """Rows of the runs at the friction the window is stated for, by force."""
    runs = found.tables["runs"]
    force = np.asarray(runs["blankholder_kN"], dtype=float)
    rows = np.arange(len(force))
    if "friction" in runs and found.values.get("friction") is not None:
        rows = rows[np.isclose(np.asarray(runs["friction"], dtype=float), float(found.values["friction"]))]
    return rows[np.argsort(force[rows])]


def _bounds(found: Result) -> tuple[float | None, float | None]:
    """Where it wrinkles and tears [kN] at the friction shown; the setting serves all frictions tried."""
    table, v = found.tables.get("bounds"), found.values
    if table is None or not len(table["friction"]):
        return v.get("wrinkles_below_kN"), v.get("tears_above_kN")
    i = int(np.argmin(np.abs(np.asarray(table["friction"], dtype=float) - float(v.get("friction") or 0.0))))
    low, high = (float(table[k][i]) for k in ("wrinkles_below_kN", "tears_above_kN"))
    return (low if np.isfinite(low) else None), (high if np.isfinite(high) else None)


def _end(found: Result) -> float:
    columns = [
        found.tables["runs"]["wrinkle_at_stroke_mm"],
        found.tables["runs"]["tear_at_stroke_mm"],
        *(t["stroke_mm"] for n, t in found.tables.items() if n.startswith("run_")),
    ]
    return end_of(np.concatenate([np.asarray(c, dtype=float).ravel() for c in columns]), 1.0)


def window(found: Result, width: float, height: float = 80.0) -> Plot:
    """For each force the stroke at which it wrinkles or tears: both regions hatched, the setting with its distances as dimensions."""
    runs, v = found.tables["runs"], found.values
    rows = _chosen(found)
    force, wrinkle, tear = (np.asarray(runs[k], dtype=float)[rows] for k in ("blankholder_kN", "wrinkle_at_stroke_mm", "tear_at_stroke_mm"))
    log = bool(force[0] > 0 and force[-1] / force[0] > 6)
    end = _end(found)

    def on(f: Floats | float) -> Floats:
        return np.log10(np.asarray(f, dtype=float)) if log else np.asarray(f, dtype=float)

    pad = 0.05 * float(on(force[-1]) - on(force[0])) or 1.0
    limits = (float(on(force[0])) - pad, float(on(force[-1])) + pad)
    name = "blankholder force, kN" + (" (equal steps are equal ratios)" if log else "")
    plot = _Window(width, height, limits, (0.0, end * 1.22), name, "stroke from first touch, mm", force if log else None, end)
    low, high = _bounds(found)
    best = v.get("recommended_kN")
    _region(
        plot,
        on(force[np.isfinite(wrinkle)]),
        wrinkle[np.isfinite(wrinkle)],
        None if low is None else float(on(low)),
        limits[0],
        end,
        "wrinkles",
        45.0,
    )
    _region(
        plot,
        on(force[np.isfinite(tear)])[::-1],
        tear[np.isfinite(tear)][::-1],
        None if high is None else float(on(high)),
        limits[1],
        end,
        "tears",
        -45.0,
    )
    for f, w, t in zip(force, wrinkle, tear, strict=True):
        stop = float(np.nanmin([w, t, end]))
        x, y = plot.at(float(on(f)), stop)
        plot.svg.line(x, plot.bottom, x, y, width=0.13)
        if np.isfinite(t) and t == stop:
            plot.svg.line(x - 1, y - 1, x + 1, y + 1, width=0.35)
            plot.svg.line(x - 1, y + 1, x + 1, y - 1, width=0.35)
        elif np.isfinite(w) and w == stop:
            s = np.linspace(-np.pi, np.pi, 25)
            plot.svg.path(np.column_stack([x + s * 0.6, y - 0.9 * np.sin(s)]), width=0.35)
        else:
            plot.svg.circle(x, y, 0.8, fill="#ffffff", width=0.3)
    if best is not None:
        _setting_line(
            plot,
            float(on(best)),
            f"set {number(float(best), 3)} kN",
            [
                (None if low is None else float(on(low)), v.get("distance_low_pct")),
                (None if high is None else float(on(high)), v.get("distance_high_pct")),
            ],
        )
    return plot


class _Window(Plot):
    """Axes of the window: with ``marks`` the forces themselves stand on a logarithmic x axis; y ends at the stroke, above it stand dimensions."""

    def __init__(
        self,
        width: float,
        height: float,
        x: tuple[float, float],
        y: tuple[float, float],
        x_name: str,
        y_name: str,
        marks: Floats | None,
        end: float,
    ) -> None:
        self._marks, self._stroke = marks, end
        super().__init__(width, height, x, y, x_name, y_name)

    def _axes(self, x_name: str, y_name: str, nx: int, ny: int) -> None:
        svg = self.svg
        spots = ticks(0.0, self._stroke, 6)
        step = spots[1] - spots[0] if len(spots) > 1 else 1.0
        for value in spots:
            y = self.at(self.x[0], value)[1]
            svg.line(self.left, y, self.right, y, width=0.08, colour="#b9bfc6")
            svg.text(self.left - 1.2, y + 0.8, tick_text(value, step), anchor="end", size=2.5, colour="#6b7480")
        marks = (
            [(float(np.log10(f)), number(float(f), 3)) for f in self._marks]
            if self._marks is not None
            else [(t, number(t, 3)) for t in ticks(*self.x, nx)]
        )
        last = -99.0
        for at, text in marks:
            x = self.at(at, 0.0)[0]
            svg.line(x, self.bottom, x, self.bottom + 0.8, width=0.18)
            if x - last > 8.0:
                svg.text(x, self.bottom + 3.6, text, anchor="middle", size=2.5, colour="#6b7480")
                last = x
        svg.line(self.left, self.bottom, self.right, self.bottom, width=0.25)
        svg.line(self.left, self.top, self.left, self.bottom, width=0.25)
        svg.text(self.right, self.bottom + 7.4, x_name, anchor="end")
        svg.text(0.2, 3.4, y_name)


def _region(plot: Plot, x: Floats, y: Floats, limit: float | None, side: float, end: float, name: str, angle: float) -> None:
    """Hatch the forces and strokes at which it goes wrong, with the word in it."""
    if len(x) == 0:
        return
    line = [(side, y[0]), *zip(x, y, strict=True), (limit if limit is not None else x[-1], end)]
    edge = plot.places(*np.array(line, dtype=float).T)
    corner = plot.places([line[-1][0], side], [end, end])
    plot.svg.path(np.concatenate([edge, corner]), width=0.0, colour="none", fill=plot.svg.hatch(angle=angle), closed=True)
    plot.svg.path(edge, width=0.45)
    middle = (edge[0] + edge[-1] + corner[-1]) / 3
    plot.svg.text(float(middle[0]), float(middle[1]) + 1.0, name, anchor="middle", italic=True, halo=True, size=3.4)


def _setting_line(plot: Plot, best: float, words: str, borders: list[tuple[float | None, float | None]]) -> None:
    x = plot.at(best, 0.0)[0]
    top = plot.top + 3.6
    plot.svg.line(x, top, x, plot.bottom, width=0.6)
    plot.svg.text(x, top - 1.2, words, anchor="middle", weight=600, halo=True)
    y = top + 4.6
    for at, share in borders:
        if at is None:
            continue
        u = plot.at(at, 0.0)[0]
        plot.svg.line(u, y - 1.5, u, plot.bottom, width=0.18, dash="2.4 0.6 0.4 0.6")
        plot.svg.arrow(u, y, x, y, width=0.18, both=True)
        if share is not None:
            plot.svg.text((u + x) / 2, y - 0.9, said(float(share), "%", 2), anchor="middle", halo=True)


def curves(found: Result, width: float, name: str, label: str, wanted: float | None = None) -> Plot:
    """One quantity over the stroke, a curve for each run of the window."""
    rows = [(int(i), found.tables[f"run_{int(i)}"]) for i in _chosen(found) if f"run_{int(i)}" in found.tables]
    values = np.concatenate([np.asarray(t[name], dtype=float) for _, t in rows])
    values = values[np.isfinite(values)]
    low, high = min(float(values.min()), 0.0), max(float(values.max()), wanted or 0.0, 1e-3)
    plot = Plot(width, 46.0, (0.0, _end(found)), (low, high * 1.08), "stroke from first touch, mm", label)
    if wanted is not None:
        plot.curve(np.array([0.0, _end(found)]), np.array([wanted, wanted]), "wanted", where=0.0, width=0.25, dash="1.2 0.8")
    force = np.asarray(found.tables["runs"]["blankholder_kN"], dtype=float)
    quiet = 0.06 * (high - low)
    for n, (i, t) in enumerate(rows):
        y = np.asarray(t[name], dtype=float)
        named = bool(np.nanmax(np.abs(y)) > quiet)
        plot.curve(
            np.asarray(t["stroke_mm"], dtype=float),
            y,
            number(float(force[i]), 3) if named else "",
            where=0.55 + 0.4 * n / len(rows),
            width=0.3,
            colour=INK,
        )
    return plot


def _runs(found: Result) -> Block | None:
    runs = found.tables["runs"]
    shown = [(k, n) for k, n in COLUMNS if k in runs]

    def cell(key: str, value: float) -> str:
        if not np.isfinite(value):
            return "never" if key.endswith("_at_stroke_mm") else "–"
        return f"{value:.3f}" if key == "wrinkle_height_mm" else said(float(value), "", 3)

    rows = [[cell(k, float(runs[k][i])) for k, _ in shown] for i in range(len(runs["blankholder_kN"]))]
    return table("The runs", [(n, "right", 1.0) for _, n in shown], rows, "Strokes are from first touch.")


def _setting(v: dict[str, Any]) -> list[list[str]]:
    return [
        ["Set", said(v.get("recommended_kN"), "kN", 3)], ["Wrinkles below", said(v.get("wrinkles_below_kN"), "kN", 3)], ["Distance to wrinkling", said(v.get("distance_low_pct"), "%", 2)],
        ["Tears above", said(v.get("tears_above_kN"), "kN", 3)], ["Distance to tearing", said(v.get("distance_high_pct"), "%", 2)], ["At friction", said(v.get("friction"))],
    ]  # fmt: skip


def _caption() -> str:
    return "Each upright line is one tryout at that force, up to where it went wrong: a wave for wrinkles, a cross for a tear, a ring where it drew to the bottom."
