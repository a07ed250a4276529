"""Meshes and numbers that cannot be developed, and stopping."""

from __future__ import annotations

import meshes as M
import numpy as np
import pytest

from diewright.errors import Cancelled, InputError, SolveError
from diewright.mechanics.inverse import solve
from diewright.mechanics.linear import Pattern, _LuFactor
from diewright.mechanics.topology import checked_sheet
from diewright.mechanics.unfold import _disc, unfold, unfold_sheet
from diewright.watch import Watch

STRAIN = np.linspace(0.0, 1.0, 50)
SHEET = dict(thickness=0.8, hardening=(STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22))


def tetrahedron():
    points = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10.0]])
    return points, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def test_several_pieces_are_refused():
    p, t = M.flat()
    with pytest.raises(SolveError, match="2 pieces"):
        solve(np.vstack([p, p + np.array([200.0, 0, 0])]), np.vstack([t, t + len(p)]), **SHEET)


def test_closed_surface_is_refused():
    with pytest.raises(SolveError, match="closed"):
        solve(*tetrahedron(), **SHEET)


def test_edge_of_three_triangles_is_refused():
    p, t = M.flat()
    p = np.vstack([p, [[0.0, 0.0, 20.0]]])
    with pytest.raises(SolveError, match="three or more"):
        solve(p, np.vstack([t, [[t[0, 0], t[0, 1], len(p) - 1], [t[0, 1], t[0, 0], len(p) - 1]]]), **SHEET)


def test_one_sided_strip_is_refused():
    n = 40
    u = np.arange(n) / n * 2 * np.pi
    rings = [
        np.column_stack([(30 + w * np.cos(u / 2)) * np.cos(u), (30 + w * np.cos(u / 2)) * np.sin(u), w * np.sin(u / 2)])
        for w in (-3.0, 3.0)
    ]
    k = np.arange(n - 1)
    t = np.vstack([np.column_stack([k, k + 1, n + k + 1]), np.column_stack([k, n + k + 1, n + k]), [[n - 1, n, 0], [n - 1, 0, 2 * n - 1]]])
    with pytest.raises(SolveError, match="one-sided"):
        solve(np.vstack(rings), t, **SHEET)


def test_degenerate_triangle_names_its_place():
    p, t = M.flat()
    p = p.copy()
    p[t[5, 1]] = 0.5 * (p[t[5, 0]] + p[t[5, 2]])
    with pytest.raises(InputError, match=r"without area.* at \("):
        solve(p, t, **SHEET)


def test_coordinates_that_are_not_finite_are_refused():
    p, t = M.flat()
    p = p.copy()
    p[3, 1] = np.nan
    with pytest.raises(InputError, match="finite"):
        solve(p, t, **SHEET)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"thickness": 0.0}, "thickness"), ({"thickness": np.nan}, "thickness"), ({"friction": -0.1}, "friction"), ({"bead_restraint": np.inf}, "bead_restraint"),
        ({"poisson": 0.7}, "poisson"), ({"rolling_angle": np.nan}, "rolling_angle"), ({"flange": np.ones(3, dtype=bool)}, "flange"),
        ({"blankholder_force": 1e3, "friction": 0.1}, "flange"), ({"fixed_edge": np.ones(2, dtype=bool)}, "fixed_edge"),
        ({"bead_restraint": 1.0, "bead_edges": [[0, 40]]}, "bead_edges"),
    ],
)  # fmt: skip
def test_bad_numbers_name_their_field(change, where):
    with pytest.raises(InputError) as caught:
        solve(*M.flat(), **{**SHEET, **change})
    assert caught.value.where == where


def test_too_few_iterations_is_an_error():
    with pytest.raises(SolveError, match="did not settle"):
        solve(*M.round_cup(h=5.0), max_iterations=3, **SHEET)


def test_cancel_stops_the_solution():
    heard = []

    def cancelled():
        return len(heard) > 3

    with pytest.raises(Cancelled):
        solve(*M.round_cup(h=5.0), watch=Watch(heard.append, cancelled), **SHEET)
    assert {p.phase for p in heard} >= {"unfolding"}


def test_mixed_senses_of_rotation_are_made_one():
    p, t = M.round_cup(h=5.0)
    mixed = t.copy()
    mixed[::3] = mixed[::3, ::-1]
    a, b = solve(p, t, **SHEET), solve(p, mixed, **SHEET)
    np.testing.assert_allclose(a.thickness, b.thickness, rtol=1e-5)


SHAPES = {
    "square cup": lambda: M.square_cup(h=5.0),
    "square cup, flange, small radii": lambda: M.square_cup(60.0, 60.0, 4.0, 5.0, 3.0, 15.0, h=3.0),
    "round cup, ratio 2": lambda: M.round_cup(25.0, 37.5, 5.0, h=2.5),
    "round cup with flange": lambda: M.round_cup(25.0, 40.0, 5.0, 4.0, 15.0, h=2.5),
    "hemisphere": lambda: M.dome(50.0, 50.0, h=5.0),
    "undercut dome": lambda: M.dome(40.0, 50.0, h=4.0),
    "channel": lambda: M.swept(M.channel_profile(), 60.0, 3.0),
    "panel": lambda: M.panel(h=8.0),
    "cup with an L-shaped flange": lambda: _notched(M.square_cup(60.0, 30.0, 8.0, 5.0, 4.0, 30.0, h=4.0)),
    "cup with a hole in the bottom": lambda: _holed(M.round_cup(25.0, 25.0, 5.0, h=2.5)),
}


def _notched(mesh):
    c = mesh[0][mesh[1]].mean(axis=1)
    return M.without(mesh, (c[:, 2] > -1e-6) & (c[:, 0] > 0) & (c[:, 1] > 36.0))


def _holed(mesh):
    return M.without(mesh, np.linalg.norm(mesh[0][mesh[1]].mean(axis=1)[:, :2], axis=1) < 9.0)


@pytest.mark.parametrize("name", SHAPES)
def test_first_flat_has_no_folds(name):
    points, triangles = SHAPES[name]()
    flat = unfold(points, triangles)
    a, b = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    assert (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).min() > 0


def test_the_disc_route_has_no_folds_either():
    points, triangles = M.square_cup(60.0, 60.0, 6.0, 4.0, 4.0, 15.0, h=5.0)
    sheet = checked_sheet(points, triangles)
    flat = _disc(sheet, Watch())
    a, b = flat[triangles[:, 1]] - flat[triangles[:, 0]], flat[triangles[:, 2]] - flat[triangles[:, 0]]
    ratio = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / np.linalg.norm(
        np.cross(points[triangles[:, 1]] - points[triangles[:, 0]], points[triangles[:, 2]] - points[triangles[:, 0]]), axis=1
    )
    assert ratio.min() > 0.1
    assert unfold_sheet(sheet, Watch()).method == "laid over"


def test_both_direct_solvers_agree_and_refuse_indefinite_matrices():
    _, t = M.round_cup(h=5.0)
    n = int(t.max()) + 1
    fixed = np.zeros(n, dtype=bool)
    fixed[0] = True
    pattern = Pattern(t, n, 1, fixed)
    values = pattern.zeros()
    np.add.at(values, pattern.slot, np.broadcast_to([1.0, -0.5, 1.0, -0.5, -0.5, 1.0], (len(t), 6)))
    right = np.random.default_rng(0).normal(size=pattern.size)
    x = pattern.factor(values).solve(right)
    np.testing.assert_allclose(pattern.full(values) @ x, right, atol=1e-9)
    np.testing.assert_allclose(_LuFactor(pattern.full(values).tocsc()).solve(right), x, atol=1e-9)
    from diewright.mechanics.linear import NotPositiveDefinite

    values[pattern.diagonal[:5]] = -1.0
    with pytest.raises(NotPositiveDefinite):
        pattern.factor(values)
    with pytest.raises(NotPositiveDefinite):
        _LuFactor(pattern.full(values).tocsc())
