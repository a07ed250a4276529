"""The cut through the closed working faces, true to scale: tools as lines hatched on the metal's side, the sheet on the die, depth and opening as dimensions."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from diewright.book.paper.colours import INK
from diewright.book.paper.digits import quantity
from diewright.book.paper.drawing import CHECK_HEIGHT, SCALES, Drawing, check_bar
from diewright.book.paper.press_section import SOLID, Cut, cut, name_in_metal, strokes
from diewright.book.paper.svg import Svg, stroke_hatch
from diewright.geometry.mesh import Floats, TriMesh

ROOM = 16.0  # round the cut, for dimensions and names [mm]
HELD = 2.2  # thicknesses across which a face holds the sheet on the die
FINE = 0.5  # step [thicknesses] at which lines are compared


@dataclass(frozen=True)
class Sheet:
    """The sheet's cut: its side on the die and its other side, ``(k, 2)`` each [mm]."""

    lower: Floats
    upper: Floats


def sheet_on(die: Cut, others: list[Cut], thickness: float) -> Sheet | None:
    """The sheet as it lies on a chain of the die, from where another face first holds it to where it last does; None where none does.

    The chain's ``value`` is what one millimetre of thickness measures in the plane of the cut (1 where the face stands square to it).
    """
    if not others:
        return None
    spots = np.concatenate([_fine(c.line, FINE * thickness) for c in others])
    held = np.flatnonzero(cKDTree(spots).query(die.line)[0] < HELD * thickness * die.value)
    if len(held) < 2 or held[-1] == held[0]:
        return None
    lower, upper = _band(die, thickness)
    return Sheet(lower[held[0] : held[-1] + 1], upper[held[0] : held[-1] + 1])


def _band(face: Cut, thickness: float) -> tuple[Floats, Floats]:
    """A chain, and the chain moved by the thickness to the side of its normals."""
    line = face.line
    d = np.concatenate([line[1:2] - line[:1], line[2:] - line[:-2], line[-1:] - line[-2:-1]])
    d /= np.maximum(np.hypot(*d.T), 1e-12)[:, None]
    normal = np.column_stack([-d[:, 1], d[:, 0]]) * (1.0 if face.normal_left else -1.0)
    return line, line + normal * (thickness * face.value)[:, None]


def under_punch(punch: Cut, die: list[Cut], thickness: float) -> list[Sheet]:
    """The sheet under a chain of the punch where no die faces it, between two places where one does."""
    spots = np.concatenate([_fine(c.line, FINE * thickness) for c in die])
    held = cKDTree(spots).query(punch.line)[0] < HELD * thickness * punch.value
    ends = np.flatnonzero(held)
    found = []
    for a, b in itertools.pairwise(ends):
        if b - a > 1:
            line, other = _band(punch, thickness)
            found.append(Sheet(line[a : b + 1], other[a : b + 1]))
    return found


def _fine(line: Floats, step: float) -> Floats:
    long = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0.0, long[-1], max(int(long[-1] / step) + 1, 2))
    return np.column_stack([np.interp(at, long, line[:, k]) for k in (0, 1)])


def chains(mesh: TriMesh, axis: int, at: float) -> list[Cut]:
    """Cut a face; each chain carries what one millimetre across the face measures in the plane."""
    return cut(mesh, axis, at, 1.0 / np.sqrt(np.clip(1.0 - mesh.normals[:, axis] ** 2, 0.1, None)))


def crossed(ring: Floats, axis: int, at: float) -> Floats:
    """Where a closed line in plan ``(k, 2)`` meets the plane: places along it, in order [mm]."""
    a, b = ring[:, :2], np.roll(ring[:, :2], -1, axis=0)
    meets = (a[:, axis] > at) != (b[:, axis] > at)
    a, b = a[meets], b[meets]
    f = (at - a[:, axis]) / (b[:, axis] - a[:, axis])
    return np.sort(a[:, 1 - axis] + f * (b[:, 1 - axis] - a[:, 1 - axis]))


def section(faces: Mapping[str, TriMesh], thickness: float, opening: Floats, axis: int, at: float, width: float, tallest: float) -> Drawing:
    """Draw the cut ``axis`` (0 or 1) = ``at`` [mm] through ``die``, ``punch`` and ``blankholder`` in their closed places; the largest standard scale that fits ``width`` by ``tallest`` [mm of paper].

    Raises :class:`ValueError` where the plane passes beside the die.
    """
    cuts = {name: chains(mesh, axis, at) for name, mesh in faces.items()}
    if not cuts.get("die"):
        raise ValueError("the plane passes beside the die")
    others = [c for name in cuts if name != "die" for c in cuts[name]]
    metal = [s for s in (sheet_on(c, others, thickness) for c in cuts["die"]) if s is not None]
    metal += [s for c in cuts.get("punch", []) for s in under_punch(c, cuts["die"], thickness)]
    every = np.concatenate([c.line for found in cuts.values() for c in found])
    low, high = every.min(axis=0), every.max(axis=0)
    span = np.maximum(high - low, 1e-6)
    room = (width - 2 * ROOM - 6.0, tallest - 2 * ROOM - CHECK_HEIGHT)
    scale = next((s for s in SCALES if span[0] * s <= room[0] and span[1] * s <= room[1]), SCALES[-1])
    size = span * scale
    svg = Svg(width, float(size[1]) + 2 * ROOM + CHECK_HEIGHT)
    x0, y1 = (width - size[0]) / 2 - 4.0, ROOM - 6.0 + size[1]

    def paper(points: Floats) -> Floats:
        return np.column_stack([x0 + (points[:, 0] - low[0]) * scale, y1 - (points[:, 1] - low[1]) * scale])

    for name, found in cuts.items():
        for c in found:
            line = paper(c.line)
            svg.path(line, width=0.3)
            svg.path(strokes(line, left=not c.normal_left), width=0.1)
        name_in_metal(svg, name, [(paper(c.line), not c.normal_left) for c in found], width, float(svg.height) - CHECK_HEIGHT)
    for one in metal:
        ring = paper(np.concatenate([one.lower, one.upper[::-1]]))
        if thickness * scale < SOLID:
            svg.path(ring, width=0.05, fill=INK, closed=True, name="sheet-cut")
        else:
            svg.path(ring, width=0.3, fill="#ffffff", closed=True, name="sheet-cut")
            stroke_hatch(svg, ring, gap=0.9)
    _dimensions(svg, cuts, thickness, crossed(opening, axis, at), paper, (x0 + float(size[0]), y1))
    check_bar(svg, 0.2, float(svg.height) - CHECK_HEIGHT + 1.0)
    return Drawing(svg, scale)


def _dimensions(svg: Svg, cuts: Mapping[str, list[Cut]], thickness: float, opening: Floats, paper, corner: tuple[float, float]) -> None:  # type: ignore[no-untyped-def]
    """The opening below, the depth at the right: from the die's highest place to the sheet's lower side under the punch."""
    right, y1 = corner
    if len(opening) > 1:
        (a, _), (b, _) = paper(np.array([[opening[0], 0.0], [opening[-1], 0.0]]))
        y = y1 + 8.0
        for x in (a, b):
            svg.line(x, y1 + 3.0, x, y + 1.5, width=0.18)
        svg.arrow(a, y, b, y, width=0.18, both=True)
        svg.text((a + b) / 2, y - 1.0, f"punch opening {quantity(float(opening[-1] - opening[0]), 'mm', 4)}", anchor="middle", halo=True)
    if cuts.get("punch"):
        top = max(float(c.line[:, 1].max()) for c in cuts["die"])
        bottom = min(float(c.line[:, 1].min()) for c in cuts["punch"]) - thickness
        (_, up), (_, down) = paper(np.array([[0.0, top], [0.0, bottom]]))
        if down - up > 4.0:
            x = right + 8.0
            for v in (up, down):
                svg.line(right + 1.5, v, x + 1.5, v, width=0.18)
            svg.arrow(x, up, x, down, width=0.18, both=True)
            text = quantity(top - bottom, "mm", 4)
            if down - up > 16.0:
                svg.text(x - 1.0, (up + down) / 2, text, anchor="middle", turn=-90, halo=True)
            else:
                svg.text(x + 1.4, (up + down) / 2 + 1.0, text)
