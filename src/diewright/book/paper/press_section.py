"""A cut through sheet and tools, true to scale: the sheet at its own thickness, the tools as lines hatched on the metal's side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diewright.book.paper.colours import INK
from diewright.book.paper.digits import quantity
from diewright.book.paper.drawing import CHECK_HEIGHT, SCALES, Drawing, check_bar
from diewright.book.paper.svg import Svg, stroke_hatch
from diewright.geometry.mesh import Floats, TriMesh

SOLID = 0.7  # a sheet thinner than this on paper [mm] is drawn solid, as thin sections are
ROOM = 16.0  # round the cut, for dimensions and names [mm]


@dataclass(frozen=True)
class Cut:
    """A chain of a cut in the plane: places ``(k, 2)`` [mm], the triangle's value there, and on which side of the way the normals point."""

    line: Floats
    value: Floats
    normal_left: bool


def cut(mesh: TriMesh, axis: int, at: float, values: Floats | None = None) -> list[Cut]:
    """Cut a mesh by the plane ``axis`` = ``at``; chains are joined by the mesh's own edges, so that nothing depends on rounding.

    ``values`` is a number a triangle; a chain carries the mean of the triangles that meet at each of its points.
    """
    i, j = [k for k in range(3) if k != axis]
    side = mesh.points[:, axis] - at > 0
    split = np.flatnonzero(np.ptp(side[mesh.triangles].astype(int), axis=1))
    place: dict[tuple[int, int], Floats] = {}
    sums: dict[tuple[int, int], list[float]] = {}
    links: dict[tuple[int, int], list[tuple[tuple[int, int], int]]] = {}
    for t in split:
        ends = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            p, q = sorted((int(mesh.triangles[t, a]), int(mesh.triangles[t, b])))
            if side[p] == side[q]:
                continue
            u = (mesh.points[p, axis] - at) / (mesh.points[p, axis] - mesh.points[q, axis])
            place[p, q] = (mesh.points[p] + u * (mesh.points[q] - mesh.points[p]))[[i, j]]
            sums.setdefault((p, q), []).append(0.0 if values is None else float(values[t]))
            ends.append((p, q))
        links.setdefault(ends[0], []).append((ends[1], int(t)))
        links.setdefault(ends[1], []).append((ends[0], int(t)))
    chains = []
    used: set[int] = set()
    for start in sorted(links, key=lambda e: (len(links[e]) != 1, e)):  # open ends first
        chain, cells, here = [start], [], start
        while step := next(((e, t) for e, t in links[here] if t not in used), None):
            here, cell = step
            used.add(cell)
            chain.append(here)
            cells.append(cell)
        if cells:
            line = np.array([place[e] for e in chain])
            d, n = np.diff(line, axis=0), mesh.doubled_normals[cells][:, [i, j]]
            chains.append(Cut(line, np.array([np.mean(sums[e]) for e in chain]), bool((d[:, 0] * n[:, 1] - d[:, 1] * n[:, 0]).sum() > 0)))
    return chains


def section(
    sheet: TriMesh, thickness: Floats, tools: list[tuple[str, TriMesh, float]], axis: int, at: float, width: float, tallest: float
) -> Drawing:
    """Draw the cut. ``thickness`` a triangle [mm]; ``tools`` as name, mesh in the closed place, lift [mm]; ``axis`` 0 or 1.

    The width of the sheet is dimensioned, and its height. The scale is the largest standard one that fits ``width`` by ``tallest`` [mm of paper].
    """
    slant = np.sqrt(np.clip(1.0 - sheet.normals[:, axis] ** 2, 0.1, None))  # cut obliquely, the sheet is met thicker
    metal = cut(sheet, axis, at, np.asarray(thickness, dtype=float) / slant)
    faces = [(name, cut(mesh, axis, at), lift) for name, mesh, lift in tools]
    low = np.min([c.line.min(axis=0) for c in metal], axis=0)
    high = np.max([c.line.max(axis=0) for c in metal], axis=0)
    room = (width - 2 * ROOM - 6.0, tallest - 2 * ROOM - CHECK_HEIGHT)
    span = np.maximum(high - low, 1e-6)
    scale = next((s for s in SCALES if span[0] * s <= room[0] and span[1] * s <= room[1]), SCALES[-1])
    size = span * scale
    svg = Svg(width, float(size[1]) + 2 * ROOM + CHECK_HEIGHT)
    x0, y1 = (width - size[0]) / 2, ROOM + size[1]
    window = svg.window(0.5, 1.0, width - 1.0, float(size[1]) + 2 * ROOM - 8.0)

    def paper(points: Floats, lift: float = 0.0) -> Floats:
        return np.column_stack([x0 + (points[:, 0] - low[0]) * scale, y1 - (points[:, 1] + lift - low[1]) * scale])

    for name, chains, lift in faces:
        for one in chains:
            line = paper(one.line, lift)
            svg.path(line, width=0.25, clip=window)
            svg.path(strokes(line, left=not one.normal_left), width=0.1, clip=window)
        name_in_metal(svg, name, [(paper(c.line, lift), not c.normal_left) for c in chains], width, float(svg.height) - CHECK_HEIGHT)
    for one in metal:
        ring = paper(_band(one))
        if float(one.value.mean()) * scale < SOLID:
            svg.path(ring, width=0.05, fill=INK, closed=True, name="sheet-cut")
        else:
            svg.path(ring, width=0.35, fill="#ffffff", closed=True, name="sheet-cut")
            stroke_hatch(svg, ring, gap=0.9)
    y = y1 + 9.0
    for x in (x0, x0 + size[0]):
        svg.line(x, y1 + 1.5, x, y + 1.5, width=0.18)
    svg.arrow(x0, y, x0 + size[0], y, width=0.18, both=True)
    svg.text(width / 2, y - 1.0, quantity(float(span[0]), "mm", 4), anchor="middle", halo=True)
    if size[1] > 4.0:
        x = x0 + size[0] + 7.0
        for v in (ROOM, y1):
            svg.line(x0 + size[0] + 1.5, v, x + 1.5, v, width=0.18)
        svg.arrow(x, ROOM, x, y1, width=0.18, both=True)
        svg.text(x - 1.0, (ROOM + y1) / 2, quantity(float(span[1]), "mm", 3), anchor="middle", turn=-90, halo=True)
    check_bar(svg, 0.2, float(svg.height) - CHECK_HEIGHT + 1.0)
    return Drawing(svg, scale)


def _band(one: Cut) -> Floats:
    """The outline of the sheet's cut: the chain moved by half the thickness to both sides, ``(2 k, 2)``."""
    d = np.gradient(one.line, axis=0)
    length = np.hypot(*d.T)
    keep = length > 1e-9
    line, d = one.line[keep], d[keep] / length[keep, None]
    normal = np.column_stack([-d[:, 1], d[:, 0]]) * (one.value[keep] / 2)[:, None]
    return np.concatenate([line + normal, (line - normal)[::-1]])


def strokes(line: Floats, *, left: bool, gap: float = 1.5, long: float = 1.5) -> Floats:
    """Short hatch strokes on the metal's side, with pen lifts; ``left`` of the way in coordinates with y up (the line is in paper, y down)."""
    step = np.diff(line, axis=0)
    length = np.hypot(*step.T)
    total = np.concatenate([[0.0], np.cumsum(length)])
    if total[-1] < gap:
        return np.zeros((0, 2))
    at = np.arange(gap / 2, total[-1], gap)
    spots = np.column_stack([np.interp(at, total, line[:, k]) for k in (0, 1)])
    n = np.clip(np.searchsorted(total, at) - 1, 0, len(step) - 1)
    d = step[n] / np.maximum(length[n], 1e-9)[:, None]
    inward = np.column_stack([d[:, 1], -d[:, 0]]) * (1.0 if left else -1.0)
    slope = (inward[:, 0] - inward[:, 1]) * 0.7071
    way = np.where(np.abs(slope)[:, None] > 0.25, np.sign(slope)[:, None] * np.array([[0.7071, -0.7071]]), inward)
    rows = np.full((3 * len(at), 2), np.nan)
    rows[0::3], rows[1::3] = spots, spots + long * way
    return rows


def name_in_metal(svg: Svg, name: str, lines: list[tuple[Floats, bool]], width: float, foot: float) -> None:
    """The tool's name in its metal, beside its longest level stretch in sight."""
    best: tuple[float, float, float, bool] | None = None
    for line, left in lines:
        d = np.diff(line, axis=0)
        for a, b in zip(line[:-1], d, strict=True):
            x, y = a + b / 2
            if abs(b[1]) > 0.3 * abs(b[0]) or not (8 < x < width - 8 and 4 < y < foot - 8):
                continue
            worth = min(abs(float(b[0])), 40.0)
            if best is None or worth > best[0]:
                best = (worth, float(x), float(y), (b[0] > 0) != left)
    if best is not None:
        svg.text(min(max(best[1], 10.0), width - 10.0), best[2] + (4.6 if best[3] else -2.6), name, anchor="middle", italic=True, halo=True)
