"""Open deep walls: the road's robustness, the wall gap and the drawing tension. Tolerances were written before the runs."""

from __future__ import annotations

import meshes as M
import numpy as np
import pytest
from test_inverse import SHEET, area, signed

from diewright.errors import InputError
from diewright.mechanics.inverse import solve
from diewright.mechanics.membrane import gap_penalty
from diewright.mechanics.plasticity import Hill
from diewright.mechanics.tension import drawing_tension, mean_flow_stress, mean_tension_factor

STRAIN = np.linspace(0.0, 2.0, 2000)
DC05 = dict(thickness=1.0, hardening=(STRAIN, 523.67 * (0.0038324 + STRAIN) ** 0.23665), anisotropy=Hill.from_r(1.95, 1.6, 2.3))


@pytest.mark.parametrize("over", [-0.1, -1e-9, 1e-4, 0.01, 0.0199, 0.0201, 0.1])
def test_gap_penalty_is_smooth_and_its_derivatives_are_exact(over):
    h = 1e-7
    (w0, p0, _), (w1, p1, _) = gap_penalty(over - h, 2.0e4), gap_penalty(over + h, 2.0e4)
    _, p, k = gap_penalty(over, 2.0e4)
    assert p == pytest.approx((w1 - w0) / (2 * h), abs=2e-4)
    assert k == pytest.approx((p1 - p0) / (2 * h), abs=0.2)


def test_cup_of_ratio_2_7_converges_on_coarse_and_fine_meshes():
    d = []
    for h in (6.0, 3.5):
        points, triangles = M.round_cup(29.5, 94.5, 6.0, h=h)
        r = solve(points, triangles, **DC05)
        assert r.residual < 1e-6
        assert r.growth == 0.0
        assert signed(r.flat, triangles).min() > 0
        assert len(r.iterations) < 60
        d.append(np.sqrt(r.volume.sum()))
    assert d[0] == pytest.approx(d[1], rel=0.01)


@pytest.mark.parametrize("r_value", [0.5, 1.0, 2.5])
@pytest.mark.parametrize("limit", [None, 0.95])
def test_cup_of_ratio_3_converges_for_any_r(r_value, limit):
    points, triangles = M.round_cup(29.5, 118.0, 6.0, h=4.5)
    r = solve(points, triangles, anisotropy=Hill.normal(r_value), thickness_limit=limit, **SHEET)
    assert r.residual < 1e-6
    assert signed(r.flat, triangles).min() > 0
    rim = np.linalg.norm(r.flat[points[:, 2] > -1e-9], axis=1)
    assert np.ptp(rim) < 0.02 * rim.mean()  # the round part has a round blank


def test_square_cup_half_again_as_deep_as_wide_converges():
    points, triangles = M.square_cup(80.0, 120.0, 12.0, 8.0, h=6.0)
    r = solve(points, triangles, anisotropy=Hill.from_r(1.6, 1.2, 1.9), **SHEET)
    assert r.residual < 1e-6
    assert r.growth == 0.0


def test_irregular_mesh_of_a_deep_cup_converges():
    points, triangles = M.round_cup(29.5, 94.5, 6.0, h=4.0)
    rng = np.random.default_rng(3)
    wall = (np.abs(np.linalg.norm(points[:, :2], axis=1) - 29.5) < 1e-6) & (points[:, 2] < -1.0) & (points[:, 2] > -85.0)
    t = np.arctan2(points[:, 1], points[:, 0]) + np.where(wall, rng.uniform(-0.8, 0.8, len(points)) / 29.5, 0.0)
    radius = np.linalg.norm(points[:, :2], axis=1)
    moved = np.column_stack(
        [radius * np.cos(t), radius * np.sin(t), points[:, 2] + np.where(wall, rng.uniform(-0.8, 0.8, len(points)), 0.0)]
    )
    r = solve(moved, triangles, thickness_limit=1.22, bead_restraint=120.0, **DC05)
    assert r.residual < 1e-6
    assert signed(r.flat, triangles).min() > 0


def test_wall_gap_is_kept_and_its_pressure_acts_only_where_it_touches():
    points, triangles = M.round_cup(25.0, 35.0, 5.0, h=2.5)
    free = solve(points, triangles, **SHEET)
    limit = np.full(len(triangles), np.inf)
    wall = points[triangles].mean(axis=1)[:, 2] > -30.0
    limit[wall] = 0.90
    held = solve(points, triangles, thickness_limit=limit, **SHEET)
    a = area(points, triangles)
    over = np.where(wall, np.log(held.thickness / 0.90), -1.0)
    assert free.thickness.max() > 1.15
    assert np.average(over > 0.02, weights=a) < 0.01  # 2 % beyond the gap on less than 1 % of the area
    assert over.max() < 0.04
    assert (held.ironing_pressure[~wall] == 0).all()
    touching = held.ironing_pressure > 20.0
    assert touching.any()
    assert np.abs(over[touching]).max() < 0.04
    assert held.volume.sum() < free.volume.sum()
    # uniaxial hoop compression held at constant thickness: the pressure is a share of the flow stress, not more
    assert 0.1 * 550 < held.ironing_pressure.max() < 550
    loose = solve(points, triangles, thickness_limit=5.0, **SHEET)
    np.testing.assert_allclose(loose.flat, free.flat, atol=1e-4)
    assert (free.ironing_pressure == 0).all()


@pytest.mark.parametrize("limit", [0.3, np.nan, np.ones(3)])
def test_bad_gaps_are_refused(limit):
    with pytest.raises(InputError, match="thickness_limit"):
        solve(*M.flat(), thickness_limit=limit, **SHEET)


def test_mean_tension_factor_against_a_ring_by_ring_count():
    for ratio in (1.2, 1.79, 2.7):
        rho = np.linspace(1.0, ratio, 801)
        top = below = 0.0
        for a in 0.5 * (rho[1:] + rho[:-1]):
            r = np.linspace(1.0, a, 401)
            mid = 0.5 * (r[1:] + r[:-1])
            rim = np.sqrt(mid**2 + ratio**2 - a**2)
            top += a * (np.log(rim / mid) * np.diff(np.log(r))).sum()
            below += a * np.log(a)
        assert mean_tension_factor(ratio) == pytest.approx(top / below, rel=1e-4)
    assert mean_tension_factor(1.0) == 0.0
    assert mean_tension_factor(1.001) == pytest.approx(np.log(1.001) / 3, rel=2e-3)


def test_drawing_tension_has_its_parts_and_its_limit():
    flat = (np.array([0.0, 2.0]), np.array([300.0, 300.0]))
    assert mean_flow_stress(flat, 0.5) == pytest.approx(300.0)
    assert drawing_tension(1.8, 0.8, flat, 1e4) == pytest.approx(0.8 * 1.1 * 300.0 * mean_tension_factor(1.8) / 0.65)
    assert drawing_tension(3.0, 0.8, flat, 300.0) == pytest.approx(0.6 * 300.0 * 0.8)
    with pytest.raises(InputError):
        drawing_tension(0.9, 0.8, flat, 300.0)


def test_drawing_tension_brings_the_open_blank_nearer_to_constant_area():
    points, triangles = M.round_cup(25.0, 25.0, 5.0, h=2.5)
    whole = area(points, triangles).sum()
    beta = np.sqrt(whole / (np.pi * 625.0))
    pull = drawing_tension(beta, 0.8, SHEET["hardening"], 316.0)
    free, drawn = (solve(points, triangles, bead_restraint=q, **SHEET).volume.sum() / 0.8 for q in (0.0, pull))
    assert whole < drawn < free
    assert np.sqrt(drawn / whole) - 1 < 0.7 * (np.sqrt(free / whole) - 1)
