"""The drawing opens in a general reader, everything closed and uncrossed; steels add up."""

from __future__ import annotations

import csv
import io

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import path
from scrap_jobs import before, circle, finding, grown, keys, rectangle, work

from diewright.trim.scrap.drawing import Sheet, crossings, fitted_shape, led_out, polyline
from diewright.trim.scrap.segments import grade_of, section_of

PLATE = rectangle(400, 240, 30)
OUTLINES = (
    "blank",
    "drawn edge",
    "trim line",
    "post",
    "trim steel",
    "hole",
    "punch",
    "die opening",
    "die button",
    "steel upper",
    "steel lower",
    "scrap piece",
    "spring",
)


@pytest.fixture(scope="module")
def up():
    return before(grown(PLATE, 15), [("edge", PLATE)], [("hole_1", (-60, 0), 20.0), ("hole_2", (70, 30), 8.0)])


def outline(entity):
    return shapely.Polygon([(v.x, v.y) for v in path.make_path(entity).flattening(0.001)])


def test_the_drawing_opens_and_every_outline_is_closed_and_uncrossed(up):
    r = work(up)
    doc = ezdxf.read(io.StringIO(r.files["cutting.dxf"].decode()))
    assert doc.units == ezdxf.units.MM
    assert doc.audit().errors == []
    found = {n: doc.modelspace().query(f'*[layer=="{n}"]') for n in OUTLINES}
    assert all(len(found[n]) for n in OUTLINES)
    for name, entities in found.items():
        for e in entities:
            assert e.dxftype() == "CIRCLE" or e.closed, name
            shape = outline(e)
            assert shape.is_valid, name
            assert shape.area > 0, name
    assert not any(k.startswith("scrap.drawing") for k in keys(r))
    (post,), (steel,) = ([outline(e) for e in found[n]] for n in ("post", "trim steel"))
    c = up["cutting"].values["cuts"][0]["clearance_mm"]
    gap = shapely.distance(post.exterior, shapely.points(np.asarray(steel.exterior.coords)))
    assert gap == pytest.approx(np.full(len(gap), c), abs=0.003)
    assert shapely.distance(post.exterior, shapely.points(PLATE)).max() < 0.021
    d = {n: sorted(e.dxf.radius * 2 for e in found[n]) for n in ("punch", "die opening")}
    sizes = up["cutting"].values["cuts"][1:]
    assert d["punch"] == pytest.approx(sorted(s["punch_mm"] for s in sizes), abs=1e-9)
    assert d["die opening"] == pytest.approx(sorted(s["die_mm"] for s in sizes), abs=1e-9)
    assert len(doc.modelspace().query('*[layer=="chopper"]')) == r.values["choppers"]
    assert r.files == work(up).files  # the same content, the same bytes


def test_scrap_pieces_on_the_drawing_fill_what_the_trim_line_leaves(up):
    doc = ezdxf.read(io.StringIO(work(up).files["cutting.dxf"].decode()))
    shapes = [outline(e) for e in doc.modelspace().query('*[layer=="scrap piece"]')]
    (edge,) = doc.modelspace().query('*[layer=="drawn edge"]')
    (post,) = doc.modelspace().query('*[layer=="post"]')
    assert sum(s.area for s in shapes) == pytest.approx(outline(edge).area - outline(post).area, rel=2e-3)


def test_an_outline_that_crosses_itself_is_found_also_where_only_its_arc_does():
    eight = np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]])
    sheet = Sheet()
    sheet.outline("post", eight)
    at = crossings([sheet])["post"]
    assert at == pytest.approx([5.0, 5.0])
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    assert shapely.Polygon(polyline(square, np.array([0.0, 0.0, 0.9, 0.0]))).is_valid
    assert not shapely.Polygon(polyline(square, np.array([0.0, -1.0, 0.0, -1.2]))).is_valid  # two bows inwards meet
    bow = np.array([[0.0, 0.0], [40.0, 40.0], [40.0, 0.0], [0.0, 40.0]]) * 5
    r = work(before(rectangle(300, 300, centre=(100, 100)), [("edge", rectangle(150, 150, 20, centre=(100, 100)))]))
    assert "scrap.drawing.post" not in keys(r)
    crossed = before(rectangle(300, 300, centre=(100, 100)), [("edge", bow)])
    f = finding(work(crossed), "scrap.drawing.post")
    assert f.severity == "stop"
    assert f.place.points[0][:2] == pytest.approx((100.0, 100.0), abs=1.0)


@pytest.mark.parametrize("bulge", [1.0, -0.5, 0.4142135623730951, -0.2])
def test_bulges_are_read_as_other_readers_read_them(bulge):
    doc = ezdxf.new()
    e = doc.modelspace().add_lwpolyline([(0, 0, bulge), (20, 0, 0), (10, 30, 0)], format="xyb", close=True)
    ours = shapely.Polygon(polyline(np.array([[0.0, 0], [20, 0], [10, 30]]), np.array([bulge, 0, 0])))
    theirs = outline(e)
    assert ours.symmetric_difference(theirs).area < 0.1


def test_fits_stay_within_the_tolerance_and_circles_become_circles():
    full = fitted_shape("post", circle(60.0, (5, 7)))
    assert full.radius == pytest.approx(30.0, abs=0.01)
    line = rectangle(200, 100, 25)
    s = fitted_shape("post", line)
    drawn = shapely.LinearRing(polyline(s.points, s.bulge))
    assert shapely.distance(drawn, shapely.points(line)).max() <= 0.021
    assert np.count_nonzero(s.bulge) >= 4


def test_steels_cover_the_line_and_their_mass_is_volume_times_density(up):
    r = work(up)
    t, s = r.tables["steels"], r.values["section"]
    for upper in (1.0, 0.0):
        mine = t["upper"] == upper
        assert mine.sum() == r.values["joints"]
        assert t["edge_mm"][mine].sum() == pytest.approx(shapely.LinearRing(PLATE).length, rel=2e-3)
        assert t["edge_mm"][mine].max() <= 281
    post = shapely.Polygon(PLATE)
    lower = (post.area - post.buffer(-60, join_style="mitre").area) * s["height"] * 7850e-9
    assert t["mass_kg"][t["upper"] == 0].sum() == pytest.approx(lower, rel=1e-3)
    force = up["cutting"].values["cuts"][0]["flat_kN"]
    assert t["force_kN"][t["upper"] == 1].sum() == pytest.approx(force, rel=2e-3)
    rows = list(csv.DictReader(io.StringIO(r.files["steels.csv"].decode())))
    assert len(rows) == len(t["steel"])
    assert sum(float(k["mass_kg"]) for k in rows) == pytest.approx(r.values["steels_kg"], abs=0.01)


def test_joints_stand_off_corners_and_choppers(up):
    r = work(up, steel_length_max=120, corner_radius=35)
    j = r.tables["joints"]
    assert len(j["cut"]) >= 10
    assert (j["radius_mm"] >= 35).all()
    assert (j["chopper_mm"] >= 9.0).all()
    at = np.column_stack([j["across_1_mm"], j["across_2_mm"]])
    assert not ((np.abs(at[:, 0]) > 162) & (np.abs(at[:, 1]) > 82)).any()


def test_a_narrow_post_is_divided_and_a_small_one_stays_whole():
    r = work(before(rectangle(930, 110), [("edge", rectangle(900, 80))]))
    t = r.tables["steels"]
    assert (t["upper"] == 0).sum() == r.values["joints"] >= 7
    assert t["edge_mm"].max() <= 281
    small = work(before(circle(140.0), [("edge", circle(110.0))]))
    assert small.values["joints"] == 0
    assert len(small.tables["steels"]["cut"]) == 2
    assert {"scrap.steel_long.edge"} & keys(small) == set()


def test_a_line_that_is_all_corners_is_told():
    wavy = np.array(
        [[(60 + 6 * np.cos(24 * a)) * np.cos(a) * 2, (60 + 6 * np.cos(24 * a)) * np.sin(a) * 2] for a in 2 * np.pi * np.arange(480) / 480]
    )
    r = work(before(grown(wavy, 12), [("edge", wavy)]))
    assert {"scrap.joint.edge", "scrap.corner.edge"} <= keys(r)
    assert r.values["hooked"] == [] or any(k.startswith("scrap.hooked") for k in keys(r))


def test_grade_and_section_follow_sheet_and_quantity():
    assert grade_of(1.0, 300.0, "steel", 1000).number == "1.2842"
    assert grade_of(1.0, 300.0, "steel", 100_000).number == "1.2379"
    assert grade_of(1.0, 650.0, "stainless", 1000).number == "1.2379"
    assert grade_of(1.0, 980.0, "steel", 1000).number == "1.2363"
    assert grade_of(8.0, 300.0, "steel", 1000).number == "1.2767"
    assert section_of(0.8).height < section_of(2.0).height < section_of(5.0).height < section_of(10.0).height


@pytest.mark.parametrize(
    "line",
    [rectangle(60, 40), rectangle(60, 40, 8), np.array([[0.0, 0], [30, 0], [30, 20], [15, 8], [0, 20]]), circle(20.0)],
    ids=["square", "rounded", "notched", "round"],
)
@pytest.mark.parametrize("by", [0.05, 0.4, 3.0])
def test_an_outline_is_led_out_by_the_same_all_round(line, by):
    s = fitted_shape("post", line)
    inner = s.points[0] + s.radius * circle(2.0, n=720) if s.radius else polyline(s.points, s.bulge, 0.0005)
    o = led_out(s, by, "trim steel")
    outer = o.points[0] + o.radius * circle(2.0, n=720) if o.radius else polyline(o.points, o.bulge, 0.0005)
    away = shapely.distance(shapely.LinearRing(inner), shapely.points(outer))
    assert away == pytest.approx(np.full(len(away), by), abs=0.006)
    want = shapely.Polygon(inner).buffer(by, quad_segs=64)
    assert shapely.Polygon(outer).symmetric_difference(want).area < 0.003 * want.length


def test_joints_go_round_die_buttons_where_they_can():
    line = rectangle(600, 120)
    middle = work(before(grown(line, 12), [("edge", line)]))
    at = middle.tables["joints"]
    x, y = at["across_1_mm"][0], at["across_2_mm"][0]
    inside = (x, y - np.sign(y) * 30) if abs(y) > 59 else (x - np.sign(x) * 30, y)
    up = before(grown(line, 12), [("edge", line)], [("hole_1", inside, 12.0)])
    r = work(up)
    button = up["cutting"].tables["punches"]["button_mm"][0]
    j = np.column_stack([r.tables["joints"]["across_1_mm"], r.tables["joints"]["across_2_mm"]])
    assert np.linalg.norm(j - inside, axis=1).min() > button / 2
    assert not any(k.startswith("scrap.button") for k in keys(r))
    crowded = work(
        before(
            grown(line, 12),
            [("edge", line)],
            [(f"h{k}", (x, s * 40), 12.0) for k, (x, s) in enumerate((x, s) for x in range(-270, 280, 28) for s in (-1, 1))],
        )
    )
    assert any(k.endswith(".joint") for k in keys(crowded))
