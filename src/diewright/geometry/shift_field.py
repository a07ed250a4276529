"""A smooth field of displacements in space, given by points: how a face is moved, and the CSV file that carries it.

Between its points the field is the spline that bends least in space, ``u(x) = sum c_i |x - x_i|^3 + a + B x`` (Duchon 1977): twice continuously differentiable, it
takes the stated value at every point, and where the points say that something moves as a rigid body or is evenly stretched it does exactly that.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RBFInterpolator

from diewright.errors import FileError, InputError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
COLUMNS = ("x", "y", "z", "dx", "dy", "dz")
UNIT = "mm"
MOST = 6000
"""Most points of a field: the spline is solved densely."""
WHERE = "shift field"


@dataclass(frozen=True, eq=False)
class ShiftField:
    """Displacements ``shifts (k, 3) [mm]`` at ``points (k, 3) [mm]`` in press coordinates, and the spline between them.

    Raises :class:`InputError` for fewer than four points, points in one plane, a point stated twice, more than :data:`MOST` points or a number that is not finite.
    """

    points: Floats
    shifts: Floats

    def __post_init__(self) -> None:
        p, u = (np.asarray(a, dtype=np.float64) for a in (self.points, self.shifts))
        if p.ndim != 2 or p.shape[1] != 3 or p.shape != u.shape or not (np.isfinite(p).all() and np.isfinite(u).all()):
            raise InputError(f"points {p.shape} and shifts {u.shape} must both be finite and of the shape (k, 3).", where=WHERE)
        if not 4 <= len(p) <= MOST:
            raise InputError(f"{len(p)} points: a field of displacements has 4 to {MOST}.", where=WHERE)
        size = np.linalg.svd(p - p.mean(axis=0), compute_uv=False)
        if size[2] <= 1e-9 * size[0]:
            raise InputError("all points lie in one plane: the field is not known off it.", where=WHERE, help="Add points on both skins.")
        if len(np.unique(np.round(p, 9), axis=0)) < len(p):
            raise InputError("a point is stated twice.", where=WHERE, help="Keep one of the two lines.")
        object.__setattr__(self, "points", p)
        object.__setattr__(self, "shifts", u)

    @cached_property
    def _spline(self) -> RBFInterpolator:
        try:
            return RBFInterpolator(self.points, self.shifts, kernel="cubic", degree=1)
        except np.linalg.LinAlgError:
            raise InputError("its points lie too close together to be told apart.", where=WHERE, help="Take fewer points.") from None

    def at(self, points: ArrayLike) -> Floats:
        """Displacement at ``points (n, 3) [mm]``, ``(n, 3) [mm]``."""
        x = np.asarray(points, dtype=np.float64)
        if x.ndim != 2 or x.shape[1] != 3 or not np.isfinite(x).all():
            raise InputError(f"the places asked for must be finite and of the shape (n, 3), and are {x.shape}.", where=WHERE)
        return np.asarray(self._spline(x)) if len(x) else np.zeros((0, 3))

    def moved(self, mesh: TriMesh) -> TriMesh:
        """The mesh with every point moved."""
        return TriMesh(mesh.points + self.at(mesh.points), mesh.triangles)

    def before(self, points: ArrayLike) -> Floats:
        """Where points were before they were moved, ``x + u(x) = points`` to 1e-9 mm, by fixed-point steps.

        Raises :class:`InputError` where the field folds space over, so that there is no one such place.
        """
        goal = np.asarray(points, dtype=np.float64)
        x, span = goal.copy(), float(np.ptp(self.points, axis=0).max())
        for _ in range(60):
            new = goal - self.at(x)
            off = float(np.abs(new - x).max(initial=0.0))
            if not off < 1e3 * span:
                break
            x = new
            if off < 1e-9:
                return x
        raise InputError("the displacements change too fast from place to place to be turned back.", where=WHERE)


def csv_bytes(field: ShiftField) -> bytes:
    """The field as a CSV file: a first line that names columns with their unit, then a line a point, enough digits to get the same numbers back."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f"{name} [{UNIT}]" for name in COLUMNS])
    writer.writerows([[repr(float(v)) for v in row] for row in np.hstack([field.points, field.shifts])])
    return out.getvalue().encode("ascii")


def read_shift(path: Path | str) -> ShiftField:
    """Read what :func:`csv_bytes` wrote, or a file of the same columns; lines that begin with ``#`` are left out.

    Raises :class:`FileError` for a file that cannot be read, has other columns or units, or a line that is not six finite numbers; :class:`InputError` as :class:`ShiftField`.
    """
    name = Path(path).name
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise FileError(f"'{name}' cannot be read ({error.strerror}).", where=WHERE, help="Check its name and permissions.") from None
    except UnicodeDecodeError:
        raise FileError(f"'{name}' is not a text file.", where=WHERE, help="Give the CSV file of the compensation.") from None
    rows = [(i, line) for i, line in enumerate(text.splitlines(), start=1) if line.strip() and not line.lstrip().startswith("#")]
    wanted = [f"{c} [{UNIT}]" for c in COLUMNS]
    if not rows or [c.strip() for c in rows[0][1].split(",")] != wanted:
        raise FileError(
            f"'{name}' does not begin with the columns {', '.join(wanted)}.", where=WHERE, help="The field is in mm, in press coordinates."
        )
    numbers = []
    for i, line in rows[1:]:
        try:
            row = [float(v) for v in line.split(",")]
        except ValueError:
            row = []
        if len(row) != 6 or not np.isfinite(row).all():
            raise FileError(f"line {i} of '{name}' is not six numbers: '{line[:60]}'.", where=WHERE, help="Correct or remove the line.")
        numbers.append(row)
    table = np.array(numbers, dtype=np.float64).reshape(-1, 6)
    return ShiftField(table[:, :3], table[:, 3:])
