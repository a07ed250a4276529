"""A sheet that moves: one triangulation, many instants, with named fields at each of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, Floats, Ints, TriMesh


@dataclass(frozen=True, eq=False)
class FieldSeries:
    """Positions and fields of one triangulation at T instants.

    ``times`` ``(T,) float64 [s]``, rising or equal; ``points`` ``(T, n, 3) float32 or float64 [mm]``; ``triangles`` ``(m, 3) int32``;
    ``point``: name -> ``(T, n) float32``; ``cell``: name -> ``(T, m) float32``. Fields are single precision here as on disk, so that a stage and
    whoever reads its result later see the same numbers. A field may hold nan where it has no value; positions and times may not.
    Raises :class:`InputError` for arrays that do not fit together.
    """

    times: Floats
    points: NDArray[np.floating]
    triangles: Ints
    point: dict[str, NDArray[np.float32]] = field(default_factory=dict)
    cell: dict[str, NDArray[np.float32]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        times = np.array(self.times, dtype=np.float64).reshape(-1)
        single = np.asarray(self.points).dtype == np.float32
        points = np.array(self.points, dtype=np.float32 if single else np.float64)
        triangles = np.array(self.triangles, dtype=np.int32).reshape(-1, 3)
        if points.ndim != 3 or points.shape[2:] != (3,):
            raise InputError(f"The positions of a series have the shape {points.shape}; (instants, points, 3) is wanted.")
        if len(points) != len(times) or not len(times):
            raise InputError(f"The series has {len(times)} instants and positions for {len(points)}.")
        if not np.isfinite(points).all() or not np.isfinite(times).all():
            raise InputError("The series has a position or a time that is not a finite number.")
        if (np.diff(times) < 0).any():
            raise InputError("The instants of the series do not follow each other.")
        if triangles.size and (triangles.min() < 0 or triangles.max() >= points.shape[1]):
            raise InputError("The series has a triangle that names a point that does not exist.")
        point = {name: _fitting("Point", name, a, (len(times), points.shape[1])) for name, a in self.point.items()}
        cell = {name: _fitting("Cell", name, a, (len(times), len(triangles))) for name, a in self.cell.items()}
        for array in (times, points, triangles):
            array.flags.writeable = False
        for name, value in (("times", times), ("points", points), ("triangles", triangles), ("point", point), ("cell", cell)):
            object.__setattr__(self, name, value)

    def __len__(self) -> int:
        return len(self.times)

    @property
    def nbytes(self) -> int:
        """Bytes in memory."""
        return sum(a.nbytes for a in (self.times, self.points, self.triangles, *self.point.values(), *self.cell.values()))

    def frame(self, step: int) -> FieldMesh:
        """The mesh with its fields at one instant; a negative ``step`` counts from the end."""
        mesh = TriMesh(self.points[step].astype(np.float64), self.triangles)
        return FieldMesh(mesh, {k: v[step] for k, v in self.point.items()}, {k: v[step] for k, v in self.cell.items()})


def _fitting(kind: str, name: str, values: np.ndarray, shape: tuple[int, int]) -> NDArray[np.float32]:
    array = np.array(values, dtype=np.float32)
    if array.shape != shape:
        raise InputError(f"{kind} field {name} of the series has the shape {array.shape}; {shape} is wanted.")
    array.flags.writeable = False
    return array
