"""An independent check: the same mechanics for a body of revolution as an ordinary differential equation.

Meridian of the part ``r(s), z(s)`` by arc length; unknown flat radius ``rho(s)``. With ``e_s = -ln rho'``, ``e_t = ln(r / rho)``, thickness
``t = t0 exp(-e_s - e_t)`` and the stresses of deformation theory with normal anisotropy ``R``::

    s_s = (1 + R)/(1 + 2R) k ((1 + R) e_s + R e_t),  s_t the same with s and t exchanged,  k = sigma(eps)/eps
    eps^2 = (1 + R)^2/(1 + 2R) (e_s^2 + e_t^2 + 2R/(1 + R) e_s e_t)

equilibrium along a frictionless meridian is ``d(r N_s)/ds = N_t dr/ds``, ``N = sigma t``. Shooting from the axis on the strain there. Nothing
of the package is used.
"""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq


class Revolved:
    def __init__(self, pieces, t0, hardening, modulus, r_value, bead=0.0):
        """``pieces``: (length, slope angle at start, curvature) of the meridian from the axis outwards."""
        self.pieces, self.t0, self.R, self.bead = pieces, t0, r_value, bead
        strain, stress = hardening
        self.total, self.sigma = np.r_[0.0, strain + stress / modulus], np.r_[0.0, stress]

    def resultants(self, es, et):
        R = self.R
        eps = max(np.sqrt((1 + R) ** 2 / (1 + 2 * R) * (es**2 + et**2 + 2 * R / (1 + R) * es * et)), 1e-14)
        k = np.interp(eps, self.total, self.sigma) / eps if eps > self.total[1] else self.sigma[1] / self.total[1]
        c = (1 + R) / (1 + 2 * R) * k * self.t0 * np.exp(-es - et)
        return c * ((1 + R) * es + R * et), c * ((1 + R) * et + R * es)

    def integrate(self, e0, dense=False):
        start = 1e-3
        y = np.array([start, start * np.exp(-e0), e0])  # r, rho, e_s
        out, at = [], 0.0
        for length, slope, curvature in self.pieces:
            begin = start if at == 0.0 else 0.0

            def rate(u, y, slope=slope, curvature=curvature):
                r, rho, es = y
                dr = np.cos(slope + curvature * u)
                et = np.log(r / rho)
                drho = np.exp(-es)
                ns, nt = self.resultants(es, et)
                h = 1e-7
                ds = (self.resultants(es + h, et)[0] - self.resultants(es - h, et)[0]) / (2 * h)
                dt = (self.resultants(es, et + h)[0] - self.resultants(es, et - h)[0]) / (2 * h)
                return [dr, drho, ((nt - ns) * dr / r - dt * (dr / r - drho / rho)) / ds]

            sol = solve_ivp(rate, (begin, length), y, rtol=1e-7, atol=1e-9, max_step=length / 40)
            if not sol.success:
                return None
            out.append(np.column_stack([at + sol.t, sol.y.T]))
            y = sol.y[:, -1]
            at += length
        return np.vstack(out)

    def solve(self, low, high, clamped_at=None):
        """Profile columns: s, r, rho, e_s; the edge is free (or carries the bead's pull), or clamped at a radius."""

        def miss(e0):
            p = self.integrate(e0)
            r, rho, es = p[-1, 1:]
            return rho - clamped_at if clamped_at is not None else self.resultants(es, np.log(r / rho))[0] - self.bead

        return self.integrate(brentq(miss, low, high, xtol=1e-9))


def cup_pieces(radius, depth, corner, die, flange):
    q = np.pi / 2
    return [
        (radius - corner, 0.0, 0.0),
        (q * corner, 0.0, 1 / corner),
        (depth - corner - die, q, 0.0),
        (q * die, q, -1 / die),
        (flange, 0.0, 0.0),
    ]


def dome_pieces(radius, height):
    sphere = (radius**2 + height**2) / (2 * height)
    return [(sphere * np.arcsin(radius / sphere), 0.0, -1 / sphere)]
