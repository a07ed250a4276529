"""Small bridges between arrays and the CAD kernel; imported only where the kernel is wanted."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.collections import Array1_double, Array1_gp_Pnt, Array1_gp_Pnt2d, Array1_int, Array2_gp_Pnt
from OCP.Geom import Geom_BSplineCurve, Geom_BSplineSurface
from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Line
from OCP.GeomAbs import GeomAbs_C1, GeomAbs_C2, GeomAbs_C3
from OCP.gp import gp_Dir2d, gp_Pnt, gp_Pnt2d, gp_Trsf, gp_Vec

from diewright.die.brep.spline import Axis, Curve, Surface

Floats = NDArray[np.float64]


def trsf(rotation: Floats, shift: Floats) -> gp_Trsf:
    """The rigid move ``x' = R x + s``."""
    move = gp_Trsf()
    r = np.asarray(rotation, dtype=float)
    move.SetValues(*(float(v) for i in range(3) for v in (*r[i], shift[i])))
    return move


def _knots(along: Axis) -> tuple[Array1_double, Array1_int]:
    knots, times = Array1_double(1, len(along.breaks)), Array1_int(1, len(along.breaks))
    for i, (k, m) in enumerate(zip(along.breaks, [4, *along.times.tolist(), 4], strict=True), start=1):
        knots.SetValue(i, float(k))
        times.SetValue(i, int(m))
    return knots, times


def curve3(c: Curve) -> Geom_BSplineCurve:
    """A curve in space."""
    poles = Array1_gp_Pnt(1, len(c.poles))
    for i, p in enumerate(c.poles, start=1):
        poles.SetValue(i, gp_Pnt(*map(float, p)))
    return Geom_BSplineCurve(poles, *_knots(c.axis), 3)


def curve2(c: Curve) -> Geom2d_BSplineCurve:
    """A curve in the parameters of a surface."""
    poles = Array1_gp_Pnt2d(1, len(c.poles))
    for i, p in enumerate(c.poles, start=1):
        poles.SetValue(i, gp_Pnt2d(*map(float, p)))
    return Geom2d_BSplineCurve(poles, *_knots(c.axis), 3)


def line2(start: tuple[float, float], way: tuple[float, float]) -> Geom2d_Line:
    """A straight line in the parameters of a surface, run with unit speed along ``way``."""
    return Geom2d_Line(gp_Pnt2d(*start), gp_Dir2d(*way))


def surface(s: Surface) -> Geom_BSplineSurface:
    """A bicubic surface."""
    n, m = s.poles.shape[:2]
    poles = Array2_gp_Pnt(1, n, 1, m)
    for i in range(n):
        for j in range(m):
            poles.SetValue(i + 1, j + 1, gp_Pnt(*map(float, s.poles[i, j])))
    ku, mu = _knots(s.u)
    kv, mv = _knots(s.v)
    return Geom_BSplineSurface(poles, ku, kv, mu, mv, 3, 3)


def points2(curve: Any, at: Floats) -> Floats:
    """Points of a plane curve ``(n, 2)``."""
    value = curve.Value
    out = [(p.X(), p.Y()) for p in (value(float(t)) for t in at)]
    return np.array(out)


def points3(thing: Any, at: Floats) -> Floats:
    """Points of a curve in space ``(n, 3)``."""
    value = thing.Value
    return np.array([(p.X(), p.Y(), p.Z()) for p in (value(float(t)) for t in at)])


def surface_points(thing: Any, u: Floats, v: Floats) -> Floats:
    """Points of a surface at parameter pairs ``(n, 3)``."""
    value = thing.Value
    return np.array([(p.X(), p.Y(), p.Z()) for p in (value(float(a), float(b)) for a, b in zip(u, v, strict=True))])


def tangents(thing: Any, u: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
    """Points and both derivatives of a surface at parameter pairs ``(n, 3)`` each."""
    p, a, b = gp_Pnt(), gp_Vec(), gp_Vec()
    out = np.zeros((len(u), 9))
    d1 = thing.D1
    for i in range(len(u)):
        d1(float(u[i]), float(v[i]), p, a, b)
        out[i] = (p.X(), p.Y(), p.Z(), a.X(), a.Y(), a.Z(), b.X(), b.Y(), b.Z())
    return out[:, :3], out[:, 3:6], out[:, 6:]


def breaks_of(adaptor: Any, which: str = "") -> dict[float, int]:
    """Parameters where a curve or surface is not three times smooth, with the times a knot counts there for a surface moved along its normals (once less smooth)."""
    out: dict[float, int] = {}
    for order, times in ((GeomAbs_C3, 2), (GeomAbs_C2, 3), (GeomAbs_C1, 3)):
        count = getattr(adaptor, f"Nb{which}Intervals")(order)
        at = Array1_double(1, count + 1)
        getattr(adaptor, f"{which}Intervals")(at, order)
        for i in range(2, count + 1):
            out[round(at.Value(i), 12)] = times
    return out
