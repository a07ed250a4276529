"""Working faces moved against springback, run by run. Knows no job: it is given a draw and faces.

The shape wanted is the part of the sheet in the closed nominal faces. A run in faces that were moved by the field ``u_k`` gives for every node of the part where it lies in the
closed faces, ``x = p + u_k(p)`` with ``p`` its place on the nominal shape, and where it comes to rest after springback, laid on the nominal shape, ``S_k``. What is off
is ``d_k = S_k - p``; the next faces are moved by ``u_{k+1} = u_k - f F(d_k)``, ``F`` the low-pass of :func:`smooth_shift`
(displacement adjustment: Gan, Wagoner 2004, Int. J. Mech. Sci. 46, 1097). Taking ``p`` off the face, not from the first run, leaves out that nodes slide a little further in one run
than in another, which is no deviation of the shape.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from diewright.errors import InputError
from diewright.geometry.fair_shift import Held, Known, both_skins, smooth_shift, spread_points
from diewright.geometry.mesh import TriMesh
from diewright.geometry.shift_field import ShiftField
from diewright.geometry.short_edges import with_short_edges
from diewright.tryout.reference_points import Laid

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]
Faces = Mapping[str, TriMesh]
Holder = Literal["auto", "keep", "follow"]
HELD, OUTER, SKIN = 300, 200, 700  # points: of the blankholder, of faces away from the sheet, of the sheet (each on both skins)
FLANGE = 0.02  # of the part's area under the blankholder: from there on it has a flange there
FADE = 1.5  # waves from the part: from there on the faces stay
UNDER = 0.75  # thicknesses: a node nearer to the blankholder lies under it


@dataclass(frozen=True, eq=False)
class Pressed:
    """What a run gives: the ``drawn`` sheet in the closed faces (all its nodes) and the ``part`` after release and trim wherever it lies; ``nodes (p,)`` of the sheet that make the part."""

    drawn: TriMesh
    part: TriMesh
    nodes: Ints


Draw = Callable[[Faces, ShiftField | None], Pressed]
"""A run in the faces given, and the field that moved them there (None: the nominal ones); the same mesh, trim and time step every time."""
Lay = Callable[[TriMesh, Floats], Laid]
"""Lays a sprung shape (p, 3) on the one meant, by the same places every time."""


@dataclass(frozen=True, eq=False)
class Round:
    """One run and what it showed.

    Attributes
    ----------
    field: by which the nominal faces were moved, None for the nominal ones. faces: that were run in. pressed: what came of it.
    meant: the part on the nominal shape [mm], node by node. laid: the sprung part on it, with the deviation along the nominal shape's normal (p,) in ``laid.normal_mm``.
    lift (p,): how much farther from the nearest face a node lies in the closed faces than in the first run [mm], which is part of the deviation.
    """

    field: ShiftField | None
    faces: Faces
    pressed: Pressed
    meant: TriMesh
    laid: Laid
    lift: Floats

    @property
    def max_mm(self) -> float:
        """Largest deviation of the part [mm]."""
        return float(np.abs(self.laid.normal_mm).max())

    @property
    def rms_mm(self) -> float:
        """Deviation averaged over the part's area as a square [mm]."""
        w = self.meant.point_areas
        return float(np.sqrt((w * self.laid.normal_mm**2).sum() / w.sum()))


@dataclass(frozen=True, eq=False)
class Compensated:
    """All runs, the nominal one first; ``best``: number of the one in moved faces with the least rms deviation (0: none was needed). ``nominal``: the sheet in the nominal faces; ``holder``: whether the blankholder kept its surface."""

    rounds: tuple[Round, ...]
    nominal: TriMesh
    best: int
    holder: Holder

    @property
    def chosen(self) -> Round:
        """The run that came nearest."""
        return self.rounds[self.best]


def compensate(
    draw: Draw, faces: Faces, thickness: float, lay: Lay, *, iterations: int = 3, factor: float = 1.0, wave: float, holder: Holder = "auto", enough: float = 0.0,
) -> Compensated:  # fmt: skip
    """Run, move the faces ``die``, ``punch`` and ``blankholder`` (closed position), run again, ``iterations`` times; the last run only measures.

    ``factor``: share of the deviation that is taken back at a time. ``wave`` [mm]: length of the waves of which half is passed on. ``holder``: "keep" lets the blankholder slide in its own surface only (and leaves out what of the
    part lies under it), "follow" moves it with the part, "auto" does so where the part has a flange under it. ``enough`` [mm]: a largest deviation at which it is left. Raises :class:`InputError` for numbers out of range or runs whose parts are
    not the same nodes; whatever ``draw`` and ``lay`` raise.
    """
    if iterations < 1 or not 0.0 < factor <= 2.0:
        raise InputError(f"{iterations} iterations with a factor of {factor:g}: at least one, above 0 up to 2.", where="compensation")
    # a flat of two triangles cannot be bent: chords of a quarter wave lie 1/77 of a wave's height off it
    faces = {name: with_short_edges(face, 0.25 * wave) for name, face in faces.items()}
    first = draw(faces, None)
    nominal = first.drawn
    gap = _Gap(faces, nominal.points[first.nodes])
    rounds = [_measure(first, None, faces, gap, lay)]
    still = _far(faces, nominal.points[first.nodes], FADE * wave)
    if holder == "auto":
        holder = "follow" if _flange_share(rounds[0].meant, faces["blankholder"], thickness) > FLANGE else "keep"
    held = _held(faces["blankholder"]) if holder == "keep" else None
    outer = _outer(faces, nominal, thickness)
    at_sheet, at_outer = np.zeros_like(nominal.points), np.zeros_like(outer)
    for _ in range(iterations):
        if rounds[-1].max_mm <= enough:
            break
        known = _known(rounds[-1], faces["blankholder"], thickness, holder)
        found = smooth_shift(known, wave, held, still)
        at_sheet, at_outer = at_sheet - factor * found(nominal.points), at_outer - factor * found(outer)
        field = both_skins(nominal, at_sheet, thickness, SKIN, outer, at_outer)
        moved = move_faces(faces, field, holder)
        pressed = draw(moved, field)
        if not np.array_equal(pressed.nodes, first.nodes):
            raise InputError("the runs trim different parts: they cannot be compared.", where="compensation", help="Keep mesh and trim.")
        rounds.append(_measure(pressed, field, moved, gap, lay))
    best = 1 + int(np.argmin([r.rms_mm for r in rounds[1:]])) if len(rounds) > 1 else 0
    return Compensated(tuple(rounds), nominal, best, holder)


def move_faces(faces: Faces, field: ShiftField, holder: Holder) -> dict[str, TriMesh]:
    """The faces moved by the field; with ``holder`` "keep" the blankholder's points lose what would take them off its surface."""
    out = {name: field.moved(face) for name, face in faces.items()}
    if holder == "keep":
        face = faces["blankholder"]
        n, move = face.point_normals, out["blankholder"].points - face.points
        out["blankholder"] = TriMesh(face.points + move - (move * n).sum(axis=1, keepdims=True) * n, face.triangles)
    return out


def off_surface(surface: TriMesh, points: Floats) -> Floats:
    """Distance ``(n,) [mm]`` of points from a surface, positive on its normals' side (the normal between the corners')."""
    import igl

    _, cell, foot = igl.point_mesh_squared_distance(points, np.array(surface.points), np.array(surface.triangles, dtype=np.int64))
    way = points - np.asarray(foot)
    side = (way * surface.normals[np.asarray(cell).ravel()]).sum(axis=1)
    return np.where(side < 0, -1.0, 1.0) * np.linalg.norm(way, axis=1)


def under(holder: TriMesh, points: Floats, thickness: float) -> NDArray[np.bool_]:
    """Which points (n,) of the sheet's middle lie under the blankholder in the closed position."""
    return np.abs(off_surface(holder, points)) <= UNDER * thickness


class _Gap:
    """Where the nodes of the part lie between the nominal faces, measured from the face that was nearest in the first run: fine where the sheet's own chords are not."""

    def __init__(self, faces: Faces, points: Floats) -> None:
        self._faces = list(faces.values())
        self._nearest = np.argmin([np.abs(off_surface(f, points)) for f in self._faces], axis=0)
        self._first = self._at(points)

    def _at(self, points: Floats) -> Floats:
        every = np.array([off_surface(f, points) for f in self._faces])
        return np.asarray(every[self._nearest, np.arange(len(points))])

    def lift(self, points: Floats) -> tuple[Floats, Floats]:
        """How much farther off its face a node is than in the first run (n,) [mm], and the unit vectors (n, 3) from the face."""
        import igl

        way = np.zeros_like(points)
        for k, face in enumerate(self._faces):
            at = np.flatnonzero(self._nearest == k)
            if len(at):
                _, cell, _ = igl.point_mesh_squared_distance(points[at], np.array(face.points), np.array(face.triangles, dtype=np.int64))
                way[at] = face.normals[np.asarray(cell).ravel()]
        return self._at(points) - self._first, way


def _measure(pressed: Pressed, field: ShiftField | None, faces: Faces, gap: _Gap, lay: Lay) -> Round:
    places = pressed.drawn.points[pressed.nodes]
    on_face = places if field is None else field.before(places)
    lift, way = gap.lift(on_face)
    meant = TriMesh(on_face - lift[:, None] * way, pressed.part.triangles)
    return Round(field, faces, pressed, meant, lay(meant, pressed.part.points), lift)


def _known(last: Round, holder: TriMesh, thickness: float, mode: Holder) -> Known:
    use = last.meant.point_areas > 0
    if mode == "keep":
        use &= ~under(holder, last.meant.points, thickness)
    if use.sum() < 10:
        raise InputError(
            "all of the part lies under the blankholder, which is to stay as it is.",
            where="compensation.blankholder",
            help="Let it follow the part.",
        )
    return Known(last.meant.points[use], last.laid.displacement[use], last.meant.point_areas[use])


def _flange_share(part: TriMesh, holder: TriMesh, thickness: float) -> float:
    return float(part.point_areas[under(holder, part.points, thickness)].sum() / part.area)


def _held(holder: TriMesh) -> Held:
    at = spread_points(holder.points, HELD)
    return Held(holder.points[at], holder.point_normals[at])


def _far(faces: Faces, part: Floats, reach: float) -> Floats:
    """Points of the faces that lie farther than ``reach`` from the part: they stay."""
    points = np.vstack([faces["die"].points, faces["blankholder"].points])
    far = points[cKDTree(part).query(points)[0] > reach]
    return far[spread_points(far, OUTER)] if len(far) else far


def _outer(faces: Faces, sheet: TriMesh, thickness: float) -> Floats:
    """Points of the faces away from the sheet, where the field has to be known too."""
    near = max(3.0 * thickness, float(np.median(np.sqrt(sheet.areas / 0.433))))
    points = np.vstack([f.points for f in faces.values()])
    away = points[cKDTree(sheet.points).query(points)[0] > near]
    away = away[spread_points(away, OUTER)] if len(away) else away
    # two faces may share places up to a thickness: one of each is enough
    keep: list[int] = []
    for i in range(len(away)):
        if all(np.linalg.norm(away[i] - away[j]) > thickness for j in keep):
            keep.append(i)
    return away[keep]
