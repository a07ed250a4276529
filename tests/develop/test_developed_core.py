"""The outline of a blank moved until the formed edge lies on its line, on a cup whose forming has a closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diewright.develop import core
from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh

R, H = 30.0, 24.0  # wall radius and wanted height [mm]
EARS, FEED = 0.08, 0.5  # share of the height by which four ears stand out; how much the whole flow depends on the blank's size


def circle(radius: float, count: int = 96) -> np.ndarray:
    at = 2 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(at), np.sin(at)])


def rate(at, size: float):
    """Height of the wall over what constant thickness would give."""
    return (1 + EARS * np.cos(4 * at)) * (1 + FEED * (size - 49.0) / 49.0)


def cup(outline: np.ndarray, rings: int = 26, wobble: float = 0.0, seed: int = 0) -> core.Formed:
    """The bottom stays, the rest is turned up: z = (r^2 - R^2) / 2R by constant area, times :func:`rate`."""
    angle = np.arctan2(outline[:, 1], outline[:, 0])
    order = np.argsort(angle)
    at = 2 * np.pi * np.arange(120) / 120
    edge = np.interp(at, angle[order], np.hypot(*outline[order].T), period=2 * np.pi)
    if wobble:
        edge = edge + wobble * np.random.default_rng(seed).normal(size=len(edge))
    size = float(edge.mean())
    inner = np.linspace(0.0, R, 8)[1:]
    points = [np.zeros((1, 2))]
    for r in inner:
        points.append(circle(r, 120))
    for s in np.linspace(0.0, 1.0, rings + 1)[1:]:
        points.append((R + s * (edge - R))[:, None] * np.column_stack([np.cos(at), np.sin(at)]))
    flat = np.vstack(points)
    cells = [[0, 1 + k, 1 + (k + 1) % 120] for k in range(120)]
    for j in range(len(points) - 2):
        a = 1 + 120 * j
        for k in range(120):
            m = (k + 1) % 120
            cells += [[a + k, a + 120 + k, a + 120 + m], [a + k, a + 120 + m, a + m]]
    r, way = np.hypot(*flat.T), np.arctan2(flat[:, 1], flat[:, 0])
    up = np.maximum(r**2 - R**2, 0.0) / (2 * R) * rate(way, size)
    shown = np.minimum(r, R)
    drawn = np.column_stack([shown * np.cos(way), shown * np.sin(way), up])
    t = np.array(cells, dtype=np.int32)
    return core.Formed(TriMesh(np.column_stack([flat, np.zeros(len(flat))]), t), TriMesh(drawn, t), np.arange(len(flat) - 120, len(flat)))


WANTED = np.column_stack([circle(R, 240), np.full(240, H)])


def true_outline(at: np.ndarray) -> np.ndarray:
    """Radius of the blank whose rim is level, by fixed point of the closed form."""
    size = 49.0
    for _ in range(60):
        rho = np.sqrt(R**2 + 2 * R * H / rate(at, size))
        size = float(rho.mean())
    return rho


def radii(outline: np.ndarray) -> np.ndarray:
    return np.hypot(*outline.T) - true_outline(np.arctan2(outline[:, 1], outline[:, 0]))


@pytest.mark.parametrize("start", [45.0, 49.0, 53.0])
def test_the_rim_comes_level_and_the_outline_is_the_closed_form(start):
    got = core.develop(cup, circle(start), WANTED, tolerance=0.1, runs=8)
    assert got.rounds[0].max_mm > 1.5
    assert got.chosen.max_mm <= 0.1
    assert len(got.rounds) >= 3  # the flow depends on the blank: one step is not enough
    assert np.abs(radii(got.chosen.outline)).max() < 0.1
    assert got.fit is not None
    assert got.broke == ""
    z = got.chosen.formed.drawn.points[got.chosen.formed.ring, 2]
    first = got.rounds[0].formed.drawn.points[got.rounds[0].formed.ring, 2]
    assert np.ptp(z) / z.mean() < 0.01 < 0.12 < np.ptp(first) / first.mean()


def test_distance_is_told_past_and_short_of_the_line():
    formed = cup(circle(49.0))
    over = core.edge_over(formed, WANTED)
    z = formed.drawn.points[formed.ring, 2]
    assert over == pytest.approx(z - H, abs=0.02)
    assert over.max() > 0.5
    assert over.min() < -0.5


def test_a_blank_with_allowance_is_run_first_and_not_judged():
    got = core.develop(cup, circle(49.0), WANTED, tolerance=0.1, runs=8, whole=circle(58.0))
    assert got.rounds[0].whole
    assert got.rounds[0].over.min() > 5.0
    assert not got.chosen.whole
    assert got.chosen.max_mm <= 0.1


def test_places_inside_and_beyond_the_edge_go_back_to_where_they_came_from():
    formed = cup(circle(50.0))
    at = np.linspace(0.1, 6.2, 50)
    for r, tolerance in ((44.0, 0.03), (49.9, 0.03), (51.5, 0.15)):
        z = (r**2 - R**2) / (2 * R) * rate(at, 50.0)
        places = np.column_stack([R * np.cos(at), R * np.sin(at), z])
        flat = core.flat_places(formed, places)
        assert np.linalg.norm(flat - r * np.column_stack([np.cos(at), np.sin(at)]), axis=1).max() < tolerance


def test_it_stops_when_the_distance_no_longer_falls():
    calls = []

    def noisy(outline: np.ndarray) -> core.Formed:
        calls.append(1)
        return cup(outline, wobble=0.6, seed=len(calls))

    got = core.develop(noisy, circle(49.0), WANTED, tolerance=0.01, runs=20)
    assert 3 <= len(calls) < 20
    assert got.chosen.max_mm == min(r.max_mm for r in got.rounds)


def test_a_run_that_breaks_off_keeps_what_was_reached_and_the_first_one_does_not():
    calls = []

    def breaks(outline: np.ndarray) -> core.Formed:
        calls.append(1)
        if len(calls) == 3:
            raise SolveError("the sheet tears.")
        return cup(outline)

    got = core.develop(breaks, circle(45.0), WANTED, tolerance=1e-4, runs=9)
    assert got.broke == "the sheet tears."
    assert len(got.rounds) == 2

    def never(outline: np.ndarray) -> core.Formed:
        raise SolveError("the sheet tears.")

    with pytest.raises(SolveError, match="tears"):
        core.develop(never, circle(45.0), WANTED, tolerance=0.1, runs=2)


def test_numbers_out_of_range_and_a_line_folded_over_itself_are_refused():
    for tolerance, runs in ((0.0, 3), (math.nan, 3), (0.5, 0)):
        with pytest.raises(InputError):
            core.develop(cup, circle(49.0), WANTED, tolerance=tolerance, runs=runs)
    eight = np.array([[-10.0, -10], [10, 10], [10, -10], [-10, 10]])
    with pytest.raises(SolveError, match="cannot be drawn"):
        core.smooth(eight, 0.5)


def test_easing_takes_out_noise_of_the_mesh_and_leaves_corners():
    square = np.array([[-40.0, -30], [40, -30], [40, 30], [-40, 30]])
    ring = core.dense(square, 2.0)
    noise = 0.3 * np.random.default_rng(1).normal(size=ring.shape)
    got = core.eased(ring + noise, square, 8.0)
    import shapely

    off = shapely.distance(shapely.LinearRing(square), shapely.points(got))
    assert off.max() < 0.25
    assert off.mean() < 0.4 * shapely.distance(shapely.LinearRing(square), shapely.points(ring + noise)).mean()
    assert np.linalg.norm(got - square[2], axis=1).min() < 0.5
