"""DXF and STEP: written, read back by an independent reader, compared with the outline."""

import io
from itertools import pairwise

import ezdxf
import numpy as np
import pytest
import shapely

from diewright.geometry.offset import offset
from diewright.geometry.outline import fit_outline
from diewright.geometry.outline_files import Note, dxf, moved, step
from diewright.geometry.pieces import Arc, Line, Outline, circle

T = np.linspace(0, 2 * np.pi, 240, endpoint=False)
WAVY = (80 + 6 * np.cos(5 * T))[:, None] * np.column_stack([1.5 * np.cos(T), np.sin(T)])


def rounded():
    edge = shapely.box(20, 20, 180, 100).buffer(20, quad_segs=200).exterior
    return np.array([edge.interpolate(i / 300, normalized=True).coords[0] for i in range(300)])


def bitten():
    """A plate with a bite off its middle in its upper side: a clockwise arc that starts at no special angle."""
    c, r = np.array([50.0, 70.0]), 20.0
    a = np.arcsin(-0.5)
    bite = Arc(c, r, a, -(np.pi + 2 * a))
    corners = [bite.end, np.array([0.0, 60.0]), np.zeros(2), np.array([100.0, 0.0]), np.array([100.0, 60.0]), bite.start]
    return Outline((bite, *(Line(p, q) for p, q in pairwise(corners))))


OUTLINES = {
    "bitten": bitten(),
    "wavy": fit_outline(WAVY).outline,
    "rounded": fit_outline(rounded()).outline,
    "ell grown": offset(fit_outline(np.array([[0, 0], [100, 0], [100, 30], [30, 30], [30, 100], [0, 100.0]])).outline, 4.0),
    "circle": circle(np.array([5.0, 6.0]), 75.0),
}


def read(data):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def joined(doc, layer):
    """The layer's entities as one closed polygon, in whatever order a reader finds their ends."""
    lines = []
    for e in doc.modelspace().query(f'*[layer=="{layer}"]'):
        points = [e.dxf.start, e.dxf.end] if e.dxftype() == "LINE" else list(e.flattening(0.001))
        lines.append(shapely.LineString([(v.x, v.y) for v in points]))
    whole = shapely.line_merge(shapely.MultiLineString([shapely.set_precision(line, 1e-6) for line in lines]))
    assert whole.geom_type == "LineString", "the entities do not join"
    assert whole.is_closed
    return shapely.Polygon(whole)


@pytest.mark.parametrize("name", OUTLINES)
def test_dxf_round_trip(name):
    o = OUTLINES[name]
    doc = read(dxf({"BLANK_OUTLINE": [o]}))
    assert not doc.audit().has_errors
    assert doc.dxfversion == "AC1024"  # R2010
    assert doc.header["$INSUNITS"] == 4  # mm
    polygon = joined(doc, "BLANK_OUTLINE")
    assert polygon.area == pytest.approx(o.area, rel=1e-4)
    mine = shapely.LinearRing(o.points(0.001))
    assert shapely.distance(mine, shapely.points(np.asarray(polygon.exterior.coords))).max() < 0.002


def test_dxf_entities_are_true_curves():
    kinds = {name: {e.dxftype() for e in read(dxf({"BLANK_OUTLINE": [o]})).modelspace()} for name, o in OUTLINES.items()}
    assert kinds["circle"] == {"CIRCLE"}
    assert kinds["rounded"] == {"LINE", "ARC"}
    assert kinds["ell grown"] == {"LINE", "ARC"}
    assert "SPLINE" in kinds["wavy"]
    assert not any("POLYLINE" in k for ks in kinds.values() for k in ks)


def test_dxf_layers_are_named_by_purpose_and_bytes_repeat():
    content = {"BLANK_OUTLINE": [OUTLINES["circle"]], "HOLES": [circle(np.zeros(2), 5.0)], "TEXT": [Note("t = 0.8 mm", (0.0, 0.0))]}
    data = dxf(content)
    assert {e.dxf.layer for e in read(data).modelspace()} == set(content)
    assert data == dxf(content)


def test_a_clockwise_arc_is_drawn_where_it_lies():
    hole = OUTLINES["rounded"]
    back = type(hole)(tuple(p.reversed() for p in reversed(hole.pieces)))
    assert back.area == pytest.approx(-hole.area, rel=1e-12)
    assert joined(read(dxf({"HOLES": [back]})), "HOLES").area == pytest.approx(hole.area, rel=1e-4)


@pytest.mark.parametrize("name", OUTLINES)
def test_step_round_trip(name, tmp_path):
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    o = OUTLINES[name]
    middle = o.points(0.1).mean(axis=0)
    hole = circle(np.array([10.0, 10.0]) if name in ("ell grown", "bitten") else middle, 4.0)
    data = step(o, [hole])
    assert data == step(o, [hole])
    path = tmp_path / "blank.step"
    path.write_bytes(data)
    reader = STEPControl_Reader()
    assert reader.ReadFile(str(path)).name == "IFSelect_RetDone"
    reader.TransferRoots()
    shape = reader.OneShape()
    props = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, props, 1e-9)
    assert abs(props.Mass()) == pytest.approx(o.area - np.pi * 16, rel=1e-6)
    centre = props.CentreOfMass()
    assert abs(centre.Z()) < 1e-9
    faces, edges = TopExp_Explorer(shape, TopAbs_FACE), TopExp_Explorer(shape, TopAbs_EDGE)
    count = [0, 0]
    for k, explorer in enumerate((faces, edges)):
        while explorer.More():
            count[k] += 1
            explorer.Next()
    assert count == [1, len(o.pieces) + 2]


def test_moved_turns_then_shifts():
    o = OUTLINES["wavy"]
    m = moved(o, 0.7, (10.0, -3.0))
    assert m.area == pytest.approx(o.area, rel=1e-9)
    c, s = np.cos(0.7), np.sin(0.7)
    np.testing.assert_allclose(m.points(0.02), o.points(0.02) @ np.array([[c, s], [-s, c]]) + [10, -3], atol=1e-9)
