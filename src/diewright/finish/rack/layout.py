"""How many parts hang on a rack: by room, by what contacts, spine and rectifier carry, by weight, and by the depth of the bath."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import FinishStated

Floats = NDArray[np.float64]
DM2 = 1e-4
"""Square millimetres in square decimetres."""
PARALLEL = 0.05
"""Share of the up direction that must be left across the facing one."""


def attitude(mesh: TriMesh, stated: FinishStated, side: str) -> Floats:
    """Rows (3, 3): across the rack, towards the anodes, up, in press coordinates, right-handed. Raises :class:`InputError` for two directions that are nearly the same."""
    facing = np.array([0.0, 0.0, -1.0 if side == "lower" else 1.0]) if isinstance(stated.facing, str) else np.array(stated.facing)
    y = facing / np.linalg.norm(facing)
    if isinstance(stated.up, str):
        order = np.argsort(np.ptp(mesh.points, axis=0), kind="stable")
        up = next(a for a in np.eye(3)[order] if abs(a @ y) < 0.8)
    else:
        up = np.array(stated.up)
    z = up - (up @ y) * y
    if np.linalg.norm(z) < PARALLEL * np.linalg.norm(up):
        raise InputError(
            "the direction that looks at the anodes and the one that hangs up are nearly the same.",
            where="finish.up",
            help="State one across the other.",
        )
    z /= np.linalg.norm(z)
    return np.stack([np.cross(y, z), y, z])


@dataclass(frozen=True)
class Limits:
    """Most parts on the rack by each limit."""

    room: int
    spine: int
    rectifier: int
    weight: int

    @property
    def binding(self) -> str:
        """The limit that allows the fewest."""
        return min(vars(self), key=lambda k: vars(self)[k])


@dataclass(frozen=True, eq=False)
class Layout:
    """``size`` of a part across, deep, high [mm]; ``area`` plated of one part [dm2], both sides and rim; ``current`` of one part [A]; ``contacts`` a part; columns, rows, parts;
    ``load`` of rack and parts [kg]; ``places`` (parts, 2) middle of each part across and down from the top [mm]; ``immersed`` depth that the rack needs [mm]."""

    size: Floats
    area: float
    density: float
    current: float
    contacts: int
    limits: Limits
    columns: int
    rows: int
    load: float
    places: Floats
    immersed: float

    @property
    def parts(self) -> int:
        """Parts on the rack."""
        return self.columns * self.rows


def fit_count(room: float, size: float, gap: float) -> int:
    """How many of ``size`` with ``gap`` between them go into ``room`` [mm]: floor((room + gap) / (size + gap))."""
    return math.floor((room + gap) / (size + gap) * (1.0 + 1e-12))


def lay_out(mesh: TriMesh, turn: Floats, stated: FinishStated, thickness: float, mass: float, density: float) -> Layout:
    """``turn`` from :func:`attitude`, ``mass`` of a part [kg], ``density`` [A/dm2]. Raises :class:`InputError` where not even one part can hang there."""
    size = np.ptp(mesh.points[np.unique(mesh.triangles)] @ turn.T, axis=0) + thickness
    area = DM2 * (2.0 * mesh.area + thickness * sum(mesh.loop_length(loop) for loop in mesh.boundary_loops))
    current = density * area
    most = fit_count(stated.rack_width, size[0], stated.spacing), fit_count(stated.rack_height, size[2], stated.spacing)
    if not min(most):
        raise InputError(
            f"a part of {size[0]:.0f} x {size[2]:.0f} mm does not go into the {stated.rack_width:g} x {stated.rack_height:g} mm of the rack.", where="finish.rack_width",
            help="State a larger rack, or hang the part another way with finish.up.",
        )  # fmt: skip
    spine = stated.spine_mm2 * stated.spine_a_mm2
    limits = Limits(
        most[0] * most[1], math.floor(spine / current), math.floor(stated.rectifier_a / current), math.floor((stated.rack_load_kg - stated.rack_kg) / mass)
    )  # fmt: skip
    count = min(vars(limits).values())
    if count < 1:
        what, where = {
            "spine": (f"one part draws {current:.0f} A and the spine bears {spine:.0f} A", "finish.spine_mm2"),
            "rectifier": (f"one part draws {current:.0f} A and the rectifier gives {stated.rectifier_a:g} A", "finish.rectifier_a"),
            "weight": (f"rack and one part weigh {stated.rack_kg + mass:.3g} kg", "finish.rack_load_kg"),
        }[limits.binding]  # fmt: skip
        raise InputError(
            f"{what}: not one part can hang on this rack.", where=where, help="State a stronger rack, or a lower current density."
        )
    # as wide as it goes: a low rack carries its parts alike
    columns = min(most[0], count)
    rows = min(most[1], count // columns)
    step = size[[0, 2]] + stated.spacing
    x = step[0] * (np.arange(columns) - 0.5 * (columns - 1))
    z = 0.5 * size[2] + step[1] * np.arange(rows)
    places = np.array([[a, b] for b in z for a in x])
    immersed = stated.cover_mm + rows * size[2] + (rows - 1) * stated.spacing
    contacts = max(2, math.ceil(current / stated.hook_a))
    return Layout(size, area, density, current, contacts, limits, columns, rows, stated.rack_kg + columns * rows * mass, places, immersed)
