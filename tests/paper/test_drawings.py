"""The pieces: numbers, words, colour tables, plots, views, drawings true to scale."""

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import PAN

from diewright.book.paper import colours, drawing
from diewright.book.paper.digits import THIN, number, quantity, said
from diewright.book.paper.svg import Svg, stroke_hatch, width_of
from diewright.book.paper.svgplot import Plot, nice_step, tick_text, ticks
from diewright.book.paper.view import look
from diewright.book.paper.words import label, plain, stated
from diewright.job.schema import BlankStated, PartStated

NS = {"s": "http://www.w3.org/2000/svg"}
RECTANGLE = np.array([[0.0, 0], [300, 0], [300, 120], [0, 120]])


def parsed(svg: Svg) -> ET.Element:
    return ET.fromstring(svg.text_of())


def points_of(element: ET.Element) -> np.ndarray:
    numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*", element.get("d", ""))]
    return np.array(numbers).reshape(-1, 2)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 3, "0"), (12, 3, "12"), (1234, 3, "1234"), (12345.6, 3, f"12{THIN}300"), (-3.14159, 3, "−3.14"), (0.000123456, 3, "0.000123"), (99.96, 3, "100"),
        (9.996, 3, "10.0"), (1.5e-7, 2, f"1.5{THIN}×{THIN}10^−7"), (210000.0, 4, f"210{THIN}000"), (None, 3, "–"), (math.inf, 3, "∞"), (True, 3, "yes"),
    ],
)  # fmt: skip
def test_numbers(value, digits, text):
    assert number(value, digits) == text


@settings(max_examples=200, derandomize=True)
@given(st.floats(-1e9, 1e9, allow_nan=False).filter(lambda v: abs(v) > 1e-4))
def test_a_printed_number_reads_back_to_its_digits(value):
    read = float(number(value, 4).replace(THIN, "").replace("−", "-"))
    assert abs(read - value) <= 0.501e-3 * abs(value)


def test_quantities_and_stated_values():
    assert quantity(12.5, "mm2") == f"12.5{THIN}mm²"
    assert quantity(12.5, "deg") == "12.5°"
    assert said(0.8, "mm") == f"0.8{THIN}mm"
    assert said([1.0, 2.5], "mm") == "1, 2.5 mm"
    assert said(None) == "–"
    assert said(False) == "no"


@settings(max_examples=200, derandomize=True)
@given(st.text(max_size=300))
def test_plain_text_is_one_line_without_control_characters(text):
    kept = plain(text)
    assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or 0xD800 <= ord(c) < 0xE000 or 0x202A <= ord(c) <= 0x202E for c in kept)
    assert max((len(w) for w in re.split(r"[\s\u200b]", kept)), default=0) <= 24
    ET.fromstring(f"<a>{Svg(1, 1).text(0, 0, text) or ''}</a>")


def test_any_text_gives_well_formed_svg():
    svg = Svg(10, 10)
    svg.text(1, 1, "<&>\"'\x00\x07]]>", halo=True)
    assert parsed(svg).find("s:text", NS).text == "<&>\"' ]]>"


def test_labels_and_stated_fields_carry_units():
    assert label("force_kn") == ("Nominal force", "kN")
    assert label("some_length_mm") == ("Some length", "mm")
    rows = {r[0]: r[1] for r in stated(BlankStated(friction=0.1, bead_restraint=50))}
    assert rows["Friction"] == "0.1"
    assert rows["Bead restraint"] == f"50{THIN}N/mm"
    assert {r[0]: r[1] for r in stated(PartStated())}["Target edge"] == "auto"  # 0 chooses it


@pytest.mark.parametrize("name", ["batlow", "lapaz", "vik"])
def test_colour_tables_are_even_and_whole(name):
    table = colours.table(name)
    assert table.shape == (256, 3)
    assert table.min() >= 0
    assert table.max() <= 1
    assert np.abs(np.diff(table, axis=0)).max() < 0.05  # no jumps
    stops = colours.stops(name, 9)
    assert [s for s, _ in stops] == sorted(s for s, _ in stops)
    assert stops[0][1] == colours.hexed(table[0])
    assert colours.stops(name, 9, reverse=True)[0][1] == stops[-1][1]


@settings(max_examples=100, derandomize=True)
@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_ticks_are_round_and_inside(lo, span, wanted):
    step = nice_step(span, wanted)
    found = ticks(lo, lo + span, wanted)
    assert len(found) <= 2.6 * wanted + 2
    for v in found:
        assert lo - 1e-6 * span <= v <= lo + span + 1e-6 * span
        assert abs(v / step - round(v / step)) < 1e-5
        assert tick_text(v, step)


def test_a_plot_puts_points_where_its_axes_say():
    plot = Plot(90, 60, (0.0, 10.0), (-5.0, 5.0), "x, mm", "y, kN")
    assert plot.at(0, -5) == (plot.left, plot.bottom)
    assert plot.at(10, 5) == (plot.right, plot.top)
    x = np.array([0.0, 5.0, 10.0])
    assert np.allclose(plot.places(x, x - 5)[1], [(plot.left + plot.right) / 2, (plot.top + plot.bottom) / 2])
    plot.curve(x, x - 5, "the curve")
    root = ET.fromstring(plot.text_of())
    texts = [t.text for t in root.iter(f"{{{NS['s']}}}text")]
    assert {"x, mm", "y, kN", "the curve", "0", "10"} <= set(texts)
    assert root.get("width") == "90mm"
    assert root.get("viewBox") == "0 0 90 60"


def test_texts_of_a_plot_stay_on_the_paper():
    plot = Plot(88, 57, (0.0, 1.0), (0.0, 123_456.0), "plastic strain", "flow stress, MPa")
    plot.curve(np.linspace(0, 1, 20), np.linspace(0, 120_000, 20), "a rather long name of a curve", where=0.99)
    for text in ET.fromstring(plot.text_of()).iter(f"{{{NS['s']}}}text"):
        wide = width_of(text.text, float(text.get("font-size")))
        left = float(text.get("x")) - {"start": 0, "middle": wide / 2, "end": wide}[text.get("text-anchor")]
        assert left >= -0.6
        assert left + wide <= 88.6


def test_a_cloud_of_points_is_thinned_not_lost():
    plot = Plot(90, 60, (0.0, 1.0), (0.0, 1.0), "x", "y")
    before = len(plot.text_of())
    x = np.random.default_rng(1).random(50_000)
    plot.dots(x, x)
    assert 1000 < len(plot.text_of()) - before < 20_000


def test_hatching_stays_inside():
    svg = Svg(50, 50)
    ring = np.array([[10.0, 10], [40, 10], [40, 30], [25, 20], [10, 30]])
    stroke_hatch(svg, ring, gap=2.0)
    ends = points_of(parsed(svg).find("s:path", NS))
    from shapely import Point, Polygon

    region = Polygon(ring).buffer(1e-2)
    middles = (ends[::2] + ends[1::2]) / 2
    assert len(middles) > 10
    assert all(region.contains(Point(p)) for p in middles)


def test_standard_scales():
    assert drawing.fitting((300, 120), (150, 200)) == 0.5
    assert drawing.fitting((300, 120), (149, 200)) == 0.2
    assert drawing.fitting((30, 12), (151, 200)) == 5.0
    assert [drawing.scale_text(s) for s in (2.0, 1.0, 0.5, 0.2, 0.05)] == ["2:1", "1:1", "1:2", "1:5", "1:20"]


@pytest.mark.parametrize("scale", [0.5, 0.2, 1.0])
@pytest.mark.parametrize("turned", [False, True])
def test_the_blank_is_drawn_true_to_scale(scale, turned):
    outline = RECTANGLE * min(1.0, 0.5 / scale)
    made = drawing.blank(outline, None, [], 0.0, 180.0, scale, 0.8, turned=turned)
    root = parsed(made.svg)
    ring = points_of(next(p for p in root.findall("s:path", NS) if p.get("id") == "blank-outline"))
    size = np.ptp(outline, axis=0) * scale
    assert np.allclose(np.ptp(ring, axis=0), size[::-1] if turned else size, atol=2e-3)
    assert root.get("width") == "180mm"
    bar = next(line for line in root.findall("s:line", NS) if line.get("id") == "check-bar")
    assert float(bar.get("x2")) - float(bar.get("x1")) == pytest.approx(100.0, abs=1e-9)
    assert float(bar.get("x2")) <= 180.0


def test_turning_keeps_the_blank_from_being_mirrored():
    hook = np.array([[0.0, 0], [100, 0], [100, 20], [20, 20], [20, 60], [0, 60]])

    def signed(points):
        x, y = points.T
        return 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())

    for turned in (False, True):
        root = parsed(drawing.blank(hook, None, [], 0.0, 180.0, 1.0, 0.8, turned=turned).svg)
        ring = points_of(next(p for p in root.findall("s:path", NS) if p.get("id") == "blank-outline"))
        assert signed(ring) == pytest.approx(-signed(hook), rel=1e-3)  # y runs down on paper, nothing else changes


def test_dimensions_holes_and_rolling_direction_are_named():
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    hole = np.column_stack([60 + 10 * np.cos(t), 40 + 10 * np.sin(t)])
    root = parsed(drawing.blank(RECTANGLE, RECTANGLE * 0.95, [("hole_1", hole)], 30.0, 180.0, 0.5, 1.25).svg)
    texts = {t.text for t in root.iter(f"{{{NS['s']}}}text")}
    assert {f"300{THIN}mm", f"120{THIN}mm", f"Ø20{THIN}mm", "rolling direction", "net outline", f"t = 1.25{THIN}mm"} <= texts


def test_the_nest_is_true_to_scale_and_fits_the_field():
    placed = np.stack([RECTANGLE + np.array([5 + 305.0 * i, 4.0]) for i in range(4)])
    made = drawing.nest(placed, 128.0, 305.0, 180.0, 120.0)
    assert made.said in {"1:5", "1:10"}
    root = parsed(made.svg)
    assert float(root.get("height").removesuffix("mm")) <= 120.0
    dimensions = {t.text for t in root.iter(f"{{{NS['s']}}}text")}
    assert f"pitch 305{THIN}mm" in dimensions
    assert f"128{THIN}mm" in dimensions
    first = points_of(next(p for p in root.findall("s:path", NS) if p.get("fill") == "#ffffff"))
    assert np.allclose(np.ptp(first, axis=0), np.array([300, 120]) * made.scale, atol=2e-3)


@pytest.mark.parametrize("flat", [False, True])
def test_a_view_keeps_every_point_in_the_frame_and_lengths_in_its_plane(flat):
    view = look(PAN.points, 180.0, 90.0, flat=flat)
    places = view.place(PAN.points)
    assert (places >= [0, 0]).all()
    assert (places <= [view.width, view.height]).all()
    a = view.centre
    assert np.linalg.norm(view.place(a + 50 * view.right)[0] - view.place(a)[0]) == pytest.approx(50 * view.per_mm)
    assert np.allclose([view.right @ view.up, view.right @ view.towards, view.up @ view.towards], 0, atol=1e-12)
    assert np.linalg.det([view.right, view.up, view.towards]) == pytest.approx(1.0)
    assert view.direction(np.array([0.0, 0, -1]))[1] >= -1e-12  # the punch travels down the paper


def test_hidden_places_are_known():
    view = look(PAN.points, 180.0, 90.0)
    walls = PAN.centroids[np.abs(PAN.normals[:, 2]) < 0.75]
    front = walls[np.argmax(walls @ view.towards - 2 * walls[:, 2] * view.towards[2])]
    rim = PAN.points[np.argmax(PAN.points[:, 2] + 0.001 * PAN.points[:, 0])]
    assert not view.hidden(rim, PAN)
    assert view.hidden(front, PAN)
