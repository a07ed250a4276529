"""The faces moved against springback: the shift file of a compensation applied to faces in the closed position."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from diewright.die.findings import Measured
from diewright.die.gaps import gap
from diewright.geometry.shift_field import ShiftField, read_shift
from diewright.geometry.short_edges import with_short_edges

Floats = NDArray[np.float64]

EDGE = 7.5
"""Longest edge of a face that is moved, in thicknesses: what a compensation passes on is longer than four of them."""


def moved(m: Measured, path: Path) -> tuple[Measured, ShiftField]:
    """Faces with what is measured on them, moved by the field in the file ``path`` (press coordinates), and the field.

    Flats are split first, so that they can bend. Raises :class:`FileError` for a file that is no shift file.
    """
    field = read_shift(path)
    die, punch, blankholder = (field.moved(with_short_edges(face, EDGE * m.thickness)) for face in (m.die, m.punch, m.blankholder))
    risen = float(die.points[:, 2].max() - m.die.points[:, 2].max())
    touch = None if m.touch is None else m.touch + risen
    between = gap(m.gap.at + field.at(m.gap.at), die)
    holder = gap(m.holder.at + field.at(m.holder.at), die)
    most = float(np.linalg.norm(field.at(m.die.points), axis=1).max())
    note = f"The faces are moved against springback by the file {path.name}, {most:.3g} mm at most."
    return replace(m, die=die, punch=punch, blankholder=blankholder, touch=touch, gap=between, holder=holder, notes=(*m.notes, note)), field


def moved_plan(field: ShiftField, plan: Floats, level: float) -> Floats:
    """Plan points ``(k, 2)`` moved as points at ``level`` [mm] are."""
    return np.asarray(plan + field.at(np.column_stack([plan, np.full(len(plan), level)]))[:, :2])
