"""How the part lies in the press.

The blank lies flat, the punch moves in the direction of travel ``d`` into the die and makes the part a cup that is open towards the punch: the rim is
high, the bottom low. In press coordinates +z is up, ``-d``; the depth is 0 at the top of the part and grows downwards. ``part.press_direction``
of the job is ``d`` in part coordinates. The press x axis is the part's first axis that lies across the travel, laid into the
blank's plane, so that a stated rolling direction has a meaning before the part is tipped.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.part.holes import Hole, outer_loop
from diewright.part.visible import View
from diewright.watch import Watch

SECTORS = 16
RAYS = 1200
SAME_DEG = 2.0


@dataclass(frozen=True)
class Candidate:
    """A direction of travel and how good it is: share of the area that is undercut, depth [mm], balance and score in 0..1."""

    direction: np.ndarray
    undercut_share: float
    depth: float
    balance: float
    score: float
    why: str = ""
    origin: str = field(default="", compare=False)

    def as_dict(self) -> dict[str, Any]:
        """As the stage contract names it."""
        return {
            "direction": [float(v) for v in self.direction], "undercut_share": self.undercut_share, "depth": self.depth,
            "balance": self.balance, "score": self.score, "why": self.why,
        }  # fmt: skip


class Tipper:
    """Judges directions of travel for one mesh."""

    def __init__(self, mesh: TriMesh, holes: tuple[Hole, ...], slack: float, normals: np.ndarray | None = None) -> None:
        self.mesh, self.holes = mesh, holes
        self.view = View(mesh, slack, normals)
        self.rim = outer_loop(mesh)
        rng = np.random.default_rng(7)
        m = len(mesh.triangles)
        self.some = np.arange(m) if m <= RAYS else np.sort(rng.choice(m, RAYS, replace=False, p=mesh.areas / mesh.area))
        self._even = np.full(len(self.some), 1.0 / len(self.some)) if m > RAYS else mesh.areas / mesh.area

    def mouth_up(self, axis: np.ndarray) -> np.ndarray:
        """``axis`` turned so that the outer edge lies above the mean of the surface."""
        if len(self.rim) == 0:
            return axis
        ring = self.mesh.points[self.rim]
        step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
        weight = 0.5 * (step + np.roll(step, 1))
        rim = (ring * weight[:, None]).sum(axis=0) / weight.sum()
        surface = (self.mesh.centroids * self.mesh.areas[:, None]).sum(axis=0) / self.mesh.area
        return axis if (rim - surface) @ axis >= 0 else -axis

    def judge(self, up: np.ndarray, full: bool = False) -> Candidate:
        """Measure one upward direction; ``full`` looks at every triangle instead of a sample."""
        up = up / np.linalg.norm(up)
        if full:
            share = float(self.mesh.areas[self.view.undercut(up)].sum() / self.mesh.area)
        else:
            share = float(self._even[self.view.undercut(up, self.some)].sum())
        height = self.mesh.points @ up
        depth = float(np.ptp(height))
        balance = self._balance(up, height)
        projected = max(float(np.abs(self.mesh.normals @ up) @ self.mesh.areas), 1e-9)
        score = 1.0 / (1.0 + 20.0 * share + depth / np.sqrt(projected) + 0.5 * (1.0 - balance))
        return Candidate(-up, share, depth, balance, float(score))

    def _balance(self, up: np.ndarray, height: np.ndarray) -> float:
        """Least over greatest draw depth in sectors around the middle: the rim's mean height there less the lowest point."""
        if len(self.rim) == 0:
            return 1.0
        e1, e2 = across(up)
        plan = np.c_[self.mesh.points @ e1, self.mesh.points @ e2]
        plan = plan - 0.5 * (plan.min(axis=0) + plan.max(axis=0))
        sector = np.floor((np.arctan2(plan[:, 1], plan[:, 0]) / (2 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
        lowest = np.full(SECTORS, np.inf)
        np.minimum.at(lowest, sector, height)
        at = sector[self.rim]
        count = np.bincount(at, minlength=SECTORS)
        mean = np.bincount(at, weights=height[self.rim], minlength=SECTORS) / np.maximum(count, 1)
        depth = (mean - lowest)[count > 0]
        greatest = float(depth.max()) if len(depth) else 0.0
        return float(max(depth.min(), 0.0) / greatest) if greatest > 1e-9 else 1.0

    def candidates(self, watch: Watch | None = None) -> list[Candidate]:
        """Directions worth a look, best first, each with the reason in words."""
        watch = watch or Watch()
        named = self._named()
        judged: list[Candidate] = []
        for i, (axis, origin) in enumerate(named):
            watch.step("judging directions", i, len(named) + 6)
            up = self.mouth_up(axis)
            judged.append(_with(self.judge(up), origin))
        for i, axis in enumerate(self._sampled()):
            watch.step("judging directions", len(named) + i, len(named) + 6)
            judged.append(_with(self._refined(self.mouth_up(axis)), "search over all directions"))
        judged.sort(key=lambda c: -c.score)
        best = judged[0]
        # a direction with a meaning on the drawing is worth more than a hundredth of score
        plain = next((c for c in judged if c.origin != "search over all directions" and c.score > best.score - 0.01), best)
        ordered = [plain] + [c for c in judged if c is not plain]
        kept: list[Candidate] = []
        for c in ordered:
            if all(_angle(c.direction, k.direction) > SAME_DEG for k in kept):
                kept.append(c)
            if len(kept) == 5:
                break
        full = [_with(self.judge(-c.direction, full=True), c.origin) for c in kept]
        full.sort(key=lambda c: -c.score - (0.01 if c.direction @ plain.direction > 0.9999 else 0.0))
        least = full[0].undercut_share
        # a direction under which half the part cannot be reached is no proposal; two alternatives stay to show why they lose
        near = [c for i, c in enumerate(full) if i < 3 or c.undercut_share < least + 0.2]
        return [_explained(c, near) for c in near]

    def _named(self) -> list[tuple[np.ndarray, str]]:
        mesh = self.mesh
        total = mesh.doubled_normals.sum(axis=0)
        found: list[tuple[np.ndarray, str]] = []
        found += [(axis, f"{name} axis of the part") for axis, name in zip(np.eye(3), "xyz", strict=True)]
        if np.linalg.norm(total) > 1e-3 * mesh.area:
            found.append((total, "mean normal of the surface"))
        centred = mesh.centroids - (mesh.centroids * mesh.areas[:, None]).sum(axis=0) / mesh.area
        _, vectors = np.linalg.eigh((centred * mesh.areas[:, None]).T @ centred)
        found.append((vectors[:, 0], "thinnest way through the part"))
        if len(self.rim):
            ring = mesh.points[self.rim]
            ring = ring - ring.mean(axis=0)
            plane = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
            if np.linalg.norm(plane) > 0:
                found.append((plane, "plane of the outer edge"))
        for hole in self.holes[:4]:
            if hole.diameter is not None:
                found.append((np.array(hole.axis), f"axis of hole {hole.id}"))
        unit = [(axis / np.linalg.norm(axis), text) for axis, text in found]
        kept: list[tuple[np.ndarray, str]] = []
        for axis, text in unit:
            if all(abs(axis @ k) < np.cos(np.radians(0.05)) for k, _ in kept):
                kept.append((axis, text))
        return kept

    def _sampled(self) -> list[np.ndarray]:
        """A few starting directions of a half sphere: those under which least of the surface looks away."""
        n = 200
        k = np.arange(n) + 0.5
        z, turn = k / n, np.pi * (1 + 5**0.5) * k
        r = np.sqrt(1 - z**2)
        sphere = np.c_[r * np.cos(turn), r * np.sin(turn), z]
        rise = self.mesh.normals @ sphere.T
        sign = np.sign(self.mesh.areas @ rise)
        away = self.mesh.areas @ np.clip(-rise * np.where(sign == 0, 1, sign), 0, None) / self.mesh.area
        height = np.ptp(self.mesh.points @ sphere.T, axis=0)
        cost = 20 * away + height / np.sqrt(self.mesh.area)
        picked: list[np.ndarray] = []
        for i in np.argsort(cost):
            if all(abs(sphere[i] @ p) < np.cos(np.radians(25)) for p in picked):
                picked.append(sphere[i])
            if len(picked) == 3:
                break
        return picked

    def _refined(self, up: np.ndarray) -> Candidate:
        """Turn a direction in ever smaller steps while the score grows."""
        best = self.judge(up)
        step = np.radians(8.0)
        while step > np.radians(0.2):
            e1, e2 = across(-best.direction)
            moved = False
            for a, b in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                trial = self.judge(-best.direction + np.tan(step) * (a * e1 + b * e2))
                if trial.score > best.score + 1e-6:
                    best, moved = trial, True
                    break
            if not moved:
                step /= 2
        return best


def _with(candidate: Candidate, origin: str) -> Candidate:
    c = candidate
    return Candidate(c.direction, c.undercut_share, c.depth, c.balance, c.score, "", origin)


def _plain(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.2g}" if value < 10 else f"{value:.3g}"


def _angle(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))


def _explained(c: Candidate, others: list[Candidate]) -> Candidate:
    parts = [c.origin]
    parts.append("no undercut" if c.undercut_share < 1e-4 else f"{_plain(100 * c.undercut_share)} % of the surface is undercut")
    if c.depth <= min(o.depth for o in others) + 1e-9:
        parts.append(f"least depth ({_plain(c.depth)} mm)")
    else:
        parts.append(f"depth {_plain(c.depth)} mm")
    parts.append("even depth all round" if c.balance > 0.9 else f"depth around varies down to {100 * c.balance:.0f} % of the greatest")
    return Candidate(c.direction, c.undercut_share, c.depth, c.balance, c.score, "; ".join(parts), c.origin)


def across(up: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Press x and y axes for an upward direction: x is the first part axis more than 25 degrees off it, laid across."""
    axis = next(e for e in np.eye(3) if abs(e @ up) < np.cos(np.radians(25)))
    e1 = axis - (axis @ up) * up
    e1 /= np.linalg.norm(e1)
    return e1, np.cross(up, e1)


def press_frame(mesh: TriMesh, direction: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation ``(3, 3)`` and shift ``(3,)`` from part to press coordinates: ``x' = R x + s``.

    The top of the part lies at z = 0, the middle of its plan box at x = y = 0. Raises :class:`InputError` for a direction without length.
    """
    length = float(np.linalg.norm(direction))
    if not np.isfinite(length) or length < 1e-9:
        raise InputError("the press direction has no length.", where="part.press_direction")
    up = -np.asarray(direction, dtype=float) / length
    e1, e2 = across(up)
    rotation = np.array([e1, e2, up])
    turned = mesh.points @ rotation.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    return rotation, -np.array([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), high[2]])
