"""A panel moved along its normals: kept as the designer drew it, moved exactly where its kind allows, or fitted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from OCP.Geom import Geom_ConicalSurface, Geom_CylindricalSurface, Geom_Plane, Geom_SphericalSurface, Geom_ToroidalSurface
from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Vec

from diewright.die.brep.kernel import points2, surface_points
from diewright.die.brep.kernel import surface as bicubic
from diewright.die.brep.model import Panel, Trim
from diewright.die.brep.spline import fit_surface

Floats = NDArray[np.float64]

Law = Callable[[Floats, Floats], Floats]
"""``(points (n, 3), normals (n, 3)) -> distance (n,)`` [mm] from the middle of the sheet along the normal up."""
Shift = Callable[[Floats], Floats]
"""``points (n, 3) -> displacement (n, 3)`` [mm], applied to every point before it is fitted."""

_EXACT = 1e-9  # mm: a moved elementary surface lies this close to the points it stands for
_SAME = 1e-5  # mm: distances that vary by less are one; the faces of many files touch within a few millionths of a radian only


@dataclass(frozen=True, eq=False)
class Moved:
    """The kernel's surface, how it came about ("kept" | "moved" | "fitted"), the largest miss [mm], and the exact points it stands for at parameter pairs."""

    surface: Any
    how: str
    miss: float
    exact: Callable[[Floats, Floats], Floats]


def move(panel: Panel, law: Law, shift: Shift | None, tolerance: float) -> Moved:
    """The surface of a panel at the distance ``law`` from the middle of the sheet, with the panel's own parameters."""

    def exact(u: Floats, v: Floats) -> Floats:
        p, n = panel.base.points(u, v)
        p = p + panel.rise * n
        p = p + law(p, n)[:, None] * n
        return p if shift is None else p + shift(p)

    if panel.cad is not None and shift is None:
        uu, vv = _places(panel)
        p, n = panel.base.points(uu, vv)
        way = panel.rise + law(p + panel.rise * n, n)
        if np.ptp(way) < _SAME:
            d = float(way.mean())
            if abs(d) < _SAME:
                return Moved(panel.cad, "kept", 0.0, exact)
            made = elementary(panel.cad, -d if panel.down else d)
            if made is not None:
                wanted = p + d * n
                miss = float(np.linalg.norm(surface_points(made, uu, vv) - wanted, axis=1).max())
                if miss < _EXACT * max(1.0, float(np.abs(wanted).max())):
                    return Moved(made, "moved", miss + 0.5 * float(np.ptp(way)), exact)

    def grid(u: Floats, v: Floats) -> Floats:
        uu, vv = np.meshgrid(u, v, indexing="ij")
        return exact(uu.ravel(), vv.ravel()).reshape(len(u), len(v), 3)

    found = fit_surface(grid, panel.u, panel.v, tolerance)
    return Moved(bicubic(found), "fitted", found.miss, exact)


def _places(panel: Panel) -> tuple[Floats, Floats]:
    """Parameters ``(n,)`` on a grid over the panel and along its outline: within the outline, since what the law says beyond it is no matter."""
    u, v = (np.linspace(a.breaks[0], a.breaks[-1], 17) for a in (panel.u, panel.v))
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    lines = [np.vstack([_run(t) for t in loop]) for loop in panel.loops]
    if lines:
        area = shapely.Polygon(lines[0], lines[1:])
        if area.is_valid:
            grid = grid[shapely.contains_xy(area, *grid.T)]
        grid = np.vstack([grid, *lines])
    return grid[:, 0], grid[:, 1]


def _run(trim: Trim) -> Floats:
    """Parameters along an edge of an outline, in the order the outline runs it ``(17, 2)``."""
    at = np.linspace(trim.first, trim.last, 17)
    return points2(trim.curve, at[::-1] if trim.backwards else at)


def elementary(surface: Any, d: float) -> Any:
    """A plane, cylinder, cone, sphere or torus moved by ``d`` [mm] along ``du x dv``, with the same parameters; None for other surfaces or where nothing is left of it."""
    if isinstance(surface, Geom_Plane):
        frame = surface.Position()
        frame.Translate(gp_Vec(*(d * c for c in _cross(frame))))
        return Geom_Plane(frame)
    kinds = (Geom_CylindricalSurface, Geom_ConicalSurface, Geom_SphericalSurface, Geom_ToroidalSurface)
    if not isinstance(surface, kinds):
        return None
    frame = surface.Position()
    out = d if frame.Direct() else -d  # du x dv of these surfaces points out of a right-handed frame
    if isinstance(surface, Geom_CylindricalSurface):
        return Geom_CylindricalSurface(frame, surface.Radius() + out) if surface.Radius() + out > 0 else None
    if isinstance(surface, Geom_SphericalSurface):
        return Geom_SphericalSurface(frame, surface.Radius() + out) if surface.Radius() + out > 0 else None
    if isinstance(surface, Geom_ToroidalSurface):
        minor = surface.MinorRadius() + out
        return Geom_ToroidalSurface(frame, surface.MajorRadius(), minor) if 0 < minor < surface.MajorRadius() else None
    half = surface.SemiAngle()
    radius = surface.RefRadius() + out * np.cos(half)
    if radius <= 0:
        return None
    z = frame.Direction()
    along = -out * float(np.sin(half))
    frame.Translate(gp_Vec(z.X() * along, z.Y() * along, z.Z() * along))
    return Geom_ConicalSurface(frame, float(half), float(radius))


def _cross(frame: gp_Ax3) -> tuple[float, float, float]:
    x, y = frame.XDirection(), frame.YDirection()
    n = x.Crossed(y)
    return n.X(), n.Y(), n.Z()


def plane(level: float) -> Geom_Plane:
    """The level plane whose parameters are x and y."""
    return Geom_Plane(gp_Ax3(gp_Pnt(0.0, 0.0, level), gp_Dir(0, 0, 1), gp_Dir(1, 0, 0)))
