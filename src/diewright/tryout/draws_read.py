"""What the draws show: fields over all frames, and one row of figures a draw."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.job.series import FieldSeries
from diewright.mechanics.forming.frames import Frame
from diewright.sheet.surface import YieldSurface
from diewright.tryout.draws_handbook import draw_force, height_at_volume, tear_force
from diewright.tryout.draws_mesh import Quarter
from diewright.tryout.draws_run import QUARTERS, Drawn
from diewright.tryout.draws_wrinkle import RingMeter, ring_means
from diewright.tryout.loads import work
from diewright.tryout.margin import PathMargin
from diewright.tryout.strains import strains_of
from diewright.tryout.wrinkle import tendency

Floats = NDArray[np.float64]
BINS = 100
"""Shares of the stroke over which forces are averaged before the largest is taken."""
FARTHEST = -2.0
"""Minor strain to which the forming limit curve is led on by its own last slope: a wall drawn several times is pressed together further than the table goes."""
PLANE = 2.0 / math.sqrt(3.0)
"""Plane-strain over uniaxial strength, isotropic: the most that the foot of the wall passes on, over ``s0 Rm``."""
AFTER_FIRST = 0.1
"""Of the stroke: before that next to no work has been done and the share of motion says nothing."""


@dataclass(eq=False)
class Reader:
    """Follows the sheet through all draws, frame by frame; the strain path goes on from draw to draw.

    The margin is that of the path rule where a neck can form. The whole wall passes the same force on, and the foot passes ``2/sqrt(3) s0 Rm`` a width at most before it tears: where
    thickness times flow stress is more than that the straight rule is kept. Else every bend that a hardened wall is drawn over, and straightened from, would read as a neck: its
    middle is strained by about 1 % in another direction then. ``rm`` [MPa]; ``flow``: flow stress [MPa] over plastic strain.
    """

    mesh: Quarter
    thickness: float
    surface: YieldSurface
    limit: dict[str, Floats]
    rm: float
    flow: Callable[[Floats], Floats]
    points: list[Floats] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    number: list[int] = field(default_factory=list)
    strokes: list[float] = field(default_factory=list)
    travels: list[Floats] = field(default_factory=list)
    cell: dict[str, list[Floats]] = field(default_factory=dict)
    point: dict[str, list[Floats]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.path = PathMargin(self.surface, *led_on(self.limit["minor"], self.limit["major"]))
        self.worst = np.full(len(self.mesh.triangles), np.inf)
        self.meter = RingMeter(self.mesh.points[:, :2], self.mesh.ring)
        self.straight: Floats = np.zeros(0)
        self.angle = np.arctan2(self.mesh.points[:, 1], self.mesh.points[:, 0])

    def add(self, d: Drawn) -> dict[str, Any]:
        """Take in a draw; its row of figures."""
        heights: list[float] = []
        before = float(self.worst.min())
        seen, tear = d.outcome.frames[-1], math.nan
        for f in d.outcome.frames:
            least = float(self._frame(d, f).min())
            heights.append(float(self.point["wrinkle_height"][-1].max()))
            if least < 0.0 <= before and math.isnan(tear):
                seen, tear = f, self.strokes[-1]  # where it tears, not where the torn place is drawn to
                worst = self.worst.copy()
        at = self._place(seen, self.worst if math.isnan(tear) else worst)
        return self._row(d, heights) | at | {"tear_at_stroke_mm": tear}

    def _place(self, f: Frame, margin: Floats) -> dict[str, Any]:
        centre = f.x[self.mesh.triangles[int(np.argmin(margin))]].mean(axis=0)
        return {"margin_at": centre.tolist(), "margin_height_mm": float(centre[2] - f.x[:, 2].min())}

    def _frame(self, d: Drawn, f: Frame) -> Floats:
        flat, tri = self.mesh.points, self.mesh.triangles
        s = strains_of(flat, tri, f.x, self.thickness, membrane=f.membrane, stretch=f.stretch)
        found = self.path.add_tensor(f.layers, f.layers_plastic)
        # a wall that bears more than the foot can pass on cannot neck, whatever path its strain has taken
        bears = f.stretch * self.flow(f.plastic) > PLANE * self.rm
        self.straight = found.straight
        self.worst = margin = np.minimum(self.worst, np.where(bears, found.straight, found.now))
        cells = {
            "thickness": s.thickness, "thinning_pct": s.thinning_pct, "major": s.major, "minor": s.minor, "plastic_strain": f.plastic,
            "stress": self.surface.equivalent(f.stress), "margin_pct": margin, "wrinkle": tendency(f.stress, f.plastic),
        }  # fmt: skip
        nodes = {"pressure": f.pressure.max(axis=1, initial=0.0), "sliding": f.slide, "wrinkle_height": self.meter.heights(f.x)}
        for store, values in ((self.cell, cells), (self.point, nodes)):
            for name, v in values.items():
                store.setdefault(name, []).append(v)
        self.points.append(f.x)
        self.times.append(f.time)
        self.number.append(d.number)
        self.strokes.append(float(d.stroke(f.travel[d.column("punch")])))
        shift = np.full(3, np.nan)
        shift[: len(f.travel)] = -f.travel
        self.travels.append(shift)
        return margin

    def _row(self, d: Drawn, heights: list[float]) -> dict[str, Any]:
        w, f, t = d.draw, d.outcome.frames[-1], self.thickness
        r, z = np.hypot(f.x[:, 0], f.x[:, 1]), f.x[:, 2]
        rim = self.mesh.ring == self.mesh.ring.max()
        mean_r, mean_z = (ring_means(v, self.mesh.ring, self.angle) for v in (r, z))
        bottom = float(mean_z[0])
        upright = self._upright(mean_r, mean_z - bottom, w)
        diameter = 2.0 * float(np.mean(upright)) if len(upright) else math.nan
        curve = force_curve(d)
        drawing = d.kind_is_draw and len(curve["stroke_mm"]) > 0
        held = curve["stroke_mm"] <= self._released(d)
        row: dict[str, Any] = {
            "draw": d.number, "kind": w["kind"], "stopped": d.outcome.stopped, "ratio_wanted": float(w["ratio"]), "ratio": float(w["before"]) / diameter,
            "diameter_wanted_mm": float(w["diameter"]), "diameter_mm": diameter, "height_mm": float(mean_z[-1]) - bottom, "height_min_mm": float(z[rim].min()) - bottom,
            "height_max_mm": float(z[rim].max()) - bottom, "height_handbook_mm": float(w["height"]),
            "height_volume_mm": math.nan, "rim_radius_mm": float(r[rim].max()),
            "punch_kN": smooth_max(curve["stroke_mm"], curve["punch_kN"]) if drawing else float(curve["punch_kN"].max(initial=0.0)),
            "draw_kN": smooth_max(curve["stroke_mm"][held], curve["punch_kN"][held]) if drawing else math.nan,
            "handbook_kN": 1e-3 * draw_force(d.number, float(w["diameter"]), float(w["before"]), t, self.rm) if d.kind_is_draw else math.nan,
            "tear_kN": 1e-3 * tear_force(float(w["diameter"]), t, self.rm), "blankholder_kN": 1e-3 * float(w["holder_force"]),
            "work_J": work(curve["stroke_mm"], 1000.0 * curve["punch_kN"]) if len(curve["stroke_mm"]) else 0.0,
            "thinning_pct": 100.0 * float(1.0 - f.stretch.min()), "thickening_pct": 100.0 * float(f.stretch.max() - 1.0), "margin_pct": float(self.worst.min()),
            "straight_pct": float(self.straight.min()), "wrinkle_mm": heights[-1], "wrinkle_most_mm": max(heights),
            "ironed_pct": 100.0 * (t * float(f.stretch.max()) / float(w["clearance"]) - 1.0), "kinetic_pct": 100.0 * _kinetic(d),
            "penetration_pct": 100.0 * float(d.outcome.curve["deepest"].max(initial=0.0)),
        }  # fmt: skip
        return row

    def _upright(self, r: Floats, z: Floats, draw: Any) -> Floats:
        """Radii of the rings in the upright wall: above the bend at the foot, below the last tenth."""
        foot = 0.5 * (float(draw["diameter"]) - float(draw["foot"])) if draw["foot"] else 0.0
        low = foot + float(draw["punch_radius"]) + 2.0 * self.thickness
        return np.asarray(r[(z > low) & (z < 0.9 * z[-1])])

    def _released(self, d: Drawn) -> float:
        """Stroke [mm] at which the blank's edge leaves the blankholder; inf where it never does."""
        if d.number > 1 or not d.kind_is_draw:
            return math.inf if not d.kind_is_draw else self._edge_in(d, 0.5 * float(d.draw["before"]) - self.thickness)
        return self._edge_in(d, 0.5 * float(d.draw["die_diameter"]) + float(d.draw["die_radius"]))

    def _edge_in(self, d: Drawn, radius: float) -> float:
        rim = self.mesh.ring == self.mesh.ring.max()
        punch = d.column("punch")
        for f in d.outcome.frames:
            if float(np.hypot(f.x[rim, 0], f.x[rim, 1]).max()) < radius:
                return float(d.stroke(f.travel[punch]))
        return math.inf

    def profile(self, d: Drawn) -> dict[str, Floats]:
        """Rings after a draw: radius in the blank, place, thickness at the nodes' mean, least and most [mm]."""
        f = d.outcome.frames[-1]
        n = len(self.mesh.points)
        corner = self.mesh.triangles.ravel()
        node = (
            np.bincount(corner, weights=np.repeat(f.stretch, 3), minlength=n)
            / np.maximum(np.bincount(corner, minlength=n), 1)
            * self.thickness
        )
        ring = self.mesh.ring
        every = [node[ring == k] for k in range(int(ring.max()) + 1)]
        return {
            "blank_radius_mm": self.mesh.radii, "radius_mm": ring_means(np.hypot(f.x[:, 0], f.x[:, 1]), ring, self.angle),
            "height_mm": ring_means(f.x[:, 2], ring, self.angle) - float(f.x[0, 2]), "thickness_mm": ring_means(node, ring, self.angle),
            "thickness_min_mm": np.array([v.min() for v in every]), "thickness_max_mm": np.array([v.max() for v in every]),
        }  # fmt: skip

    def with_volume(self, row: dict[str, Any], profile: dict[str, Floats], meridian: Floats) -> dict[str, Any]:
        """The row with the height of constant volume at the measured thickness."""
        blank = math.pi * self.mesh.radii[-1] ** 2 * self.thickness
        share = (self.mesh.radii / self.mesh.radii[-1]) ** 2
        return row | {"height_volume_mm": height_at_volume(blank, meridian, profile["thickness_mm"], share)}

    def series(self, turn: float) -> FieldSeries:
        """All frames of the whole cup, mirrored from the quarter and turned by ``turn`` [rad] so that the rolling direction lies where the job has it."""
        c, s = math.cos(turn), math.sin(turn)
        spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        signs = [np.array(v) for v in ((1.0, 1.0, 1.0), (-1.0, 1.0, 1.0), (-1.0, -1.0, 1.0), (1.0, -1.0, 1.0))]
        x = np.array([np.concatenate([(p * sign) @ spin.T for sign in signs]) for p in self.points], dtype=np.float32)
        n, tri = len(self.mesh.points), self.mesh.triangles
        whole = np.concatenate([(tri if sign.prod() > 0 else tri[:, ::-1]) + i * n for i, sign in enumerate(signs)])
        four = {name: np.tile(np.array(v, dtype=np.float32), (1, 4)) for name, v in self.cell.items()}
        nodes = {name: np.tile(np.array(v, dtype=np.float32), (1, 4)) for name, v in self.point.items()}
        return FieldSeries(np.array(self.times), x, whole, nodes, four)


def led_on(minor: Floats, major: Floats) -> tuple[Floats, Floats]:
    """The forming limit curve with its left end led on straight to ``FARTHEST``."""
    slope = (major[1] - major[0]) / (minor[1] - minor[0])
    return np.concatenate([[FARTHEST], minor]), np.concatenate([[major[0] + slope * (FARTHEST - minor[0])], major])


def force_curve(d: Drawn) -> dict[str, Floats]:
    """Columns of a draw's press curve, forces of the whole cup [kN]."""
    c, p = d.outcome.curve, d.column("punch")
    force = -1e-3 * QUARTERS * c["force"][:, :, 2]
    holder = force[:, d.column("blankholder")] if "blankholder" in d.tools.names else np.zeros(len(force))
    return {
        "draw": np.full(len(force), float(d.number)), "time": c["time"], "operation": c["operation"], "stroke_mm": d.stroke(c["travel"][:, p]),
        "height_above_bottom_mm": np.maximum(-c["travel"][:, p], 0.0), "punch_kN": force[:, p], "blankholder_kN": holder,
        "kinetic_J": 1e-3 * QUARTERS * c["kinetic"], "internal_J": 1e-3 * QUARTERS * c["internal"], "balance_pct": 100.0 * c["balance"],
    }  # fmt: skip


def smooth_max(stroke: Floats, force: Floats) -> float:
    """Largest of the force's means over hundredths of the stroke: a chunk of steps is shorter than that and holds what the contact rings."""
    if not len(stroke) or stroke[-1] <= 0:
        return 0.0
    at = np.minimum((stroke / stroke[-1] * BINS).astype(np.intp), BINS - 1)
    count = np.bincount(at, minlength=BINS)
    means = np.bincount(at, weights=force, minlength=BINS)[count > 0] / count[count > 0]
    return float(means.max())


def _kinetic(d: Drawn) -> float:
    """Largest share of motion in the internal energy after the first tenth of the stroke."""
    c = force_curve(d)
    late = (c["stroke_mm"] > AFTER_FIRST * float(d.draw["stroke"])) & (c["internal_J"] > 0)
    return float((c["kinetic_J"][late] / c["internal_J"][late]).max(initial=0.0))
