"""The inverse solution against exact answers, an independent integration, invariance and its own refinement.

Tolerances were written before the runs, except where a comment says otherwise.
"""

from __future__ import annotations

from dataclasses import replace

import meshes as M
import numpy as np
import pytest
from axisymmetric import Revolved, cup_pieces, dome_pieces
from scipy.spatial import cKDTree

from diewright.mechanics import road
from diewright.mechanics.fields import wrinkle_tendency
from diewright.mechanics.inverse import solve
from diewright.mechanics.newton import _State, _Tangent
from diewright.mechanics.plasticity import Hill

STRAIN = np.linspace(0.0, 2.0, 2000)
SHEET = dict(thickness=0.8, hardening=(STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22))


def area(points, triangles):
    return 0.5 * np.linalg.norm(
        np.cross(points[triangles[:, 1]] - points[triangles[:, 0]], points[triangles[:, 2]] - points[triangles[:, 0]]), axis=1
    )


def signed(flat, triangles):
    a, b = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    return 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def blank_diameter(points, flat):
    r = np.linalg.norm(points[:, :2], axis=1)
    return 2 * np.linalg.norm(flat[r > r.max() - 1e-6], axis=1).mean()


def test_flat_part_has_no_strain():
    r = solve(*M.flat(), **SHEET)
    assert max(np.abs(r.major).max(), np.abs(r.minor).max()) < 1e-6
    assert np.abs(r.thickness - 0.8).max() < 1e-6
    assert r.draw_force == 0.0


@pytest.mark.parametrize("angle", [0.5, np.pi / 2, np.pi, 1.2 * np.pi])
def test_cylinder_unrolls_to_its_length(angle):
    points, triangles = M.bend(radius=20.0, angle=angle, h=1.0)
    r = solve(points, triangles, **SHEET)
    width = np.ptp(r.flat[:, 0])
    segments = int(np.ceil(20.0 * angle))
    polyline = segments * 2 * 20.0 * np.sin(angle / segments / 2)
    assert width == pytest.approx(polyline, rel=1e-6)
    assert width == pytest.approx(20.0 * angle, rel=1e-3)
    assert np.ptp(r.flat[:, 1]) == pytest.approx(30.0, rel=1e-6)


def test_channel_unrolls_to_its_length():
    profile = M.channel_profile()
    r = solve(*M.swept(profile, 60.0, 3.0), **SHEET)
    exact = 30 - 0 + 2 * (30 - 10) + 2 * 15 + 2 * np.pi * 5
    assert np.ptp(r.flat[:, 0]) == pytest.approx(exact, rel=1e-3)
    assert np.abs(r.major).max() < 1e-6


def test_cup_blank_is_near_constant_area_and_moves_the_right_way_with_r():
    """Draw ratio 2.1 with a flange of 10 mm: free rims thicken. Thickness resists more the higher r, so the blank nears the constant-area one
    from above as r rises."""
    points, triangles = M.round_cup(25.0, 20.0, 5.0, 4.0, 10.0, h=2.0)
    constant = 2 * np.sqrt(area(points, triangles).sum() / np.pi)
    out = {r: solve(points, triangles, anisotropy=Hill.normal(r), **SHEET) for r in (1.0, 1.8, 3.0)}
    d = {r: blank_diameter(points, s.flat) for r, s in out.items()}
    assert d[1.0] == pytest.approx(constant, rel=0.02)
    assert constant < d[3.0] < d[1.8] < d[1.0]
    assert out[3.0].thickness.min() > out[1.0].thickness.min()
    assert out[3.0].thickness.max() < out[1.0].thickness.max()
    for s in out.values():
        assert s.volume.sum() == pytest.approx(float((s.thickness * area(points, triangles)).sum()), rel=1e-12)


@pytest.mark.parametrize("r_value", [1.0, 1.8])
def test_flanged_cup_agrees_with_the_axisymmetric_equation(r_value):
    shape = (25.0, 20.0, 5.0, 4.0, 8.0)
    points, triangles = M.round_cup(*shape, h=1.5)
    result = solve(points, triangles, anisotropy=Hill.normal(r_value), **SHEET)
    profile = Revolved(cup_pieces(*shape), 0.8, SHEET["hardening"], 2.1e5, r_value).solve(1e-5, 0.12)
    assert blank_diameter(points, result.flat) == pytest.approx(2 * profile[-1, 2], rel=2e-3)
    # hoop strain ring by ring, by arc length
    s = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(M.cup_profile(*shape, 1.5), axis=0), axis=1))])
    rings = M.cup_profile(*shape, 1.5)
    tree = cKDTree(rings)
    ring = tree.query(np.column_stack([np.linalg.norm(points[:, :2], axis=1), points[:, 2]]))[1]
    rho = np.array([np.linalg.norm(result.flat[ring == k], axis=1).mean() for k in range(len(rings))])
    hoop = np.log(rings[1:, 0] / rho[1:])
    exact = np.interp(s[1:] * profile[-1, 0] / s[-1], profile[:, 0], np.log(profile[:, 1] / profile[:, 2]))
    assert np.abs(hoop - exact).max() < 0.03 * np.abs(exact).max()


def test_clamped_dome_agrees_with_the_axisymmetric_equation_and_keeps_volume():
    points, triangles = M.dome(50.0, 20.0, h=3.0)
    edge = np.abs(points[:, 2]) < 1e-6
    result = solve(points, triangles, fixed_edge=edge, **SHEET)
    profile = Revolved(dome_pieces(50.0, 20.0), 0.8, SHEET["hardening"], 2.1e5, 1.0).solve(0.02, 0.4, clamped_at=50.0)
    assert np.abs(result.flat[edge] - points[edge, :2]).max() < 1e-9
    thickness = 0.8 * np.exp(-profile[:, 3] - np.log(profile[:, 1] / profile[:, 2]))
    centre = np.linalg.norm(points[triangles].mean(axis=1)[:, :2], axis=1)
    assert np.abs(result.thickness / np.interp(centre, profile[:, 1], thickness) - 1).max() < 0.02
    assert result.major[centre < 5].mean() == pytest.approx(profile[0, 3], rel=0.03)
    assert result.volume.sum() == pytest.approx(0.8 * signed(result.flat, triangles).sum(), rel=1e-12)
    np.testing.assert_allclose(np.log(result.thickness / 0.8), -(result.major + result.minor), atol=1e-12)


def test_refinement_converges_at_second_order_on_the_dome():
    profile = Revolved(dome_pieces(50.0, 20.0), 0.8, SHEET["hardening"], 2.1e5, 1.0).solve(0.02, 0.4, clamped_at=50.0)
    errors = []
    for h in (8.0, 4.0, 2.0):
        points, triangles = M.dome(50.0, 20.0, h=h)
        r = solve(points, triangles, fixed_edge=np.abs(points[:, 2]) < 1e-6, **SHEET)
        at = np.linalg.norm(points[:, :2], axis=1)
        miss = np.linalg.norm(r.flat, axis=1) - np.interp(at, profile[:, 1], profile[:, 2])
        errors.append(np.sqrt((miss**2).mean()))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders.mean() > 1.5, (errors, orders)


def test_turning_and_shifting_the_part_changes_nothing():
    points, triangles = M.square_cup(60.0, 15.0, 12.0, 6.0, 5.0, 10.0, h=5.0)
    kw = dict(anisotropy=Hill.from_r(1.8, 1.3, 2.2), tolerance=1e-10, **SHEET)
    base = solve(points, triangles, rolling_angle=0.2, **kw)
    turn = 0.7
    moved = solve(M.turned(points, turn, (31.0, -12.0, 5.0)), triangles, rolling_angle=0.2 + turn, **kw)
    assert base.growth == moved.growth == 0.0
    for name in ("major", "minor", "plastic_strain"):
        np.testing.assert_allclose(getattr(moved, name), getattr(base, name), atol=1e-6)
    np.testing.assert_allclose(moved.thickness, base.thickness, atol=1e-6)
    c, s = np.cos(turn), np.sin(turn)
    np.testing.assert_allclose(moved.flat, base.flat @ np.array([[c, s], [-s, c]]) + [31.0, -12.0], atol=1e-5)
    same_rolling = solve(M.turned(points, turn), triangles, rolling_angle=0.2, **kw)
    assert np.abs(same_rolling.major - base.major).max() > 1e-3  # the rolling direction matters


def test_square_cup_as_deep_as_wide_converges():
    points, triangles = M.square_cup(80.0, 80.0, 12.0, 8.0, h=5.0)
    r = solve(points, triangles, anisotropy=Hill.from_r(1.6, 1.2, 1.9), **SHEET)
    assert r.residual < 1e-6
    assert r.growth == 0.0
    assert signed(r.flat, triangles).min() > 0
    for array in (r.flat, r.major, r.thickness, r.stress):
        assert np.isfinite(array).all()
    # orthotropic about x and y (the stitched mesh is not quite symmetric): the middles of opposite walls lie alike
    reach = [np.abs(r.flat[:, 0]).max(), -r.flat[:, 0].min(), r.flat[:, 0].max()]
    assert reach[1] == pytest.approx(reach[2], rel=0.01)


def test_square_cup_with_flange_beyond_its_limit_says_so():
    points, triangles = M.square_cup(80.0, 80.0, 12.0, 8.0, 6.0, 20.0, h=5.0)
    r = solve(points, triangles, **SHEET)
    assert r.growth > 0
    assert "uniform strain" in r.warnings[0]
    assert signed(r.flat, triangles).min() > 0


def test_bead_and_friction_pull_the_blank_in():
    points, triangles = M.round_cup(25.0, 15.0, 5.0, 4.0, 10.0, h=2.5)
    flange = (points[triangles][:, :, 2] > -1e-6).all(axis=1)
    free = solve(points, triangles, **SHEET)
    bead = solve(points, triangles, bead_restraint=30.0, **SHEET)
    rubbed = solve(points, triangles, flange=flange, blankholder_force=2.0e4, friction=0.1, **SHEET)
    assert blank_diameter(points, bead.flat) < blank_diameter(points, free.flat)
    assert bead.thickness.min() < free.thickness.min()
    # plastic flange, sigma_r - sigma_t = Y: the radial stress at the wall rises by the bead's q / t and by the friction's integral of f / t over the
    # width (not by the force: the hoop takes part of it), so the force at the wall's radius rises by 2 pi r q and 2 mu F r / r_mean
    assert bead.draw_force - free.draw_force == pytest.approx(30.0 * 2 * np.pi * 25.0, rel=0.15)
    assert rubbed.draw_force - free.draw_force == pytest.approx(2 * 0.1 * 2.0e4 * 25.0 / 34.0, rel=0.15)


def test_bead_edge_traction_is_exact_on_the_cup():
    """Radial stress at the rim tends to the bead's pull; the one-dimensional model takes the same pull."""
    shape = (25.0, 15.0, 5.0, 4.0, 8.0)
    points, triangles = M.round_cup(*shape, h=1.5)
    r = solve(points, triangles, bead_restraint=60.0, **SHEET)
    profile = Revolved(cup_pieces(*shape), 0.8, SHEET["hardening"], 2.1e5, 1.0, bead=60.0).solve(1e-5, 0.12)
    assert blank_diameter(points, r.flat) == pytest.approx(2 * profile[-1, 2], rel=2e-3)


def test_exact_tangent_agrees_with_differences(monkeypatch):
    """Residual (element, edge, bead and friction terms) against its own tangent, by the direction it gives."""
    points, triangles = M.round_cup(25.0, 15.0, 5.0, 4.0, 10.0, h=5.0)
    flange = (points[triangles][:, :, 2] > -1e-6).all(axis=1)
    kept = {}
    original = road.newton

    def spy(problem, flat, **kw):
        kept["problem"], kept["flat"] = problem, flat
        return original(problem, flat, **kw)

    monkeypatch.setattr(road, "newton", spy)
    solve(points, triangles, flange=flange, blankholder_force=2.0e4, friction=0.1, bead_restraint=20.0, **SHEET)
    problem, rng = kept["problem"], np.random.default_rng(0)
    flat = kept["flat"] * (1 + 0.02 * rng.normal(size=kept["flat"].shape) * 0.1)
    values = problem.pattern.zeros()
    state = _State(problem, flat, False, values)
    tangent = problem.pattern.full(values) + problem.loads.tangent(flat, state.state)
    direction = rng.normal(size=flat.shape)
    h = 1e-7

    def residual(x):
        s = _State(replace(problem, hold=None), x, False, problem.pattern.zeros())
        return s.residual

    difference = (residual(flat + h * direction) - residual(flat - h * direction)) / (2 * h)
    exact = tangent @ direction.ravel()
    assert np.linalg.norm(difference - exact) < 1e-5 * np.linalg.norm(exact)
    step = _Tangent(problem, tangent.tocsr()).solve(-state.residual)
    assert np.abs(problem.hold.rows @ step).max() < 1e-8 * np.abs(step).max()
    left = problem.hold.balanced(tangent @ step + state.residual, problem.hold.rigid(flat))[0]
    assert np.linalg.norm(left) < 1e-7 * np.linalg.norm(state.residual)


def test_hole_is_kept_and_grows_with_the_sheet():
    points, triangles = M.dome(50.0, 15.0, h=4.0)
    r0 = np.linalg.norm(points[triangles].mean(axis=1)[:, :2], axis=1)
    points, triangles = M.without((points, triangles), r0 < 9.0)
    result = solve(points, triangles, fixed_edge=np.abs(points[:, 2]) < 1e-6, **SHEET)
    inner = np.linalg.norm(points[:, :2], axis=1) < 12.5
    assert (np.linalg.norm(result.flat[inner], axis=1) < np.linalg.norm(points[inner, :2], axis=1)).all()
    assert signed(result.flat, triangles).min() > 0


def test_points_without_triangles_come_back_as_nan():
    points, triangles = M.flat()
    points = np.vstack([points, [[500.0, 0.0, 0.0]]])
    r = solve(points, triangles, **SHEET)
    assert np.isnan(r.flat[-1]).all()
    assert np.isfinite(r.flat[:-1]).all()


def test_wrinkle_tendency_follows_the_plate_formula():
    e, nu, t, b = 2.1e5, 0.3, 1.0, 100.0
    critical = 4 * np.pi**2 * e * t**2 / (12 * (1 - nu**2) * b**2)
    stress = np.array([[0.0, 0.0], [0.0, -0.5 * critical], [0.0, -2 * critical], [5 * critical, -0.5 * critical]])
    index = wrinkle_tendency(stress, np.full(4, t), youngs_modulus=e, tangent_modulus=np.full(4, e), span=b, poisson=nu)
    assert index[0] == 0
    assert index[1] == pytest.approx(0.5, rel=1e-12)
    assert index[2] == 1
    assert index[3] < index[1]
