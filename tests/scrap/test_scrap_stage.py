"""The stage ``scrap`` on plates, a slope, a cup that cams trim, and on what cannot fall."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scrap_jobs import before, circle, cut, dense, finding, grown, keys, rectangle, scrap_mesh, work
from shapely import affinity

from diewright.errors import Cancelled, InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.trim.loads.stage import STAGE as CUTTING
from diewright.trim.scrap.stage import STAGE
from diewright.watch import Watch

PLATE = rectangle(400, 240, 30)
RIM = grown(PLATE, 15)


@pytest.fixture(scope="module")
def plate():
    return before(RIM, [("edge", PLATE)], [("hole_1", (-60, 0), 20.0), ("hole_2", (70, 30), 8.0)])


def plan(r, i):
    return shapely.Polygon(r.arrays[f"piece_{i}"][:, :2])


def test_pieces_fill_the_ring_and_their_mass_is_area_times_thickness(plate):
    r = work(plate)
    ring = shapely.Polygon(dense(RIM)).area - shapely.Polygon(dense(PLATE)).area
    t = r.tables["pieces"]
    rings = t["slug"] == 0
    assert t["area_mm2"][rings].sum() == pytest.approx(ring, rel=1e-6)
    assert t["mass_kg"][rings].sum() == pytest.approx(ring * 7850e-9, rel=1e-6)
    assert sum(plan(r, i).area for i in range(1, 1 + int(rings.sum()))) == pytest.approx(ring, rel=1e-6)
    assert (t["length_mm"][rings] <= 250).all()
    slugs = np.flatnonzero(t["slug"] == 1)
    assert t["area_mm2"][slugs] == pytest.approx([math.pi * 100, math.pi * 16], rel=2e-3)
    assert r.figure("scrap_mass").value == pytest.approx(t["mass_kg"].sum())
    assert keys(r) <= {"scrap.chute"}


def test_every_piece_moves_out_its_way_without_meeting_the_post(plate):
    r = work(plate, piece_max=150)
    post = shapely.Polygon(dense(PLATE)).buffer(-0.06)
    t = r.tables["pieces"]
    for i in range(1, r.values["pieces"] + 1):
        way = math.radians(t["way_deg"][i - 1])
        for step in np.arange(0.0, 700.0, 7.0):
            assert not affinity.translate(plan(r, i), step * math.cos(way), step * math.sin(way)).intersects(post), i
    assert r.values["fall"] == r.values["pieces"] == len(r.tables["choppers"]["cut"])


def test_choppers_keep_off_the_corners_and_reach_from_the_trim_line_to_the_edge(plate):
    c = work(plate, piece_max=120, corner_radius=35)
    t = c.tables["choppers"]
    assert t["width_mm"] == pytest.approx(np.full(len(t["cut"]), 15.0), abs=0.1)
    start, end = np.column_stack([t["x_mm"], t["y_mm"]]), np.column_stack([t["end_x_mm"], t["end_y_mm"]])
    assert shapely.distance(shapely.LinearRing(PLATE), shapely.points(start)).max() < 1e-6
    assert shapely.distance(shapely.LinearRing(dense(RIM)), shapely.points(end)).max() < 1e-6
    # the corners' arcs begin 30 mm from the sides' ends, choppers stay 10 mm off them
    on_arc = (np.abs(start[:, 0]) > 200 - 30 - 8) & (np.abs(start[:, 1]) > 120 - 30 - 8)
    assert not on_arc.any()


def test_a_slope_has_the_area_of_the_sheet_not_of_its_shadow():
    s = math.tan(math.radians(20))
    flat, slope = (work(before(RIM, [("edge", PLATE)], height=h)) for h in (lambda x, y: 0.0, lambda x, y: s * x))
    a, b = (r.tables["pieces"]["area_mm2"].sum() for r in (flat, slope))
    assert b == pytest.approx(a / math.cos(math.radians(20)), rel=1e-6)
    c, d = (r.tables["pieces"]["mass_kg"].sum() for r in (flat, slope))
    assert d == pytest.approx(c / math.cos(math.radians(20)), rel=1e-6)
    p = slope.arrays["piece_1"]
    assert p[:, 2] == pytest.approx(s * p[:, 0], abs=1e-6)
    assert slope.tables["choppers"]["lean_deg"] == pytest.approx(20, abs=1e-6)


def test_a_steep_flange_has_no_place_for_a_chopper():
    def wall(x, y):
        return 3.0 * max(0.0, float(shapely.distance(shapely.Polygon(PLATE), shapely.Point(x, y))))

    r = work(before(RIM, [("edge", PLATE)], height=wall))
    assert finding(r, "scrap.ring.edge").severity == "stop"
    assert "too steep" in finding(r, "scrap.ring.edge").sentence
    assert r.values["rings"][0]["refused"]["steep"] > 100


def test_a_ring_without_choppers_hangs_round_the_post_and_one_leaves_it_hooked(plate):
    none, one = work(plate, choppers=0), work(plate, choppers=1)
    assert finding(none, "scrap.ring.edge").severity == "stop"
    assert not any(k.startswith(("scrap.hooked", "scrap.tight", "scrap.between")) for k in keys(none))
    assert finding(one, "scrap.hooked.1").severity == "stop"
    assert one.values["pieces"] == 1
    assert math.isnan(one.tables["pieces"]["way_deg"][0])


def test_a_ring_wider_than_a_chopper_is_not_cut(plate):
    r = work(plate, chopper_max=10)
    assert "wider than a chopper" in finding(r, "scrap.ring.edge").sentence


def test_a_c_shaped_piece_hooks_until_it_is_cut():
    # the sheet ends at the trim line on the right side only: a C that embraces the post
    rim = np.asarray(shapely.Polygon(RIM).intersection(shapely.box(-500, -500, 200, 500)).exterior.coords)[:-1]
    up = before(rim, [("edge", PLATE)])
    r = work(up, choppers=0)
    assert [k["closed"] for k in r.values["rings"]] == [False]
    assert finding(r, "scrap.hooked.1").severity == "stop"
    cut_up = work(up)
    assert cut_up.values["hooked"] == []
    assert cut_up.values["choppers"] >= 2


def test_scrap_in_a_bay_with_a_narrow_mouth_is_held():
    bay = shapely.box(-200, -120, 200, 120).difference(shapely.Polygon([(-20, 121), (20, 121), (60, 40), (-60, 40)]))
    post = np.asarray(shapely.orient_polygons(bay).exterior.coords)[:-1]
    r = work(before(rectangle(430, 270), [("edge", post)]))
    hooked = [f for f in r.findings if f.key.startswith("scrap.hooked")]
    assert hooked
    assert all(f.severity == "stop" and f.place is not None and f.place.points for f in hooked)


def test_where_the_ring_has_no_width_it_is_parted_already():
    # the sheet's edge touches the trim line along the two short sides
    rim = np.asarray(shapely.Polygon(RIM).intersection(shapely.box(-200, -500, 200, 500)).exterior.coords)[:-1]
    r = work(before(rim, [("edge", PLATE)]), choppers=0)
    assert r.values["pieces"] == 2
    assert r.values["hooked"] == []
    assert not any(k.startswith(("scrap.ring", "scrap.bare")) for k in keys(r))
    t = r.tables["pieces"]
    assert sorted(t["way_deg"].round() % 360) == [90, 270]


def test_a_trim_line_off_the_sheet_is_found_with_its_length():
    rim = np.asarray(shapely.Polygon(RIM).intersection(shapely.box(-150, -500, 500, 500)).exterior.coords)[:-1]
    r = work(before(rim, [("edge", PLATE)]))
    f = finding(r, "scrap.bare.edge")
    off = shapely.LinearRing(PLATE).difference(shapely.Polygon(rim)).length
    assert f.severity == "attend"
    assert f.value == pytest.approx(off, abs=1.5)
    assert f.place.points[0][0] < -149


@pytest.mark.parametrize(("width", "severity"), [(0.6, "stop"), (1.5, "attend"), (2.5, None)])
def test_a_ring_thinner_than_the_sheet_is_no_sound_cut(width, severity):
    r = work(before(grown(PLATE, width), [("edge", PLATE)]))
    found = [f for f in r.findings if f.key == "scrap.thin.edge"]
    assert [f.severity for f in found] == ([] if severity is None else [severity])
    assert r.values["thinnest"]["edge"] == pytest.approx(width, abs=0.05)


def test_a_blank_drawn_to_size_leaves_no_ring():
    r = work(before(PLATE, [("edge", PLATE)]))
    assert keys(r) == {"scrap.none"}
    assert r.values["pieces"] == 0
    assert r.values["chute_width"] is None
    assert set(r.files) == {"cutting.dxf", "steels.csv"}


def test_a_piece_larger_than_the_chute_is_found_by_how_it_passes(plate):
    r = work(plate, chute_width=100, piece_max=220)
    rows = r.tables["pieces"]
    for i in range(1, r.values["pieces"] + 1):
        f = finding(r, f"scrap.large.{i}")
        assert f.severity == ("stop" if rows["width_mm"][i - 1] > 100 else "attend")
        assert f.value == pytest.approx(rows["across_mm"][i - 1])
    assert not any(k.startswith("scrap.large") for k in keys(work(plate, chute_width=300)))
    tiny = work(plate, chute_width=10, piece_max=220)
    assert finding(tiny, "scrap.large.1").severity == "stop"


def test_pieces_shorter_than_the_ring_is_wide_are_told_and_end_the_search(plate):
    r = work(plate, piece_max=9)
    f = finding(r, "scrap.piece_max")
    assert f.limit == pytest.approx(15, abs=0.1)
    assert len(r.tables["choppers"]["cut"]) <= 120


def test_a_flat_chute_is_found_with_height_and_run(plate):
    r = work(plate, drop_height=40)
    f = finding(r, "scrap.chute")
    t = r.tables["pieces"]
    rings = t["slug"] == 0
    assert f.value == pytest.approx(t["chute_deg"][rings].min())
    assert t["needed_mm"][rings] == pytest.approx(t["run_mm"][rings] * math.tan(math.radians(30)) + 1.0)
    assert "scrap.chute" not in keys(work(plate, drop_height=500))
    assert finding(work(plate, drop_height=0), "scrap.chute").value <= 0


def test_slugs_must_pass_the_opening_under_them(plate):
    r = work(plate, slug_opening=15)
    assert finding(r, "scrap.slug.hole_1").severity == "stop"
    assert "scrap.slug.hole_2" not in keys(r)
    die = plate["cutting"].values["cuts"][1]["die_mm"]
    assert r.tables["pieces"]["width_mm"][-2] == pytest.approx(die)


def test_a_slug_that_leaves_level_does_not_slide_out():
    hole = circle(10.0, n=120)
    level = np.column_stack([np.full(120, 150.0), hole[:, 0], hole[:, 1]])
    side = cut("hole_9", level, kind="pierce", operation="cam", direction=(-1.0, 0.0, 0.0), diameter=10.0)
    r = work(before(RIM, [("edge", PLATE)], extra=[side]))
    f = finding(r, "scrap.slug.hole_9")
    assert f.value == pytest.approx(0.0)
    assert "cam_hole_9" in r.files["cutting.dxf"].decode()


def test_buttons_that_overlap_or_leave_the_post_are_found():
    r = work(before(RIM, [("edge", PLATE)], [("a", (0, 0), 10.0), ("b", (14, 0), 10.0), ("c", (194, 0), 8.0)]))
    assert {"scrap.button.a.b", "scrap.button.c.post"} <= keys(r)
    assert finding(r, "scrap.button.a.b").value > 0


def test_two_trims_cut_one_after_the_other():
    inner = rectangle(360, 200, 20)
    r = work(before(RIM, [("edge", PLATE), ("line_1", inner)], mesh=scrap_mesh(RIM, inner, lambda x, y: 0.0, 1.0)))
    area = {k: r.tables["pieces"]["area_mm2"][r.tables["pieces"]["cut"] == i].sum() for i, k in enumerate(r.values["cuts"])}
    a, b, c = (shapely.Polygon(dense(p)).area for p in (RIM, PLATE, inner))
    assert area["edge"] == pytest.approx(a - b, rel=1e-6)
    assert area["line_1"] == pytest.approx(b - c, rel=1e-6)


def cup(cams=6, wall=12.0):
    """An upright round wall of radius 40 trimmed by cams, its ring standing above the line; the flat keeps lengths along the line and heights."""
    n = 240
    a = 2 * np.pi * np.arange(n) / n
    ring = np.column_stack([np.cos(a), np.sin(a)])
    low, high = (np.column_stack([40 * ring, np.full(n, z)]) for z in (0.0, wall))
    k = np.arange(n)
    q = (k + 1) % n
    cells = np.concatenate([np.stack([k, q, q + n], axis=1), np.stack([k, q + n, k + n], axis=1)]).astype(np.int32)
    mesh = TriMesh(np.vstack([low, high]), cells)
    drawn = FieldMesh(mesh, {}, {"scrap": np.ones(len(cells), dtype=np.int8), "thickness": np.ones(len(cells))})
    size = n // cams
    stretches = []
    for i in range(cams):
        m = a[i * size] + math.pi / cams
        stretches.append(
            {
                "from": i * size,
                "to": (i + 1) * size % n,
                "direction": [-math.cos(m), -math.sin(m), 0.0],
                "cam_deg": 90.0,
                "lean_max_deg": 180.0 / cams,
            }
        )
    edge = cut("edge", low, operation="cam", lean=90.0, cams=stretches)
    flat = {"rim": (60 + wall) * ring, "edge": 60 * ring}
    up = before(RIM, [("x", PLATE)])
    trim = replace(up["trim"], values={"cuts": [edge[0]]}, meshes={"drawn": drawn}, arrays={"rim": high, "rim_flat": flat["rim"], "cut_edge": edge[1], "lean_edge": edge[2], "thickness_edge": edge[3], "flat_edge": flat["edge"]})  # fmt: skip
    up = up | {"trim": trim}
    return up | {"cutting": CUTTING.work(CUTTING.inputs(parse({"sheet": {"thickness": 1.0}})), up, {}, Watch())}


def test_a_ring_on_an_upright_wall_is_divided_on_the_blank_and_comes_off_sideways():
    r = work(cup(), piece_max=200)
    assert r.values["rings"][0]["view"] == "blank"
    assert r.values["pieces"] >= 2
    assert r.values["hooked"] == []
    flat = math.pi * (72**2 - 60**2)
    assert r.tables["pieces"]["mass_kg"].sum() == pytest.approx(flat * 7850e-9, rel=1e-3)
    p = r.arrays["piece_1"]
    assert np.hypot(p[:, 0], p[:, 1]) == pytest.approx(40.0, abs=0.05)
    assert np.ptp(p[:, 2]) == pytest.approx(12.0, abs=1e-6)
    assert finding(work(cup(), choppers=1), "scrap.hooked.1").severity == "stop"
    assert len(r.tables["steels"]["cut"]) == 12
    unknown = cup()
    arrays = unknown["trim"].arrays | {"flat_edge": np.full((240, 2), np.nan)}
    bare = work(unknown | {"trim": replace(unknown["trim"], arrays=arrays)})
    assert "scrap.unknown.edge" in keys(bare)


@pytest.mark.parametrize(
    ("field", "value"),
    [("piece_max", -5), ("piece_max", 0), ("chute_width", -1), ("drop_height", -1), ("chopper_max", 0), ("steel_length_max", -280), ("shoe_margin", -1), ("choppers", -2), ("chute_angle", 95), ("slug_opening", float("nan"))],
)  # fmt: skip
def test_sizes_that_are_none_are_refused(field, value):
    with pytest.raises(InputError, match=f"scrap.{field}"):
        parse({"scrap": {field: value}})


def test_results_that_cannot_be_used_are_refused_in_a_sentence(plate):
    trim = plate["trim"]
    for arrays, match in (
        (trim.arrays | {"rim": np.full((5, 3), np.nan)}, "no closed line"),
        ({k: v for k, v in trim.arrays.items() if k != "rim"}, "rim"),
    ):
        with pytest.raises(InputError, match=match):
            work(plate | {"trim": replace(trim, arrays=arrays)})
    with pytest.raises(InputError, match="density"):
        work(plate | {"sheet": replace(plate["sheet"], values={"family": "steel", "Rm": 300.0})})
    with pytest.raises(InputError, match="shut height"):
        work(plate | {"press": replace(plate["press"], values={"press": {}})})
    assert work(plate | {"press": replace(plate["press"], values={"press": {}})}, drop_height=100).values["drop_height"] == 100


def test_it_can_be_stopped(plate):
    calls = iter(range(10**6))
    with pytest.raises(Cancelled):
        work(plate, watch=Watch(cancelled=lambda: next(calls) > 6))


def test_the_title_is_many_things():
    assert STAGE.verbs == ("are", "were")
