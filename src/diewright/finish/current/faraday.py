"""Faraday's law of electrolysis: metal and thickness from current, time and efficiency.

m = eta M I t / (z F),    d = m / (rho A) = eta M i t / (z F rho)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError

Floats = NDArray[np.float64]
FARADAY = 96_485.332
"""Charge of a mole of electrons [C/mol] (CODATA 2018)."""


@dataclass(frozen=True)
class Metal:
    """``molar`` mass M [g/mol], ``electrons`` z that one atom takes up in the bath, ``density`` rho [g/cm3]."""

    molar: float
    electrons: int
    density: float

    @property
    def grams_per_ah(self) -> float:
        """Metal from one ampere-hour at 100 % [g/Ah]."""
        return self.molar * 3600.0 / (self.electrons * FARADAY)

    @property
    def micron_per_ah(self) -> float:
        """Thickness from one ampere-hour a square decimetre at 100 % [µm dm2/Ah]."""
        return 100.0 * self.grams_per_ah / self.density

    def thickness(self, density: Floats | float, minutes: float, efficiency: Floats | float) -> Floats:
        """Thickness [µm] after ``minutes`` at ``density`` [A/dm2] with cathode efficiency 0..1."""
        return np.asarray(self.micron_per_ah * np.asarray(density) * minutes / 60.0 * np.asarray(efficiency))

    def minutes(self, thickness: float, density: float, efficiency: float) -> float:
        """Time for ``thickness`` [µm] at ``density`` [A/dm2]; raises :class:`InputError` where nothing is deposited."""
        rate = self.micron_per_ah * density * efficiency / 60.0
        if rate <= 0:
            raise InputError(f"No metal is deposited at {density:.3g} A/dm2 with an efficiency of {efficiency:.3g}.", where="plating")
        return thickness / rate


@dataclass(frozen=True)
class Efficiency:
    """Share of the current that deposits metal, over the current density: straight lines in ``density`` [A/dm2] between the points, level outside them."""

    density: tuple[float, ...]
    share: tuple[float, ...]

    def at(self, density: Floats | float) -> Floats:
        """Efficiency 0..1; zero where the current flows out of the metal."""
        i = np.asarray(density, dtype=np.float64)
        return np.where(i > 0, np.interp(i, self.density, self.share), 0.0)
