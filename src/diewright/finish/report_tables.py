"""The tables of the stage ``finish``; numbers only, names stand in its values in the same order."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diewright.finish.found import Found

SIDE = {"upper": 1.0, "lower": -1.0}
VERDICT = {"conforms": 1.0, "not proven": 0.0, "does not": -1.0}


def tables(f: Found) -> dict[str, dict[str, np.ndarray]]:
    """``steps``, ``regions`` (kind 0: the wheel does not reach, 1: the ball does not touch), ``points``, ``contacts``, ``rack``, ``alternatives``, and with files ``readings`` and ``book``."""
    missed = [(0.0, s, r) for s, r in f.recesses] + [(1.0, s, r) for s, r in f.untouched]
    out = {
        "steps": _columns(
            ("grit", "ra_from_um", "ra_to_um", "stock_from_um", "stock_to_um", "speed_m_s", "rpm"),
            [(s.number, *s.ra, *s.stock, s.speed, s.rpm) for s in f.steps],
        ),
        "regions": _columns(
            ("kind", "side", "area_mm2", "x_mm", "y_mm", "z_mm", "counts_mm2"),
            [(k, SIDE[s], r.area, *r.at, float(f.mesh.areas[r.cells[f.significant.counts(s)[r.cells]]].sum())) for k, s, r in missed],
        ),
        "points": _columns(("side", "x_mm", "y_mm", "z_mm", "triangle", "recess"), [(SIDE[s.side], *s.at, s.cell, s.name.startswith("R")) for s in f.spots]),
        "contacts": _columns(("x_mm", "y_mm", "z_mm", "hole", "marks_mm2", "below_top_mm"), [(*c.at, c.hole, c.marks, c.height) for c in f.contacts]),
        "rack": _columns(("across_mm", "down_mm"), f.layout.places),
        "alternatives": _columns(
            ("serves", "from", "to", "part_cost"),
            [(p.serves, *(p.relative or (np.nan, np.nan)), np.nan if p.part is None else p.part) for p in f.alternatives],
        ),
    }  # fmt: skip
    if f.readings is not None:
        out["readings"] = _columns(
            ("chromium", "xrf", "count", "mean_um", "uncertainty_um", "limit_um", "verdict"),
            [(x.layer == "chromium", x.method == "xrf", x.count, x.mean, x.uncertainty, x.limit, VERDICT[x.verdict]) for x in f.readings],
        )
    if f.book is not None:
        out["book"] = _columns(("current", "drag_out", "added", "to_add"), [(b.current, b.drag_out, b.added, b.to_add) for b in f.book])
    return out


def _columns(names: Sequence[str], rows: Sequence[Sequence[float]] | np.ndarray) -> dict[str, np.ndarray]:
    data = np.asarray(rows, dtype=np.float64).reshape(-1, len(names))
    return {name: data[:, i] for i, name in enumerate(names)}
