"""Outside checks of the one-step inverse solution: exact lengths, the constant-area cup, measured cup height, and a second way to compute."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.inverse import InverseResult, solve
from diewright.mechanics.plasticity import Hill
from diewright.mechanics.tension import wall_drag, wall_tension

Floats = NDArray[np.float64]

STRAIN = np.linspace(0.0, 2.0, 1000)


def _revolved(profile: Floats, h: float) -> tuple[Floats, NDArray[np.int32]]:
    """Triangles of a body of revolution from a meridian ``(k, 2)`` (r, z) that starts on the axis."""
    points = [np.array([[0.0, 0.0, profile[0, 1]]])]
    triangles: list[tuple[int, int, int]] = []
    before, start = 1, 0
    for r, z in profile[1:]:
        n = max(12, int(np.ceil(2 * np.pi * r / h)))
        angle = 2 * np.pi * np.arange(n) / n
        points.append(np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(n, z)]))
        inner, outer = start, start + before
        i = j = 0
        while j < n or (before > 1 and i < before):
            if before == 1 or (j < n and (i >= before or (j + 1) * before <= (i + 1) * n)):
                triangles.append((inner + (i % before), outer + j, outer + (j + 1) % n))
                j += 1
            else:
                triangles.append((inner + i, outer + j % n, inner + (i + 1) % before))
                i += 1
        before, start = n, outer
    return np.vstack(points), np.array(triangles, dtype=np.int32)


def _arc(r: float, z: float, radius: float, start: float, end: float, count: int) -> Floats:
    t = np.linspace(start, end, count + 1)[1:]
    return np.column_stack([r + radius * np.cos(t), z + radius * np.sin(t)])


def _line(r0: float, z0: float, r1: float, z1: float, h: float) -> Floats:
    n = max(1, int(np.ceil(np.hypot(r1 - r0, z1 - z0) / h)))
    return np.linspace((r0, z0), (r1, z1), n + 1)[1:]


def _cup(radius: float, depth: float, corner: float, die: float, flange: float, h: float) -> tuple[Floats, NDArray[np.int32]]:
    q = np.pi / 2
    parts = [
        np.array([[0.0, -depth]]),
        _line(0, -depth, radius - corner, -depth, h),
        _arc(radius - corner, corner - depth, corner, -q, 0.0, 8),
    ]
    parts.append(_line(radius, corner - depth, radius, -die, h))
    if die > 0:
        parts += [_arc(radius + die, -die, die, np.pi, q, 8), _line(radius + die, 0.0, radius + die + flange, 0.0, h)]
    return _revolved(np.vstack(parts), h)


def _diameter(points: Floats, result: InverseResult) -> float:
    last = points[-1]
    rim = (np.hypot(points[:, 0], points[:, 1]) > np.hypot(last[0], last[1]) - 1e-6) & (np.abs(points[:, 2] - last[2]) < 1e-6)
    return float(2 * np.linalg.norm(result.flat[rim], axis=1).mean())


def _area(points: Floats, triangles: NDArray[np.int32]) -> float:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def _steel(points: Floats, triangles: NDArray[np.int32], r: float = 1.0) -> InverseResult:
    return solve(points, triangles, thickness=0.8, hardening=(STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22), anisotropy=Hill.normal(r))


def half_cylinder() -> dict[str, float]:
    """A half cylinder of radius 20: flat width pi 20 (sixty chords)."""
    t = np.linspace(-np.pi / 2, np.pi / 2, 61)
    y = np.linspace(0.0, 30.0, 16)
    points = np.array([(20 * np.sin(a), b, 20 * np.cos(a)) for a in t for b in y])
    i, j = (k.ravel() for k in np.meshgrid(np.arange(60), np.arange(15), indexing="ij"))
    a = i * 16 + j
    triangles = np.vstack([np.column_stack([a, a + 16, a + 17]), np.column_stack([a, a + 17, a + 1])]).astype(np.int32)
    result = _steel(points, triangles)
    return {"flat width": float(np.ptp(result.flat[:, 0])), "largest strain": float(np.abs(result.major).max())}


def flanged_cup() -> dict[str, float]:
    """Cup of wall radius 25, depth 20, punch radius 5, die radius 4, flange 10: blank by constant area against ours at r = 1."""
    points, triangles = _cup(25.0, 20.0, 5.0, 4.0, 10.0, 2.0)
    return {"blank diameter": _diameter(points, _steel(points, triangles))}


def open_cup() -> dict[str, float]:
    """Open cup d 50, h 25, r 5 without any restraint: pure hoop compression in the wall."""
    points, triangles = _cup(25.0, 25.0, 5.0, 0.0, 0.0, 1.5)
    result = _steel(points, triangles)
    return {"blank diameter": _diameter(points, result)}


def _drag(points: Floats, triangles: NDArray[np.int32], radius: float, thickness: float, sheet: tuple[Floats, Floats]) -> Floats:
    """The drawing history of an open cup as a drag on its wall, as the stage ``solution`` gives it."""
    ratio = float(np.sqrt(_area(points, triangles) / np.pi) / radius)
    tensile = float((sheet[1] * np.exp(-sheet[0])).max())  # Considere: the largest engineering stress
    corner = points[triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    areas = 0.5 * np.linalg.norm(normal, axis=1)
    below = points[:, 2].max() - corner[:, :, 2].mean(axis=1)
    wall = np.abs(normal[:, 2]) < 2.0 * areas * np.cos(np.deg2rad(35.0))
    return np.where(wall, wall_drag(below, areas, radius, *wall_tension(ratio, thickness, sheet, tensile)), 0.0)


def open_cup_drawn() -> dict[str, float]:
    """The same open cup with its estimated drawing history, against constant area."""
    points, triangles = _cup(25.0, 25.0, 5.0, 0.0, 0.0, 1.5)
    sheet = (STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22)
    drag = _drag(points, triangles, 25.0, 0.8, sheet)
    result = solve(points, triangles, thickness=0.8, hardening=sheet, anisotropy=Hill.normal(1.0), wall_drag=drag)
    return {"blank diameter": _diameter(points, result)}


def aluminium_cup() -> dict[str, float]:
    """The measured AA6016-T4 cup (mean height 34.13 over the outer bottom, mid-surface radius 30.5, corner 5.5) taken back to its blank of 107.5, with the
    tool's gap of 1.2 mm and its estimated drawing history."""
    points, triangles = _cup(30.5, 33.63, 5.5, 0.0, 0.0, 1.5)
    hardening = (STRAIN, 330.2 - 190.0 * np.exp(-12.4 * STRAIN))
    result = solve(
        points, triangles, thickness=1.0, hardening=hardening, anisotropy=Hill.from_r(0.526, 0.253, 0.601), youngs_modulus=7.0e4,
        thickness_limit=1.2, wall_drag=_drag(points, triangles, 30.5, 1.0, hardening),
    )  # fmt: skip
    area = float(result.volume.sum()) / 1.0
    return {"blank diameter": float(2 * np.sqrt(area / np.pi))}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "inverse-half-cylinder": half_cylinder,
    "inverse-cup-flange-r1": flanged_cup,
    "inverse-cup-open-uniaxial": open_cup,
    "inverse-cup-open-drawn": open_cup_drawn,
    "inverse-cup-aa6016": aluminium_cup,
}
