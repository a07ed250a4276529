"""Moved surfaces against what is known of them: parallel cylinders, spheres, tori and cones, and the die whose distance grows with the slope."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.die.brep.kernel import surface_points
from diewright.die.brep.model import Panel
from diewright.die.brep.moved import move
from diewright.die.brep.skin import CadBase
from diewright.die.brep.spline import Axis, axis, fit_curve, fit_surface

T, C = 0.8, 0.2


def parallel(p: np.ndarray, n: np.ndarray) -> np.ndarray:
    return np.full(len(n), -0.5 * T)


def growing(p: np.ndarray, n: np.ndarray) -> np.ndarray:
    return -(0.5 * T + C * (1.0 - n[:, 2] ** 2))


def panel(kind: str, frame: tuple[float, float, float] = (0.0, 0.0, 1.0), left: bool = False) -> Panel:
    from OCP.Geom import Geom_ConicalSurface, Geom_CylindricalSurface, Geom_Plane, Geom_SphericalSurface, Geom_ToroidalSurface
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

    at = gp_Ax3(gp_Pnt(1.0, 2.0, 3.0), gp_Dir(*frame))
    if left:
        at.YReverse()
    surface, box = {
        "plane": (Geom_Plane(at), (-5.0, 5.0, -4.0, 4.0)),
        "cylinder": (Geom_CylindricalSurface(at, 6.0), (0.3, 1.4, -4.0, 4.0)),
        "sphere": (Geom_SphericalSurface(at, 20.0), (0.0, 1.2, 0.2, 1.3)),
        "torus": (Geom_ToroidalSurface(at, 30.0, 6.0), (0.0, 1.5, 0.1, 1.5)),
        "cone": (Geom_ConicalSurface(at, 0.2, 25.0), (0.0, 1.5, -10.0, 10.0)),
    }[kind]
    u, v = Axis(np.linspace(*box[:2], 5), np.ones(3, dtype=np.int64)), Axis(np.linspace(*box[2:], 5), np.ones(3, dtype=np.int64))
    return Panel(CadBase(surface, -1.0 if left else 1.0, box), 0.0, (), u, v, left, "part", kind, surface)


def places(p: Panel) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(5)
    u, v = (a.breaks[0] + rng.random(400) * (a.breaks[-1] - a.breaks[0]) for a in (p.u, p.v))
    return u, v


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("kind", ["plane", "cylinder", "sphere", "torus", "cone"])
def test_parallel_elementary_surfaces_stay_what_they_are(kind: str, left: bool) -> None:
    """The distance to the surface, known in closed form, is half the thickness everywhere; the kind of the surface does not change."""
    p = panel(kind, left=left)
    found = move(p, parallel, None, 5e-4)
    assert found.how == "moved"
    assert type(found.surface) is type(p.cad)
    x = surface_points(found.surface, *places(p)) - [1.0, 2.0, 3.0]
    ring = np.hypot(x[:, 0], x[:, 1])
    signed = {
        "plane": lambda: x[:, 2],
        "cylinder": lambda: ring - 6.0,
        "sphere": lambda: np.linalg.norm(x, axis=1) - 20.0,
        "torus": lambda: np.hypot(ring - 30.0, x[:, 2]) - 6.0,
        "cone": lambda: (ring - 25.0) * np.cos(0.2) - x[:, 2] * np.sin(0.2),
    }[kind]()
    assert np.abs(signed + 0.5 * T).max() < 1e-9


@pytest.mark.parametrize("frame", [(0.0, 0.0, 1.0), (0.3, -0.2, 0.9)])
@pytest.mark.parametrize("kind", ["cylinder", "sphere", "torus", "cone"])
def test_clearance_grows_with_the_slope(kind: str, frame: tuple[float, float, float]) -> None:
    """Away from the nodes of the fit the surface lies where the rule says within 0.002 mm; the normals of the kinds are taken from their formulas."""
    p = panel(kind, frame)
    found = move(p, growing, None, 5e-4)
    u, v = places(p)
    base = surface_points(p.cad, u, v)
    a = p.cad.Position()
    z = np.array([a.Direction().X(), a.Direction().Y(), a.Direction().Z()])
    x = base - [1.0, 2.0, 3.0]
    height = x @ z
    radial = x - height[:, None] * z
    ring = np.linalg.norm(radial, axis=1)[:, None]
    n = {
        "cylinder": lambda: radial / ring,
        "sphere": lambda: x / 20.0,
        "torus": lambda: (x - 30.0 * radial / ring) / 6.0,
        "cone": lambda: np.cos(0.2) * radial / ring - np.sin(0.2) * z,
    }[kind]()
    wanted = base + growing(base, n)[:, None] * n
    assert np.linalg.norm(surface_points(found.surface, u, v) - wanted, axis=1).max() < 0.002
    constant = kind in ("cylinder", "cone") and frame == (0.0, 0.0, 1.0)
    assert found.how == ("moved" if constant else "fitted")


def test_too_small_a_radius_is_not_turned_inside_out() -> None:
    """A cylinder of 0.3 mm has no parallel surface 0.4 mm inwards: what is made is not a cylinder of negative radius."""
    from OCP.Geom import Geom_CylindricalSurface
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt

    from diewright.die.brep.moved import elementary

    assert elementary(Geom_CylindricalSurface(gp_Ax3(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1)), 0.3), -0.4) is None


def test_shift_is_applied_to_every_point() -> None:
    p = panel("torus")
    found = move(p, parallel, lambda x: np.column_stack([0.1 * np.sin(x[:, 1] / 7.0), 0.0 * x[:, 0], 0.02 * x[:, 0]]), 5e-4)
    u, v = places(p)
    still = surface_points(move(p, parallel, None, 5e-4).surface, u, v)
    wanted = still + np.column_stack([0.1 * np.sin(still[:, 1] / 7.0), 0.0 * u, 0.02 * still[:, 0]])
    assert np.linalg.norm(surface_points(found.surface, u, v) - wanted, axis=1).max() < 0.002


def test_fit_keeps_kinks_and_tells_what_it_misses() -> None:
    """A corner at a known place is met; one that is not known is reported as a miss, not hidden."""

    def corner(t: np.ndarray) -> np.ndarray:
        return np.column_stack([t, np.abs(t - 0.37)])

    assert fit_curve(corner, axis(0.0, 1.0, {0.37: 3}, 4), 1e-6).miss < 1e-9
    blind = fit_curve(corner, axis(0.0, 1.0, {}, 4), 1e-9, rounds=3)
    assert blind.miss > 1e-3

    def crease(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        uu, vv = np.meshgrid(u, v, indexing="ij")
        return np.stack([uu, vv, np.abs(uu + vv - 0.9)], axis=2)

    assert fit_surface(crease, axis(0.0, 1.0, {}, 4), axis(0.0, 1.0, {}, 4), 1e-9, rounds=2).miss > 1e-3
