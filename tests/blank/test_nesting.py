"""Nesting against closed forms, and every layout measured with shapely over several pitches."""

import numpy as np
import pytest
import shapely

from diewright.blank.nesting import LAYOUTS, Nester, Webs, nest, on_length, rule_web, webs
from diewright.errors import Cancelled, InputError
from diewright.watch import Watch


def circle(diameter=100.0, n=180):
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return 0.5 * diameter * np.column_stack([np.cos(t), np.sin(t)])


def lobes(k, depth=12.0, n=200):
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return (50 + depth * np.cos(k * t))[:, None] * np.column_stack([np.cos(t), np.sin(t)])


TRIANGLE = np.array([[0, 0], [100, 0], [50, 50 * np.sqrt(3)]])
ELL = np.array([[0, 0], [100, 0], [100, 30], [30, 30], [30, 100], [0, 100.0]])
NECK = np.array(
    [[0, 0], [100, 0], [100, 40], [50.5, 40], [50.5, 60], [100, 60], [100, 100], [0, 100], [0, 60], [49.5, 60], [49.5, 40], [0, 40.0]]
)
STRIP = np.array([[0, 0], [1200, 0], [1200, 6], [0, 6.0]])
BANANA = np.concatenate([circle(120.0)[10:110], circle(90.0)[10:110][::-1] + np.array([0, -4])])

SHAPES = {
    "circle": circle(),
    "triangle": TRIANGLE,
    "ell": ELL,
    "neck": NECK,
    "strip": STRIP,
    "lobes": lobes(3),
    "star": lobes(7),
    "banana": BANANA,
}
WEBS = Webs(2.0, 3.0, 1.0, "test")


def by_name(found):
    return {f.layout: f for f in found}


@pytest.fixture(scope="module")
def nests():
    return {name: by_name(nest(p + np.array([37.0, -12.0]), WEBS)) for name, p in SHAPES.items()}


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("name", SHAPES)
def test_no_blank_comes_nearer_than_the_web(nests, name, layout):
    f = nests[name][layout]
    outline = SHAPES[name] + [37.0, -12.0]
    placed = f.placed(outline, 5)
    assert placed.shape == (5 * f.parts, len(outline), 2)
    shapes = shapely.polygons(placed)
    assert shapely.is_valid(shapes).all()
    gaps = [shapely.distance(shapes[i], shapes[i + 1 :]).min() for i in range(len(shapes) - 1)]
    assert min(gaps) >= 2.0 - 1e-6
    assert placed[..., 1].min() >= 3.0 - 1e-6
    assert placed[..., 1].max() <= f.strip_width - 3.0 + 1e-6
    assert placed[..., 0].min() == pytest.approx(3.0, abs=1e-9)
    # Every blank is a turned copy, not a mirrored or stretched one.
    np.testing.assert_allclose(shapely.area(shapes), shapely.Polygon(outline).area, rtol=1e-9)
    assert f.utilisation == pytest.approx(f.parts * shapely.Polygon(outline).area / (f.pitch * f.strip_width), rel=1e-12)


@pytest.mark.parametrize("name", SHAPES)
def test_the_web_is_used_to_the_full_somewhere(nests, name):
    # A pitch smaller by a hundredth would bring two blanks too near: the layouts are tight, not only safe.
    f = nests[name]["one-up"]
    a = shapely.Polygon(f.placed(SHAPES[name], 1)[0])
    b = shapely.transform(a, lambda p: p + np.array([f.pitch - 0.01, 0]))
    assert shapely.distance(a, b) < 2.0


def test_circles_in_one_row(nests):
    f = nests["circle"]["one-up"]
    assert f.pitch == pytest.approx(102.0, abs=0.02)
    assert f.strip_width == pytest.approx(106.0, abs=0.02)


def test_circles_in_two_rows_are_staggered_hexagonally(nests):
    for layout in ("two-up", "head-to-tail"):
        f = nests["circle"][layout]
        assert f.pitch == pytest.approx(102.0, abs=0.02)
        assert f.strip_width - 106.0 == pytest.approx(102.0 * np.sqrt(3) / 2, abs=0.03)
        centres = f.placed(SHAPES["circle"] + [37.0, -12.0], 1).mean(axis=1)
        along = (centres[1, 0] - centres[0, 0]) % f.pitch
        assert along == pytest.approx(f.pitch / 2, abs=0.1)
        best = 2 * np.pi * 50**2 / (102.0 * (106.0 + 102.0 * np.sqrt(3) / 2))
        assert f.utilisation == pytest.approx(best, rel=1e-3)


def test_triangles_head_to_tail_fill_the_strip():
    none = Webs(0.0, 0.0, 1.0, "test")
    f = by_name(nest(TRIANGLE, none))
    assert f["head-to-tail"].utilisation == pytest.approx(1.0 - 0.0, rel=1e-6)
    assert f["one-up"].utilisation == pytest.approx(0.5, rel=1e-6)


def test_triangles_with_webs_head_to_tail(nests):
    # Slanted sides 2 mm apart: the pair of triangles takes the side length and two webs along the strip, 2 w / sin 60.
    f = nests["triangle"]["head-to-tail"]
    exact = 2 * (np.sqrt(3) / 4 * 100**2) / ((100 + 4 / np.sin(np.pi / 3)) * (50 * np.sqrt(3) + 6))
    assert f.utilisation >= exact - 1e-9
    assert nests["triangle"]["one-up"].utilisation < 0.6 * f.utilisation


def test_an_ell_interlocks_better_than_its_box(nests):
    box = 5100.0 / (102.0 * 106.0)
    for layout in LAYOUTS:
        assert nests["ell"][layout].utilisation > 1.5 * box


def test_rectangles_are_laid_across_without_loss(nests):
    f = nests["strip"]["one-up"]
    assert f.pitch == pytest.approx(8.0, abs=1e-6)
    assert f.strip_width == pytest.approx(1206.0, abs=1e-6)


@pytest.mark.parametrize("name", ["ell", "banana", "lobes"])
def test_turning_the_outline_changes_nothing_but_the_angle(nests, name):
    c, s = np.cos(0.6), np.sin(0.6)
    turned = by_name(nest(SHAPES[name] @ np.array([[c, s], [-s, c]]), WEBS))
    for layout in LAYOUTS:
        assert turned[layout].metal == pytest.approx(nests[name][layout].metal, rel=2e-3)


def test_a_finer_search_over_angles_finds_nothing_better(nests):
    for name in ("ell", "banana", "lobes"):
        nester = Nester(SHAPES[name], WEBS)
        tried = min(nester._metal("one-up", a)[0] for a in np.linspace(-np.pi / 2, np.pi / 2, 1801))
        assert nests[name]["one-up"].metal <= tried * (1 + 3e-4)


def test_the_same_outline_gives_the_same_layout():
    a, b = (nest(BANANA, WEBS, layouts=("head-to-tail",)) for _ in range(2))
    assert a == b


def test_grain_tolerance_holds_the_feed_to_the_rolling_direction():
    rolling, room = np.deg2rad(30.0), np.deg2rad(10.0)
    for f in nest(ELL, WEBS, angles=(rolling - room, rolling + room)):
        assert rolling - room - 1e-12 <= f.angle <= rolling + room + 1e-12
    fixed = nest(ELL, WEBS, angles=(rolling, rolling))
    assert {f.angle for f in fixed} == {rolling}
    assert fixed[0].metal >= nest(ELL, WEBS)[0].metal


def test_strip_width_limit_is_kept_or_nothing_is_given():
    free = by_name(nest(STRIP, WEBS))
    assert free["one-up"].strip_width > 1200
    held = by_name(nest(STRIP, WEBS, width_max=400.0))
    assert all(f.strip_width <= 400.0 for f in held.values())
    assert held["one-up"].metal > free["one-up"].metal
    assert nest(STRIP, WEBS, width_max=11.0) == ()
    assert Nester(STRIP, WEBS).narrowest()[0] == pytest.approx(12.0, abs=1e-6)


def test_blanks_on_a_cut_length():
    f = by_name(nest(circle(), WEBS, layouts=("one-up",)))["one-up"]
    room = 2 * 3.0 + 100.0
    assert on_length(f, circle(), room - 0.1) == 0
    assert on_length(f, circle(), room + 0.001) == 1
    assert on_length(f, circle(), room + f.pitch + 0.001) == 2
    pair = by_name(nest(circle(), WEBS, layouts=("two-up",)))["two-up"]
    assert on_length(pair, circle(), room + 0.01) == 1
    assert on_length(pair, circle(), room + pair.pitch / 2 + 0.1) == 2


def test_slack_is_added_to_the_web_and_not_reported_as_web():
    f = by_name(nest(circle(), WEBS, slack=0.04, layouts=("one-up",)))["one-up"]
    assert f.pitch == pytest.approx(102.04, abs=0.02)
    assert (f.web, f.edge_web) == (2.0, 3.0)


def test_web_rule():
    assert rule_web(2.0, 50.0) == 2.5
    assert rule_web(0.3, 50.0) == 0.8
    assert rule_web(0.8, 400.0) == 2.0
    assert rule_web(0.8, 4000.0) == 3.0
    w = webs(1.0, 100.0)
    assert w.edge(200.0) == pytest.approx(1.0 + 0.015 * 200.0)
    assert "common practice" in w.source
    assert "Tool Design" in w.source
    stated = webs(1.0, 100.0, 0.5, 4.0)
    assert (stated.web, stated.edge(1000.0)) == (0.5, 4.0)
    assert "stated" in stated.source


@pytest.mark.parametrize("points", [np.zeros((2, 2)), np.array([[0, 0], [1, 0], [2, 0.0]])])
def test_what_is_no_outline_is_refused(points):
    with pytest.raises(InputError):
        nest(points, WEBS)


def test_unknown_layouts_and_bad_webs_are_refused():
    with pytest.raises(InputError, match="no layout"):
        Nester(ELL, WEBS).best("three-up")
    with pytest.raises(InputError, match="thickness"):
        webs(0.0, 100.0)


def test_nesting_can_be_cancelled():
    with pytest.raises(Cancelled):
        nest(ELL, WEBS, watch=Watch(cancelled=lambda: True))
