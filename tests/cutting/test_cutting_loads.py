"""Force over the stroke against closed forms, brute force and what must not change."""

from __future__ import annotations

import numpy as np
import pytest
from cutting_jobs import circle, cut, rectangle, trim_of

from diewright.errors import InputError
from diewright.trim.loads.law import ShearLaw
from diewright.trim.loads.line import elements, folded, read_cuts
from diewright.trim.loads.load import Load, curve, force_at, strokes_of
from diewright.trim.loads.press import capacity, reverse_load

HALF = ShearLaw(0.5, rise=0.0, fall=0.0, friction=0.0)


def one(*args, **kw):
    return read_cuts(trim_of(cut(*args, **kw)), 1.0)[0]


def loaded(line, law=HALF, **shape):
    load = Load(elements(line, **({"follow": True} | shape)), law, 100.0)
    return load, curve([load], strokes_of([load], load.last))


@pytest.mark.parametrize(
    "shape",
    [
        {},
        {"follow": False},
        {"shear": "roof", "depth": 2.0},
        {"shear": "slope", "depth": 2.0},
        {"shear": "scallop", "depth": 2.0, "pitch": 37.0},
    ],
)
def test_work_and_area_are_those_of_the_line_whatever_the_steel(shape):
    load, c = loaded(one("a", rectangle(80, 50)), ShearLaw.of(0.4), **shape)
    assert load.elements.area == pytest.approx(260.0, rel=1e-12)
    assert c.work == pytest.approx(100.0 * 260.0 * float(ShearLaw.of(0.4).work(np.array(1.0))) / 1000, rel=1e-12)
    assert float(np.trapezoid(c.force, c.stroke)) / 1000 == pytest.approx(c.work, rel=2e-3)
    assert np.linalg.norm(load.elements.side, axis=1) == pytest.approx(1.0)
    assert (load.elements.side * load.elements.length[:, None]).sum(axis=0) == pytest.approx(0.0, abs=1e-9)


def test_the_sides_point_out_of_the_line_whichever_way_it_runs():
    for points in (circle(30, n=90), circle(30, n=90)[::-1]):
        e = elements(one("a", points), follow=True)
        assert (np.einsum("ij,ij->i", e.side, e.middle) > 14.9).all()


def test_the_force_is_exact_at_every_stroke_against_very_many_pieces():
    """A level punch on a sloping hole, with a roof: summed over 200,000 points without our formula."""
    slope, d, t = np.tan(np.radians(20)), 20.0, 1.5
    points = circle(d, n=400)
    points[:, 2] = slope * points[:, 0]
    line = one("a", points, lean=20.0, thickness=t)
    law = ShearLaw.of(0.35)
    load = Load(elements(line, follow=False, shear="roof", depth=1.2), law, 250.0)
    along = t / np.cos(np.radians(20))
    closed = np.vstack([points, points[:1]])
    at = np.arange(200_000) / 200_000 * 400
    x, y, z = (np.interp(at, np.arange(401), closed[:, i]) for i in range(3))
    e1, _ = line.frame
    assert e1 == pytest.approx([1, 0, 0])
    box = elements(line, follow=True, shear="roof", depth=1.2)
    crest = box.middle[(0.5 * (box.begin + box.end)).argmin()]
    crest = crest[:2] / np.linalg.norm(crest[:2])
    across = np.array([-crest[1], crest[0]])  # the roof's axis: across the line from crest to crest
    u = x * across[0] + y * across[1]
    corner = points[:, :2] @ across
    touch = -z - 0.5 * along + 1.2 * np.abs(2 * (u - corner.min()) / np.ptp(corner) - 1)
    touch -= touch.min()
    length = 400 * 2 * 10 * np.sin(np.pi / 400)
    strokes = np.linspace(0, load.last, 40)
    brute = [250.0 * length * along * law.share((s - touch) / along).mean() for s in strokes]
    assert force_at([load], strokes) == pytest.approx(np.array(brute), abs=2e-3 * max(brute))


def test_an_inclined_blade_takes_the_exact_force_and_scallops_as_much():
    line = one("a", np.array([[0.0, 0, 0], [400.0, 0, 0]]), closed=False, thickness=2.0)
    _, slope = loaded(line, shear="slope", depth=20.0)
    assert slope.peak == pytest.approx(0.5 * 100 * 4 / (20 / 400), rel=1e-9)
    _, waves = loaded(line, shear="scallop", depth=20.0, pitch=100.0)
    assert waves.peak == pytest.approx(8 * 0.5 * 100 * 4 / (20 / 50), rel=1e-9)
    assert slope.released < 0.2 * waves.released or slope.released == pytest.approx(slope.peak * slope.stroke[-1] / 401 / 1.0, rel=0.6)


def test_a_short_shear_leaves_the_whole_force_and_a_deep_one_the_share_that_is_engaged():
    line = one("a", np.array([[0.0, 0, 0], [100.0, 0, 0]]), closed=False, thickness=1.0)
    for depth, share in ((0.0, 1.0), (0.3, 1.0), (0.5, 1.0), (1.0, 0.5), (2.0, 0.25)):
        _, c = loaded(line, shear="slope", depth=depth)
        assert c.peak == pytest.approx(share * 100 * 100, rel=1e-6), depth


def test_load_moves_along_a_sloped_steel_and_thrust_is_left_over():
    load, c = loaded(one("a", rectangle(100, 20)), shear="slope", depth=5.0)
    known = ~np.isnan(c.centre[:, 0])
    x = c.centre[known, 0]
    assert x[1] < -45
    assert x[-2] > 40
    assert c.thrust_max == pytest.approx(0.2 * 100 * 20, rel=1e-6)
    _, whole = loaded(one("a", rectangle(100, 20)))
    assert whole.thrust_max < 1e-6
    assert whole.peak_centre == pytest.approx([0, 0, 0], abs=1e-9)
    assert whole.released == pytest.approx(load.full, rel=1e-9)


def test_wall_of_the_cut_is_that_of_the_sloping_sheet():
    """A square on a slope: sides up the slope keep length times thickness, sides across it are thicker along the travel."""
    points = rectangle(40, 40)
    points[:, 2] = points[:, 0] * np.tan(np.radians(30))
    e = elements(one("a", points, lean=30.0), follow=True)
    assert e.area == pytest.approx(4 * 40 / np.cos(np.radians(30)), rel=1e-12)
    up = np.abs(e.side[:, 1]) > 0.5
    assert (e.length * e.along)[up].sum() == pytest.approx(2 * 40 / np.cos(np.radians(30)), rel=1e-12)


def test_position_and_direction_do_not_matter():
    turn, _ = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    points = rectangle(30, 12)
    points[:, 2] = 0.3 * points[:, 0]
    a, ca = loaded(one("a", points, lean=16.7), ShearLaw.of(0.4), follow=False)
    b, cb = loaded(one("a", points @ turn.T + 1e5, lean=16.7, direction=turn @ (0, 0, -1)), ShearLaw.of(0.4), follow=False)
    assert b.elements.area == pytest.approx(a.elements.area, rel=1e-9)
    assert cb.peak == pytest.approx(ca.peak, rel=1e-6)
    assert b.last == pytest.approx(a.last, rel=1e-7)


def test_lean_is_the_same_whichever_way_the_normal_was_taken():
    assert folded(np.array([20.0, 160.0, -20.0, 90.0, 200.0])).tolist() == [20, 20, 20, 90, 20]


def test_capacity_follows_the_table_then_the_crank():
    press = {"force_kn": 1000.0, "stroke_mm": 160.0, "kind": "crank single", "rated_angle_deg": 30.0}
    table = {"height_above_bottom_mm": np.array([20.0, 10.0, 0.0]), "capacity_kN": np.array([700.0, 1000.0, 1000.0])}
    c = capacity(press, table, np.array([0.0, 5.0, 15.0, 40.0, 200.0]))
    a = np.arccos(1 - 2 * 40 / 160)
    assert c / 1000 == pytest.approx([1000, 1000, 850, 1000 * 0.5 / np.sin(a), 0.0])
    assert capacity({**press, "kind": "hydraulic"}, table, np.array([40.0]))[0] == 1e6
    assert reverse_load(100.0) == 50.0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "notch"}, "its kind is 'notch'"), ({"direction": [0, 0, 0]}, "has no length"), ({"direction": [0, 0, float("nan")]}, "has no length"), ({"direction": [0, 1]}, "has no length"),
    ],
)  # fmt: skip
def test_a_cut_that_makes_no_sense_is_refused(change, says):
    entry, points, lean, thickness = cut("a", circle(10))
    with pytest.raises(InputError, match=says):
        read_cuts(trim_of((entry | change, points, lean, thickness)), 1.0)


@pytest.mark.parametrize(
    ("points", "lean", "says"),
    [
        (circle(10)[:2], 0.0, "too few points"), (circle(10) * np.nan, 0.0, "no numbers"), (circle(10), np.nan, "no numbers"), (circle(10)[:, :2], 0.0, "too few points"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_cut_is_refused(points, lean, says):
    with pytest.raises(InputError, match=says):
        read_cuts(trim_of(cut("a", points, lean=lean)), 1.0)


def test_missing_arrays_and_names_used_twice_are_refused():
    r = trim_of(cut("a", circle(10)))
    del r.arrays["lean_a"]
    with pytest.raises(InputError, match="no array 'lean_a'"):
        read_cuts(r, 1.0)
    with pytest.raises(InputError, match="same name"):
        read_cuts(trim_of(cut("a", circle(10)), cut("a", circle(12))), 1.0)
    entry, points, lean, thickness = cut("a", circle(10))
    with pytest.raises(InputError, match="not one a point"):
        read_cuts(trim_of((entry, points, lean[:-1], thickness)), 1.0)


def test_a_line_seen_end_on_and_scallops_without_pitch_are_refused():
    line = one("a", np.array([[0, 0, 0], [0, 0, 5], [0, 0, 9.0]]))
    with pytest.raises(InputError, match="no length across the travel"):
        elements(line, follow=True)
    with pytest.raises(InputError, match="pitch"):
        elements(one("a", circle(10)), follow=True, shear="scallop", depth=1.0)


def test_unknown_thicknesses_are_nominal_and_counted():
    thickness = np.full(720, 0.9)
    thickness[:7] = np.nan
    line = read_cuts(trim_of(cut("a", circle(10), thickness=thickness)), 1.0)[0]
    assert line.filled == 7
    assert line.thickness[:7].tolist() == [1.0] * 7


def test_points_given_twice_do_no_harm():
    p = rectangle(40, 20)
    doubled = np.repeat(p, 3, axis=0)
    assert elements(one("a", doubled), follow=True).area == pytest.approx(120.0, rel=1e-9)


def test_a_level_steel_meets_the_thick_side_first():
    """Touch is on the upper face, half a thickness above the middle surface."""
    points = rectangle(40, 20)
    e = elements(one("a", points, thickness=np.where(points[:, 0] > 0, 1.4, 1.0)), follow=False)
    right, left = e.middle[:, 0] > 19.9, e.middle[:, 0] < -19.9
    assert e.begin[right] == pytest.approx(0.0)
    assert e.begin[left] == pytest.approx(0.2)


def test_scallops_begin_at_the_foremost_point_and_rise_to_the_depth():
    e = elements(one("a", rectangle(40, 20)), follow=True, shear="scallop", depth=2.0, pitch=30.0)
    assert e.begin[0] == 0.0
    assert e.end[-1] == pytest.approx(0.0, abs=1e-9)
    assert e.end.max() == pytest.approx(2.0)
    assert (np.diff(np.sign(e.end - e.begin)) != 0).sum() == 2 * 4 - 1


def test_the_centre_over_the_stroke_is_where_the_load_is():
    _, c = loaded(one("a", circle(8, (40.0, 20.0, 3.0))))
    known = ~np.isnan(c.centre[:, 0])
    assert known.sum() > 100
    assert c.centre[known] == pytest.approx(np.tile([40.0, 20.0, 3.0], (known.sum(), 1)), abs=1e-9)
