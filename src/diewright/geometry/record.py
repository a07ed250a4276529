"""Outlines as plain data (JSON), exact in both directions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from diewright.errors import InputError
from diewright.geometry.pieces import Arc, Line, Outline, Piece, Spline


def to_record(outline: Outline) -> list[dict[str, Any]]:
    """The pieces as a list of plain dictionaries."""
    out: list[dict[str, Any]] = []
    for p in outline.pieces:
        if isinstance(p, Line):
            out.append({"kind": "line", "start": p.start.tolist(), "end": p.end.tolist()})
        elif isinstance(p, Arc):
            out.append(
                {"kind": "arc", "centre": p.centre.tolist(), "radius": float(p.radius), "begin": float(p.begin), "sweep": float(p.sweep)}
            )
        else:
            out.append({"kind": "spline", "knots": p.knots.tolist(), "control": p.control.tolist()})
    return out


def from_record(record: Sequence[dict[str, Any]]) -> Outline:
    """The outline of :func:`to_record`; raises :class:`InputError` for a kind it does not know."""
    pieces: list[Piece] = []
    for r in record:
        if r["kind"] == "line":
            pieces.append(Line(np.array(r["start"]), np.array(r["end"])))
        elif r["kind"] == "arc":
            pieces.append(Arc(np.array(r["centre"]), r["radius"], r["begin"], r["sweep"]))
        elif r["kind"] == "spline":
            pieces.append(Spline(np.array(r["knots"]), np.array(r["control"])))
        else:
            raise InputError(f"An outline piece of kind '{r['kind']}' is not known.")
    return Outline(tuple(pieces))
