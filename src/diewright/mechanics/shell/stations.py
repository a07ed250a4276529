"""Stations through the thickness: Gauss or Lobatto points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError


def through_thickness(count: int = 5, rule: str = "gauss") -> NDArray[np.float64]:
    """``(count, 2)``: place over the thickness (-1/2 to 1/2) and weight (sum 1).

    ``gauss`` is exact to degree ``2 count - 1``; ``lobatto`` to ``2 count - 3`` and has stations on both skins.
    """
    if not 1 <= count <= 21 or rule not in ("gauss", "lobatto") or (rule == "lobatto" and count < 3):
        raise InputError(f"{count!r} stations by {rule!r}: expected 1 to 21 by gauss, or 3 to 21 by lobatto.", where="shell stations")
    if rule == "gauss":
        x, w = np.polynomial.legendre.leggauss(count)
    else:
        p = np.polynomial.legendre.Legendre.basis(count - 1)
        x = np.concatenate([[-1.0], np.sort(p.deriv().roots().real), [1.0]])
        w = 2.0 / (count * (count - 1) * p(x) ** 2)
    return np.column_stack([0.5 * x, 0.5 * w])
