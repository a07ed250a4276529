"""What the tools carry: centre of load, tilting moment, work, and what the press has left at each stroke."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Resultant:
    """The load on one tool; leading axes as those of the forces given (frames).

    Attributes
    ----------
    force: (..., 3) [N]. centre: (..., 2) plan position of the vertical force [mm], nan without load.
    moment: (..., 2) about the x and y axes through ``about`` [N mm]. tilt: (...) size of that moment [N mm].
    """

    force: Floats
    centre: Floats
    moment: Floats
    tilt: Floats


def resultant(points: Floats, forces: Floats, about: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Resultant:
    """Sum of nodal forces ``(..., n, 3)`` [N] at ``points (..., n, 3)`` [mm].

    ``x_c = sum x F_z / sum F_z``; ``M_x = sum (y F_z - z F_y)``, ``M_y = sum (z F_x - x F_z)``, all from ``about`` (the middle of the slide, at the level where it guides).
    """
    p, f = np.asarray(points, dtype=np.float64) - np.asarray(about), np.asarray(forces, dtype=np.float64)
    total = f.sum(axis=-2)
    m = np.stack(
        [(p[..., 1] * f[..., 2] - p[..., 2] * f[..., 1]).sum(-1), (p[..., 2] * f[..., 0] - p[..., 0] * f[..., 2]).sum(-1)], axis=-1
    )
    lever = (p[..., :2] * f[..., 2:3]).sum(axis=-2)
    loaded = np.abs(total[..., 2]) > 1e-9 * np.maximum(np.abs(f[..., 2]).sum(axis=-1), 1e-300)
    safe = np.where(loaded, total[..., 2], 1.0)[..., None]
    centre = np.where(loaded[..., None], lever / safe + np.asarray(about[:2]), np.nan)
    return Resultant(total, centre, m, np.hypot(m[..., 0], m[..., 1]))


def work(stroke: Floats, force: Floats) -> float:
    """Work [J] of ``force (k,)`` [N] over ``stroke (k,)`` [mm], trapezoids; strokes that go back give work back. Raises :class:`InputError` for values that are not finite."""
    s, f = np.asarray(stroke, dtype=np.float64), np.asarray(force, dtype=np.float64)
    if s.shape != f.shape or s.ndim != 1 or not (np.isfinite(s).all() and np.isfinite(f).all()):
        raise InputError("the curve of force over stroke has gaps or uneven columns.", where="tryout press curve")
    return float(np.trapezoid(f, s)) / 1000.0


@dataclass(frozen=True)
class Reserve:
    """The tightest place of the press's force diagram.

    Attributes
    ----------
    share: largest share of the available force that is used (inf where the press gives none). stroke, height: there [mm from first touch, mm above bottom].
    need_kN, have_kN: there [kN]. from_stroke: stroke at which the need first passes what the press gives, None where it never does.
    """

    share: float
    stroke: float
    height: float
    need_kN: float
    have_kN: float
    from_stroke: float | None


def against_press(stroke: Floats, height: Floats, need_kN: Floats, capacity_height: Floats, capacity_kN: Floats) -> Reserve:
    """The force on the slide against what the press gives.

    ``stroke``, ``height`` above bottom [mm] and ``need_kN`` are columns of the press curve (the blankholder's force already added where the slide pushes the cushion);
    ``capacity_height`` and ``capacity_kN`` are columns of the press stage's ``force_stroke``, in any order. Heights outside that table take
    its end values. Raises :class:`InputError` for empty or uneven columns.
    """
    s, h, f = (np.asarray(a, dtype=np.float64) for a in (stroke, height, need_kN))
    x, y = np.asarray(capacity_height, dtype=np.float64), np.asarray(capacity_kN, dtype=np.float64)
    if not (s.shape == h.shape == f.shape) or s.ndim != 1 or len(s) == 0 or x.shape != y.shape or len(x) < 2:
        raise InputError("the press curve and the press's force diagram need columns of one length each.", where="tryout press curve")
    if not all(np.isfinite(a).all() for a in (s, h, f, x, y)):
        raise InputError("the press curve or the press's force diagram has a value that is not finite.", where="tryout press curve")
    order = np.argsort(x, kind="stable")
    have = np.interp(h, x[order], y[order])
    share = np.divide(f, have, out=np.where(f > 0, np.inf, 0.0), where=have > 0)
    i = int(np.argmax(share))
    over = np.flatnonzero(share > 1.0)
    return Reserve(
        float(share[i]), float(s[i]), float(h[i]), float(f[i]), float(have[i]), _crossing(s, f - have, int(over[0])) if len(over) else None
    )


def _crossing(stroke: Floats, lack: Floats, first: int) -> float:
    """Stroke at which ``lack`` passes zero before row ``first``, straight between rows."""
    if first == 0:
        return float(stroke[0])
    a, b = lack[first - 1], lack[first]
    return float(stroke[first - 1] + (stroke[first] - stroke[first - 1]) * (-a / (b - a)))
