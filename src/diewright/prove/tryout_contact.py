"""The tryout's contact and membrane against closed forms: capstan, bending under tension, bulge, sphere on a clamped sheet."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diewright.mechanics.contact.grid import distance_grid
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.shell.material import ShellMaterial, elastic, hill_from_r, hill_yield, plastic
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import grid
from diewright.prove.tryout_membrane import Membrane, solve

Floats = NDArray[np.float64]


def cylinder(radius: float, width: float, degrees: float = 0.5) -> tuple[Floats, NDArray[np.int64]]:
    """A cylinder along y below the origin's height ``z = 0``, from -100 to 170 degrees from the top, normals outwards."""
    at = np.radians(np.arange(-100.0, 170.0 + 1e-9, degrees))
    arc = np.column_stack([radius * np.sin(at), 0 * at, radius * np.cos(at)])
    k = len(at)
    points = np.vstack([arc - np.array([0, width, 0]), arc + np.array([0, 2 * width, 0])])
    i = np.arange(k - 1)
    return points, np.vstack([np.column_stack([i, k + i + 1, k + i]), np.column_stack([i, i + 1, k + i + 1])])


def _wrapped(flat: Floats, start: float, radius: float, angle: float) -> Floats:
    """A flat strip (x along, y across) laid over a cylinder: straight up to ``start``, then ``angle`` [rad] of arc, then straight."""
    s = np.clip(flat[:, 0] - start, 0.0, radius * angle)
    rest = np.maximum(flat[:, 0] - start - radius * angle, 0.0)
    before = np.minimum(flat[:, 0] - start, 0.0)
    a = s / radius
    return np.column_stack([before + radius * np.sin(a) + rest * np.cos(a * 1.0), flat[:, 1], radius * np.cos(a) - rest * np.sin(a)])


def pulled_over(
    material: ShellMaterial, *, radius: float, thickness: float, degrees: float, friction: float, back: float, pull: float, speed: float,
    legs: tuple[float, float], width: float = 4.0, edge: float = 1.0, stations: int = 3, spacing: float = 0.2,
) -> tuple[float, float, float]:  # fmt: skip
    """``(pulling force over back force, pulling force [N], deepest share)`` of a strip that slides over a fixed cylinder, mean over the last 40 % of the way.

    The strip lies stress free over the cylinder; a force ``back`` [N] holds one end, the other is drawn by ``pull`` [mm] along its own direction.
    """
    theta, middle = math.radians(degrees), radius + 0.5 * thickness
    length = legs[0] + middle * theta + legs[1]
    flat, triangles, ids = grid(length, width, round(length / edge), round(width / edge))
    points = _wrapped(flat, legs[0], middle, theta)
    patches = build_patches(points, triangles, thickness, rolling=(1.0, 0.0, -1e-3))
    face = cylinder(radius, width)
    tool = Tool("cylinder", distance_grid(*face, spacing=spacing, band=thickness + 2 * spacing), (0.0, 0.0, 1.0), friction)
    model = ShellModel(patches, material, through_thickness(stations), tools=(tool,), threads=False)
    model.tools.by_speed("cylinder", 0)
    ramp = 0.1 * pull / speed
    time = 2.0 * ramp + pull / speed
    out = np.array([math.cos(theta), 0.0, -math.sin(theta)])
    end, start = ids[-1], ids[0]
    h = model.history([0.0, 2 * ramp, 3 * ramp, time], [0.0, 0.0, speed, speed])
    for axis, d in zip("xyz", out, strict=True):
        model.prescribe(end, axis, h, d)
    model.prescribe(start, "yz")
    share = np.bincount(triangles.ravel(), minlength=len(points))[start].astype(float)
    share /= share.sum()
    external = np.zeros((len(points), 3))
    model.damping = 20.0
    forces, taken = [], []
    while model.time < time:
        external[start, 0] = -back * share * min(1.0, model.time / ramp)
        model.advance(50, external=external)
        forces.append(float((model.support[end] @ out).sum()))
        taken.append(model.time)
    late = np.array(taken) > 0.6 * time
    force = float(np.array(forces)[late].mean())
    return force / back, force, float(model.tools.state[0, 9])


def capstan(degrees: float, friction: float) -> dict[str, float]:
    """An elastic strip, 0.2 mm over a radius of 20 mm, sliding: ``T1/T0``."""
    material = elastic(7e4, 0.0, 2.7e-7)
    ratio, _, deepest = pulled_over(
        material, radius=20.0, thickness=0.2, degrees=degrees, friction=friction, back=60.0, pull=2.0, speed=100.0, legs=(8.0, 6.0)
    )
    return {"tension ratio": ratio, "deepest penetration": deepest}


def bend_and_unbend() -> dict[str, float]:
    """A perfectly plastic strip drawn without friction over a radius: each bend costs ``M/rho``, ``M = s t^2/4 (1 - (T/Ty)^2)`` per width."""
    flow, t, width, radius, back = 300.0, 1.0, 4.0, 20.0, 180.0
    material = plastic(2e5, 0.0, 7.85e-7, hill_yield(1.0, 1.0, 0.0, 1.5), {"ss": flow, "s0": flow, "c": 1.0})
    _, force, deepest = pulled_over(
        material,
        radius=radius,
        thickness=t,
        degrees=90.0,
        friction=0.0,
        back=back,
        pull=24.0,
        speed=300.0,
        legs=(40.0, 8.0),
        width=width,
        stations=7,
    )
    yields = flow * t * width
    tension, rho = back, radius + 0.5 * t
    for _ in range(2):
        tension += flow * t * t / 4.0 * width * (1.0 - (tension / yields) ** 2) / rho
    return {"force of bending over theory": (force - back) / (tension - back), "deepest penetration": deepest}


def disc(radius: float, edge: float) -> tuple[Floats, NDArray[np.int32]]:
    """A quarter of a disc."""
    from diewright.geometry.plane_mesh import mesh_region

    at = np.linspace(0.0, 2.0 * np.pi, 361)[:-1]
    mesh = mesh_region(radius * np.column_stack([np.cos(at), np.sin(at)]), size=edge, quarter=True)
    return np.column_stack([mesh.points, np.zeros(len(mesh.points))]), mesh.triangles


def _held(
    points: Floats, triangles: NDArray[np.int32], t: float, material: ShellMaterial, radius: float, tools: tuple[Tool, ...]
) -> ShellModel:
    """A quarter disc held at its edge, where it may turn."""
    from diewright.mechanics.forming.draw import hold_symmetry, symmetric

    patches = build_patches(points, triangles, t, mirrors=symmetric(points, triangles, "xy"))
    model = ShellModel(patches, material, through_thickness(3), tools=tools, real=np.float64, threads=False)
    hold_symmetry(model, patches, "xy")
    model.prescribe(np.flatnonzero(np.hypot(points[:, 0], points[:, 1]) > 0.999 * radius), "xyz")
    return model


def pole_share(model: ShellModel, radius: float) -> float:
    """Mean thickness share within a radius of the pole."""
    middle = model.patches.points[model.patches.conn[:, :3]].mean(1)
    return float(np.asarray(model.stretch)[np.hypot(middle[:, 0], middle[:, 1]) < radius].mean())


@cache
def blown(pressure: float, edge: float = 3.0) -> ShellModel:
    """Steel disc, radius 50, 1 mm, 550 (0.005 + e)^0.22 MPa, held at its edge, where it may turn, and blown up slowly."""
    a, t, time = 50.0, 1.0, 1.6e-2
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.0, 1.0, 1.0), {"K": 550.0, "e0": 0.005, "n": 0.22})
    points, triangles = disc(a, edge)
    model = _held(points, triangles, t, steel, a, ())
    s = np.linspace(0.0, 1.0, 41)
    # the height grows fast at first: the pressure starts slowly
    model.set_pressure(model.history(np.append(s, 1.4) * time, np.append(pressure * s**1.5, pressure)))
    model.damping = 300.0
    while model.time < 1.4 * time:
        model.advance(100)
    return model


def bulge() -> dict[str, float]:
    """A disc blown up by 8.5 MPa: pole height and thickness over the membrane's."""
    model = blown(8.5)
    got = solve(Membrane(np.linspace(0.0, 50.0, 51), 1.0, 2.06e5, 0.3, (550.0, 0.005, 0.22)), pressure=8.5)
    height = float(model.x[: model.patches.n, 2].max())
    return {
        "pole height over theory": height / got.z[0],
        "pole thickness over theory": pole_share(model, 6.0) / float(got.share[:6].mean()),
    }


def bulge_beside_ccx() -> dict[str, float]:
    """The disc of ``benchmarks/ccx_bulge.py``: edge hinged, 6 MPa."""
    model = blown(6.0)
    return {"pole height": float(model.x[: model.patches.n, 2].max()), "pole thickness": pole_share(model, 4.0)}


@cache
def sphere(edge: float = 3.0) -> dict[str, float]:
    """A sphere of radius 50.8 pressed 25 mm deep into a sheet clamped at 59.18 over a die radius of 6.35, t 0.85, 589 (1e-4 + e)^0.216, friction 0.1."""
    from diewright.die.simple import round_cup_tools

    a, t, way, mu = 59.18, 0.85, 25.0, 0.1
    metal = plastic(6.9e4, 0.3, 2.7e-9, hill_from_r(1.0, 1.0, 1.0), {"K": 589.0, "e0": 1e-4, "n": 0.216})
    points, triangles = disc(a, edge)
    faces = round_cup_tools(101.6, 50.8, 2 * (a - 6.35), 6.35, way, t, 2 * a, False)
    tools = tuple(
        Tool(k, distance_grid(faces[k].points, faces[k].triangles, spacing=0.5, band=1.8), (0.0, 0.0, d), mu)
        for k, d in (("die", 1.0), ("punch", -1.0))
    )
    model = _held(points, triangles, t, metal, a, tools)
    model.tools.by_speed("die", 0)
    model.tools.set_travel("punch", -way)
    time = way / 4000.0
    h = model.history([0.0, 0.15 * time, time, 1.15 * time], [0.0, 4000.0, 4000.0, 0.0])
    model.tools.by_speed("punch", h)
    while model.time < 1.15 * time:
        model.advance(100)
    model.damping = 1000.0
    model.advance(500)
    model.tools.start_sums()
    model.advance(1000)
    got = solve(
        Membrane(np.linspace(0.0, a, 61), t, 6.9e4, 0.3, (589.0, 1e-4, 0.216), punch=50.8, die=(a, 6.35), friction=(mu, mu)), way=way
    )
    force = -4.0 * float(model.tools.mean_force("punch")[2])
    return {
        "punch force over theory": force / got.force, "pole thickness over theory": pole_share(model, 6.0) / float(got.share[:6].mean()),
        "least thickness over theory": float(np.asarray(model.stretch).min()) / float(got.share.min()),
        "deepest penetration": float(model.tools.state[:, 9].max()),
    }  # fmt: skip
