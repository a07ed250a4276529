"""Cut lines against closed forms: angles and lengths on slopes and domes, the narrowest cone, round trips to the flat, and an outline whose rim is level."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.develop.core import Formed, develop
from diewright.geometry.mesh import TriMesh
from diewright.trim.lines.angle import DOWN, lean_deg, middle_axis, pieces
from diewright.trim.lines.mapping import spots, to_flat, to_part
from diewright.trim.lines.project import axes, lay
from diewright.trim.lines.sheet import corner_normals
from diewright.trim.lines.stated import dense

Floats = NDArray[np.float64]


def _disc(radius: float, rings: int) -> TriMesh:
    """A flat disc of rings with 6 k points each."""
    points, start = [np.zeros((1, 2))], [0]
    for k in range(1, rings + 1):
        at = 2.0 * np.pi * np.arange(6 * k) / (6 * k)
        start.append(sum(len(p) for p in points))
        points.append(radius * k / rings * np.column_stack([np.cos(at), np.sin(at)]))
    cells = []
    for k in range(1, rings + 1):
        inner, outer = start[k - 1], start[k]
        n, m = max(6 * (k - 1), 1), 6 * k
        for side in range(6):
            for j in range(k):
                o = side * k + j
                i = side * (k - 1) + j
                cells.append([inner + i % n, outer + o, outer + (o + 1) % m])
                if j < k - 1:
                    cells.append([inner + i % n, outer + (o + 1) % m, inner + (i + 1) % n])
    xy = np.vstack(points)
    return TriMesh(np.column_stack([xy, np.zeros(len(xy))]), np.array(cells, dtype=np.int32))


def _dome(flat: Floats, radius: float) -> Floats:
    """Lambert's equal-area map of a flat disc on a sphere: ``rho = 2 R sin(phi / 2)``; the pole at z = 0, the bowl open upwards."""
    rho = np.hypot(*flat.T[:2])
    phi = 2.0 * np.arcsin(np.clip(rho / (2.0 * radius), 0.0, 1.0))
    unit = flat[:, :2] / np.maximum(rho, 1e-300)[:, None]
    return np.column_stack([radius * np.sin(phi)[:, None] * unit, radius * (1.0 - np.cos(phi))])


def _grid(x: Floats, y: Floats) -> TriMesh:
    u, v = np.meshgrid(x, y, indexing="ij")
    n = np.arange(u.size).reshape(u.shape)
    a, b, c, d = (k.ravel() for k in (n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]))
    cells = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return TriMesh(np.column_stack([u.ravel(), v.ravel(), np.zeros(u.size)]), cells.astype(np.int32))


def slope() -> dict[str, float]:
    """A round hole of 20 mm pierced straight down in a plate that leans by 20 deg."""
    flat = _grid(np.linspace(-50, 50, 21), np.linspace(-40, 40, 17))
    c, s = math.cos(math.radians(20.0)), math.sin(math.radians(20.0))
    p = flat.points
    plate = TriMesh(np.column_stack([c * p[:, 0], p[:, 1], s * p[:, 0]]), flat.triangles)
    at = 2.0 * np.pi * np.arange(720) / 720
    line = lay(plate, 10.0 * np.column_stack([np.cos(at), np.sin(at)]), axes(DOWN)).points
    normals = spots(plate, line).of_points(plate.triangles, corner_normals(plate))
    return {"length": float(np.linalg.norm(line - np.roll(line, 1, axis=0), axis=1).sum()), "lean": float(lean_deg(normals, DOWN).max())}


def dome() -> dict[str, float]:
    """A round hole of 50 mm pierced straight down over the pole of a sphere of 50 mm: lean 30 deg; and the round trip of a line off its middle through meshes finer by 2."""
    out: dict[str, float] = {}
    errors = []
    for rings in (12, 24, 48):
        flat = _disc(45.0, rings)
        formed = TriMesh(_dome(flat.points, 50.0), flat.triangles)
        at = 2.0 * np.pi * np.arange(400) / 400
        line = np.array([6.0, -4.0]) + 28.0 * np.column_stack([np.cos(at), np.sin(at)])
        back = to_flat(formed, flat, _dome(line, 50.0), 2.0)
        errors.append(float(np.linalg.norm(back - line, axis=1).max()))
        out[f"round trip, edge {45.0 / rings:g} mm"] = errors[-1]
    out["order"] = math.log2(errors[1] / errors[2])
    hole = 25.0 * np.column_stack([np.cos(at), np.sin(at)])
    points = lay(formed, hole, axes(DOWN)).points
    normals = spots(formed, points).of_points(formed.triangles, corner_normals(formed))
    out["lean"] = float(lean_deg(normals, DOWN).max())
    out["length"] = float(np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1).sum())
    return out


def bent() -> dict[str, float]:
    """Flat -> part by the closed form, part -> flat by the mapping: a channel bent by 90 deg over 8 mm, and a cylinder of 40 mm; and flat -> part -> flat by the mapping alone."""
    out: dict[str, float] = {}
    for name, angle, radius, half in (("channel", math.radians(90.0), 8.0, 25.0), ("cylinder", math.radians(150.0), 40.0, 0.0)):
        edge = half + radius * angle + 20.0
        bends = np.linspace(half, half + radius * angle, math.ceil(math.degrees(angle) / 4.0) + 1)
        right = np.unique(np.concatenate([np.linspace(0.0, half, 9), bends, np.linspace(bends[-1], edge, 8)]))
        flat = _grid(np.concatenate([-right[:0:-1], right]), np.linspace(-40.0, 40.0, 28))

        def shape(p: Floats, angle: float = angle, radius: float = radius, half: float = half) -> Floats:
            a = np.abs(p[:, 0])
            t = np.clip((a - half) / radius, 0.0, angle)
            rest = np.maximum(a - half - radius * angle, 0.0)
            x = np.minimum(a, half) + radius * np.sin(t) + rest * math.cos(angle)
            return np.column_stack([np.sign(p[:, 0]) * x, p[:, 1], radius * (1.0 - np.cos(t)) + rest * math.sin(angle)])

        formed = TriMesh(shape(flat.points), flat.triangles)
        at = 2.0 * np.pi * np.arange(600) / 600
        line = np.column_stack([0.9 * edge * np.cos(at), 30.0 * np.sin(at)])
        out[name] = float(np.linalg.norm(to_flat(formed, flat, shape(line), 0.5) - line, axis=1).max())
        out[f"{name}, there and back"] = float(np.linalg.norm(to_flat(formed, flat, to_part(formed, flat, line), 0.5) - line, axis=1).max())
    return out


def cams() -> dict[str, float]:
    """A line round a cone of 35 deg about a leaning axis, and an upright wall all round at 30 deg a cam."""
    at = 2.0 * np.pi * np.arange(360) / 360
    cone = np.column_stack(
        [np.sin(math.radians(35)) * np.cos(at), np.sin(math.radians(35)) * np.sin(at), np.full(360, math.cos(math.radians(35)))]
    )
    a = math.radians(50.0)
    turn = np.array([[math.cos(a), 0, math.sin(a)], [0, 1, 0], [-math.sin(a), 0, math.cos(a)]])
    found = middle_axis(cone @ turn.T)
    wall = np.column_stack([np.cos(at), np.sin(at), np.zeros(360)])
    return {
        "lean": math.nan if found is None else found.worst,
        "axis": math.nan if found is None else math.degrees(math.acos(min(float(found.direction @ turn[:, 2]), 1.0))),
        "cams": float(len(pieces(wall, 30.5, np.zeros(3)))),
    }  # fmt: skip


R, H, EARS = 30.0, 24.0, 0.08


def _rate(at: Floats, size: float) -> Floats:
    return np.asarray((1.0 + EARS * np.cos(4.0 * at)) * (1.0 + 0.5 * (size - 49.0) / 49.0))


def level_rim() -> dict[str, float]:
    """A cup whose wall height over the blank's radius has a closed form with four ears and depends on the blank's size: radius of the developed blank on and between the ears, earing before and after."""

    def form(outline: Floats) -> Formed:
        disc = _disc(1.0, 28)
        unit, way = np.hypot(*disc.points.T[:2]), np.arctan2(disc.points[:, 1], disc.points[:, 0])
        angle = np.arctan2(outline[:, 1], outline[:, 0])
        order = np.argsort(angle)
        edge = np.interp(way, angle[order], np.hypot(*outline[order].T), period=2.0 * np.pi)
        size = float(np.interp(np.linspace(-np.pi, np.pi, 361)[:-1], angle[order], np.hypot(*outline[order].T), period=2.0 * np.pi).mean())
        k = 17.0 / 28.0  # rings on the bottom
        r = np.where(unit <= k, R * unit / k, R + (edge - R) * (unit - k) / (1.0 - k))
        up = np.maximum(r**2 - R**2, 0.0) / (2.0 * R) * _rate(way, size)
        c, s = np.cos(way), np.sin(way)
        flat = TriMesh(np.column_stack([r * c, r * s, 0.0 * r]), disc.triangles)
        drawn = TriMesh(np.column_stack([np.minimum(r, R) * c, np.minimum(r, R) * s, up]), disc.triangles)
        return Formed(flat, drawn, np.arange(len(r) - 6 * 28, len(r)))

    at = 2.0 * np.pi * np.arange(240) / 240
    wanted = np.column_stack([R * np.cos(at), R * np.sin(at), np.full(240, H)])
    got = develop(form, 49.0 * np.column_stack([np.cos(at), np.sin(at)]), wanted, tolerance=0.1, runs=8)

    def ears(k: int) -> float:
        r = got.rounds[k]
        z = r.formed.drawn.points[r.formed.ring, 2]
        return 100.0 * float(np.ptp(z) / z.mean())

    line = dense(got.chosen.outline, 0.5)
    angle, radius = np.arctan2(line[:, 1], line[:, 0]), np.hypot(*line.T)
    order = np.argsort(angle)
    on, between = np.interp([0.0, math.pi / 4], angle[order], radius[order], period=2.0 * np.pi)
    return {"radius on the ears": float(on), "radius between": float(between), "ears before": ears(0), "ears after": ears(got.best)}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "trim-slope": slope, "trim-dome": dome, "trim-bent": bent, "trim-cams": cams, "trim-level-rim": level_rim,
}  # fmt: skip
