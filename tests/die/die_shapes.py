"""Middle surfaces of invented parts with exact normals: pans, domes, channels, L- and T-shaped plans, crowns, steps, notches, holes, lips."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from die_parts import cup_normals, cup_profile, revolved, rounded
from scipy.spatial import Delaunay

from diewright.die.flat import even_line
from diewright.die.loft import arc
from diewright.geometry.mesh import TriMesh

Floats = np.ndarray


@dataclass(frozen=True, eq=False)
class Shape:
    """Middle surface with its rim about z = 0, exact unit normals at its points (0 on sharp edges), blank outline, and fields of ``[faces]``."""

    mesh: TriMesh
    normals: Floats
    blank: Floats


def _shape(mesh: TriMesh, normals: Floats, beyond: float = 20.0) -> Shape:
    loop = max(mesh.boundary_loops, key=mesh.loop_length)
    plan = shapely.Polygon(mesh.points[loop][:, :2]).buffer(0.5).buffer(beyond)
    return Shape(mesh, normals, even_line(np.asarray(shapely.orient_polygons(plan).exterior.coords)[:-1], 5.0))


def _sides(line: Floats) -> Floats:
    """Unit normals ``(k, 2)``, outwards, of a closed counter-clockwise line: of the circle through each point and its neighbours."""
    ahead = np.roll(line, -1, axis=0) - line
    behind = np.roll(ahead, 1, axis=0)
    t = ahead / (ahead**2).sum(axis=1, keepdims=True) + behind / (behind**2).sum(axis=1, keepdims=True)
    t /= np.hypot(*t.T)[:, None]
    return np.stack([t[:, 1], -t[:, 0]], axis=1)


def _turn(u: Floats, v: Floats) -> float:
    return math.atan2(u[0] * v[1] - u[1] * v[0], float(u @ v))


def plan_line(corners: list[tuple[float, float]], convex: float, step: float = 3.0, hollow: float | None = None) -> tuple[Floats, Floats]:
    """A polygon (counter-clockwise), its corners rounded by ``convex`` and, where it turns inwards, ``hollow``: points and exact outward normals ``(k, 2)``."""
    points, sides = [], []
    p = np.asarray(corners, dtype=float)
    hollow = convex if hollow is None else hollow
    for i in range(len(p)):
        a, b, c = p[i - 1], p[i], p[(i + 1) % len(p)]
        u, v = (b - a) / np.hypot(*(b - a)), (c - b) / np.hypot(*(c - b))
        turn = _turn(u, v)
        radius = convex if turn > 0 else hollow
        back = radius * math.tan(abs(turn) / 2)
        begin, side = b - back * u, np.array([u[1], -u[0]])
        count = max(math.ceil(abs(turn) * max(radius, 1.0) / step), 5)
        centre = begin - math.copysign(radius, turn) * side
        for f in np.linspace(0.0, turn, count + 1):
            n = np.array([side[0] * math.cos(f) - side[1] * math.sin(f), side[0] * math.sin(f) + side[1] * math.cos(f)])
            points.append(centre + math.copysign(radius, turn) * n)
            sides.append(n)
        end = points[-1]
        after = _turn(v, p[(i + 2) % len(p)] - c)
        length = float((c - end) @ v) - (convex if after > 0 else hollow) * math.tan(abs(after) / 2)
        for f in np.linspace(0.0, length, max(math.ceil(length / step), 1) + 1)[1:-1]:
            points.append(end + f * v)
            sides.append(np.array([v[1], -v[0]]))
    return np.array(points), np.array(sides)


def pan_section(depth: float, nose: float, shoulder: float, flange: float, lean: float = 0.0, step: float = 20.0) -> Floats:
    """Rows (offset out of the wall line, z, slope) from the floor's edge to the rim; wall line at the wall's foot, rim at z = 0; without shoulder the wall is the rim."""
    a = math.radians(90.0 - lean)
    foot = arc((-nose, nose - depth), nose, -math.pi / 2, -math.pi / 2 + a, 10.0, step)
    rows = [np.column_stack([foot, np.linspace(0.0, a, len(foot))])]
    top = -shoulder * (1 - math.cos(a)) if shoulder else 0.0
    end = foot[-1]
    rise = top - end[1]
    count = max(math.ceil(rise / 4.0), 2)
    reach = np.linspace(0.0, rise, count + 1)[1:, None] * np.array([[math.cos(a) / math.sin(a), 1.0]])
    rows.append(np.column_stack([end + reach, np.full(count, a)]))
    if shoulder:
        at = rows[-1][-1]
        bend = arc((at[0] + shoulder * math.sin(a), -shoulder), shoulder, math.pi / 2 + a, math.pi / 2, 10.0, step)[1:]
        rows.append(np.column_stack([bend, np.linspace(a, 0.0, len(bend) + 1)[1:]]))
        rim = bend[-1, 0] + np.linspace(0.0, flange, 4)[1:]
        rows.append(np.column_stack([rim, np.zeros(3), np.zeros(3)]))
    return np.vstack(rows)


def pan(line: Floats, sides: Floats, section: Floats, width: Callable[[Floats], Floats] | None = None) -> tuple[TriMesh, Floats]:
    """A pan swept round a plan line, its floor flat; ``width(k)`` scales the last three rows of the flange along the line."""
    k = len(line)
    points, normals, cells = [], [], []
    share = np.ones(k) if width is None else width(line)
    for j, (out, z, slope) in enumerate(section):
        if width is not None and j >= len(section) - 3:
            base = section[-4, 0]
            reach = base + (out - base) * share
        else:
            reach = np.full(k, out)
        points.append(np.column_stack([line + reach[:, None] * sides, np.full(k, z)]))
        normals.append(np.column_stack([-math.sin(slope) * sides, np.full(k, math.cos(slope))]))
        if j:
            a = (j - 1) * k + np.arange(k)
            b = (j - 1) * k + (np.arange(k) + 1) % k
            cells += [np.stack([a, a + k, b + k], axis=1), np.stack([a, b + k, b], axis=1)]
    ring = points[0][:, :2]
    area = shapely.Polygon(ring)
    x0, y0, x1, y1 = area.bounds
    grid = np.array([(x, y) for x in np.arange(x0, x1, 6.0) for y in np.arange(y0, y1, 6.0)])
    inner = shapely.contains_xy(area.buffer(-3.0), grid[:, 0], grid[:, 1])
    extra = grid[inner]
    flat = np.vstack([ring, extra])
    floor = Delaunay(flat).simplices
    middle = flat[floor].mean(axis=1)
    keep = shapely.contains_xy(area, middle[:, 0], middle[:, 1])
    floor = floor[keep]
    number = np.concatenate([np.arange(k), len(section) * k + np.arange(len(extra))])
    u, v = flat[floor[:, 1]] - flat[floor[:, 0]], flat[floor[:, 2]] - flat[floor[:, 0]]
    turned = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0
    floor[turned] = floor[turned][:, ::-1]
    points.append(np.column_stack([extra, np.full(len(extra), section[0, 1])]))
    normals.append(np.tile([0.0, 0.0, 1.0], (len(extra), 1)))
    return TriMesh(np.concatenate(points), np.concatenate([*cells, number[floor]])), np.concatenate(normals)


def lifted(mesh: TriMesh, normals: Floats, by: Callable[[Floats], tuple[Floats, Floats, Floats]]) -> tuple[TriMesh, Floats]:
    """The surface with ``g`` added to its heights, ``by(points)`` giving ``g (n,)``, its slopes ``(n, 2)`` in plan and ``dg/dz (n,)``; normals by the inverse transpose of that map."""
    g, slope, rate = by(mesh.points)
    up = normals[:, 2] / (1.0 + rate)
    n = np.column_stack([normals[:, :2] - slope * up[:, None], up])
    size = np.linalg.norm(n, axis=1, keepdims=True)
    return TriMesh(mesh.points + np.column_stack([0 * g, 0 * g, g]), mesh.triangles), n / np.maximum(size, 1e-12)


def channel(
    length: float, half: float, depth: float, nose: float, shoulder: float = 0.0, flange: float = 0.0, lean: float = 0.0
) -> tuple[TriMesh, Floats]:
    """A channel along x with open ends."""
    right = pan_section(depth, nose, shoulder, flange, lean)
    floor = np.linspace(-half + nose, half - nose, max(round(2 * (half - nose) / 5.0), 2) + 1)[1:-1]
    y = np.concatenate([-(half + right[::-1, 0]), floor, half + right[:, 0]])
    z = np.concatenate([right[::-1, 1], np.full(len(floor), -depth), right[:, 1]])
    s = np.concatenate([-right[::-1, 2], np.zeros(len(floor)), right[:, 2]])
    x = np.linspace(-length / 2, length / 2, max(round(length / 5.0), 4) + 1)
    k = len(y)
    points = np.concatenate([np.column_stack([np.full(k, v), y, z]) for v in x])
    normals = np.tile(np.column_stack([0 * s, -np.sin(s), np.cos(s)]), (len(x), 1))
    cells = []
    for j in range(len(x) - 1):
        a = j * k + np.arange(k - 1)
        cells += [np.stack([a, a + k, a + k + 1], axis=1), np.stack([a, a + k + 1, a + 1], axis=1)]
    return TriMesh(points, np.concatenate(cells)), normals


def without(mesh: TriMesh, normals: Floats, drop: np.ndarray) -> tuple[TriMesh, Floats]:
    """The mesh without the triangles of ``drop``."""
    used, number = np.unique(mesh.triangles[~drop], return_inverse=True)
    return TriMesh(mesh.points[used], number.reshape(-1, 3)), normals[used]


def _cup(**how: float) -> Shape:
    part = revolved(cup_profile(30.0, 40.0, 8.0, **how))
    return _shape(part, cup_normals(part, 30.0, 40.0, 8.0, how.get("shoulder", 0.0), how.get("lean", 0.0)))


def _box(w: float, h: float) -> list[tuple[float, float]]:
    return [(-w / 2, -h / 2), (w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2)]


L_PLAN = [(0.0, 0.0), (140.0, 0.0), (140.0, 70.0), (70.0, 70.0), (70.0, 150.0), (0.0, 150.0)]
T_PLAN = [(-90.0, 0.0), (90.0, 0.0), (90.0, 60.0), (35.0, 60.0), (35.0, 140.0), (-35.0, 140.0), (-35.0, 60.0), (-90.0, 60.0)]


def _dome(radius: float, half: float, shoulder: float, flange: float) -> Shape:
    """A spherical cap of opening angle ``half`` [deg], with a shoulder and a flange if asked for."""
    a = math.radians(half)
    at = np.linspace(0.0, a, 14)
    rows = [np.column_stack([radius * np.sin(at), -radius * np.cos(at), at])]
    if flange:
        end = rows[0][-1]
        bend = np.linspace(a, 0.0, 6)[1:]
        rows.append(
            np.column_stack([end[0] + shoulder * (math.sin(a) - np.sin(bend)), end[1] + shoulder * (np.cos(bend) - math.cos(a)), bend])
        )
        out = rows[-1][-1]
        rows.append(np.array([[out[0] + f * flange, out[1], 0.0] for f in (0.5, 1.0)]))
    p = np.vstack(rows)
    p[:, 1] -= p[-1, 1]
    mesh = revolved(p[:, :2], 72)
    r = np.hypot(*mesh.points[:, :2].T)
    slope = np.concatenate([[0.0], *(np.full(72, s) for s in p[1:, 2])])
    side = mesh.points[:, :2] / np.maximum(r, 1e-12)[:, None]
    return _shape(mesh, np.column_stack([-np.sin(slope)[:, None] * side, np.cos(slope)]))


def _crown(radius: float, double: bool) -> Shape:
    mesh, normals = pan(*plan_line(_box(180.0, 120.0), 30.0), pan_section(30.0, 8.0, 8.0, 20.0, 8.0))

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        y = p[:, 1] if double else 0.0 * p[:, 1]
        return -(p[:, 0] ** 2 + y**2) / (2 * radius), -np.column_stack([p[:, 0], y]) / radius, 0.0 * y

    return _shape(*lifted(mesh, normals, by))


def _stepped() -> Shape:
    """The floor lies 12 mm higher on one half: a smooth step, fading up the wall."""
    mesh, normals = pan(*plan_line(_box(180.0, 120.0), 30.0), pan_section(40.0, 8.0, 8.0, 18.0, 8.0))

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        x = np.clip((p[:, 0] + 30.0) / 60.0, 0.0, 1.0)
        f = np.clip(-p[:, 2] / 40.0, 0.0, 1.0)
        w, wz = f * f * (3 - 2 * f), 6 * f * (1 - f) * (-1 / 40.0)
        h, hx = 12.0 * x * x * (3 - 2 * x), 12.0 * 6 * x * (1 - x) / 60.0
        return h * w, np.column_stack([hx * w, 0 * x]), h * wz

    return _shape(*lifted(mesh, normals, by))


def _waved() -> Shape:
    """A cup whose rim rises and falls by 4 mm twice round."""
    cup = _cup()

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        at, f = np.arctan2(p[:, 1], p[:, 0]), np.clip((p[:, 2] + 32.0) / 32.0, 0.0, 1.0)
        r = np.maximum(np.hypot(p[:, 0], p[:, 1]), 1e-9)
        across = np.column_stack([-p[:, 1], p[:, 0]]) / r[:, None] ** 2
        return (
            4.0 * f * np.sin(2 * at),
            (8.0 * f * np.cos(2 * at))[:, None] * across,
            np.where((f > 0) & (f < 1), 4.0 * np.sin(2 * at) / 32.0, 0.0),
        )

    return _shape(*lifted(cup.mesh, cup.normals, by))


def _cone_flange(slope: float) -> Shape:
    cup = _cup(flange=15.0, shoulder=7.0)
    t = math.tan(math.radians(slope))

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        r = np.hypot(*p[:, :2].T)
        out = r > 37.0 - 1e-6
        side = p[:, :2] / np.maximum(r, 1e-9)[:, None]
        return np.where(out, t * (r - 37.0), 0.0), np.where(r > 37.0 + 1e-6, t, 0.0)[:, None] * side, 0.0 * r

    mesh, normals = lifted(cup.mesh, cup.normals, by)
    normals[np.abs(np.hypot(*mesh.points[:, :2].T) - 37.0) < 1e-6] = 0.0  # the bend into the cone is sharp
    return _shape(mesh, normals)


def _lip() -> Shape:
    """A cup with a flange whose edge is turned down by 30 deg over a radius of 8 mm."""
    base = cup_profile(30.0, 40.0, 8.0, flange=15.0, shoulder=7.0)
    bend = np.linspace(0.0, math.radians(30.0), 5)[1:]
    lip = np.column_stack([52.0 + 8.0 * np.sin(bend), -8.0 + 8.0 * np.cos(bend)])
    tail = lip[-1] + np.array([[3.0 * math.cos(bend[-1]), -3.0 * math.sin(bend[-1])]])
    mesh = revolved(np.vstack([base, lip, tail]))
    normals = cup_normals(TriMesh(np.minimum(mesh.points, [1e9, 1e9, 0.0]), mesh.triangles), 30.0, 40.0, 8.0, 7.0)
    r = np.hypot(*mesh.points[:, :2].T)
    down = np.clip(np.arcsin(np.clip((r - 52.0) / 8.0, 0.0, 1.0)), 0.0, bend[-1])
    out = r > 51.9
    side = mesh.points[:, :2] / np.maximum(r, 1e-9)[:, None]
    normals[out] = np.column_stack([np.sin(down)[:, None] * side, np.cos(down)])[out]
    return _shape(mesh, normals)


def _notched(low: float, run: float) -> Shape:
    """A pan whose flange of 25 mm narrows to a share ``low`` over ``run`` mm to both sides of the middle of one side."""

    def width(line: Floats) -> Floats:
        x = np.clip((np.abs(line[:, 0]) - 8.0) / run, 0.0, 1.0)
        f = low + (1.0 - low) * x * x * (3 - 2 * x)
        return np.where(line[:, 1] > 0, f, 1.0)

    return _shape(*pan(*plan_line(_box(160.0, 110.0), 25.0, 2.0), pan_section(30.0, 8.0, 8.0, 25.0, 6.0), width))


def _tabbed() -> Shape:
    """A pan whose flange goes in and out in tabs with steps at their ends."""

    def width(line: Floats) -> Floats:
        return 0.6 + 0.36 * np.sign(np.sin(line[:, 0] / 6.0))

    return _shape(*pan(*plan_line(_box(160.0, 110.0), 25.0, 1.0), pan_section(30.0, 8.0, 8.0, 25.0, 6.0), width))


def _holed() -> Shape:
    """A pan with holes: one in the floor, one in the flange close to its edge."""
    mesh, normals = pan(*plan_line(_box(160.0, 110.0), 25.0, 2.0), pan_section(30.0, 8.0, 8.0, 25.0, 6.0))
    c = mesh.centroids
    floor = np.hypot(c[:, 0] - 20.0, c[:, 1]) < 12.0
    rim = c[c[:, 2] > -1e-6][:, 1].max() - 9.0
    near = (np.abs(c[:, 0]) < 5.0) & (np.abs(c[:, 1] - rim) < 4.5) & (c[:, 2] > -1e-6)
    return _shape(*without(mesh, normals, floor | near))


def _tray() -> Shape:
    """Sharp corners in plan and a sharp edge at the floor."""
    from die_parts import tray

    part = tray(np.array(_box(120.0, 80.0)), 25.0, 2.0)
    return _shape(part, np.zeros((0, 3)))


def _ellipse() -> Shape:
    at = 2 * np.pi * np.arange(120) / 120
    line = np.column_stack([90 * np.cos(at), 55 * np.sin(at)])
    sides = np.column_stack([np.cos(at) / 90, np.sin(at) / 55])
    sides /= np.hypot(*sides.T)[:, None]
    return _shape(*pan(line, sides, pan_section(35.0, 10.0, 8.0, 18.0, 10.0)))


def _section_along(y: Floats, z: Floats, slope: Floats, length: float) -> tuple[TriMesh, Floats]:
    """A sheet of one section (y, z, slope) along x, its ends open."""
    x, k = np.linspace(-length / 2, length / 2, round(length / 5.0) + 1), len(y)
    points = np.concatenate([np.column_stack([np.full(k, v), y, z]) for v in x])
    cells = []
    for j in range(len(x) - 1):
        a = j * k + np.arange(k - 1)
        cells += [np.stack([a, a + k, a + k + 1], axis=1), np.stack([a, a + k + 1, a + 1], axis=1)]
    return TriMesh(points, np.concatenate(cells)), np.tile(np.column_stack([0 * slope, -np.sin(slope), np.cos(slope)]), (len(x), 1))


def _half_pipe() -> Shape:
    at = np.linspace(-np.pi / 2, np.pi / 2, 25)
    return _shape(*_section_along(30.0 * np.sin(at), -30.0 * np.cos(at), at, 140.0))


def _zed() -> Shape:
    """A step with open ends: its two free edges lie 30 mm apart in height."""
    s = pan_section(30.0, 8.0, 8.0, 20.0, 10.0)
    low = np.linspace(-40.0, -8.0, 8)[:-1]
    return _shape(*_section_along(np.append(low, s[:, 0]), np.append(0 * low - 30.0, s[:, 1]), np.append(0 * low, s[:, 2]), 120.0))


def _hat(bend: float, rise: float) -> Shape:
    """A hat channel bent down lengthwise over a radius of ``bend`` [mm], rising by ``rise`` along x."""

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        x = p[:, 0]
        return -(x**2) / (2 * bend) + rise * x, np.column_stack([-x / bend + rise, 0 * x]), 0 * x

    return _shape(*lifted(*channel(160.0, 40.0, 35.0, 10.0, shoulder=8.0, flange=18.0, lean=6.0), by))


def _angle() -> Shape:
    """One wall with a floor whose edge is free."""
    s = pan_section(30.0, 8.0, 0.0, 0.0)
    free = np.linspace(-60.0, -8.0, 12)[:-1]
    return _shape(*_section_along(np.append(free, s[:, 0]), np.append(0 * free - 30.0, s[:, 1]), np.append(0 * free, s[:, 2]), 140.0))


def ragged() -> Shape:
    """A cup sawn off along a zigzag through wall and floor."""
    cup = _cup()
    return _shape(*without(cup.mesh, cup.normals, cup.mesh.points[cup.mesh.triangles].max(axis=1)[:, 1] > 10.0))


SHAPES: dict[str, Callable[[], Shape]] = {
    "cup without flange": lambda: _cup(),
    "cup with flange": lambda: _cup(flange=15.0, shoulder=7.0),
    "leaning cup": lambda: _cup(lean=20.0),
    "cup with a waved rim": _waved,
    "cup with a cone flange": lambda: _cone_flange(8.0),
    "cup with a lip down": _lip,
    "dome without flange": lambda: _dome(60.0, 55.0, 0.0, 0.0),
    "dome with flange": lambda: _dome(60.0, 60.0, 10.0, 18.0),
    "square pan": lambda: _shape(*pan(*plan_line(_box(110.0, 110.0), 20.0), pan_section(30.0, 8.0, 8.0, 20.0))),
    "square pan without flange": lambda: _shape(*pan(*plan_line(_box(110.0, 110.0), 20.0), pan_section(30.0, 8.0, 0.0, 0.0))),
    "pan with tight corners": lambda: _shape(*pan(*plan_line(_box(140.0, 90.0), 9.0, 2.0), pan_section(25.0, 8.0, 8.0, 20.0, 5.0))),
    "tray with sharp corners": _tray,
    "oval pan": _ellipse,
    "L pan": lambda: _shape(*pan(*plan_line(L_PLAN, 20.0, hollow=38.0), pan_section(30.0, 8.0, 8.0, 12.0, 5.0))),
    "L pan without flange": lambda: _shape(*pan(*plan_line(L_PLAN, 14.0, 2.0), pan_section(30.0, 8.0, 0.0, 0.0, 5.0))),
    "T pan": lambda: _shape(*pan(*plan_line(T_PLAN, 16.0, hollow=38.0), pan_section(30.0, 8.0, 8.0, 12.0, 5.0))),
    "T pan without flange": lambda: _shape(*pan(*plan_line(T_PLAN, 14.0, 2.0), pan_section(30.0, 8.0, 0.0, 0.0, 5.0))),
    "crowned pan": lambda: _crown(500.0, False),
    "doubly crowned pan": lambda: _crown(700.0, True),
    "pan with a step in depth": _stepped,
    "pan with holes": _holed,
    "triangular pan": lambda: _shape(*pan(*plan_line([(0.0, 0.0), (160.0, 0.0), (80.0, 120.0)], 18.0), pan_section(25.0, 8.0, 8.0, 15.0, 5.0))),
    "small pan": lambda: _shape(*pan(*plan_line(_box(16.0, 12.0), 4.0, 1.0), pan_section(5.0, 2.0, 2.0, 4.0))),
    "flat dish": lambda: _shape(*pan(*plan_line(_box(120.0, 90.0), 20.0), pan_section(8.0, 8.0, 0.0, 0.0, 75.0))),
    "pan with a soft notch": lambda: _notched(0.5, 30.0),
    "pan with a sharp notch": lambda: _notched(0.3, 4.0),
    "pan with tabs": _tabbed,
    "channel": lambda: _shape(*channel(160.0, 40.0, 35.0, 10.0)),
    "leaning channel": lambda: _shape(*channel(160.0, 40.0, 35.0, 10.0, lean=12.0)),
    "hat channel": lambda: _shape(*channel(160.0, 40.0, 35.0, 10.0, shoulder=8.0, flange=18.0, lean=6.0)),
    "angle section": _angle,
    "half pipe": _half_pipe,
    "step with open ends": _zed,
    "bent hat channel": lambda: _hat(300.0, 0.0),
    "rising hat channel": lambda: _hat(1e9, 0.15),
    "shallow channel": lambda: _shape(*channel(160.0, 60.0, 12.0, 10.0, shoulder=8.0, flange=18.0, lean=40.0)),
}  # fmt: skip

__all__ = ["SHAPES", "Shape", "rounded"]
