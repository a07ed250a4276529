"""Sizes, burr, punches, webs and springs against closed forms and independent computation."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from cutting_jobs import circle, cut, rectangle, trim_of
from scipy.linalg import eigh
from scipy.spatial.distance import cdist

from diewright.errors import InputError
from diewright.sheet import cutting as handbook
from diewright.trim.loads import punches, springs, steels
from diewright.trim.loads.line import read_cuts
from diewright.trim.loads.webs import web_between, webs


def one(*args, **kw):
    return read_cuts(trim_of(cut(*args, **kw)), 1.0)[0]


def test_hole_and_piece_put_the_clearance_on_the_other_member():
    hole, piece = steels.tool_sizes(20.0, 0.1, "hole"), steels.tool_sizes(20.0, 0.1, "piece")
    assert (hole.punch, hole.die) == pytest.approx((20.0, 20.2))
    assert (piece.punch, piece.die) == pytest.approx((19.8, 20.0))
    worn = steels.tool_sizes(20.0, 0.1, "hole", 0.13)
    assert worn.punch == pytest.approx(20.0 + 0.75 * 0.13)
    assert worn.punch - worn.punch_tolerance > 20.0  # a new punch makes a hole within its tolerance
    assert worn.punch < 20.13
    assert steels.tool_sizes(20.0, 0.1, "piece", 0.13).die == pytest.approx(20.0 - 0.75 * 0.13)
    assert steels.tool_sizes(20.0, 0.02, "hole").paired
    assert not steels.tool_sizes(20.0, 0.2, "hole").paired
    assert steels.tool_sizes(900.0, 0.2, "hole").die == pytest.approx(900.4)


def test_wear_share_falls_with_the_tolerance():
    assert [steels.wear_share(25.0, t) for t in (0.02, 0.084, 0.13, 0.33, 0.52)] == [1.0, 1.0, 0.75, 0.75, 0.5]
    with pytest.raises(InputError, match="IT3"):
        steels.it_grade(10.0, 3)
    with pytest.raises(InputError, match="size"):
        steels.it_grade(501.0, 7)


def test_edge_shares_add_up_and_the_burr_grows_with_wear_and_clearance():
    for c in (0.0, 0.03, 0.065, 0.1, 0.15, 0.3):
        e = steels.edge_quality(c, 2.0, 1.0)
        assert e.rollover[0] + e.burnish[0] + e.fracture[1] == pytest.approx(1.0)
        assert e.rollover[0] < e.rollover[1]
        assert e.burnish[0] < e.burnish[1]
    assert steels.edge_quality(0.09, 2.0, 1.0).burr == pytest.approx(0.04)
    assert steels.edge_quality(0.09, 2.0, 1.25).burr == pytest.approx(0.08)
    assert steels.edge_quality(0.20, 2.0, 1.0).burr > 4 * steels.edge_quality(0.09, 2.0, 1.0).burr


@pytest.mark.parametrize(
    ("direction", "centre", "side"),
    [
        ((0, 0, -1), (0, 0, 0), "lower"), ((0, 0, 1), (0, 0, 0), "upper"), ((0.7, 0, -0.7), (0, 0, 0), "lower"),
        ((-1, 0, 0), (50, 0, 0), "upper"), ((1, 0, 0), (50, 0, 0), "lower"), ((1, 0, -0.2), (-50, 0, 0), "upper"),
    ],
)  # fmt: skip
def test_the_burr_lies_where_the_steel_leaves(direction, centre, side):
    points = circle(8.0)[:, [2, 0, 1]] if abs(direction[0]) > 0.8 else circle(8.0)
    assert steels.burr_side(one("a", points + np.array(centre), direction=direction), np.zeros(3)) == side


def test_outer_line_stands_off_by_the_clearance_all_round():
    line = one("a", rectangle(40, 20))
    out = steels.offset_line(line, 0.1)
    gap = [shapely.Polygon(line.across).exterior.distance(shapely.Point(p)) for p in out]
    assert gap == pytest.approx([0.1] * len(gap), abs=1e-9)
    assert len(steels.offset_line(line, -11.0)) == 0


def test_section_of_an_outline_is_that_of_the_closed_forms():
    s = punches.outline_section(rectangle(12, 5)[:, :2] + 400.0)
    assert (s.area, s.perimeter) == pytest.approx((60.0, 34.0))
    assert s.inertia == pytest.approx(12 * 5**3 / 12, rel=1e-9)
    assert s.narrowest == pytest.approx(5.0, rel=1e-2)
    assert s.widest == pytest.approx(13.0)
    turned = shapely.affinity.rotate(shapely.Polygon(rectangle(12, 5)[:, :2]), 31.0)
    assert punches.outline_section(np.asarray(turned.exterior.coords)[:-1]).inertia == pytest.approx(125.0, rel=1e-9)
    disc, by_line = punches.round_section(9.0), punches.outline_section(circle(9.0, n=4000)[:, :2])
    assert (by_line.area, by_line.inertia) == pytest.approx((disc.area, disc.inertia), rel=1e-5)
    with pytest.raises(InputError, match="crosses itself"):
        punches.outline_section(np.array([[0, 0], [10, 10], [10, 0], [0, 10.0]]))


@pytest.mark.parametrize(("guide", "fixed_end", "within"), [("free", "free", 2e-3), ("guided", "pinned", 5e-3), ("fixed", "fixed", 2e-3)])
def test_buckling_against_an_independent_beam(guide, fixed_end, within):
    """Hermite beam elements with geometric stiffness, held at one end."""
    section, length, n = punches.round_section(4.0), 150.0, 20
    h = length / n
    k = (
        np.array(
            [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2], [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]]
        )
        * punches.MODULUS
        * section.inertia
        / h**3
    )
    g = np.array(
        [[36, 3 * h, -36, 3 * h], [3 * h, 4 * h**2, -3 * h, -(h**2)], [-36, -3 * h, 36, -3 * h], [3 * h, -(h**2), -3 * h, 4 * h**2]]
    ) / (30 * h)
    stiff, geometric = np.zeros((2 * n + 2, 2 * n + 2)), np.zeros((2 * n + 2, 2 * n + 2))
    for i in range(n):
        stiff[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += k
        geometric[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += g
    held = {0, 1} | {"free": set(), "pinned": {2 * n}, "fixed": {2 * n, 2 * n + 1}}[fixed_end]
    keep = [i for i in range(2 * n + 2) if i not in held]
    load = 1.0 / eigh(geometric[np.ix_(keep, keep)], stiff[np.ix_(keep, keep)], eigvals_only=True)[-1]
    assert punches.buckling_force(section, length, guide)[0] == pytest.approx(load, rel=within)


def test_euler_passes_into_johnson_and_the_longest_free_length_is_its_inverse():
    section = punches.round_section(5.0)
    limit = math.sqrt(2 * math.pi**2 * punches.MODULUS / punches.YIELD)
    at = limit * 1.25 / punches.FACTOR["guided"]
    below, above = (punches.buckling_force(section, at * x, "guided")[0] for x in (1 - 1e-9, 1 + 1e-9))
    assert below == pytest.approx(above, rel=1e-6)
    assert below == pytest.approx(0.5 * punches.YIELD * section.area, rel=1e-6)
    for force in (500.0, 5000.0, 15_000.0, 30_000.0):
        length = punches.longest_free(section, force, "guided")
        assert punches.buckling_force(section, length, "guided")[0] == pytest.approx(force, rel=1e-9)
    assert punches.longest_free(section, 1e6, "guided") == 0.0


def test_smallest_hole_by_strength_puts_the_punch_at_its_stress():
    d = punches.hole_by_strength(1.5, 300.0)
    assert math.pi * d * 1.5 * 300.0 / (math.pi * d**2 / 4) == pytest.approx(punches.ALLOWED)


def test_smallest_hole_and_penetration_by_material():
    assert handbook.smallest_hole(2.0, "steel", 300.0, False) == 2.0
    assert handbook.smallest_hole(2.0, "steel", 500.0, False) == pytest.approx(2.6)
    assert handbook.smallest_hole(2.0, "aluminium", 200.0, True) == pytest.approx(0.8)
    assert [handbook.penetration("steel", rm) for rm in (250.0, 390.0, 2000.0)] == [0.5, 0.38, 0.15]
    assert handbook.penetration("brass", 340.0) == 0.5
    for call in (lambda: handbook.penetration("wood", 1.0), lambda: handbook.smallest_hole(1.0, "wood", 1.0, True)):
        with pytest.raises(InputError, match="family 'wood'"):
            call()


def test_button_and_shank_come_from_the_tables_or_are_none():
    b = punches.die_button(8.2, 1.0)
    assert b.outside == 20.0
    assert b.land == 3.0
    assert punches.die_button(90.0, 1.0).outside is None
    assert punches.die_button(8.0, 5.0).land == 5.0
    assert punches.punch_of(punches.round_section(60.0), 1e4, 80.0, "free").shank is None
    assert punches.punch_of(punches.round_section(8.0), 1e4, 80.0, "free").head_pressure == pytest.approx(1e4 / (math.pi * 10**2 / 4))


def test_web_between_segments_is_the_shortest_way():
    rng = np.random.default_rng(5)
    for _ in range(12):
        a = one("a", rng.normal(size=(7, 3)) * 10)
        b = one("b", rng.normal(size=(9, 3)) * 10 + rng.normal(size=3) * 15)
        web = web_between(a, b)
        dense = [
            np.concatenate([p + (q - p) * s for s in np.linspace(0, 1, 300)[:, None, None]])
            for p, q in ((c.points, np.roll(c.points, -1, axis=0)) for c in (a, b))
        ]
        brute = float(cdist(*dense).min())
        assert web.distance <= brute + 1e-9
        assert web.distance == pytest.approx(brute, abs=0.15)
        assert float(np.linalg.norm(web.at[0] - web.at[1])) == pytest.approx(web.distance)


@pytest.mark.parametrize(
    ("end", "distance"), [((3.0, 1.0, 0.0), 1.0), ((13.0, 4.0, 0.0), 55 / math.sqrt(170)), ((5.0, -3.0, 0.0), 0.0), ((6.0, 5.0, 0.0), 5.0)]
)
def test_web_at_the_end_of_a_segment(end, distance):
    a = one("a", np.array([[0.0, 0, 0], [10.0, 0, 0]]), closed=False)
    for b in (np.array([[0.0, 5, 0], end]), np.array([end, [0.0, 5, 0]])):
        got = web_between(a, one("b", b, closed=False)).distance
        assert got == pytest.approx(distance, abs=1e-9)


def test_webs_are_between_holes_and_edges_but_not_between_trims():
    rim, other = cut("rim", rectangle(100, 100), kind="trim"), cut("rim2", rectangle(90, 90), kind="trim")
    found = webs(
        read_cuts(
            trim_of(
                rim,
                other,
                cut("a", circle(10, (0, 0, 0)), diameter=10.0),
                cut("b", circle(10, (12, 0, 0)), diameter=10.0),
                cut("c", circle(6, (41, 0, 0))),
            ),
            1.0,
        ),
        5.0,
    )
    assert [(w.a, w.b) for w in found] == [("rim2", "c"), ("a", "b")]
    assert [w.distance for w in found] == pytest.approx([1.0, 2.0], abs=1e-3)


@pytest.mark.parametrize(("force", "way"), [(200.0, 4.0), (5000.0, 6.0), (40_000.0, 8.0), (150_000.0, 10.0), (3000.0, 40.0)])
@pytest.mark.parametrize("kind", ["auto", "coil", "gas"])
def test_springs_give_the_force_at_their_preload_and_live_long(force, way, kind):
    s = springs.choose(force, way, kind)
    if s is None:
        assert kind == "coil"
        return
    assert s.force >= force * (1 - 1e-9)
    assert s.life <= 1.0
    assert s.force_end >= s.force
    assert float(s.force_at(np.array(way))) == pytest.approx(s.force_end)
    assert float(s.force_at(np.array(-0.1))) == 0.0
    if s.kind == "coil":
        row = next(g for g in springs.spring_table()["coil"] if g["class"] in s.name.split(", "))
        rate = row["stiffness_n"][str(int(s.diameter))] / s.length
        assert s.force == pytest.approx(s.count * rate * s.preload)
        assert s.preload + way <= row["long_life"] * s.length


def test_no_spring_serves_what_none_can():
    assert springs.choose(5e6, 5.0, "auto") is None
    assert springs.choose(1000.0, 400.0, "gas") is None


def test_springs_stand_inside_and_balance():
    room = shapely.box(-150, -100, 150, 100)
    s = springs.choose(20_000.0, 6.0, "auto", room)
    assert s is not None
    for centre in ((0.0, 0.0), (30.0, -15.0)):
        at = springs.place(s, room, np.array(centre))
        assert at is not None
        assert len(at) == s.count
        assert all(room.buffer(-0.5 * s.diameter).contains(shapely.Point(p)) for p in at)
        gaps = cdist(at, at)[~np.eye(len(at), dtype=bool)]
        assert gaps.min() >= s.diameter
        off = float(np.linalg.norm(at.mean(axis=0) - centre))
        assert off < (4.0 if centre == (0.0, 0.0) else 0.5 * np.linalg.norm(centre)), off
    assert springs.place(s, shapely.box(0, 0, 5, 5), np.zeros(2)) is None


def test_springs_of_a_narrow_strip_do_not_stand_in_each_other():
    strip = shapely.box(0, 0, 400, 45)  # the two long sides of the way round lie closer than a large spring is wide
    s = springs.choose(9000.0, 6.0, "coil", strip)
    at = springs.place(s, strip, np.array([200.0, 22.5]))
    assert at is not None
    assert min(np.hypot(*(a - b)) for i, a in enumerate(at) for b in at[:i]) > s.diameter
