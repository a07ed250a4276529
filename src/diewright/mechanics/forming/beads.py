"""Draw beads as equivalent restraint: what a bead holds back, and how that is spread over the sheet that runs through it.

Rigid-plastic bending under tension, from event to event (after Marciniak, Duncan and Hu, Mechanics of Sheet Metal Forming, 2002, ch. 10; from
memory, derived anew below). A sheet of thickness ``t`` drawn onto a radius ``rho`` (of its middle surface) under the tension ``T`` a width is strained
by ``(y + e)/rho``, ``e = (t/2) T/(S t)``, ``S`` its flow stress in plane strain. The work a length is ``W = S t^2/(4 rho) (1 + (T/St)^2)`` and the middle
surface grows by ``e/rho``; the balance of power leaves the step of tension ``W - T e/rho``, for a constant ``S``

    dT = S t^2/(4 rho) (1 - (T/St)^2),    thinning e/rho,

the same when it is unbent. Between the two the tension grows along the arc by ``exp(mu theta)``. A round bead has six events (shoulder, nose,
shoulder, each bent and unbent; arcs theta, 2 theta, theta), a square one eight (two corners of theta each instead of the nose).

Hardening is followed in layers through the thickness, isotropic: every layer's flow stress goes up with what it has been through, from event to event;
softening on reversed strain (Bauschinger) is left out, so a sheet with a marked one is held back less than this says. The sheet follows the radii of a deep bead; in a shallow one
it hangs between shoulder and nose like a beam clamped at both ends (height ``h`` over the span ``c``: largest curvature ``6 h/c^2``), and the flatter of the two counts.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.contact.tools import ToolSet

Floats = NDArray[np.float64]
Kind = Literal["round", "square", "locking"]
PLANE_STRAIN = 2.0 / math.sqrt(3.0)  # flow stress and equivalent strain of an isotropic sheet that cannot become narrower
CLEARANCE = 1.1  # of a groove beside its bead, over the thickness
REACH = 2.0  # half width of the band over the mesh edge: narrower bands feel single rows of nodes
FINE = 6  # cells of the raster over a mesh edge
MOST_CELLS = 16_000_000
_Y, _W = np.polynomial.legendre.leggauss(24)
_S, _V = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class Restraint:
    """What a bead does to a mm of sheet.

    Attributes
    ----------
    force: pull that draws the sheet through [N/mm]. uplift: what pushes bead and groove apart [N/mm]. thinning: log strain of the thickness on the way through.
    wrap: angle of a shoulder [rad]. locks: the pull would pass what the flat sheet carries in plane strain; ``force`` is then that, and ``thinning`` its neck's.
    tension: after each event [N/mm].
    """

    force: float
    uplift: float
    thinning: float
    wrap: float
    locks: bool
    tension: tuple[float, ...]


def wrap_angle(radius: float, shoulder: float, gap: float, height: float, thickness: float) -> float:
    """Angle [rad] by which the middle surface turns on a shoulder: the common tangent of two circles.

    With ``P = radius + shoulder + t``, ``c = radius + gap + shoulder`` between their centres across the bead, ``L = sqrt(c^2 + (P-h)^2 - P^2)`` the free length:
    ``theta = atan2(c, P - h) - atan2(L, P)``; 0 at height 0, towards 90 degrees where the walls stand upright.
    """
    p, c = radius + shoulder + thickness, radius + gap + shoulder
    free = math.sqrt(max(c * c + (p - height) ** 2 - p * p, 0.0))
    return math.atan2(c, p - height) - math.atan2(free, p)


def bead_restraint(
    kind: Kind,
    radius: float,
    height: float,
    thickness: float,
    flow: Callable[[Floats], Floats],
    friction: float,
    *,
    shoulder: float | None = None,
    gap: float | None = None,
    plane_strain: float = PLANE_STRAIN,
    back_tension: float = 0.0,
) -> Restraint:
    """Restraint of a bead of nose (or corner) ``radius``, ``height`` it stands into the sheet, shoulder radius (the same) and ``gap`` beside it (1.1 t) [mm].

    ``flow``: uniaxial flow stress [MPa] over equivalent plastic strain. ``plane_strain``: ``(1 + r)/sqrt(1 + 2 r)`` for a sheet with r, 2/sqrt(3) for one without.
    ``back_tension`` [N/mm] with which the sheet comes in. A locking bead is a square one without clearance (gap t).
    Raises :class:`InputError` for dimensions that make no bead.
    """
    t = thickness
    rs = radius if shoulder is None else shoulder
    beside = (t if kind == "locking" else CLEARANCE * t) if gap is None else gap
    if kind not in ("round", "square", "locking"):
        raise InputError(f"'{kind}' is no kind of bead: expected round, square or locking.", where="draw bead")
    for what, value, least in (
        ("thickness", t, 0.0),
        ("radius", radius, 0.0),
        ("shoulder radius", rs, 0.0),
        ("plane-strain factor", plane_strain, 0.9),
    ):
        if not (math.isfinite(value) and value > least):
            raise InputError(f"a {what} of {value!r} cannot be used: expected more than {least:g}.", where="draw bead")
    if not (height >= 0 and 0 <= friction <= 1 and back_tension >= 0 and math.isfinite(height + back_tension)):
        raise InputError(
            f"height {height!r} mm, friction {friction!r}, back tension {back_tension!r} N/mm: expected numbers from 0.", where="draw bead"
        )
    if beside < t - 1e-9:
        raise InputError(
            f"a gap of {beside:g} mm beside the bead is less than the sheet's {t:g} mm.", where="draw bead", help="Widen the groove."
        )
    theta = wrap_angle(radius, rs, beside, height, t)
    arcs = (
        [(rs, theta), (radius, 2 * theta), (rs, theta)] if kind == "round" else [(rs, theta), (radius, theta), (radius, theta), (rs, theta)]
    )
    if theta < 1e-9:
        return Restraint(back_tension, 0.0, 0.0, 0.0, False, ())
    span = radius + beside + rs
    sheet = _Layers(t, flow, plane_strain, span * span / (6.0 * height))
    pull, tension, flank = back_tension, [], []
    for k, (r, arc) in enumerate(arcs):
        pull = sheet.event(pull, r, 1.0)
        tension.append(pull)
        pull *= math.exp(friction * arc)
        pull = sheet.event(pull, r, -1.0)
        tension.append(pull)
        if k < len(arcs) - 1:
            flank.append(pull)
    # the first and the last flank hang on the nose; each also carries the sheet's moment at both its ends
    shear = 2.0 * sheet.moment / span
    uplift = (flank[0] + flank[-1]) * math.sin(theta) + 2.0 * shear * math.cos(theta)
    neck = np.linspace(0.0, 1.0, 401)
    carries = t * plane_strain * np.asarray(flow(plane_strain * neck)) * np.exp(-neck)
    top = int(np.argmax(carries))
    if sheet.locked or pull >= carries[top]:
        return Restraint(float(carries[top]), uplift, float(neck[top]), theta, True, tuple(tension))
    return Restraint(pull, uplift, math.log(t / sheet.t), theta, False, tuple(tension))


class _Layers:
    """A mm of sheet on its way: thickness, what each layer has been through, and the least radius the sheet takes on."""

    def __init__(self, thickness: float, flow: Callable[[Floats], Floats], factor: float, least: float) -> None:
        self.t, self.flow, self.factor, self.least = thickness, flow, factor, least
        self.strain = np.zeros(len(_Y))
        self.resistance = factor * float(np.asarray(flow(np.zeros(1)))[0])
        self.locked = False

    @property
    def moment(self) -> float:
        """Plastic moment a width [N]."""
        return 0.25 * self.resistance * self.t**2

    def event(self, pull: float, radius: float, sign: float) -> float:
        """Tension after bending (``sign`` 1) or unbending (-1) on a radius [N/mm]."""
        rho = max(radius + 0.5 * self.t, self.least)
        after, work, e, path = pull, 0.0, 0.0, np.zeros(len(_Y))
        for _ in range(12):  # the tension half way decides where the neutral fibre lies
            share = min(0.5 * (pull + after) / (self.resistance * self.t), 1.0)
            e = 0.5 * self.t * share
            path = np.abs(0.5 * self.t * sign * _Y + e) / rho * self.factor
            mean = sum(0.5 * v * np.asarray(self.flow(self.strain + 0.5 * (1 + s) * path)) for s, v in zip(_S, _V, strict=True))
            work = 0.5 * self.t * float(np.sum(_W * mean * path))
            self.resistance = self.factor * float(np.sum(_W * mean * path) / np.sum(_W * path))
            after = pull + work - 0.5 * (pull + after) * e / rho
        self.locked = self.locked or after >= self.resistance * self.t
        self.strain = self.strain + path
        self.t *= math.exp(-e / rho)
        return min(after, self.resistance * self.t) if self.locked else after


@dataclass(frozen=True)
class BeadField:
    """Restraint over the area [N/mm2] in plan: ``raster[i, j]`` between ``origin + spacing (i, j)`` and one cell on; width of the band [mm], length of the lines [mm]."""

    origin: tuple[float, float]
    spacing: float
    raster: NDArray[np.float32]
    width: float
    length: float

    def put(self, tools: ToolSet) -> None:
        """Let the sheet feel it."""
        tools.set_beads(self.origin, self.spacing, self.raster)


def bead_field(lines: Sequence[ArrayLike], restraint: float | Sequence[float], edge: float) -> BeadField:
    """Spread a restraint [N/mm] of each line ``(k, 2)`` [mm, in plan] over a band beside it for a mesh of ``edge`` [mm] there.

    The band is ``2 REACH edge`` wide and falls evenly to its borders, so that the sum over the nodes in it hardly depends on where they lie; its area integral is
    restraint times length. A line whose ends meet is closed. A bead holds back whatever runs through it, in the direction it runs.
    Raises :class:`InputError` for lines without length or too large for the mesh edge.
    """
    if not (math.isfinite(edge) and edge > 0):
        raise InputError(f"a mesh edge of {edge!r} mm cannot be used: expected more than 0.", where="draw beads")
    paths = [np.asarray(p, dtype=np.float64) for p in lines]
    forces = [float(restraint)] * len(paths) if isinstance(restraint, (int, float)) else [float(f) for f in restraint]
    if (
        not paths
        or len(forces) != len(paths)
        or any(p.ndim != 2 or p.shape[1] != 2 or len(p) < 2 or not np.isfinite(p).all() for p in paths)
    ):
        raise InputError("expected lines (k, 2) of at least two finite points, and a restraint for each.", where="draw beads")
    if min(forces) < 0 or not np.isfinite(forces).all():
        raise InputError(f"restraints of {forces} N/mm cannot be used: expected numbers from 0.", where="draw beads")
    reach, cell = REACH * edge, edge / FINE
    every = np.concatenate(paths)
    low = every.min(axis=0) - reach - cell
    shape = np.ceil((every.max(axis=0) + reach + cell - low) / cell).astype(np.int64)
    if float(shape[0]) * float(shape[1]) > MOST_CELLS:
        raise InputError(
            f"lines over {np.round(np.ptp(every, axis=0)).tolist()} mm need {int(shape[0] * shape[1])} cells of {cell:.3g} mm.",
            where="draw beads",
        )
    total, length = np.zeros(tuple(shape)), 0.0
    for path, force in zip(paths, forces, strict=True):
        step = np.linalg.norm(np.diff(path, axis=0), axis=1)
        path = path[np.concatenate([[True], step > 1e-9])]
        if len(path) < 2:
            raise InputError("a line has no length.", where="draw beads")
        distance = _beside(path, low, cell, (int(shape[0]), int(shape[1])), reach)
        density = np.maximum(1.0 - distance / reach, 0.0) / reach
        own = float(step.sum())
        # band on band in a tight corner counts once: the whole is set right
        total += force * density * (own / (density.sum() * cell * cell))
        length += own
    return BeadField((float(low[0]), float(low[1])), cell, total.astype(np.float32), 2.0 * reach, length)


def _beside(path: Floats, low: Floats, cell: float, shape: tuple[int, int], reach: float) -> Floats:
    """Distance of every cell's centre to a line; the band ends square at the ends of an open one."""
    out = np.full(shape, np.inf)
    closed = bool(np.linalg.norm(path[0] - path[-1]) < 1e-6)
    for a, b in itertools.pairwise(path):
        i0, j0 = np.maximum(np.floor((np.minimum(a, b) - reach - low) / cell).astype(int), 0)
        i1, j1 = np.ceil((np.maximum(a, b) + reach - low) / cell).astype(int) + 1
        x = low[0] + cell * (np.arange(i0, min(i1, shape[0])) + 0.5)
        y = low[1] + cell * (np.arange(j0, min(j1, shape[1])) + 0.5)
        d = b - a
        s = ((x[:, None] - a[0]) * d[0] + (y[None] - a[1]) * d[1]) / (d @ d)
        t = np.clip(s, 0.0, 1.0)
        away = np.hypot(x[:, None] - a[0] - t * d[0], y[None] - a[1] - t * d[1])
        part = out[i0 : i0 + len(x), j0 : j0 + len(y)]
        np.minimum(part, away, out=part)
    for end, inner in () if closed else ((path[0], path[1]), (path[-1], path[-2])):
        i0, j0 = np.maximum(np.floor((end - reach - low) / cell).astype(int), 0)
        i1, j1 = np.ceil((end + reach - low) / cell).astype(int) + 1
        x = low[0] + cell * (np.arange(i0, min(i1, shape[0])) + 0.5) - end[0]
        y = low[1] + cell * (np.arange(j0, min(j1, shape[1])) + 0.5) - end[1]
        beyond = (x[:, None] * (end - inner)[0] + y[None] * (end - inner)[1]) > 0
        part = out[i0 : i0 + len(x), j0 : j0 + len(y)]
        # beyond the end, and nearer to it than to any other place of the line
        part[beyond & (part >= np.hypot(x[:, None], y[None]) - 1e-9)] = np.inf
    return out


def edge_beside(points: Floats, triangles: NDArray[np.integer], lines: Sequence[ArrayLike], reach: float) -> float:
    """Mesh edge [mm] of the flat sheet within ``reach`` outside or inside of the lines: nine tenths of the triangles there have a shorter mean edge; that of all where none is near."""
    p = points[triangles][:, :, :2]
    mean = np.linalg.norm(p - p[:, [1, 2, 0]], axis=2).mean(axis=1)
    centre = p.mean(axis=1)
    near = np.zeros(len(centre), dtype=bool)
    for line in lines:
        a = np.asarray(line, dtype=np.float64)
        for q, r in itertools.pairwise(a):
            d = r - q
            t = np.clip(((centre - q) @ d) / max(float(d @ d), 1e-12), 0.0, 1.0)
            near |= np.linalg.norm(centre - q - t[:, None] * d, axis=1) < reach
    return float(np.quantile(mean[near] if near.any() else mean, 0.9))
