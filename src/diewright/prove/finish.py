"""Our values for ``reference/finish.csv``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.finish.current.faraday import Metal
from diewright.finish.prepare.grits import roughness_class
from diewright.finish.prepare.wheel import FOOT, diameter_for, feet_per_minute, rim_speed
from diewright.finish.records import bath_log, readings
from diewright.finish.records.plan import plan
from diewright.finish.spec.classes import look_up
from diewright.geometry.accessible import Probe
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
INCH = 25.4
UP = np.array([[0.0, 0.0, 1.0]])


def profile(line: Floats, length: float, cuts: int = 1) -> TriMesh:
    """A sheet drawn along y from a line (k, 2) in x, z; normals to the left of the line seen against y, upwards where it runs along +x."""
    k, y = len(line), np.linspace(-0.5 * length, 0.5 * length, cuts + 1)
    points = np.concatenate([np.column_stack([line[:, 0], np.full(k, v), line[:, 1]]) for v in y])
    a = (k * np.arange(cuts)[:, None] + np.arange(k - 1)).ravel()
    return TriMesh(points, np.concatenate([np.stack([a, a + 1, a + k + 1], 1), np.stack([a, a + k + 1, a + k], 1)]).astype(np.int32))


def slot(width: float, depth: float) -> TriMesh:
    """A straight slot with a floor in a flat sheet."""
    w = 0.5 * width
    return profile(np.array([[-100.0, 0.0], [-w, 0.0], [-w, -depth], [w, -depth], [w, 0.0], [100.0, 0.0]]), 400.0, 8)


def _edge_of(test: Callable[[float], bool], yes: float, no: float) -> float:
    """Where ``test`` turns from true at ``yes`` to false at ``no``."""
    for _ in range(30):
        middle = 0.5 * (yes + no)
        yes, no = (middle, no) if test(middle) else (yes, middle)
    return 0.5 * (yes + no)


def _touches(width: float, depth: float, radius: float) -> bool:
    return float(Probe(slot(width, depth)).room(np.array([[0.0, 3.0, -depth]]), UP, radius)[0]) >= -1e-9


def ball_slot() -> dict[str, float]:
    """Deepest slot whose floor a ball of 20 mm touches; narrowest deep slot that it, and one of 3/4 inch, enters; the same for a sheet of 1 mm, which narrows the slot."""

    def deepest(w: float) -> float:
        return _edge_of(lambda d: _touches(w, d, 10.0), 0.01, 9.99)

    out = {f"depth at width {w:g}": deepest(w) for w in (12.0, 16.0, 19.0)}
    out["narrowest deep slot"] = _edge_of(lambda w: _touches(w, 60.0, 10.0), 40.0, 1.0)
    out["narrowest deep slot, 3/4 in"] = _edge_of(lambda w: _touches(w, 60.0, 0.375 * INCH), 40.0, 1.0)

    def thick(w: float) -> bool:
        return float(Probe(slot(w, 60.0), 1.0).room(np.array([[0.0, 3.0, -60.0]]), UP, 10.0)[0]) >= -1e-9

    out["narrowest deep slot in 1 mm sheet"] = _edge_of(thick, 40.0, 1.0)
    return out


def ball_corner() -> dict[str, float]:
    """Strip that a ball of 20 mm leaves free on a plane beside an inside corner of 90 degrees with a fillet, from the fillet's tangent on; the stage's own field of shares."""
    out = {}
    for r in (2.0, 5.0):
        angle = np.linspace(0.0, 0.5 * np.pi, 13)
        fillet = np.column_stack([r - r * np.cos(angle), r - r * np.sin(angle)])
        far = np.arange(r + 0.25, 40.0, 0.25)
        line = np.concatenate([np.column_stack([0 * far, far])[::-1], fillet, np.column_stack([far, 0 * far])])
        mesh = profile(line, 20.0, 10)
        free = mesh.areas * (1.0 - Probe(mesh).ball_share(10.0, 1.0))
        floor = (np.abs(mesh.normals[:, 2]) > 0.999) & (mesh.centroids[:, 0] > r)
        out[f"fillet {r:g}"] = float(free[floor].sum()) / 20.0
    return out


def wheel_slot() -> dict[str, float]:
    """Narrowest slot, 30 mm deep, on whose floor a wheel of 300 x 50 mm can be laid."""

    def lies(w: float) -> bool:
        half = 0.5 * w
        line = np.array(
            [[-100.0, 0.0], [-half, 0.0], [-half, -30.0], [-0.1, -30.0], [0.1, -30.0], [half, -30.0], [half, 0.0], [100.0, 0.0]]
        )
        mesh = profile(line, 400.0, 80)
        share = Probe(mesh).wheel_share(150.0, 50.0, 1.0)
        middle = (np.abs(mesh.centroids) < [0.1, 5.0, 31.0]).all(axis=1) & (mesh.normals[:, 2] > 0.9)
        return bool((share[middle] > 0.5).all())

    wide, narrow = 60.0, 40.0
    for _ in range(9):
        middle = 0.5 * (wide + narrow)
        wide, narrow = (middle, narrow) if lies(middle) else (wide, middle)
    return {"narrowest slot": 0.5 * (wide + narrow)}


def speeds() -> dict[str, float]:
    """Rim speeds in the units of their sources."""
    exact = feet_per_minute(rim_speed(4.0 * INCH, 800.0))
    return {
        "4 in at 800 rpm": exact,
        "wheel for 9700 ft/min at 2300 rpm": diameter_for(9700.0 * FOOT / 60.0, 2300.0) / INCH,
        "7500 ft/min": 7500.0 * FOOT / 60.0,
        "short cut D/4 over exact": 4.0 / 4.0 * 800.0 / exact,
    }


def decision() -> dict[str, float]:
    """Least mean that proves and most mean that disproves 20 µm with 10 % (ISO 14253-1); two readings of 19 and 21 with 10 %."""

    def word(um: float) -> str:
        return readings.judge([readings.Reading("a", "xrf", "nickel", um)], {"nickel": 20.0}, {"xrf": 0.1})[0].verdict

    pair = readings.judge([readings.Reading("a", "xrf", "nickel", um) for um in (19.0, 21.0)], {"nickel": 20.0}, {"xrf": 0.1})[0]
    return {
        "least that conforms": _edge_of(lambda um: word(um) == "conforms", 40.0, 20.0),
        "most that does not": _edge_of(lambda um: word(um) == "does not", 1.0, 20.0),
        "U of 19 and 21": pair.uncertainty,
    }


def book() -> dict[str, float]:
    """1000 Ah in each bath and 100 m2, 50 mL/m2."""
    from datetime import date

    chemistry = bath_log.Chemistry(Metal(58.6934, 2, 8.9), 0.95, Metal(51.9961, 6, 7.19), 0.15, 75.0, 250.0, 200.0, 1.0, 50.0)
    day = date(2026, 1, 1)
    lines = [bath_log.Entry(day, name, 1000.0, 100.0, 0.0, 0.0, 0.0) for name in ("nickel", "chromium")]
    nickel, _, acid = bath_log.balance(lines, chemistry)
    return {
        "anodes dissolved": bath_log.anode_kg(lines, chemistry.nickel),
        "nickel gained by the bath": -nickel.current,
        "nickel dragged out": nickel.drag_out,
        "chromic acid plated": acid.current,
        "chromic acid dragged out": acid.drag_out,
    }


def farthest() -> dict[str, float]:
    """Five places on a flat square of 100 mm: how far the surface is from a measured place, at most, over the best possible for its corners and middle."""
    n = 40
    g = np.linspace(-50.0, 50.0, n + 1)
    mesh = profile(np.column_stack([g, 0 * g]), 100.0, n)
    spots = plan(mesh, {"upper": np.ones(len(mesh.triangles), dtype=bool)}, [], 5)
    x = np.array([s.at for s in spots])
    far = np.linalg.norm(mesh.centroids[:, None] - x, axis=2).min(axis=1).max()
    return {"covering radius": float(far)}


def classes() -> dict[str, float]:
    """Rows of the table of classes, least nickel."""
    rows = [(5, "mc"), (4, "r"), (4, "mc"), (3, "r"), (3, "mc"), (2, "r"), (1, "r")]
    return {f"steel SC {sc} {cr}": look_up("steel", sc, cr).nickel_um for sc, cr in rows} | {
        "copper SC 2 r": look_up("copper", 2, "r").nickel_um
    }


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "ball-slot": ball_slot,
    "ball-corner": ball_corner,
    "wheel-slot": wheel_slot,
    "wheel-speed": speeds,
    "roughness-class": lambda: {f"class of {ra:g}": float(roughness_class(ra)[1:]) for ra in (0.025, 0.2, 0.8, 3.2, 50.0)},
    "decision-rule": decision,
    "bath-book": book,
    "thickness-plan": farthest,
    "service-class": classes,
}
