"""The surface that joins two copies of a part for the draw, between the runs of their edges that face each other.

Sections run from edge to edge as cubics of Hermite, tangent to the part at both ends. At the two ends of the bridge they leave along the part's own edge, so
that the combined outline has no corner there; where the facing edge goes straight on they leave it at an angle, and where sections would cross they lean less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.geometry.loops import outer_loop
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

REACH = 20.0
"""How much farther than where they are nearest the edges may lie apart to be joined, over the thickness; the spacing at least."""
SQUARE = np.cos(np.radians(80.0))
"""A run ends where its way out turns by more than 80 degrees from the side: sharper wedges would be slivers."""
LEVELS = 2000
STEEP = np.sin(np.radians(3.0))
"""Least upward part of the unit normal of the bridge."""
ROWS = (8, 90)
ROW_TURN = np.radians(8.0)
"""Most that a section turns from one row of the mesh to the next."""
LEAN, WEDGE = np.radians(60.0), np.radians(12.0)
"""Most that a section leans at the bridge's ends, and least angle between it and the facing edge."""
_SNAP = 0.3  # of the distance to the next point: points of both runs nearer than that share a section
_SOFTER = (1.0, 0.6, 0.3, 0.0)  # shares of the lean tried


@dataclass(frozen=True, eq=False)
class Bridge:
    """New ``points (b, 3)``, numbered on after those of the joined copies; ``triangles (c, 3)``; signed ``radius (b,)`` [mm] of the sections, positive where hollow from above.

    ``runs`` the two runs of edges it joins, ``(n, 7)`` each: places, share along the run by which they are matched, unit direction in which the sections leave.
    ``gap`` [mm] least and most length of a section in plan, ``length`` [mm] of the joined run, ``tightest`` [mm] radius and the place ``at (3,)`` of it, ``steepest`` [deg] from level,
    ``corner`` [deg] largest turn in plan between the parts' own edge and the bridge's end."""

    points: Floats
    triangles: Ints
    radius: Floats
    gap: tuple[float, float]
    length: float
    tightest: float
    steepest: float
    at: Floats
    corner: float
    runs: tuple[Floats, Floats]


@dataclass(frozen=True, eq=False)
class _Run:
    """Point numbers along a run, its places, share along it (0 to 1) by which runs are matched, unit directions of the sections in space, length [mm], corner [rad] left at its ends."""

    numbers: Ints
    points: Floats
    share: Floats
    way: Floats
    length: float
    corner: float


def bridge(mesh: TriMesh, normals: Floats, first: int, side: float, thickness: float, spacing: float) -> Bridge:
    """Join the copies of ``mesh`` (not yet connected, the first one with ``first`` triangles) with unit point ``normals``; ``side`` [rad] points from the first to the second.

    Raises :class:`SolveError` where the edges cannot be joined, with the place."""
    u, v = np.array([np.cos(side), np.sin(side), 0.0]), np.array([-np.sin(side), np.cos(side), 0.0])
    loops = []
    for cells in (mesh.triangles[:first], mesh.triangles[first:]):
        own = TriMesh(mesh.points, cells)
        loops.append(own.boundary_loops[outer_loop(own, np.array([0.0, 0.0, 1.0]))].astype(np.int64))
    low, high = _facing(mesh.points, loops, u, v, max(REACH * thickness, spacing))
    whole = TriMesh(mesh.points, mesh.triangles).point_normals
    up = np.where(np.linalg.norm(normals, axis=1, keepdims=True) > 0.5, normals, whole)
    spot = mesh.points[0]
    for softer in _SOFTER:
        one, two = (
            _run(mesh.points, up, loop, ends, out, sense, softer)
            for loop, ends, out, sense in zip(loops, (low, high), (u, -u), (1.0, -1.0), strict=True)
        )
        found = _filled(mesh, one, two, u)
        if isinstance(found, Bridge):
            return found
        spot = found
    raise SolveError(
        f"the bridge between the copies would stand upright or turn under at {_said(spot)} mm.", where="shape",
        help="State more spacing or another side, or tip the part so that its edges there look up.",
    )  # fmt: skip


def _facing(points: Floats, loops: list[Ints], u: Floats, v: Floats, reach: float) -> tuple[tuple[int, int], tuple[int, int]]:
    """Ends (first across, last across) of the facing run of each loop, as places in the loop."""
    spans = [points[loop] @ v for loop in loops]
    span = max(float(s.min()) for s in spans), min(float(s.max()) for s in spans)
    if span[1] - span[0] < 1e-6:
        raise InputError("the copies do not face each other.", where="shape.side", help="State another side.")
    slack = 1e-6 * (span[1] - span[0])
    level = np.linspace(span[0] + slack, span[1] - slack, LEVELS)
    near = _profile(points, loops[0], u, v, level, True)
    far = _profile(points, loops[1], u, v, level, False)
    gap = far - near
    least = int(np.argmin(gap))
    open_ = gap <= gap[least] + 2.0 * reach
    begin = least - int(np.argmin(open_[least::-1])) + 1 if not open_[: least + 1].all() else 0
    end = least + int(np.argmin(open_[least:])) - 1 if not open_[least:].all() else LEVELS - 1
    if end - begin < 2:
        raise SolveError(
            f"the edges of the copies face each other only at a point, at {_said(near[least] * u + level[least] * v)} mm.", where="shape", help="State another side.",
        )  # fmt: skip
    out = []
    for loop, profile, sense in ((loops[0], near, 1.0), (loops[1], far, -1.0)):
        ends = [_nearest(points, loop, profile[k] * u + level[k] * v) for k in (begin, end)]
        out.append(_squared(points, loop, (ends[0], ends[1]), v, sense))
    return out[0], out[1]


def _profile(points: Floats, loop: Ints, u: Floats, v: Floats, level: Floats, most: bool) -> Floats:
    """Farthest (or nearest) place along ``u`` of a loop at each level across [mm]."""
    a, b = points[loop], points[np.roll(loop, -1)]
    ua, ub, va, vb = a @ u, b @ u, a @ v, b @ v
    out = np.full(len(level), -np.inf if most else np.inf)
    for i in range(len(loop)):
        lo, hi = np.searchsorted(level, (min(va[i], vb[i]), max(va[i], vb[i])))
        if hi > lo:
            at = ua[i] + (level[lo:hi] - va[i]) / (vb[i] - va[i]) * (ub[i] - ua[i])
            out[lo:hi] = np.maximum(out[lo:hi], at) if most else np.minimum(out[lo:hi], at)
    return out


def _nearest(points: Floats, loop: Ints, at: Floats) -> int:
    return int(np.argmin(np.hypot(*(points[loop, :2] - at[:2]).T)))


def _squared(points: Floats, loop: Ints, ends: tuple[int, int], v: Floats, sense: float) -> tuple[int, int]:
    """The ends moved into the run past edges that run nearly along the side. The loop runs across (``+v``) on the first copy's facing run, back on the second's."""
    n, step = len(loop), int(sense)
    first, last = ends

    def faces(i: int, j: int) -> bool:
        d = (points[loop[j % n]] - points[loop[i % n]])[:2]
        return float(d @ v[:2]) >= SQUARE * float(np.hypot(*d))

    for _ in range(n):
        if first % n == last % n or faces(first, first + step):
            break
        first += step
    for _ in range(n):
        if first % n == last % n or faces(last - step, last):
            break
        last -= step
    if first % n == last % n:
        raise SolveError(
            f"the edge at {_said(points[loop[last % n]])} mm does not face the other copy.", where="shape", help="State another side."
        )
    return first % n, last % n


def _run(points: Floats, up: Floats, loop: Ints, ends: tuple[int, int], out: Floats, sense: float, softer: float) -> _Run:
    n, step = len(loop), int(sense)
    count = (ends[1] - ends[0]) * step % n
    numbers = loop[(ends[0] + step * np.arange(count + 1)) % n]
    p = points[numbers]
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
    if count < 1 or length[-1] < 1e-9:
        raise SolveError(f"the edge at {_said(p[0])} mm is too short to be joined.", where="shape", help="State another side.")
    # angles from the side, positive across: the part's free edge as it arrives at each end of the run, and the run itself
    free = [
        sense * _plan_angle(out, p[0] - points[loop[(ends[0] - step) % n]]),
        sense * _plan_angle(out, p[-1] - points[loop[(ends[1] + step) % n]]),
    ]
    own = [sense * _plan_angle(out, p[1] - p[0]), sense * _plan_angle(out, p[-2] - p[-1])]
    lean = [
        softer * float(np.clip(free[0], -LEAN, min(own[0] - WEDGE, LEAN))),
        softer * float(np.clip(free[1], max(own[1] + WEDGE, -LEAN), LEAN)),
    ]
    corner = max(abs(a - b) for a, b in zip(lean, free, strict=True))
    ramp = 0.4 * length[-1]
    begin, end = (np.maximum(1.0 - s / ramp, 0.0) ** 2 for s in (length, length[-1] - length))
    angle = sense * (lean[0] * begin + lean[1] * end)
    plan = np.column_stack(
        [np.cos(angle) * out[0] - np.sin(angle) * out[1], np.sin(angle) * out[0] + np.cos(angle) * out[1], np.zeros(len(p))]
    )
    normal = up[numbers]
    way = plan * np.maximum(normal[:, 2], 0.02)[:, None]
    way[:, 2] = -np.einsum("ij,ij->i", normal, plan)
    return _Run(
        numbers,
        p,
        _matched(p, length / length[-1], sense * np.array([-out[1], out[0], 0.0])),
        way / np.linalg.norm(way, axis=1, keepdims=True),
        float(length[-1]),
        float(corner),
    )


def _matched(p: Floats, arc: Floats, across: Floats) -> Floats:
    """Share along a run: how far across it has come, never back, and to a fifth its ``arc`` share, so that a notch does not shift what lies beside it and every edge has some share."""
    gone = np.maximum.accumulate((p - p[0]) @ across)
    if gone[-1] < 1e-6:
        return arc
    return 0.8 * gone / gone[-1] + 0.2 * arc


def _plan_angle(out: Floats, d: Floats) -> float:
    return float(np.arctan2(out[0] * d[1] - out[1] * d[0], out[0] * d[0] + out[1] * d[1]))


def _filled(mesh: TriMesh, one: _Run, two: _Run, u: Floats) -> Bridge | Floats:
    """The bridge between two runs, or the place ``(3,)`` where it would stand upright or turn under."""
    chord = _at(two, np.linspace(0, 1, 50))[0] - _at(one, np.linspace(0, 1, 50))[0]
    across = np.hypot(chord[:, 0], chord[:, 1])
    edge = 0.5 * (one.length / (len(one.share) - 1) + two.length / (len(two.share) - 1))
    ways = [_at(run, np.linspace(0, 1, 50))[1] for run in (one, two)]
    straight = chord / np.linalg.norm(chord, axis=1, keepdims=True)
    turned = sum(
        np.arccos(np.clip(np.einsum("ij,ij->i", sense * way, straight), -1.0, 1.0)) for sense, way in zip((1.0, -1.0), ways, strict=True)
    )
    # a section turns from its end to its middle and back: twice the angles at its ends
    rows = int(np.clip(max(round(float(across.mean()) / edge), np.ceil(2.0 * float(np.max(turned)) / ROW_TURN)), *ROWS))
    if (chord @ u <= 0).any():
        k = int(np.argmin(chord @ u))
        raise SolveError(
            f"the copies' edges pass each other at {_said(_at(one, np.linspace(0, 1, 50))[0][k])} mm.",
            where="shape.spacing",
            help="State more spacing.",
        )
    first, last = _paired(one.share, two.share)
    count, points, radius = len(mesh.points), [], []
    numbers = count + np.arange(rows - 1)[:, None] * len(first) + np.arange(len(first))
    for k in range(1, rows):
        x, r = _section(one, two, first, last, k / rows)
        points.append(x)
        radius.append(r)
    inner = [_zip(first, numbers[k], first, numbers[k + 1]) for k in range(rows - 2)]
    triangles = np.concatenate([_zip(one.share, one.numbers, first, numbers[0]), *inner, _zip(last, numbers[-1], two.share, two.numbers)])
    new, bend = np.concatenate(points), np.concatenate(radius)
    joined = TriMesh(np.concatenate([mesh.points, new]), triangles)
    rise = joined.normals[:, 2]
    if rise.min() < STEEP:
        return joined.centroids[int(np.argmin(rise))]
    worst = int(np.argmin(np.abs(bend)))
    return Bridge(
        new, triangles, bend, (float(across.min()), float(across.max())), 0.5 * (one.length + two.length), float(abs(bend[worst])), float(np.degrees(np.arccos(rise.min()))),
        new[worst], float(np.degrees(max(one.corner, two.corner))), (_stacked(one), _stacked(two)),
    )  # fmt: skip


def _stacked(run: _Run) -> Floats:
    return np.column_stack([run.points, run.share, run.way])


def _at(run: _Run, s: Floats) -> tuple[Floats, Floats]:
    p = np.column_stack([np.interp(s, run.share, run.points[:, i]) for i in range(3)])
    way = np.column_stack([np.interp(s, run.share, run.way[:, i]) for i in range(3)])
    return p, way / np.linalg.norm(way, axis=1, keepdims=True)


def _paired(s: Floats, r: Floats) -> tuple[Floats, Floats]:
    """Shares on both runs of all sections ``(k,)``: one from each point of either run; points of both that lie nearly across from each other share theirs."""
    ds, dr = np.diff(s), np.diff(r)
    room_s, room_r = (np.minimum(np.append(d, np.inf), np.insert(d, 0, np.inf)) for d in (ds, dr))
    near = np.argmin(np.abs(r[:, None] - s[None, :]), axis=1)
    taken = np.abs(r - s[near]) < _SNAP * np.minimum(room_r, room_s[near])
    mate = np.full(len(s), np.nan)
    mate[near[taken]] = r[taken]
    first = np.concatenate([s, r[~taken]])
    last = np.concatenate([np.where(np.isnan(mate), s, mate), r[~taken]])
    order = np.argsort(first + last, kind="stable")
    return first[order], last[order]


def _section(one: _Run, two: _Run, s: Floats, r: Floats, w: float) -> tuple[Floats, Floats]:
    """Points at ``w`` (0 to 1 across) of the sections from shares ``s`` of the first run to ``r`` of the second and their signed radii: ``k = (x' z'' - z' x'') / |c'|^3`` in the plane of the section."""
    (a, ta), (b, tb) = _at(one, s), _at(two, r)
    size = np.linalg.norm(b - a, axis=1, keepdims=True)
    ta, tb = ta * size, -tb * size
    x = (2 * w**3 - 3 * w**2 + 1) * a + (w**3 - 2 * w**2 + w) * ta + (3 * w**2 - 2 * w**3) * b + (w**3 - w**2) * tb
    d1 = (6 * w**2 - 6 * w) * (a - b) + (3 * w**2 - 4 * w + 1) * ta + (3 * w**2 - 2 * w) * tb
    d2 = (12 * w - 6) * (a - b) + (6 * w - 4) * ta + (6 * w - 2) * tb
    bend = np.linalg.norm(np.cross(d1, d2), axis=1) / np.maximum(np.linalg.norm(d1, axis=1) ** 3, 1e-12)
    return x, np.where(d2[:, 2] < 0, -1.0, 1.0) / np.maximum(bend, 1e-4)


def _zip(s: Floats, a: Ints, r: Floats, b: Ints) -> Ints:
    """Triangles between two rows of points at shares ``s`` and ``r``, normals up where the second row lies on the right of the first seen across."""
    if len(a) == len(b):
        quads = np.stack([a[:-1], b[:-1], b[1:], a[1:]], axis=1)
        return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    out, i, j = [], 0, 0
    while i < len(a) - 1 or j < len(b) - 1:
        if j == len(b) - 1 or (i < len(a) - 1 and s[i + 1] - r[j] <= r[j + 1] - s[i]):
            out.append((a[i], b[j], a[i + 1]))
            i += 1
        else:
            out.append((a[i], b[j], b[j + 1]))
            j += 1
    return np.array(out, dtype=np.int64)


def _said(p: Floats) -> str:
    return f"({p[0]:.1f}, {p[1]:.1f}, {p[2]:.1f})"
