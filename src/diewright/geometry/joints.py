"""Make neighbouring fitted lines and circles touch: tangent where the outline is smooth, crossing at corners."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.fitting import FitCircle, FitLine

Floats = NDArray[np.float64]
Fitted = FitLine | FitCircle


def tangent(fits: Sequence[Fitted], points: Sequence[Floats], joints: Sequence[tuple[int, int]], rounds: int = 30) -> list[Fitted]:
    """Least-squares change of the fits so that every pair in ``joints`` touches with a common tangent.

    Minimises the squared distances of ``points[i]`` from ``fits[i]`` under ``n . C - c = s r`` (line and circle) and
    ``(C1 - C2)^2 = (r1 -+ r2)^2`` (circles turning the same or opposite way), by Gauss-Newton with multipliers.
    """
    middle = np.concatenate(list(points)).mean(axis=0)
    size = float(np.abs(np.concatenate(list(points)) - middle).max())
    shifted = [(q - middle) / size for q in points]
    x = np.concatenate([_pack(f, middle, size) for f in fits])
    turns = [f.turn if isinstance(f, FitCircle) else 0.0 for f in fits]
    for _ in range(rounds):
        residual, jacobian = _distances(x, turns, shifted)
        gap, slope = _gaps(x, turns, joints)
        k, n = len(gap), len(x)
        system = np.zeros((n + k, n + k))
        system[:n, :n] = jacobian.T @ jacobian + 1e-9 * np.eye(n)
        system[:n, n:], system[n:, :n] = slope.T, slope
        step = np.linalg.lstsq(system, np.concatenate([-jacobian.T @ residual, -gap]), rcond=1e-13)[0][:n]
        x = x + step
        if not np.isfinite(x).all():
            return list(fits)
        if np.abs(step).max() < 1e-14:
            break
    return [_unpack(x[3 * i : 3 * i + 3], turns[i], middle, size, f) for i, f in enumerate(fits)]


def _pack(f: Fitted, middle: Floats, size: float) -> Floats:
    if isinstance(f, FitLine):
        return np.array([np.arctan2(f.normal[1], f.normal[0]), (f.offset - f.normal @ middle) / size, 0.0])
    return np.array([*((f.centre - middle) / size), f.radius / size])


def _unpack(v: Floats, turn: float, middle: Floats, size: float, was: Fitted) -> Fitted:
    if turn == 0.0:
        normal = np.array([np.cos(v[0]), np.sin(v[0])])
        assert isinstance(was, FitLine)
        return FitLine(normal, float(v[1] * size + normal @ middle), np.array([-normal[1], normal[0]]))
    return FitCircle(v[:2] * size + middle, float(v[2] * size), turn)


def _distances(x: Floats, turns: list[float], points: Sequence[Floats]) -> tuple[Floats, Floats]:
    rows, slopes = [], []
    for i, (turn, q) in enumerate(zip(turns, points, strict=True)):
        v = x[3 * i : 3 * i + 3]
        j = np.zeros((len(q), len(x)))
        if turn == 0.0:
            normal, along = np.array([np.cos(v[0]), np.sin(v[0])]), np.array([-np.sin(v[0]), np.cos(v[0])])
            rows.append(q @ normal - v[1])
            j[:, 3 * i], j[:, 3 * i + 1] = q @ along, -1.0
        else:
            d = q - v[:2]
            length = np.hypot(d[:, 0], d[:, 1])
            rows.append(length - v[2])
            j[:, 3 * i : 3 * i + 2], j[:, 3 * i + 2] = -d / length[:, None], -1.0
        slopes.append(j)
    return np.concatenate(rows), np.concatenate(slopes)


def _gaps(x: Floats, turns: list[float], joints: Sequence[tuple[int, int]]) -> tuple[Floats, Floats]:
    gap = np.zeros(len(joints))
    slope = np.zeros((len(joints), len(x)))
    for row, (i, j) in enumerate(joints):
        if turns[i] != 0.0 and turns[j] == 0.0:
            i, j = j, i
        v, w = x[3 * i : 3 * i + 3], x[3 * j : 3 * j + 3]
        if turns[i] == 0.0:
            # The outline keeps its material on the left: a left-turning circle lies on the inner side of the line.
            normal, along = np.array([np.cos(v[0]), np.sin(v[0])]), np.array([-np.sin(v[0]), np.cos(v[0])])
            gap[row] = normal @ w[:2] - v[1] + turns[j] * w[2]
            slope[row, 3 * i : 3 * i + 2] = [float(along @ w[:2]), -1.0]
            slope[row, 3 * j : 3 * j + 3] = [float(normal[0]), float(normal[1]), turns[j]]
        else:
            same = turns[i] == turns[j]
            d, r = v[:2] - w[:2], v[2] - w[2] if same else v[2] + w[2]
            gap[row] = d @ d - r * r
            slope[row, 3 * i : 3 * i + 3] = [2 * d[0], 2 * d[1], -2 * r]
            slope[row, 3 * j : 3 * j + 3] = [-2 * d[0], -2 * d[1], 2 * r if same else -2 * r]
    return gap, slope


def touch(a: Fitted, b: Fitted, near: Floats) -> Floats | None:
    """The common point of two tangent fits."""
    if isinstance(a, FitLine) and isinstance(b, FitCircle):
        return a.foot(b.centre)
    if isinstance(a, FitCircle) and isinstance(b, FitLine):
        return b.foot(a.centre)
    if isinstance(a, FitCircle) and isinstance(b, FitCircle):
        along = b.centre - a.centre
        length = float(np.hypot(*along))
        if length < 1e-12:
            return None
        ends = a.centre + np.array([[a.radius], [-a.radius]]) * (along / length)
        return ends[int(np.argmin(np.hypot(*(ends - near).T)))]
    return None


def cross(a: Fitted, b: Fitted, near: Floats) -> Floats | None:
    """The crossing of two fits nearest to ``near``; None if they do not cross."""
    if isinstance(a, FitLine) and isinstance(b, FitLine):
        matrix = np.stack([a.normal, b.normal])
        if abs(np.linalg.det(matrix)) < 1e-9:
            return None
        return np.linalg.solve(matrix, np.array([a.offset, b.offset]))
    if isinstance(a, FitLine):
        a, b = b, a
    assert isinstance(a, FitCircle)
    if isinstance(b, FitLine):
        away = float(b.distance(a.centre))
        if abs(away) > a.radius:
            return None
        foot, half, along = a.centre - away * b.normal, np.sqrt(a.radius**2 - away**2), b.direction
    else:
        d = b.centre - a.centre
        length = float(np.hypot(*d))
        if length < 1e-12:
            return None
        t = (length**2 + a.radius**2 - b.radius**2) / (2 * length)
        if abs(t) > a.radius:
            return None
        along = np.array([-d[1], d[0]]) / length
        foot, half = a.centre + t * d / length, np.sqrt(a.radius**2 - t**2)
    ends = np.stack([foot + half * along, foot - half * along])
    return ends[int(np.argmin(np.hypot(*(ends - near).T)))]
