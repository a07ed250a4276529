"""Hand-made results of the stages before ``scrap``: lines in plan, laid on a height z(x, y), and the real stage ``cutting`` worked on them."""

from __future__ import annotations

import numpy as np
import shapely

from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.press.table import generic_presses, named
from diewright.trim.loads.stage import STAGE as CUTTING
from diewright.trim.scrap.stage import STAGE
from diewright.watch import Watch

DOWN = (0.0, 0.0, -1.0)


def circle(diameter, centre=(0.0, 0.0), n=240):
    a = 2.0 * np.pi * np.arange(n) / n
    return np.column_stack([0.5 * diameter * np.cos(a), 0.5 * diameter * np.sin(a)]) + np.asarray(centre)


def rectangle(w, h, corner=0.0, centre=(0.0, 0.0)):
    shape = shapely.box(-w / 2 + corner, -h / 2 + corner, w / 2 - corner, h / 2 - corner)
    if corner:
        shape = shape.buffer(corner, quad_segs=12)
    return np.asarray(shapely.orient_polygons(shape).exterior.coords)[:-1] + np.asarray(centre)


def grown(line, by):
    """The line led out by a ring of even width."""
    return np.asarray(shapely.orient_polygons(shapely.Polygon(line).buffer(by, quad_segs=12)).exterior.coords)[:-1]


def dense(line, step=2.0):
    return shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(line), step))[:-1]


def lay(line, height):
    return np.column_stack([line, [height(x, y) for x, y in line]])


def scrap_mesh(rim, trim, height, thickness):
    """Scrap triangles between the rim and the trim line."""
    region = shapely.make_valid(shapely.Polygon(rim)).difference(shapely.make_valid(shapely.Polygon(trim)))
    parts = shapely.constrained_delaunay_triangles(shapely.segmentize(region, 8.0)).geoms
    corners = [np.asarray(shapely.orient_polygons(p).exterior.coords)[:3] for p in parts if p.area > 1e-9]
    if not corners:
        corners = [np.array([[1e4, 1e4], [1e4 + 1, 1e4], [1e4, 1e4 + 1]])]
    points = np.concatenate([lay(c, height) for c in corners])
    mesh = TriMesh(points, np.arange(len(points), dtype=np.int32).reshape(-1, 3))
    n = len(mesh.triangles)
    return FieldMesh(mesh, {}, {"scrap": np.ones(n, dtype=np.int8), "thickness": np.full(n, thickness)})


def cut(name, points, *, kind="trim", operation="first trim", direction=DOWN, lean=0.0, thickness=1.0, diameter=None, cams=()):
    n = len(points)
    entry = {
        "id": name,
        "kind": kind,
        "operation": operation,
        "direction": list(direction),
        "closed": True,
        "diameter": diameter,
        "cams": list(cams),
    }
    return entry, points, np.full(n, float(lean)), np.full(n, float(thickness))


def before(rim, trims, holes=(), *, height=lambda x, y: 0.0, thickness=1.0, rm=300.0, press="Crank 1000 kN", mesh=None, extra=()):
    """Results of sheet, press, blank, trim, cutting. ``trims``: (id, line (k, 2)); ``holes``: (id, centre, diameter)."""
    cuts = [cut(name, lay(dense(line), height), thickness=thickness) for name, line in trims]
    cuts += [cut(n, lay(circle(d, c, 120), height), kind="pierce", thickness=thickness, diameter=d) for n, c, d in holes]
    cuts += list(extra)
    rim_space = lay(dense(rim), height)
    arrays = {"rim": rim_space, "rim_flat": rim_space[:, :2]}
    for entry, points, lean, t in cuts:
        arrays |= {f"cut_{entry['id']}": points, f"lean_{entry['id']}": lean, f"thickness_{entry['id']}": t}
        arrays[f"flat_{entry['id']}"] = points[:, :2]
    drawn = scrap_mesh(rim, trims[-1][1], height, thickness) if mesh is None else mesh
    trim = Result(values={"cuts": [c[0] for c in cuts]}, arrays=arrays, meshes={"drawn": drawn})
    p = named(generic_presses(), press)
    up = np.linspace(0.0, 30.0, 121)[::-1]
    table = {"stroke_mm": 30.0 - up, "height_above_bottom_mm": up, "capacity_kN": p.capacity(up) / 1000.0}
    out = {
        "sheet": Result(values={"family": "steel", "Rm": rm, "Rp02": 165.0, "density": 7850.0}),
        "press": Result(values={"press": p.model_dump(mode="json") | {"rated_height_mm": p.rated_height}}, tables={"force_stroke": table}),
        "blank": Result(values={"mass_kg": 1.0}, arrays={"outline": dense(rim)}),
        "trim": trim,
    }  # fmt: skip
    job = parse({"sheet": {"thickness": thickness}})
    return out | {"cutting": CUTTING.work(CUTTING.inputs(job), out, {}, Watch())}


def work(up, *, thickness=1.0, quantity=1000, watch=None, **stated):
    job = parse({"job": {"quantity": quantity}, "sheet": {"thickness": thickness}, "scrap": stated})
    return STAGE.work(STAGE.inputs(job), up, {}, watch or Watch())


def keys(r):
    return {f.key for f in r.findings}


def finding(r, key):
    return next(f for f in r.findings if f.key == key)
