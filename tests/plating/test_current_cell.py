"""The current distribution: exact fields, conservation, kinetics in series, floating metal, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.errors import Cancelled, InputError, SolveError
from diewright.finish.current import newton
from diewright.finish.current.cell import Electrode
from diewright.finish.current.krylov import Solver
from diewright.finish.current.laws import ButlerVolmer, Linear, Tafel
from diewright.finish.current.newton import solve
from diewright.finish.current.tetra import conductance
from diewright.prove.plating_cells import grid

KAPPA = 0.008
LAW = ButlerVolmer(1e-6, 0.1, 0.08)


def brick(n=6, length=100.0, shape=lambda p: p):
    return grid(np.linspace(0, length, 2 * n + 1), np.linspace(0, 50, n + 1), np.linspace(0, 40, n + 1), shape)


def ends(g, law, **anode):
    return [Electrode("a", g.face(0, 100.0), law, **anode), Electrode("c", g.face(0, 0.0), law, potential=0.0)]


def skewed(p):
    q = p.copy()
    inside = ((p > 1) & (p < [99, 49, 39])).all(axis=1)
    q[inside] += np.random.default_rng(3).uniform(-1.5, 1.5, (inside.sum(), 3))
    return q


def test_a_linear_field_is_exact_on_a_skewed_mesh() -> None:
    g = brick(shape=skewed)
    s = solve(g.points, g.tetrahedra, KAPPA, ends(g, None, potential=2.0))
    assert np.allclose(s.phi, 0.02 * g.points[:, 0], atol=1e-8)
    assert np.allclose(s.carried["c"].density, KAPPA * 0.02, rtol=1e-6)
    assert np.allclose(s.carried["c"].of_triangles, KAPPA * 0.02, rtol=1e-6)


def test_the_matrix_does_not_change_when_all_is_turned_and_moved_far() -> None:
    g = brick(3)
    q, _ = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))
    k, far = conductance(g.points, g.tetrahedra, KAPPA), conductance(g.points @ q.T + 1e5, g.tetrahedra, KAPPA)
    assert abs(k - far).max() < 1e-8 * abs(k).max()
    assert np.abs(k.sum(axis=1)).max() < 1e-12 * abs(k).max()


@pytest.mark.parametrize("multigrid", [True, False])
@pytest.mark.parametrize("law", [LAW, Linear(900.0), Tafel(1e-6, 0.1)], ids=["bv", "linear", "tafel"])
@pytest.mark.parametrize("stated", ["current", "potential"])
def test_electrolyte_and_kinetics_in_series(multigrid, law, stated) -> None:
    g = brick(4)
    anode = Tafel(1e-6, 0.06, -1) if isinstance(law, Tafel) else law
    current = 3.0
    cathode_u, anode_u = (float(x.potential(np.array([i / 2000]))[0]) for x, i in ((law, current), (anode, -current)))
    volts = current * 100.0 / KAPPA / 2000.0 + cathode_u - anode_u + 1.3
    first = Electrode(
        "a", g.face(0, 100.0), anode, equilibrium=-1.3, **({"current": -current} if stated == "current" else {"potential": volts})
    )
    s = solve(
        g.points, g.tetrahedra, KAPPA, [first, Electrode("c", g.face(0, 0.0), law, potential=0.0)], solver=Solver(multigrid=multigrid)
    )
    assert s.carried["c"].total == pytest.approx(current, rel=1e-6)
    assert s.voltage("a", "c") == pytest.approx(volts, rel=1e-6)
    assert s.imbalance < 1e-7


def test_sinh_kinetics_far_from_the_start_still_converge() -> None:
    """2 kA through small electrodes at a hundredth of the usual exchange current: exponentials of 30 and more."""
    g = brick(6)
    law = ButlerVolmer(1e-10, 0.05, 0.05)
    part = g.face(0, 0.0)[:20]
    s = solve(
        g.points, g.tetrahedra, KAPPA, [Electrode("a", g.face(0, 100.0), law, current=-2000.0), Electrode("c", part, law, potential=0.0)]
    )
    assert s.steps < 25
    assert s.carried["c"].total == pytest.approx(2000.0, rel=1e-6)


def test_the_step_follows_the_current_from_a_cold_start(monkeypatch) -> None:
    """From no potential at all; plain steps take eleven."""
    g = brick(4)
    monkeypatch.setattr(newton, "_start", lambda k, electrodes, *rest: (np.zeros(k.shape[0]), np.zeros(len(electrodes))))
    s = solve(g.points, g.tetrahedra, KAPPA, ends(g, LAW, current=-3.0))
    assert s.steps <= 5
    assert s.carried["c"].total == pytest.approx(3.0, rel=1e-6)


def test_a_floating_metal_takes_and_gives_the_same_current() -> None:
    x = np.linspace(0, 100, 25)
    g = grid(x, np.linspace(0, 50, 13), np.linspace(0, 40, 9), keep=lambda p: ~((np.abs(p[:, 0] - 50) < 9) & (p[:, 1] < 20)))
    at = g.points[g.outer]
    middle = g.outer[
        ((at[:, :, 0] > 30) & (at[:, :, 0] < 70) & (at[:, :, 1] < 21)).all(axis=1)
        & (np.ptp(at[:, :, 2], axis=1) > 0)
        & ((at[:, :, 1] > 1e-9).any(axis=1))
    ]
    both = [*ends(g, LAW, current=-3.0), Electrode("b", middle, LAW, current=0.0)]
    s = solve(g.points, g.tetrahedra, KAPPA, both)
    c = s.carried["b"]
    flow = c.of_triangles * c.face.areas
    assert abs(c.total) < 1e-6
    assert flow[flow > 0].sum() > 0.01
    assert s.carried["c"].total == pytest.approx(3.0, rel=1e-6)


def test_a_thief_takes_its_share_and_the_sum_stays() -> None:
    g = brick()
    wall = g.face(1, 50.0)
    thief = Electrode("t", wall[g.points[wall][:, :, 0].max(axis=1) < 60], LAW, potential=0.0)
    alone = solve(g.points, g.tetrahedra, KAPPA, ends(g, LAW, current=-2.0))
    s = solve(g.points, g.tetrahedra, KAPPA, [*ends(g, LAW, current=-2.0), thief])
    assert 0 < s.carried["c"].total < alone.carried["c"].total
    assert s.carried["c"].total + s.carried["t"].total == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ([Electrode("a", np.zeros((0, 3), dtype=int), None, potential=1.0)], "no area"),
        ([Electrode("a", np.array([[0, 1, 2]]), None)], "either the potential or the current"),
        ([Electrode("a", np.array([[0, 1, 2]]), None, current=1.0)], "At least one electrode"),
    ],
)
def test_what_states_too_little_is_refused(change, says) -> None:
    g = brick(2)
    rest = (
        [Electrode("c", g.face(0, 0.0), None, potential=0.0)]
        if "At least" not in says
        else [Electrode("c", g.face(0, 0.0), None, current=-1.0)]
    )
    with pytest.raises(InputError, match=says):
        solve(g.points, g.tetrahedra, KAPPA, [*change, *rest])


def test_electrodes_that_short_the_cell_are_refused() -> None:
    g = brick(2)
    with pytest.raises(InputError, match="'a' and 't' touch"):
        solve(g.points, g.tetrahedra, KAPPA, [*ends(g, LAW, current=-2.0), Electrode("t", g.face(1, 50.0), LAW, potential=0.0)])


def test_two_of_one_name_and_one_alone_are_refused() -> None:
    g = brick(2)
    one = Electrode("c", g.face(0, 0.0), None, potential=0.0)
    with pytest.raises(InputError, match="same name"):
        solve(g.points, g.tetrahedra, KAPPA, [one, one])
    with pytest.raises(InputError, match="two electrodes"):
        solve(g.points, g.tetrahedra, KAPPA, [one])


def test_not_converging_is_said_with_numbers(monkeypatch) -> None:
    g = brick(4)
    monkeypatch.setattr(newton, "STEPS", 1)
    with pytest.raises(SolveError, match=r"did not converge: 1 steps were not enough; \S+ of the current is unbalanced"):
        solve(g.points, g.tetrahedra, KAPPA, ends(g, LAW, potential=3.0))


def test_a_flat_tetrahedron_is_refused() -> None:
    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0]], dtype=float)
    with pytest.raises(SolveError, match="1 of 2 tetrahedra have no volume"):
        conductance(p, np.array([[0, 1, 2, 3], [0, 1, 2, 4]]), KAPPA)


def test_a_linear_system_that_is_not_solved_is_said(monkeypatch) -> None:
    from diewright.finish.current import krylov

    g = brick(4)
    monkeypatch.setattr(krylov, "MOST", 1)
    with pytest.raises(SolveError, match="was not solved"):
        solve(g.points, g.tetrahedra, KAPPA, ends(g, None, potential=1.0), solver=Solver(multigrid=False))


def test_it_can_be_stopped_between_solves() -> None:
    g = brick(3)

    def stop() -> None:
        raise Cancelled()

    with pytest.raises(Cancelled):
        solve(g.points, g.tetrahedra, KAPPA, ends(g, LAW, current=-1.0), quiet=stop)
