"""Least-squares fits of one line, circle or spline to a row of points ``(n, 2) [mm]``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.interpolate import BSpline, CubicSpline, PPoly
from scipy.sparse.linalg import spsolve

from diewright.geometry.pieces import Spline

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FitLine:
    """The infinite line ``normal . x = offset``; ``direction`` runs with the points."""

    normal: Floats
    offset: float
    direction: Floats

    def distance(self, p: Floats) -> Floats:
        """Signed distances [mm]."""
        return p @ self.normal - self.offset

    def foot(self, p: Floats) -> Floats:
        """Nearest point on the line."""
        return p - (p @ self.normal - self.offset) * self.normal


@dataclass(frozen=True, eq=False)
class FitCircle:
    """A circle run through counter-clockwise (``turn`` +1) or clockwise (-1)."""

    centre: Floats
    radius: float
    turn: float

    def distance(self, p: Floats) -> Floats:
        """Signed distances from the circle [mm], positive outside."""
        d = p - self.centre
        return np.hypot(d[..., 0], d[..., 1]) - self.radius

    def foot(self, p: Floats) -> Floats:
        """Nearest point on the circle."""
        d = p - self.centre
        return self.centre + self.radius * d / np.hypot(d[0], d[1])


def fit_line(p: Floats) -> FitLine:
    """Orthogonal least-squares line."""
    middle = p.mean(axis=0)
    _, _, axes = np.linalg.svd(p - middle, full_matrices=False)
    direction = axes[0] if axes[0] @ (p[-1] - p[0]) >= 0 else -axes[0]
    normal = np.array([direction[1], -direction[0]])
    return FitLine(normal, float(normal @ middle), direction)


def fit_circle(p: Floats, rounds: int = 8) -> FitCircle | None:
    """Geometric least-squares circle (algebraic start, Gauss-Newton); None where the points are straight."""
    middle = p.mean(axis=0)
    q = p - middle
    scale = float(np.abs(q).max())
    if scale == 0.0:
        return None
    q = q / scale
    system = np.column_stack([2.0 * q, np.ones(len(q))])
    solution, _, rank, _ = np.linalg.lstsq(system, (q**2).sum(axis=1), rcond=1e-12)
    if rank < 3:
        return None
    centre, r2 = solution[:2], solution[2] + solution[:2] @ solution[:2]
    if not r2 > 0:
        return None
    radius = float(np.sqrt(r2))
    for _ in range(rounds):
        d = q - centre
        length = np.hypot(d[:, 0], d[:, 1])
        if length.min() < 1e-12 or not np.isfinite(length).all():
            return None
        jacobian = np.column_stack([-d / length[:, None], -np.ones(len(q))])
        step = np.linalg.lstsq(jacobian, radius - length, rcond=None)[0]
        centre, radius = centre + step[:2], radius + step[2]
        if np.abs(step).max() < 1e-13 * max(radius, 1.0):
            break
    if not (np.isfinite(radius) and 0 < radius < 1e4):
        return None
    d = q - centre
    winding = d[:-1, 0] * d[1:, 1] - d[:-1, 1] * d[1:, 0]
    return FitCircle(middle + scale * centre, scale * radius, 1.0 if winding.sum() >= 0 else -1.0)


def fit_spline(p: Floats, tolerance: float, start_tangent: Floats | None = None, end_tangent: Floats | None = None) -> Spline:
    """Cubic spline through the first and last point, within ``tolerance`` [mm] of the others, with stated end tangents.

    Chord-length parameters, uniform spans whose number grows until the points are met, a weak penalty on third differences of
    the control points against ripples. If no such spline meets the tolerance, the points are interpolated.
    """
    chord = np.hypot(*np.diff(p, axis=0).T)
    u = np.concatenate([[0.0], np.cumsum(chord)]) / chord.sum()
    u[-1] = 1.0
    most = max(len(p) + 1, 2)
    spans = 1
    while spans <= most:
        found = _clamped(p, u, spans, chord.sum(), start_tangent, end_tangent)
        if found is not None and np.hypot(*(found.curve(u) - p).T).max() <= tolerance:
            return found
        spans = max(spans + 1, int(spans * 1.4))
    return _interpolated(p, u, start_tangent, end_tangent)


def _clamped(p: Floats, u: Floats, spans: int, length: float, t0: Floats | None, t1: Floats | None) -> Spline | None:
    knots = np.concatenate([[0.0] * 3, np.linspace(0.0, 1.0, spans + 1), [1.0] * 3])
    k = spans + 3
    basis = BSpline.design_matrix(np.clip(u, 0.0, 1.0), knots, 3).tocsr()
    # The unknown vector holds x, then y, of the free control points, then the lengths of the tangent handles.
    fixed = np.zeros((k, 2))
    fixed[0], fixed[-1] = p[0], p[-1]
    free = np.arange(1 if t0 is None else 2, k - 1 if t1 is None else k - 2)
    m = len(free)
    handles_of = [(1, t0, p[0], 1.0)] if t0 is not None else []
    handles_of += [(k - 2, t1, p[-1], -1.0)] if t1 is not None else []
    rows, columns, values = [free, k + free], [np.arange(m), m + np.arange(m)], [np.ones(m), np.ones(m)]
    for i, (at, tangent, end, sign) in enumerate(handles_of):
        fixed[at] = end
        rows.append(np.array([at, k + at]))
        columns.append(np.array([2 * m + i, 2 * m + i]))
        values.append(sign * np.asarray(tangent))
    shape = (2 * k, 2 * m + len(handles_of))
    expand = sparse.csr_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape)
    third = sparse.diags_array([-1.0, 3.0, -3.0, 1.0], offsets=[0, 1, 2, 3], shape=(k - 3, k)) * 1e-2
    one = sparse.vstack([basis, third])
    big = sparse.block_diag([one, one], format="csr")
    zeros = np.zeros(k - 3)
    target = np.concatenate([p[:, 0], zeros, p[:, 1], zeros]) - big @ fixed.T.ravel()
    system = (big @ expand).tocsc()
    solution = _least_squares(system, target)
    reach = length / spans / 3.0
    handles = solution[2 * m :]
    if (handles < 0.05 * reach).any() or (handles > 20.0 * reach).any():
        # A handle that runs backwards or away makes a loop: hold it at a natural length and solve the rest.
        handles = np.clip(handles, 0.3 * reach, 3.0 * reach)
        solution = np.concatenate([_least_squares(system[:, : 2 * m], target - system[:, 2 * m :] @ handles), handles])
    control = fixed + (expand @ solution).reshape(2, k).T
    return Spline(knots, control) if np.isfinite(control).all() else None


def _least_squares(a: sparse.csc_matrix, b: Floats) -> Floats:
    if a.shape[1] == 0:
        return np.zeros(0)
    normal = (a.T @ a + 1e-12 * sparse.eye_array(a.shape[1])).tocsc()
    return np.asarray(spsolve(normal, a.T @ b)).reshape(-1)


def _interpolated(p: Floats, u: Floats, t0: Floats | None, t1: Floats | None) -> Spline:
    length = float(np.hypot(*np.diff(p, axis=0).T).sum())
    ends: list[tuple[int, Floats]] = []
    for tangent in (t0, t1):
        ends.append((2, np.zeros(2)) if tangent is None else (1, tangent * length))
    curve = CubicSpline(u, p, axis=0, bc_type=(ends[0], ends[1]))
    return _as_spline(curve)


def _as_spline(curve: PPoly) -> Spline:
    """A piecewise cubic as a B-spline with simple knots, exact because it is twice continuous."""
    x = curve.x
    knots = np.concatenate([[x[0]] * 3, x, [x[-1]] * 3])
    sites = np.array([knots[i + 1 : i + 4].mean() for i in range(len(knots) - 4)])
    matrix = BSpline.design_matrix(np.clip(sites, x[0], x[-1]), knots, 3).tocsc()
    control = np.asarray(spsolve(matrix, curve(sites)))
    control[0], control[-1] = curve(x[0]), curve(x[-1])
    return Spline(knots, control)
