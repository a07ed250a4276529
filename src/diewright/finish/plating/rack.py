"""Where everything hangs: parts in columns and rows, anodes before and behind them, bodies between, and the bath round all.

Tank coordinates [mm]: x along the rack, y towards the front anodes, z up; 0 in the middle of the rack.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.finish.current.tank import Block, Sheet
from diewright.geometry.mesh import TriMesh
from diewright.geometry.sides import outer_side
from diewright.job.schema import PlatingBodyStated, PlatingStated

Floats = NDArray[np.float64]

ROOM_SIDE, ROOM_BEHIND, ROOM_ABOVE, ROOM_BELOW = 150.0, 60.0, 80.0, 150.0
"""Room in an automatic tank beside the rack, behind the anodes, above and below [mm] (common practice)."""
BAR_PITCH, BAR_GAP = 200.0, 1.2
MOST_PARTS = 60


@dataclass(frozen=True)
class Rack:
    """``rotation (3, 3)`` and ``shifts (parts, 3) [mm]`` bring the part from press to tank coordinates; ``low``, ``high`` the bath; ``anodes`` its bars;
    ``outer`` the side of the sheet that looks outwards, ``outward`` the mean distance along it that tells so [mm]."""

    rotation: Floats
    shifts: Floats
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    anodes: tuple[Block, ...]
    outer: str
    outward: float
    size: Floats

    @property
    def gap(self) -> float:
        """Distance from the anodes' faces to the middle of the rack [mm]."""
        return min(min(abs(a.low[1]), abs(a.high[1])) for a in self.anodes)


def turned(mesh: TriMesh, stated: PlatingStated, outer: str) -> Floats:
    """Rotation that turns the part's facing direction to +y and its up direction to +z.

    Raises :class:`InputError` for two directions that are nearly the same.
    """
    extent = np.ptp(mesh.points, axis=0)
    facing = np.array([0.0, 0.0, -1.0 if outer == "lower" else 1.0]) if isinstance(stated.facing, str) else np.array(stated.facing)
    if isinstance(stated.up, str):
        axes = np.eye(3)[np.argsort(extent[:2])] if isinstance(stated.facing, str) else np.eye(3)[np.argsort(extent)]
        up = next(a for a in axes if abs(a @ facing) < 0.8 * np.linalg.norm(facing))
    else:
        up = np.array(stated.up)
    if min(np.linalg.norm(facing), np.linalg.norm(up)) < 1e-9:
        raise InputError("a direction needs a length above zero.", where="plating.up")
    y = facing / np.linalg.norm(facing)
    z = up - (up @ y) * y
    if np.linalg.norm(z) < 0.05 * np.linalg.norm(up):
        raise InputError(
            "the direction that looks at the anodes and the one that hangs up are nearly the same.",
            where="plating.up",
            help="State one across the other.",
        )
    z /= np.linalg.norm(z)
    return np.stack([np.cross(y, z), y, z])


def lay_out(mesh: TriMesh, stated: PlatingStated, anode_edge: float) -> Rack:
    """Place parts and anodes. Raises :class:`InputError` for too many parts, or parts that reach to the anodes."""
    count = stated.columns * stated.rows
    if count > MOST_PARTS:
        raise InputError(
            f"{count} parts on one rack are more than the {MOST_PARTS} that can be solved.",
            where="plating.columns",
            help="State a part of the rack.",
        )
    outer, outward = outer_side(mesh)
    rotation = turned(mesh, stated, outer)
    p = mesh.points @ rotation.T
    low, high = p.min(axis=0), p.max(axis=0)
    size = high - low
    x = (size[0] + stated.spacing) * (np.arange(stated.columns) - 0.5 * (stated.columns - 1))
    z = (size[2] + stated.spacing) * (0.5 * (stated.rows - 1) - np.arange(stated.rows))
    centre = 0.5 * (low + high)
    shifts = np.array([[a, 0.0, b] for b in z for a in x]) - centre
    half = np.array([0.5 * size[0] + x.max(initial=0.0), 0.5 * size[1], 0.5 * size[2] + z.max(initial=0.0)])
    if half[1] >= stated.anode_distance:
        raise InputError(
            f"The parts are {size[1]:.0f} mm deep towards the anodes and reach to them at {stated.anode_distance:g} mm.", where="plating.anode_distance",
            help="State a larger distance, or turn the parts.",
        )  # fmt: skip
    anodes = _anodes(stated, half, anode_edge)
    return Rack(rotation, shifts, *_bath(stated, half, anodes), anodes, outer, outward, size)


def _anodes(stated: PlatingStated, half: Floats, edge: float) -> tuple[Block, ...]:
    span = 2.0 * half[0] if isinstance(stated.anode_span, str) else stated.anode_span
    length = 2.0 * half[2] if isinstance(stated.anode_length, str) else stated.anode_length
    width = stated.anode_width
    fitting = int(max(span - width, 0.0) / (BAR_GAP * width)) + 1
    count = min(round(span / BAR_PITCH) + 1, fitting) if isinstance(stated.anode_count, str) else stated.anode_count
    middle = np.linspace(-0.5, 0.5, count) * max(span - width, 0.0) if count > 1 else np.zeros(1)
    if count > 1 and (span - width) / (count - 1) <= width:
        raise InputError(
            f"{count} anode bars of {width:g} mm do not fit side by side into {span:.0f} mm.",
            where="plating.anode_count",
            help="State fewer or narrower bars, or a longer row.",
        )
    near, far = stated.anode_distance, stated.anode_distance + stated.anode_thickness
    out: list[Block] = []
    for row in range(stated.anode_rows):
        y = (near, far) if row == 0 else (-far, -near)
        for x in middle:
            low, high = (
                (x - 0.5 * width, y[0], stated.anode_raise - 0.5 * length),
                (x + 0.5 * width, y[1], stated.anode_raise + 0.5 * length),
            )
            out.append(Block(f"anode_{len(out) + 1}", _triple(low), _triple(high), edge))
    return tuple(out)


def _bath(stated: PlatingStated, half: Floats, anodes: Sequence[Block]) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Corners of the bath; an automatic one also holds the bodies."""
    lows, highs = [-half], [half]
    for a in anodes:
        lows.append(np.array(a.low))
        highs.append(np.array(a.high))
    for b in stated.bodies:
        lows.append(np.array(b.at) - 0.5 * np.array(b.size))
        highs.append(np.array(b.at) + 0.5 * np.array(b.size))
    low, high = np.min(lows, axis=0), np.max(highs, axis=0)
    if isinstance(stated.tank, str):
        side = max(-low[0], high[0]) + ROOM_SIDE
        behind = max(stated.anode_distance + stated.anode_thickness, -low[1], high[1]) + ROOM_BEHIND
        return _triple((-side, -behind, low[2] - ROOM_BELOW)), _triple((side, behind, high[2] + ROOM_ABOVE))
    length, width, depth = stated.tank
    below = (depth - 2.0 * half[2]) * ROOM_BELOW / (ROOM_BELOW + ROOM_ABOVE)
    return _triple((-0.5 * length, -0.5 * width, -half[2] - below)), _triple((0.5 * length, 0.5 * width, depth - half[2] - below))


def _triple(v: Sequence[float] | Floats) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def body_pieces(bodies: Sequence[PlatingBodyStated], edge: float) -> tuple[list[Block], list[Sheet], dict[str, str]]:
    """Blocks and plates of the bodies, and the role of each by name (``shield_1`` ...)."""
    blocks, plates = [], []
    roles: dict[str, str] = {}
    for k, b in enumerate(bodies, start=1):
        name = f"{b.role}_{k}"
        roles[name] = b.role
        at, size = np.array(b.at), np.array(b.size)
        if b.kind == "plate":
            plates.append(Sheet(name, _plate(at, size, max(edge, float(size.max()) / 40.0))))
            continue
        axis = int(np.argmax(size)) if b.kind == "rod" else None
        if axis is not None and np.ptp(np.delete(size, axis)) > 1e-6:
            raise InputError(
                f"the rod {k} has two different sides across its length.", where="plating.bodies", help="Both are its diameter."
            )
        thin = float(np.sort(size)[1] if axis is None else np.delete(size, axis)[0])
        blocks.append(
            Block(
                name,
                _triple(at - 0.5 * size),
                _triple(at + 0.5 * size),
                min(edge, max((0.5 if axis is None else 0.3) * thin, 0.2 * edge)),
                axis,
            )
        )
    return blocks, plates, roles


def _plate(at: Floats, size: Floats, edge: float) -> TriMesh:
    flat = int(np.argmin(size))
    u, v = (i for i in range(3) if i != flat)
    n, m = (max(math.ceil(size[i] / edge), 2) for i in (u, v))
    a, b = np.meshgrid(np.linspace(-0.5, 0.5, n + 1), np.linspace(-0.5, 0.5, m + 1), indexing="ij")
    points = np.tile(at, ((n + 1) * (m + 1), 1))
    points[:, u] += size[u] * a.ravel()
    points[:, v] += size[v] * b.ravel()
    i = np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    p, q, r, s = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    # the diagonal leaves every corner: a triangle with all three points on the rim could not be opened
    row, column = np.divmod(np.arange(n * m), m)
    other = ((row == 0) & (column == m - 1)) | ((row == n - 1) & (column == 0))
    a, b = np.where(other, q, p), np.where(other, s, r)
    return TriMesh(points, np.concatenate([np.column_stack([a, np.where(other, r, q), b]), np.column_stack([a, b, np.where(other, p, s)])]))
