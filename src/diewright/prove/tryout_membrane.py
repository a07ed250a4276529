"""An axisymmetric membrane, independent of the tryout: bulge under pressure, sheet pressed by a sphere, dome drawn from under a holder.

Two-node rings with the principal stretches ``l1`` along and ``l2 = r/R`` round the meridian, plane stress, Mises flow with isotropic hardening,
no bending. Balance by dynamic relaxation: fictitious masses that make one step stable, damping, a ramp so slow that motion is nothing, and a
hold at the end whose rest is returned. Lengths mm, stresses MPa.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BULGE, PUNCH = 0, 1


@dataclass(frozen=True)
class Membrane:
    """What is computed.

    Attributes
    ----------
    radii: of the nodes at rest, from 0 to the edge. law: ``K, e0, n`` (Swift) or ``s_inf, drop, c, h`` of ``s_inf - drop exp(-c p) + h p``.
    punch: sphere radius. die: (radius at which its profile starts to fall, profile radius), 0 for none. friction: of punch, of die and holder.
    gap: of a holder above a free flange; 0: the edge is clamped.
    """

    radii: Floats
    thickness: float
    young: float
    poisson: float
    law: tuple[float, ...]
    punch: float = 0.0
    die: tuple[float, float] = (0.0, 0.0)
    friction: tuple[float, float] = (0.0, 0.0)
    gap: float = 0.0


@dataclass(frozen=True)
class Answer:
    """Places, thickness shares of the rings, punch force [N] at the end and over the way, and the largest force out of balance over the meridian's."""

    r: Floats
    z: Floats
    share: Floats
    force: float
    rest: float


@njit(cache=True)
def _flow(p: float, law: Floats) -> float:
    if len(law) == 3:
        return law[0] * (law[1] + p) ** law[2]
    return law[0] - law[1] * math.exp(-law[2] * p) + law[3] * p


@njit(cache=True)
def _return(s: float, d: float, ks: float, kd: float, ep: float, law: Floats) -> float:
    """Plastic multiplier over flow stress by bracketing; ``Mises^2 = s^2/4 + 3 d^2/4`` of sum and difference, which uncouple."""
    size = math.sqrt(0.25 * s * s + 0.75 * d * d)
    if size <= _flow(ep, law):
        return 0.0
    low, high = 0.0, size / (_flow(ep, law) * min(ks, kd))
    at_low, at_high = size - _flow(ep, law), 0.0
    for k in range(60):  # regula falsi, with the kept end halved
        g = high if k == 0 else low + (high - low) * at_low / (at_low - at_high)
        a, b = s / (1.0 + g * ks), d / (1.0 + g * kd)
        size = math.sqrt(0.25 * a * a + 0.75 * b * b)
        over = size - _flow(ep + g * size, law)
        if k == 0:
            at_high = over
        elif over > 0.0:
            low, at_low, at_high = g, over, 0.5 * at_high
        else:
            high, at_high, at_low = g, over, 0.5 * at_low
        if abs(over) < 1e-9 * size:
            break
    return g


@njit(cache=True)
def _relax(
    R: Floats, t: float, young: float, nu: float, law: Floats, kind: int, target: float, punch: float, die_at: float, die_r: float,
    mu_punch: float, mu_die: float, gap: float, steps: int, hold: int, damping: float,
) -> tuple[Floats, Floats, Floats, float, float]:  # fmt: skip
    n = len(R)
    r, z, vr, vz = R.copy(), np.zeros(n), np.zeros(n), np.zeros(n)
    pl, ep, thick = np.zeros((n - 1, 2)), np.zeros(n - 1), np.ones(n - 1)
    k0, ks, kd = young / (1.0 - nu * nu), 0.5 * young / (1.0 - nu), 1.5 * young / (1.0 + nu)
    mass, area = np.zeros(n), np.zeros(n)
    for e in range(n - 1):
        length, middle = R[e + 1] - R[e], 0.5 * (R[e] + R[e + 1])
        volume = 2.0 * math.pi * middle * length * t
        k = 1.6 * k0 * volume * (1.0 / length**2 + 0.25 / middle**2)
        for i in (e, e + 1):
            mass[i] += k
            area[i] += 0.5 * math.pi * (R[e + 1] ** 2 - R[e] ** 2)
    fr, fz = np.zeros(n), np.zeros(n)
    force, rest, size = 0.0, 0.0, 1.0
    felt = np.zeros(2)
    for step in range(steps + hold):
        share = min(1.0, (step + 1) / steps)
        level = target * share
        fr[:], fz[:] = 0.0, 0.0
        size = 0.0
        for e in range(n - 1):
            length, middle = R[e + 1] - R[e], 0.5 * (R[e] + R[e + 1])
            dr, dz = r[e + 1] - r[e], z[e + 1] - z[e]
            long2 = dr * dr + dz * dz
            e1, e2 = math.log(math.sqrt(long2) / length), math.log((r[e] + r[e + 1]) / (2.0 * middle))
            x, y = e1 - pl[e, 0], e2 - pl[e, 1]
            t1, t2 = k0 * (x + nu * y), k0 * (y + nu * x)
            g = _return(t1 + t2, t1 - t2, ks, kd, ep[e], law)
            s, d = (t1 + t2) / (1.0 + g * ks), (t1 - t2) / (1.0 + g * kd)
            s1, s2 = 0.5 * (s + d), 0.5 * (s - d)
            if g > 0.0:
                pl[e, 0] += g * (s1 - 0.5 * s2)
                pl[e, 1] += g * (s2 - 0.5 * s1)
                ep[e] += g * math.sqrt(0.25 * s * s + 0.75 * d * d)
            thick[e] = math.exp(-pl[e, 0] - pl[e, 1] - nu / young * s)
            volume = 2.0 * math.pi * middle * length * t
            a, b = volume * s1 / long2, volume * s2 / (r[e] + r[e + 1])
            size = max(size, volume * abs(s1) / math.sqrt(long2))
            fr[e] += a * dr - b
            fr[e + 1] -= a * dr + b
            fz[e] += a * dz
            fz[e + 1] -= a * dz
            if kind == BULGE:
                rm = 0.5 * (r[e] + r[e + 1])
                for i in (e, e + 1):
                    fr[i] -= math.pi * level * rm * dz
                    fz[i] += math.pi * level * rm * dr
        force = 0.0
        for i in range(n):
            h = 0.5 * t * (thick[i - 1] if i == n - 1 else thick[i] if i == 0 else 0.5 * (thick[i - 1] + thick[i]))
            for tool in range(3):
                if kind == BULGE or (tool == 1 and die_r <= 0.0) or (tool == 2 and gap <= 0.0):
                    continue
                felt[:] = 0.0, 1.0
                mu, wz = mu_die, 0.0
                if tool == 0:  # a sphere from above
                    zc = 0.5 * t - level + punch
                    far = math.sqrt(r[i] ** 2 + (z[i] - zc) ** 2)
                    depth = punch + h - far
                    felt[:] = r[i] / far, (z[i] - zc) / far
                    mu, wz = mu_punch, -target / steps if step < steps else 0.0
                elif tool == 1:  # a flat, then a radius that falls inwards
                    if r[i] >= die_at:
                        depth = h - (z[i] + 0.5 * t)
                    else:
                        far = math.sqrt((r[i] - die_at) ** 2 + (z[i] + 0.5 * t + die_r) ** 2)
                        depth = die_r + h - far
                        felt[:] = (r[i] - die_at) / far, (z[i] + 0.5 * t + die_r) / far
                        if z[i] + 0.5 * t + die_r < 0.0:
                            depth = h - (r[i] - (die_at - die_r)) * -1.0
                            felt[:] = -1.0, 0.0
                else:
                    depth = h + z[i] - (0.5 * t + gap) if r[i] >= die_at else -1.0
                    felt[1] = -1.0
                if depth <= 0.0:
                    continue
                push = 0.1 * mass[i] * depth
                tr, tz = felt[1], -felt[0]
                slide = vr[i] * tr + (vz[i] - wz) * tz
                drag = min(mu * push, 0.5 * mass[i] * abs(slide))
                drag = -drag if slide > 0.0 else drag
                fr[i] += push * felt[0] + drag * tr
                fz[i] += push * felt[1] + drag * tz
                if tool == 0:
                    force -= push * felt[1] + drag * tz
        rest = 0.0
        for i in range(n):
            free = i < n - 1 or gap > 0.0
            if i > 0 and free:
                rest = max(rest, abs(fr[i]))
                vr[i] = (vr[i] * (1.0 - 0.5 * damping) + fr[i] / mass[i]) / (1.0 + 0.5 * damping)
                r[i] += vr[i]
            if free:
                rest = max(rest, abs(fz[i]))
                vz[i] = (vz[i] * (1.0 - 0.5 * damping) + fz[i] / mass[i]) / (1.0 + 0.5 * damping)
                z[i] += vz[i]
    return r, z, thick, force, rest / size


def solve(m: Membrane, *, pressure: float = 0.0, way: float = 0.0, steps: int = 60_000) -> Answer:
    """Bring up a pressure [MPa], or the punch by ``way`` [mm] beyond touching the flat sheet."""
    kind = BULGE if m.punch == 0.0 else PUNCH
    r, z, share, force, rest = _relax(
        np.asarray(m.radii, dtype=np.float64), m.thickness, m.young, m.poisson, np.asarray(m.law), kind, pressure if kind == BULGE else way, m.punch,
        m.die[0], m.die[1], m.friction[0], m.friction[1], m.gap, steps, steps // 5, 0.08 / len(m.radii),
    )  # fmt: skip
    return Answer(r, z, share, float(force), float(rest))
