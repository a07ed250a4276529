"""Principal strains of the sheet, their directions in space, thickness and thinning.

From the places of the nodes, at rest and now, with ``F`` (3, 2) the gradient of a triangle in its axes at rest (rolling, across):

    C = F^T F,   e = 1/2 ln of the principal values of C,   t = t0 exp(-e1 - e2)

or from the log strain of the middle surface that the shell gives. Both are exact for a triangle that stays flat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.sheet.limit_margin import thinning_pct

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]


@dataclass(frozen=True, eq=False)
class Strains:
    """Fields per triangle.

    Attributes
    ----------
    major, minor: (m,) true principal strains in the plane of the sheet. angle: (m,) of the major one from the rolling direction, in the sheet at rest [rad].
    direction: (m, 3) unit vector of the major strain on the triangle as it stands now.
    thickness: (m,) [mm]. thinning_pct: (m,) loss of thickness [%], negative where the sheet thickens.
    """

    major: Floats
    minor: Floats
    angle: Floats
    direction: Floats
    thickness: Floats
    thinning_pct: Floats


def principal(strain: Floats) -> tuple[Floats, Floats, Floats]:
    """``(major, minor, angle [rad])`` of in-plane strains ``(..., 3)``: 11, 22 and engineering 12. The angle is from axis 1, in (-pi/2, pi/2]."""
    mean, half, shear = 0.5 * (strain[..., 0] + strain[..., 1]), 0.5 * (strain[..., 0] - strain[..., 1]), 0.5 * strain[..., 2]
    radius = np.hypot(half, shear)
    return mean + radius, mean - radius, 0.5 * np.arctan2(shear, half)


def tensor(major: Floats, minor: Floats, angle: Floats) -> Floats:
    """In-plane strains ``(..., 3)`` (11, 22, engineering 12) from principal ones: the inverse of :func:`principal`."""
    mean, radius = 0.5 * (major + minor), 0.5 * (major - minor)
    return np.stack([mean + radius * np.cos(2 * angle), mean - radius * np.cos(2 * angle), 2.0 * radius * np.sin(2 * angle)], axis=-1)


def rest_axes(points0: Floats, triangles: Ints, rolling: Floats) -> tuple[Floats, Floats]:
    """Unit vectors ``(m, 3)`` along and across the rolling direction in each triangle at rest.

    The rolling direction is laid into the triangle; where it stands square on it, the triangle's first edge takes its place. Raises :class:`InputError` for a
    triangle without area.
    """
    a, b, c = (points0[triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    if not (size > 0).all():
        raise InputError(
            f"triangle {int(np.argmin(size))} of the sheet at rest has no area.", where="tryout", help="Mesh the blank without slivers."
        )
    normal = normal / size
    along = np.asarray(rolling, dtype=np.float64) - (normal @ np.asarray(rolling, dtype=np.float64))[:, None] * normal
    upright = np.linalg.norm(along, axis=1) < 1e-6 * np.linalg.norm(rolling)
    along[upright] = (b - a)[upright]
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return along, np.cross(normal, along)


def gradients(points0: Floats, triangles: Ints, points: Floats, rolling: Floats) -> Floats:
    """``F`` ``(m, 3, 2)``: where one unit along and one across the rolling direction at rest lie now."""
    along, across = rest_axes(points0, triangles, rolling)
    p, q = points0[triangles[:, 1]] - points0[triangles[:, 0]], points0[triangles[:, 2]] - points0[triangles[:, 0]]
    p1, p2 = (p * along).sum(1), (p * across).sum(1)
    q1, q2 = (q * along).sum(1), (q * across).sum(1)
    det = p1 * q2 - p2 * q1
    u, v = points[triangles[:, 1]] - points[triangles[:, 0]], points[triangles[:, 2]] - points[triangles[:, 0]]
    return np.stack([u * (q2 / det)[:, None] - v * (p2 / det)[:, None], v * (p1 / det)[:, None] - u * (q1 / det)[:, None]], axis=2)


def strains_of(
    points0: Floats, triangles: Ints, points: Floats, thickness: float, *, rolling: tuple[float, float, float] = (1.0, 0.0, 0.0),
    membrane: Floats | None = None, stretch: Floats | None = None,
) -> Strains:  # fmt: skip
    """All strains of the sheet.

    Parameters
    ----------
    points0, points: (n, 3) nodes at rest and now [mm]. triangles: (m, 3). thickness: at rest [mm].
    rolling: rolling direction at rest. membrane: (m, 3) log strain of the middle surface as the shell gives it (rolling frame), taken instead of the
    nodes' own. stretch: (m,) thickness over that at rest, taken instead of constant volume.
    """
    f = gradients(points0, triangles, points, np.asarray(rolling, dtype=np.float64))
    if membrane is None:
        membrane = log_strain(f)
    major, minor, angle = principal(np.asarray(membrane, dtype=np.float64))
    direction = f[:, :, 0] * np.cos(angle)[:, None] + f[:, :, 1] * np.sin(angle)[:, None]
    length = np.linalg.norm(direction, axis=1, keepdims=True)
    if not (np.isfinite(major).all() and np.isfinite(minor).all() and (length > 0).all()):
        bad = np.flatnonzero(~(np.isfinite(major) & np.isfinite(minor) & (length[:, 0] > 0)))
        raise InputError(
            f"the strain of triangle {int(bad[0])} is not a finite number ({len(bad)} in all).",
            where="tryout",
            help="Look at the frame before.",
        )
    now = thickness * (np.exp(-major - minor) if stretch is None else np.asarray(stretch, dtype=np.float64))
    return Strains(major, minor, angle, direction / length, now, thinning_pct(now, thickness))


def log_strain(f: Floats) -> Floats:
    """Log strain ``(m, 3)`` (11, 22, engineering 12, in the axes at rest) of gradients ``(m, 3, 2)``: ``1/2 ln(F^T F)``."""
    c = np.stack([(f[:, :, 0] ** 2).sum(1), (f[:, :, 1] ** 2).sum(1), 2.0 * (f[:, :, 0] * f[:, :, 1]).sum(1)], axis=1)
    high, low, angle = principal(c)
    with np.errstate(divide="ignore", invalid="ignore"):
        return tensor(0.5 * np.log(high), 0.5 * np.log(low), angle)
