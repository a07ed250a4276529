"""The blankholder surface: a plane, a cylinder, a cone or a general developable surface, on which a flat sheet lies without stretching.

Heights of the sheet's middle surface in press coordinates:

    z(x, y) = level + f(x, y) + tilt . (x, y),   K = (z_xx z_yy - z_xy^2) / (1 + z_x^2 + z_y^2)^2 = 0,

with a developable shape ``f``. A tilt leaves the second derivatives as they are, so the surface stays developable.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_shape import Cylinder, Flat, Floats, Shape

_SHAPES: dict[str, type[Any]] = {shape.kind: shape for shape in (Flat, Cylinder, Cone, Envelope)}
_STEP = 0.5  # mm: step of the differences that measure curvature


@dataclass(frozen=True, eq=False)
class Holder:
    """The surface: ``level`` [mm], its ``shape``, ``tilt (2,)`` slopes."""

    level: float
    shape: Shape = field(default_factory=Flat)
    tilt: tuple[float, float] = (0.0, 0.0)

    @property
    def kind(self) -> str:
        """``flat``, ``cylindrical``, ``conical`` or ``developable``."""
        return self.shape.kind

    def height(self, xy: Floats) -> Floats:
        """Height [mm] at plan points ``(..., 2)``."""
        return np.asarray(self.level + self.shape.at(xy).height + xy @ np.asarray(self.tilt))

    def gradient(self, xy: Floats) -> Floats:
        """Slopes ``(..., 2)`` along x and y."""
        return np.asarray(self.shape.at(xy).slope + np.asarray(self.tilt))

    def normal(self, xy: Floats) -> Floats:
        """Unit normals ``(..., 3)``, up."""
        slope = self.gradient(xy)
        out = np.concatenate([-slope, np.ones((*slope.shape[:-1], 1))], axis=-1)
        return np.asarray(out / np.linalg.norm(out, axis=-1, keepdims=True))

    def raised(self, by: float) -> Holder:
        """The surface ``by`` mm higher."""
        return replace(self, level=self.level + by)

    def tilted(self, by: tuple[float, float]) -> Holder:
        """The surface with slopes along x and y added."""
        return replace(self, tilt=(self.tilt[0] + by[0], self.tilt[1] + by[1]))

    def gaussian(self, xy: Floats) -> Floats:
        """Gaussian curvature ``(k,)`` [1/mm2] from central differences of the heights at plan points ``(k, 2)``, along the straight line through each and across it: measured on the heights themselves."""
        x = _STEP * self.shape.at(xy).across
        y = np.column_stack([-x[:, 1], x[:, 0]])
        z, h = self.height, _STEP
        middle = z(xy)
        xx = (z(xy + x) - 2 * middle + z(xy - x)) / h**2
        yy = (z(xy + y) - 2 * middle + z(xy - y)) / h**2
        both = (z(xy + x + y) - z(xy + x - y) - z(xy - x + y) + z(xy - x - y)) / (4 * h**2)
        sx, sy = (z(xy + x) - z(xy - x)) / (2 * h), (z(xy + y) - z(xy - y)) / (2 * h)
        return np.asarray((xx * yy - both**2) / (1.0 + sx**2 + sy**2) ** 2)

    def least_radius(self, xy: Floats) -> float:
        """Tightest bend [mm] at plan points ``(k, 2)``, infinite for a plane: of the normal curvature across the straight lines, ``bend (1 - (n . grad)^2 / W^2) / W``, ``W^2 = 1 + |grad|^2``."""
        here, slope = self.shape.at(xy), self.gradient(xy)
        w2 = 1.0 + (slope**2).sum(axis=1)
        bend = np.abs(here.bend) * (1.0 - (here.across * slope).sum(axis=1) ** 2 / w2) / np.sqrt(w2)
        most = float(bend.max(initial=0.0))
        return 1.0 / most if most > 0 else math.inf

    def record(self) -> dict[str, Any]:
        """Plain data that :func:`holder_of` reads."""
        return {"level": self.level, "tilt": list(self.tilt), "kind": self.kind, "shape": asdict(self.shape)}  # type: ignore[call-overload]


def holder_of(record: dict[str, Any]) -> Holder:
    """The surface that :meth:`Holder.record` wrote down."""
    shape = {name: tuple(value) for name, value in record["shape"].items()}
    return Holder(float(record["level"]), _SHAPES[record["kind"]](**shape), tuple(record["tilt"]))
