"""The element in lanes against the element by itself: random states, all laws, both precisions; logarithm and exponential; what is wrong is found."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit

from diewright.mechanics.contact.tools import ToolSet
from diewright.mechanics.shell import layout as at
from diewright.mechanics.shell.block import block_forces
from diewright.mechanics.shell.element import element_force
from diewright.mechanics.shell.lanes import LANES, ex, ln
from diewright.mechanics.shell.loops import BLOCKS, element_block
from diewright.mechanics.shell.material import barlat_yield, elastic, hill_from_r, plastic
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.mechanics.shell.strain import NEAR
from diewright.prove.shell import grid

E, NU, RHO = 2.1e5, 0.3, 7.85e-9
HILL = hill_from_r(1.8, 1.2, 2.1)
ALPHA = (0.9355, 1.0350, 0.9337, 1.0539, 1.0102, 0.9337, 0.9594, 1.1828)
BARLAT = barlat_yield(ALPHA)
SWIFT = {"K": 550.0, "e0": 0.005, "n": 0.2}
VOCE = {"ss": 400.0, "s0": 180.0, "c": 12.0}
BACK = {"back_modulus": 4000.0, "recall": 40.0}


def measured(ep: np.ndarray) -> np.ndarray:
    return 180.0 + 300.0 * ep**0.7 + 20.0 * ep


LAWS = {
    "elastic": elastic(E, NU),
    "swift": plastic(E, NU, RHO, HILL, SWIFT),
    "swift and linear": plastic(E, NU, RHO, HILL, {**SWIFT, "h": 150.0}),
    "voce": plastic(E, NU, RHO, HILL, {**VOCE, "h": 30.0}),
    "mix": plastic(E, NU, RHO, HILL, {**SWIFT, **VOCE, "share": 0.4}),
    "table": plastic(E, NU, RHO, HILL, measured),
    "perfectly plastic": plastic(E, NU, RHO, HILL, {"ss": 250.0, "s0": 250.0, "c": 1.0}),
    "swift with back stress": plastic(E, NU, RHO, HILL, SWIFT, **BACK),
    "table with linear back stress": plastic(E, NU, RHO, HILL, measured, back_modulus=900.0),
    "yld2000": plastic(E, NU, RHO, BARLAT, SWIFT),
    "yld2000, exponent 6, table": plastic(E, NU, RHO, barlat_yield(ALPHA, 6.0), measured),
    "yld2000, odd exponent": plastic(E, NU, RHO, barlat_yield(ALPHA, 5.5), SWIFT),
    "yld2000 with back stress": plastic(E, NU, RHO, BARLAT, VOCE, **BACK),
}
WILD = {
    "quiet": (2e-4, 0.0),
    "modest": (8e-4, 0.02),
    "small": (2e-3, 0.02),
    "large": (0.06, 0.3),
}  # disorder of the places over the pitch, plastic strain that was


def sheet(law, real, disorder, spread, stations=5, seed=1, squeeze=40.0):
    """A bent, stretched mesh with a random past: every argument of the element kernel."""
    rng = np.random.default_rng(seed)
    points, triangles, _ = grid(20.0, 18.0, 10, 9, shake=0.15)
    patches = build_patches(points, triangles, 1.0)
    n, ns = patches.n, 7 if law.kinematic else 4
    x = patches.points.copy()
    x[:, 2] += disorder * x[:, 0] * x[:, 1] / 10.0
    x[: len(x)] += 2.0 * disorder * rng.normal(size=x.shape)
    ne, sides = len(patches.conn), len(patches.side_free)
    state = np.zeros((ne, stations, ns))
    if law.plastic:
        state[:, :, :3] = 0.5 * disorder * rng.normal(size=(ne, stations, 3))
        state[:, :, 3] = spread * rng.random((ne, stations)) * (rng.random((ne, stations)) < 0.7)
        if law.kinematic:
            state[:, :, 4:] = 15.0 * rng.normal(size=(ne, stations, 3))
    assert n == len(points)

    def cast(a):
        return np.ascontiguousarray(a, dtype=real)

    coef = cast(patches.coef)
    coef[:, at.C_SQUEEZE] = squeeze * rng.random(ne)
    mat = cast(law.mat)
    if real is np.float32:
        mat[at.M_TOL] = 2e-6
    slope = cast(0.3 * disorder * rng.normal(size=sides))
    stretch = cast(1.0 + 0.1 * rng.normal(size=ne) * disorder)
    return [x, slope, patches.conn, coef, cast(state.reshape(ne, -1)), stretch, cast(through_thickness(stations)), mat, cast(law.table), law.kinematic, np.zeros((ne, 21), real)]  # fmt: skip


@njit
def one_at_a_time(x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):
    answers = np.zeros(conn.shape[0], np.int64)
    for e in range(conn.shape[0]):
        answers[e] = element_force(e, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force)
    return answers


@njit
def in_lanes(width, x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force):
    worst, where = 0, -1
    for start in range(0, conn.shape[0], width):
        a, e = block_forces(
            start, min(width, conn.shape[0] - start), x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force
        )
        if a > worst:
            worst, where = a, e
    return worst, where


def both(law, real, disorder, spread, width=LANES, **how):
    one, many = sheet(law, real, disorder, spread, **how), sheet(law, real, disorder, spread, **how)
    answers = one_at_a_time(*one)
    return one, many, answers, in_lanes(width, *many)


@pytest.mark.parametrize("wild", WILD)
@pytest.mark.parametrize("law", LAWS)
def test_lanes_give_what_the_element_gives(law, wild):
    one, many, answers, found = both(LAWS[law], np.float64, *WILD[wild])
    assert (answers == at.FINE).all()
    assert found[0] == at.FINE
    start = sheet(LAWS[law], np.float64, *WILD[wild])[4]
    moved = (one[4] != start).any(axis=1)
    if LAWS[law].plastic and wild in ("small", "large"):
        assert moved.mean() > 0.3  # the return was reached
    for k, what in ((4, "state"), (5, "stretch"), (10, "force")):
        a, b = one[k], many[k]
        scale = np.abs(a.reshape(len(a), -1)).max(axis=0)  # of each number over the mesh
        assert np.isfinite(b).all(), what
        assert (np.abs(a - b) <= 1e-12 * np.maximum(scale, 1e-300)).all(), what
    # what did not yield in one did not in the other
    assert ((many[4] != start) == (one[4] != start)).all()


def test_large_disorder_reaches_both_forms_of_the_logarithmic_strain():
    x, _, conn, coef = sheet(LAWS["swift"], np.float64, *WILD["large"])[:4]
    p, q = x[conn[:, 1]] - x[conn[:, 0]], x[conn[:, 2]] - x[conn[:, 0]]
    u, v = coef[:, [12]] * p + coef[:, [13]] * q, coef[:, [14]] * p + coef[:, [15]] * q
    a, b, c = (u * u).sum(1), (v * v).sum(1), (u * v).sum(1)
    y = ((0.5 * (a - b)) ** 2 + c**2) / (0.5 * (a + b)) ** 2
    assert 0.1 < np.mean(y > NEAR) < 0.9


@pytest.mark.parametrize("law", LAWS)
def test_single_precision_lanes(law):
    one, many, _, found = both(LAWS[law], np.float32, 2e-3, 0.02)
    assert found[0] == at.FINE
    assert many[10].dtype == np.float32
    reference = sheet(LAWS[law], np.float64, 2e-3, 0.02)
    one_at_a_time(*reference)
    scale = np.abs(reference[10]).max(axis=0)
    own = (np.abs(one[10] - reference[10]) / scale).max()
    # as near to double precision as the scalar element in single precision
    assert (np.abs(many[10] - reference[10]) / scale).max() < max(3.0 * own, 1e-5)


@pytest.mark.parametrize("count", [1, 3, 15, 16, 17, 63])
def test_any_number_of_lanes_gives_the_same_bits(count):
    whole, part = sheet(LAWS["mix"], np.float64, 2e-3, 0.02), sheet(LAWS["mix"], np.float64, 2e-3, 0.02)
    in_lanes(LANES, *whole)
    in_lanes(count, *part)
    for k in (4, 5, 10):
        assert np.array_equal(whole[k], part[k])


@pytest.mark.parametrize("stations", [1, 3, 9])
def test_any_number_of_stations(stations):
    one, many, _, _ = both(LAWS["swift"], np.float64, 2e-3, 0.02, stations=stations)
    assert np.abs(one[10] - many[10]).max() <= 1e-12 * np.abs(one[10]).max()


def test_what_is_wrong_is_found_with_its_element():
    for spoil, answer in (("turned", at.TURNED), ("place", at.NOT_A_NUMBER), ("state", at.NOT_RETURNED)):
        args = sheet(LAWS["swift"], np.float64, 2e-4, 0.0)
        if spoil == "turned":
            args[0][args[2][70, 0]] += (40.0, 0.0, 0.0)
        elif spoil == "place":
            args[0][args[2][70, 0], 1] = np.nan
        else:
            args[4][70, 5] = np.nan
        alone = [a.copy() if isinstance(a, np.ndarray) else a for a in args]
        answers = one_at_a_time(*alone)
        assert answers.max() == answer
        assert in_lanes(LANES, *args) == (answer, int(np.argmax(answers)))


def test_block_of_the_loop_covers_every_element():
    args = sheet(LAWS["swift"], np.float64, 2e-3, 0.02)
    expected = sheet(LAWS["swift"], np.float64, 2e-3, 0.02)
    one_at_a_time(*expected)
    x, slope, conn, coef, state, stretch, stations, mat, table, kinematic, force = args
    bad = np.zeros((BLOCKS, 2), np.int64)
    mesh, body = (conn, coef, stations, mat, table), (x, x, slope, slope, state, stretch, force)
    untouched = ToolSet((), np.ones(len(x)), BLOCKS).bundle()
    for b in range(BLOCKS):
        element_block(b, mesh, body, untouched, kinematic, bad)
    assert np.abs(force - expected[10]).max() <= 1e-12 * np.abs(expected[10]).max()
    assert (bad[:, 0] == at.FINE).all()


@njit(error_model="numpy")
def functions(x, log, exponential):
    for i in range(len(x)):
        log[i] = ln(x[i])
        exponential[i] = ex(log[i])


@pytest.mark.parametrize("real", [np.float32, np.float64])
def test_logarithm_and_exponential_are_within_two_units_in_the_last_place(real):
    rng = np.random.default_rng(2)
    x = np.concatenate(
        [np.exp(rng.uniform(-80, 80, 100_000)), rng.uniform(0.5, 2.0, 100_000), 1.0 + rng.normal(size=1000) * 1e-4, [1.0]]
    ).astype(real)
    log, exponential = np.zeros_like(x), np.zeros_like(x)
    functions(x, log, exponential)
    true = np.log(x.astype(np.longdouble))
    back = np.exp(log.astype(np.longdouble))
    assert (np.abs(log - true) <= 2.0 * np.spacing(np.abs(true).astype(real))).all()
    assert (np.abs(exponential - back) <= 2.0 * np.spacing(back.astype(real))).all()
    assert log[-1] == 0.0
    # far beyond the normal numbers: an end, not nonsense
    far = np.array([-1e4, 1e4], dtype=real)
    ends = np.zeros_like(far)
    only_exponential(far, ends)
    assert 0.0 < ends[0] < 1e-37
    assert ends[1] > 1e37


@njit(error_model="numpy")
def only_exponential(x, out):
    for i in range(len(x)):
        out[i] = ex(x[i])
