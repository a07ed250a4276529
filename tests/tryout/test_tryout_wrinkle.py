"""Height of wrinkles on shapes whose wrinkles are known; nothing where there are none."""

import time

import numpy as np
import pytest
from sheets import cup_profile, disc_mesh, hoop, turned

from diewright.errors import InputError
from diewright.tryout.wrinkle import WrinkleMeter, pressed_axes, resolved, tendency

T = 1.0
FLAT, TRIANGLES = disc_mesh(100.0, 2.2, inner=45.0)
METER = WrinkleMeter(FLAT, TRIANGLES, hoop(FLAT), T)
S = np.hypot(*FLAT.T)
PHI = np.arctan2(FLAT[:, 1], FLAT[:, 0])
MIDDLE = (S > 55.0) & (S < 92.0)


def waves(length):
    """Number of waves round the ring so that a wave at radius 75 is as long as asked for."""
    return round(2 * np.pi * 75.0 / length)


@pytest.mark.parametrize("length", [12.0, 16.0, 20.0, 24.0])
@pytest.mark.parametrize("amplitude", [0.05, 0.5])
def test_waves_of_a_flange(length, amplitude):
    z = amplitude * np.cos(waves(length) * PHI)
    h = METER.heights(np.column_stack([FLAT, z]))
    at = MIDDLE & (2 * np.pi * S / waves(length) > resolved(TRIANGLES, FLAT)) & (2 * np.pi * S / waves(length) < 29.0)
    assert at.sum() > 200
    assert np.median(h[at]) == pytest.approx(2 * amplitude, rel=0.05)
    assert np.percentile(np.abs(h[at] - 2 * amplitude), 95) < 0.1 * 2 * amplitude


@pytest.mark.parametrize("slope_deg", [30.0, 60.0])
def test_waves_of_a_cone(slope_deg):
    a = np.radians(slope_deg)
    n, amplitude = waves(20.0), 0.3
    middle = turned(FLAT, lambda s: (45.0 + (s - 45.0) * np.cos(a), (s - 45.0) * np.sin(a)))
    unit = FLAT / S[:, None]
    normal = np.column_stack([-np.sin(a) * unit, np.full(len(S), np.cos(a))])
    h = METER.heights(middle + normal * (amplitude * np.cos(n * PHI))[:, None])
    assert np.percentile(np.abs(h[MIDDLE] - 2 * amplitude), 90) < 0.1 * 2 * amplitude
    clean = METER.heights(middle)
    assert clean[MIDDLE].max() < 0.05 * T


@pytest.mark.parametrize("die", [5.5, 8.0])
def test_a_clean_cup_has_none_on_flange_radii_wall_and_bottom(die):
    flat, triangles = disc_mesh(95.0, 2.2)
    s = np.hypot(*flat.T)
    cup = turned(flat, cup_profile(50.0, 6.5, die, 30.0))
    h = WrinkleMeter(flat, triangles, hoop(flat), T).heights(cup)
    assert h[(s > 5.0)].max() < 0.1 * T


def test_waves_on_the_flange_of_a_cup_are_there_and_stay_there():
    flat, triangles = disc_mesh(95.0, 2.2)
    s, phi = np.hypot(*flat.T), np.arctan2(flat[:, 1], flat[:, 0])
    cup = turned(flat, cup_profile(50.0, 6.5, 8.0, 15.0))
    rise = np.clip((s - 75.0) / 8.0, 0.0, 1.0)
    cup[:, 2] += 0.4 * rise * rise * (3 - 2 * rise) * np.cos(26 * phi)
    h = WrinkleMeter(flat, triangles, hoop(flat), T).heights(cup)
    assert np.percentile(np.abs(h[s > 85.0] - 0.8), 90) < 0.1
    assert h[(s > 10.0) & (s < 68.0)].max() < 0.1 * T


def corner_box(flat, radius=12.0):
    """A wall that runs straight, round a tight corner, straight on: x and y from s1, height from s2, curvature along s1."""
    s, z = flat[:, 0], flat[:, 1]
    turn = radius * np.pi / 2
    a = np.clip(s / radius, 0.0, np.pi / 2)
    x = np.where(s < 0, s, radius * np.sin(a))
    y = np.where(s > turn, s - turn, 0.0) + radius * (1 - np.cos(a))
    normal = np.column_stack([-np.sin(a), np.cos(a), 0 * a])
    return np.column_stack([x, y, z]), normal


def test_a_tight_corner_is_told_from_a_wrinkle_by_the_distance_to_the_tool():
    flat, triangles = disc_mesh(60.0, 2.2)
    axes = np.tile([1.0, 0.0], (len(flat), 1))
    meter = WrinkleMeter(flat, triangles, axes, T)
    clean, normal = corner_box(flat)
    inside = np.hypot(*flat.T) < 50.0
    assert meter.heights(clean)[inside].max() > T  # why the distances are needed
    free = 0.5 + 0.004 * (flat[:, 1] + 60.0)  # a wall that leans away from the punch
    assert meter.heights(clean, free[None])[inside].max() < 0.05 * T
    wave = 0.25 * np.cos(2 * np.pi * flat[:, 0] / 16.0)
    h = meter.heights(clean + normal * wave[:, None], (free + wave)[None])
    assert np.percentile(np.abs(h[inside] - 0.5), 90) < 0.05
    nowhere = meter.heights(clean, np.full((1, len(flat)), np.nan))
    np.testing.assert_array_equal(nowhere, meter.heights(clean))


def test_a_sheet_between_flat_faces_has_the_height_of_the_gap():
    z = 0.15 * np.sign(np.cos(waves(24.0) * PHI)) * np.minimum(1.0, 3 * np.abs(np.cos(waves(24.0) * PHI)))
    h = METER.heights(np.column_stack([FLAT, z]))
    assert np.median(h[MIDDLE]) == pytest.approx(0.3, rel=0.12)


def test_moving_the_sheet_as_a_body_changes_nothing():
    shape = np.column_stack([FLAT, 0.3 * np.cos(20 * PHI)])
    a = 0.7
    turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    np.testing.assert_allclose(METER.heights(shape @ turn.T + [5.0, -3.0, 80.0]), METER.heights(shape), atol=1e-7)


def test_the_pressed_direction_is_round_the_middle_where_a_flange_is_drawn_in():
    centre = FLAT[TRIANGLES].mean(axis=1)
    phi = np.arctan2(centre[:, 1], centre[:, 0])
    noise = np.random.default_rng(2).normal(scale=0.03, size=(len(phi), 3))
    strain = np.column_stack([0.1 * np.cos(2 * phi), -0.1 * np.cos(2 * phi), 0.2 * np.sin(2 * phi)]) + noise
    area = np.ones(len(phi))
    axes = pressed_axes(strain, TRIANGLES, area, FLAT, 8.0)
    assert np.abs((axes * hoop(FLAT)).sum(axis=1)).min() > np.cos(np.radians(10.0))


def test_tendency_needs_compression():
    stress = np.array([[0.0, -200.0, 0.0], [0.0, 0.0, 100.0], [200.0, 100.0, 0.0]])
    np.testing.assert_allclose(tendency(stress, np.full(3, 0.5)), [1.0, 0.5, 0.0], atol=1e-9)


def test_arrays_that_do_not_belong_together_are_refused():
    with pytest.raises(InputError, match="do not belong together"):
        WrinkleMeter(FLAT, TRIANGLES, hoop(FLAT)[:-1], T)


def test_ten_thousand_nodes_and_forty_frames():
    flat, triangles = disc_mesh(110.0, 2.1)
    shape = np.column_stack([flat, 0 * flat[:, 0]])
    start = time.perf_counter()
    meter = WrinkleMeter(flat, triangles, hoop(flat), T)
    for _ in range(40):
        meter.heights(shape)
    done = time.perf_counter()
    assert done - start < 60.0
