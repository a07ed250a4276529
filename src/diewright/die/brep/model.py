"""The faces of a tool before they are CAD: panels with a middle surface, trimmed by edges that they share.

A panel gives, over its own (u, v), a point of a reference surface, the unit normal up, and how far the middle of the sheet lies above the reference. A tool is every
panel moved along that normal. Edges are known by keys: panels that name the same key share the edge, so that a shell is closed by construction.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from diewright.die.brep.spline import Axis

Floats = NDArray[np.float64]
Grid = Callable[[Floats, Floats], tuple[Floats, Floats]]


class Base(Protocol):
    """A reference surface: ``points(u (n,), v (n,))`` gives points and unit normals up ``(n, 3)`` each."""

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Points and unit normals up at parameter pairs."""
        ...


@dataclass(frozen=True, eq=False)
class Trim:
    """One edge in a panel's outline: its key, the keys of its ends (first, last in its own direction), the curve in (u, v) over ``[first, last]``, and whether the outline
    runs it backwards when the panel is seen from the side of ``du x dv``. ``breaks`` of its parameter as in :func:`spline.axis`. A collapsed edge has no length in space."""

    key: Hashable
    ends: tuple[Hashable, Hashable]
    curve: Any
    first: float
    last: float
    backwards: bool
    breaks: dict[float, int]
    collapsed: bool = False
    drawn: Any = None  # the designer's own curve in space, in press coordinates, if there is one


@dataclass(frozen=True, eq=False)
class Panel:
    """A face: base surface, the way from it up to the middle of the sheet [mm], its outlines (the outer one first), axes to fit on, whether ``du x dv`` points down, a kind
    ("part" | "fill" | "strip" | "ring" | "skirt") and a name. ``cad`` is the kernel's surface of the base if it is one."""

    base: Base
    rise: float
    loops: tuple[tuple[Trim, ...], ...]
    u: Axis
    v: Axis
    down: bool
    kind: str
    name: str
    cad: Any = None


def normalised(vectors: Floats) -> Floats:
    """Unit vectors ``(..., 3)``; zero stays zero."""
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300))
