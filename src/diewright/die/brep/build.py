"""Die, punch and blankholder as shells, from the part's skin, the sections led out of its edge, and the blankholder's surface; runs in the child process."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.die.brep.filling import Filling, fill
from diewright.die.brep.kernel import line2, points2
from diewright.die.brep.kernel import surface as bicubic
from diewright.die.brep.model import Panel, Trim
from diewright.die.brep.moved import Law, Moved, Shift, move
from diewright.die.brep.ring import Ground, on_middle, ring
from diewright.die.brep.sewn import Sewn, sew
from diewright.die.brep.skin import Skin
from diewright.die.brep.spline import axis, fit_surface
from diewright.die.brep.strips import strips
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FIT = 0.0005
"""Surfaces are fitted within this of the points they stand for [mm]; the allowance for the whole is four times as much."""
OFF = 0.02
"""A filling may lie this far off the triangles that the tryout ran on, in thicknesses (as the faces)."""
CROSSED = 0.02
"""Share of a face's area that may lie on the other side of the border of a tool before it counts as crossed."""


@dataclass(frozen=True, eq=False)
class Led:
    """What lies outside the part: sections ``columns (k, s, 3)`` with unit normals ``standing``, numbers of their joints, ends included, outer limit ``(j, 2)``, the blankholder's surface."""

    columns: Floats
    standing: Floats
    joints: list[int]
    outer: Floats
    ground: Ground


@dataclass(frozen=True, eq=False)
class Middle:
    """The drawn surface as triangles, and which of them the blankholder holds and the punch draws ``(m,)``."""

    mesh: TriMesh
    held: Mask
    punched: Mask


@dataclass(eq=False)
class Tool:
    """One tool: its panels, their surfaces, the shell, and the keys of the edges that may be free."""

    panels: list[Panel]
    moved: list[Moved]
    sewn: Sewn
    border: set[Hashable]


@dataclass(eq=False)
class Built:
    """The tools by name, sentences on what is not as it should be: ``(key, sentence, value)``, and what became of the holes over several faces."""

    tools: dict[str, Tool]
    remarks: list[tuple[str, str, float]]
    fillings: list[Filling]


def build(skin: Skin, led: Led, middle: Middle, thickness: float, opening: Law, top: float, shift: Shift | None = None) -> Built:
    """Build the three tools.

    Punch and blankholder lie half the ``thickness`` above the middle of the sheet, the die ``t/2`` and the ``opening`` below [mm]; the punch's wall reaches up to ``top``. ``shift``
    displaces every point of every tool. Raises :class:`SolveError` where a surface cannot be fitted or nothing is left for a tool.
    """

    def above(p: Floats, n: Floats) -> Floats:
        return np.full(len(n), 0.5 * thickness)

    def below(p: Floats, n: Floats) -> Floats:
        return -(0.5 * thickness + opening(p, n))

    fillings = [fill(skin, loop, middle.mesh, i, 0.5 * OFF * thickness) for i, loop in enumerate(skin.holes, 1)]
    panels, inside = _panels(skin, led, fillings)
    held, punched = _zones(panels, inside, middle)
    low = _moved(panels, below, shift, "die")
    high = _moved(panels, above, shift, "punch")
    remarks = [said for f in fillings for said in _told(f, thickness)]
    open_ = {trim.key for loop, f in zip(skin.holes, fillings, strict=True) if f.panel is None for _, trim in loop}
    for panel, h, p in zip(panels, held, punched, strict=True):
        for share, name in ((h, "blankholder"), (p, "punch")):
            if CROSSED < share < 1.0 - CROSSED:
                said = f"the border of the {name} runs across {panel.name}: {100 * share:.0f} % of it belongs to the {name}"
                remarks.append(("crossed", said, share))
    on_punch = [i for i, p in enumerate(punched) if p >= 0.5]
    on_holder = [i for i, h in enumerate(held) if h >= 0.5]
    if not on_punch or not on_holder:
        raise SolveError(
            "the part's CAD faces are too large to tell punch and blankholder apart: one face reaches over both.", where="faces",
            help="Split the part's surface along the die radius in CAD.",
        )  # fmt: skip
    limit = {trim.key for trim in panels[-1].loops[0]}
    die = Tool(panels, low, sew(panels, low, True, FIT), limit | open_)
    punch = _skirted([panels[i] for i in on_punch], [high[i] for i in on_punch], above, top, shift, open_)
    picked = [panels[i] for i in on_holder], [high[i] for i in on_holder]
    # the blankholder ends where what it holds meets what it does not
    others = {trim.key for i, panel in enumerate(panels) if i not in on_holder for loop in panel.loops for trim in loop}
    holder = Tool(*picked, sew(*picked, False, FIT), limit | others)
    return Built({"die": die, "punch": punch, "blankholder": holder}, remarks, fillings)


def _panels(skin: Skin, led: Led, fillings: list[Filling]) -> tuple[list[Panel], list[tuple[Floats, Floats]]]:
    panels, inside = list(skin.panels), list(skin.inside)
    for f in fillings:
        if f.panel is not None:
            panels.append(f.panel)
            inside.append(f.inside)
    if led.columns.shape[1] > 1:
        made, tops = strips(skin, led.columns, led.standing, led.joints, led.ground)
        owner = {trim.key: panel for panel in made for trim in panel.loops[0] if trim in tops}
        inner = [(trim, owner[trim.key]) for trim in tops]
        panels += made
        inside += [_over(panel) for panel in made]
    else:
        inner = [(trim, skin.panels[i]) for i, trim in skin.edge]
    hole = [(trim, on_middle(panel, trim), trim.backwards != panel.down) for trim, panel in inner]
    panels.append(ring(hole, led.outer, led.ground, 4.0 * FIT))
    inside.append((np.zeros((0, 3)), np.zeros(0)))
    return panels, inside


def _over(panel: Panel) -> tuple[Floats, Floats]:
    """Points spread over a panel that fills its parameters' box, each standing for the same area."""
    share = (np.arange(12) + 0.5) / 12
    u, v = (a.breaks[0] + share * (a.breaks[-1] - a.breaks[0]) for a in (panel.u, panel.v))
    uu, vv = (g.ravel() for g in np.meshgrid(u, v, indexing="ij"))
    return panel.base.points(uu, vv)[0], np.ones(len(uu))


def _zones(panels: list[Panel], inside: list[tuple[Floats, Floats]], middle: Middle) -> tuple[list[float], list[float]]:
    """Share of each panel that is held and that is punched; the ring is held."""
    from igl import point_mesh_squared_distance

    corners, cells = np.ascontiguousarray(middle.mesh.points), middle.mesh.triangles.astype(np.int64)
    held, punched = [], []
    for panel, (points, area) in zip(panels, inside, strict=True):
        if panel.kind == "ring":
            held.append(1.0)
            punched.append(0.0)
            continue
        _, cell, _ = point_mesh_squared_distance(np.ascontiguousarray(points), corners, cells)
        near = np.asarray(cell, dtype=np.int64).ravel()
        total = float(area.sum())
        held.append(float(area[middle.held[near]].sum()) / total)
        punched.append(float(area[middle.punched[near]].sum()) / total)
    return held, punched


def _moved(panels: list[Panel], law: Law, shift: Shift | None, name: str) -> list[Moved]:
    out = []
    for panel in panels:
        found = move(panel, law, shift, FIT)
        if not found.miss <= 4.0 * FIT:
            raise SolveError(
                f"the {name}'s surface over {panel.name} cannot be fitted: it misses by {found.miss:.3g} mm (allowed {4 * FIT:g} mm).", where="faces",
                help="Smooth that face in CAD: it has a kink inside, or a radius that is hardly larger than the sheet is thick.",
            )  # fmt: skip
        out.append(found)
    return out


def _told(f: Filling, thickness: float) -> list[tuple[str, str, float]]:
    """Remarks on a hole over several faces: that it stays open, or that its filling is not that of the triangles."""
    spot = ", ".join(f"{v:.0f}" for v in f.at)
    if f.panel is None:
        numbers = "" if np.isnan(f.gap) else f" by {f.gap:.3g} mm and {f.deg:.2g} deg"
        said = f"the hole over {f.faces} CAD faces at ({spot}) mm is open in the tools: no smooth surface closes it, {f.missed}{numbers}; close it in CAD"
        return [("hole", said, float(f.faces))]
    if f.off is not None and f.off > OFF * thickness:
        said = f"the hole over {f.faces} CAD faces at ({spot}) mm is closed by a surface that lies up to {f.off:.3g} mm off the filling that the tryout ran on"
        return [("hole_off", said, f.off)]
    return []


def _skirted(panels: list[Panel], moved: list[Moved], law: Law, top: float, shift: Shift | None, holes: set[Hashable]) -> Tool:
    """The punch with a vertical wall from its outline up to ``top``; the edges of ``holes`` stay free."""
    users: dict[Hashable, list[tuple[int, Trim]]] = {}
    for i, panel in enumerate(panels):
        for loop in panel.loops:
            for trim in loop:
                if not trim.collapsed:
                    users.setdefault(trim.key, []).append((i, trim))
    walls = [
        _wall(panels[found[0][0]], found[0][1], law, top, shift) for key, found in users.items() if len(found) == 1 and key not in holes
    ]
    every = [*panels, *(w[0] for w in walls)], [*moved, *(w[1] for w in walls)]
    return Tool(*every, sew(*every, False, FIT), holes | {t.key for w, _ in walls for t in w.loops[0] if t.backwards})


def _wall(panel: Panel, trim: Trim, law: Law, top: float, shift: Shift | None) -> tuple[Panel, Moved]:
    def exact(u: Floats, v: Floats) -> Floats:
        p, n = panel.base.points(*points2(trim.curve, u).T)
        p = p + panel.rise * n
        p = p + law(p, n)[:, None] * n
        p[:, 2] += v * np.maximum(top - p[:, 2], 0.1)
        return p if shift is None else p + shift(p)

    def grid(u: Floats, v: Floats) -> Floats:
        uu, vv = np.meshgrid(u, v, indexing="ij")
        return exact(uu.ravel(), vv.ravel()).reshape(len(u), len(v), 3)

    t0, t1 = trim.first, trim.last
    u, v = axis(t0, t1, trim.breaks, 4), axis(0.0, 1.0, {}, 1)
    fitted = fit_surface(grid, u, v, FIT)
    anticlockwise = trim.backwards == panel.down
    ends = [("skirt", e) for e in trim.ends]
    bottom = replace(trim, curve=line2((0.0, 0.0), (1.0, 0.0)), backwards=False)
    over = Trim(("skirt", trim.key), (ends[0], ends[1]), line2((0.0, 1.0), (1.0, 0.0)), t0, t1, True, trim.breaks)
    sides = [
        Trim(("skirt side", trim.ends[i]), (trim.ends[i], ends[i]), line2((t, 0.0), (0.0, 1.0)), 0.0, 1.0, i == 0, {})
        for i, t in ((0, t0), (1, t1))
    ]
    wall = Panel(_Nothing(), 0.0, ((bottom, sides[1], over, sides[0]),), u, v, anticlockwise, "skirt", f"wall over {panel.name}")
    return wall, Moved(bicubic(fitted), "fitted", fitted.miss, exact)


class _Nothing:
    """A wall hangs on a tool, not on the middle of the sheet."""

    def points(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        raise SolveError("a punch's wall has no middle surface.", where="faces")


def summary(tool: Tool) -> dict[str, Any]:
    """How the faces of a tool came about: how many kept, moved, fitted, and the largest miss [mm]."""
    fitted = [m.miss for m in tool.moved if m.how == "fitted"]
    count = {how: sum(m.how == how for m in tool.moved) for how in ("kept", "moved", "fitted")}
    return {"faces": len(tool.panels), **count, "fit_error": max(fitted, default=0.0), "gap": tool.sewn.gap}
