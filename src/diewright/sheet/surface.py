"""What every yield surface can do: the shared part of von Mises, Hill 1948 and Yld2000-2d.

Plane stress in the rolling frame, ``s = [s11, s22, s12]``, axis 1 along the rolling direction. Arrays are ``(..., 3)``.
The derivative after ``s12`` counts both shear components, so a gradient is ``[de11, de22, gamma12]`` for one unit of equivalent strain.
All surfaces are homogeneous of degree one; the equivalent stress is the tensile stress along the rolling direction unless a class says otherwise.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import SolveError

Floats = NDArray[np.float64]

# Strain rate -> stress of von Mises, up to a factor: the start of every inversion.
_MISES_INVERSE = np.array([[4.0, 2.0, 0.0], [2.0, 4.0, 0.0], [0.0, 0.0, 1.0]]) / 3.0


class YieldSurface(ABC):
    """A convex yield surface ``equivalent(s) = flow stress``."""

    kind: ClassVar[str]

    @abstractmethod
    def equivalent(self, s: ArrayLike) -> Floats:
        """Equivalent stress ``(...)`` [MPa] of ``s`` ``(..., 3)`` [MPa]."""

    @abstractmethod
    def gradient(self, s: ArrayLike) -> Floats:
        """d(equivalent)/ds ``(..., 3)``; zero at zero stress."""

    @abstractmethod
    def hessian(self, s: ArrayLike) -> Floats:
        """Second derivative ``(..., 3, 3)`` [1/MPa]; zero at zero stress."""

    def derivatives(self, s: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Equivalent stress, gradient and second derivative together, where that is quicker than one by one."""
        return self.equivalent(s), self.gradient(s), self.hessian(s)

    @abstractmethod
    def parameters(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""

    def directional(self, angles_deg: ArrayLike) -> tuple[Floats, Floats]:
        """Tensile yield stress over the equivalent stress, and r, at angles [deg] to the rolling direction.

        ``r = de_width / de_thickness`` by the associated flow rule.
        """
        a = np.radians(np.asarray(angles_deg, dtype=np.float64))
        c, s = np.cos(a), np.sin(a)
        unit = np.stack([c * c, s * s, s * c], axis=-1)
        g = self.gradient(unit)
        width = g[..., 0] * s * s + g[..., 1] * c * c - g[..., 2] * s * c
        return 1.0 / self.equivalent(unit), -width / (g[..., 0] + g[..., 1])

    def biaxial(self) -> tuple[float, float]:
        """Balanced biaxial yield stress over the equivalent stress, and ``rb = de22/de11`` there."""
        unit = np.array([1.0, 1.0, 0.0])
        g = self.gradient(unit)
        return float(1.0 / self.equivalent(unit)), float(g[1] / g[0])

    def locus(self, points: int = 361) -> tuple[Floats, Floats]:
        """The section ``s12 = 0`` of the surface, normalised: ``s11`` and ``s22`` ``(points,)``, closed."""
        a = np.linspace(0.0, 2.0 * np.pi, points)
        ray = np.stack([np.cos(a), np.sin(a), np.zeros_like(a)], axis=-1)
        on = ray / self.equivalent(ray)[:, None]
        return on[:, 0], on[:, 1]

    def stress_for(self, rate: ArrayLike) -> Floats:
        """The stress ``(..., 3)`` of unit equivalent stress whose flow direction is ``rate`` ``[de11, de22, gamma12]``.

        Minimises the convex ``equivalent(s)^2/2 - s.rate`` by damped Newton; the minimum has ``equivalent(s) gradient(s) = rate``.
        ``rate . stress_for(rate)`` is the equivalent strain rate. Raises :class:`SolveError` if it does not converge to 1e-9.
        """
        d = np.asarray(rate, dtype=np.float64)
        flat = d.reshape(-1, 3)
        size = np.linalg.norm(flat, axis=1)
        if not (np.isfinite(flat).all() and (size > 0).all()):
            raise SolveError("A strain direction of zero length or not finite has no stress.")
        flat = flat / size[:, None]
        s = flat @ _MISES_INVERSE
        floor = 1e-12 * np.eye(3)
        for _ in range(80):
            bar, g, h = self.derivatives(s)
            residual = bar[:, None] * g - flat
            if np.abs(residual).max() < 1e-12:
                break
            stiff = g[:, :, None] * g[:, None, :] + bar[:, None, None] * h + floor
            step = -np.linalg.solve(stiff, residual[:, :, None])[:, :, 0]
            s = s + self._line_search(s, step, flat)[:, None] * step
        worst = np.abs(self.equivalent(s)[:, None] * self.gradient(s) - flat).max()
        if not worst < 1e-9:
            raise SolveError(f"The stress for a strain direction was not found (residual {worst:.1e}) on the {self.kind} surface.")
        return (s / self.equivalent(s)[:, None]).reshape(d.shape)

    def _line_search(self, s: Floats, step: Floats, d: Floats) -> Floats:
        """Halve each step until the convex work function falls; ``(m,)`` factors."""
        work = lambda x: 0.5 * self.equivalent(x) ** 2 - (x * d).sum(axis=1)  # noqa: E731
        here, factor = work(s), np.ones(len(s))
        for _ in range(30):
            worse = work(s + factor[:, None] * step) > here + 1e-14
            if not worse.any():
                break
            factor[worse] *= 0.5
        return factor
