"""The forming limit with path: agreement on straight paths, the known turns on bent ones."""

import time

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.sheet import Hill48, Mises, Yld2000, keeler_brazier
from diewright.sheet.limit_margin import margin_pct
from diewright.tryout.margin import Gauge, PathMargin
from diewright.tryout.strains import tensor

LIMIT = keeler_brazier(1.0, 0.21).table()
CURVE = (LIMIT["minor"], LIMIT["major"])
SURFACES = {
    "mises": Mises(),
    "hill48": Hill48.from_r(1.8, 1.3, 2.1),
    "yld2000": Yld2000((0.94, 1.02, 0.97, 1.01, 1.02, 1.0, 0.95, 1.1), 8.0),
}


def equivalent(surface, step):
    """Equivalent strain of a strain step (3,)."""
    return float((step * surface.stress_for(step)).sum()) if np.any(step) else 0.0


def walk(surface, *legs, frames=12, angle=0.3):
    """The margins along straight legs, each ``(d_major, d_minor)``, all with principal axes at the same angle."""
    path, at, ep, last = PathMargin(surface, *CURVE), np.zeros(2), 0.0, None
    c, s = np.cos(angle), np.sin(angle)
    for leg in legs:
        d = np.array(leg) / frames
        q = np.array([[c, -s], [s, c]])
        m = q @ np.diag(d) @ q.T
        step = equivalent(surface, np.array([m[0, 0], m[1, 1], 2 * m[0, 1]]))
        for _ in range(frames):
            at, ep = at + d, ep + step
            e = q @ np.diag(at) @ q.T
            last = path.add_tensor(np.array([[e[0, 0], e[1, 1], 2 * e[0, 1]]]), np.array([ep]))
    return path, last


@pytest.mark.parametrize("kind", SURFACES)
@pytest.mark.parametrize("ratio", [-0.9, -0.5, -0.2, 0.0, 0.4, 1.0])
def test_both_rules_agree_on_a_straight_path(kind, ratio):
    for size in (0.05, 0.2, 0.5):
        path, m = walk(SURFACES[kind], (size, ratio * size))
        assert m.straight[0] == pytest.approx(100 * (np.exp(np.interp(ratio * size, *CURVE)) - np.exp(size)), abs=1e-9)
        assert m.now[0] == pytest.approx(m.straight[0], abs=0.15)
        assert path.straightness[0] == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("kind", SURFACES)
def test_the_gauge_is_the_surface_between_its_points(kind):
    rng = np.random.default_rng(3)
    theta, phi = rng.uniform(-0.75 * np.pi, 0.25 * np.pi, 300), rng.uniform(-np.pi, np.pi, 300)
    rate = tensor(np.cos(theta), np.sin(theta), phi)
    exact = (rate * SURFACES[kind].stress_for(rate)).sum(-1)
    np.testing.assert_allclose(Gauge(SURFACES[kind])(theta, phi), exact, rtol=2e-3)


def test_pull_first_then_both_ways_leaves_more_than_the_curve_shows():
    """Uniaxial prestrain shifts the curve in strain space up and to the left (known since Muschenborn and Sonne 1975)."""
    _, m = walk(Mises(), (0.25, -0.125), (0.15, 0.15))
    assert m.now[0] > m.straight[0] + 5.0


def test_both_ways_first_then_a_pull_leaves_less_than_the_curve_shows():
    _, m = walk(Mises(), (0.12, 0.12), (0.15, 0.0))
    assert m.straight[0] > 5.0
    assert m.now[0] < m.straight[0] - 5.0
    _, torn = walk(Mises(), (0.2, 0.2), (0.05, 0.0))
    assert torn.straight[0] > 5.0 > 0.0 > torn.now[0]


def test_what_is_left_after_a_prestrain_is_the_plastic_strain_that_is_left():
    """Von Mises, biaxial prestrain a (ep = 2a), then plane strain x (ep = 2x/sqrt3): the limit is at 2a + 2x/sqrt3 = 2 FLC0/sqrt3."""
    flc0 = float(np.interp(0.0, *CURVE))
    for a in (0.03, 0.08, 0.12):
        left = flc0 - np.sqrt(3.0) * a
        _, before = walk(Mises(), (a, a), (left - 0.004, 0.0))
        _, beyond = walk(Mises(), (a, a), (left + 0.004, 0.0))
        assert before.now[0] > 0.0 > beyond.now[0]


def test_the_axes_may_turn_instead_of_the_ratio():
    """A pull along rolling, then one across it: no net shear, the path folds back, hardening stays."""
    path = PathMargin(Mises(), *CURVE)
    for k in range(1, 11):
        path.add(np.array([0.03 * k]), np.array([-0.015 * k]), np.array([0.03 * k]), np.array([0.0]))
    for k in range(1, 11):
        e = np.array([0.3 - 0.015 * k, -0.15 + 0.03 * k, 0.0])
        m = path.add_tensor(e[None], np.array([0.3 + 0.03 * k]))
    straight_pull = margin_pct(np.array([0.6]), np.array([-0.3]), *CURVE)[0]
    assert m.now[0] == pytest.approx(straight_pull, abs=0.3)
    assert m.straight[0] > m.now[0] + 25.0
    assert path.straightness[0] < 0.6
    assert path.bent_share(np.array([2.0])) == 1.0


def test_elastic_changes_and_rest_do_not_turn_the_direction():
    path, m = walk(Mises(), (0.2, 0.1))
    e = path._last[:, 0] + np.array([[-0.002, 0.001, 0.003]])
    after = path.add_tensor(e, path._from_p[:, 0] + 1e-4)
    assert after.now[0] == pytest.approx(m.now[0], abs=1.0)
    assert after.margin_pct[0] <= m.margin_pct[0]


def test_the_worst_of_all_frames_is_kept():
    """Near the limit in plane strain, then biaxial: the state gets better, the sheet does not."""
    _, m = walk(Mises(), (0.3, 0.0), (0.01, 0.01))
    assert m.margin_pct[0] < m.now[0] - 5.0
    assert m.margin_pct[0] == pytest.approx(
        100 * (np.exp(np.interp(0, *CURVE)) - np.exp(0.3)), abs=0.65
    )  # half a percent of strain passes before the turn counts


def test_bending_alone_necks_nothing():
    """Outer skin stretched to beyond the limit, inner pressed together: the middle decides nothing, the inner one does."""
    strain = np.array([[[0.5, 0.0, 0.0], [0.01, 0.0, 0.0], [-0.48, 0.0, 0.0]]])
    ep = np.abs(strain[..., 0]) * 2 / np.sqrt(3.0)
    path = PathMargin(Mises(), *CURVE)
    m = path.add_tensor(strain, ep)
    assert m.now[0] > 30.0
    skin = PathMargin(Mises(), *CURVE).add_tensor(strain[:, 0], ep[:, 0])
    assert skin.now[0] < 0.0


def test_going_over_the_die_radius_is_not_a_neck():
    """Drawn in the flange, bent to 9 % at the skins, straightened again with 1 % of stretch: safe with stations, and said to be torn without them."""
    path, mean = PathMargin(Mises(), *CURVE), PathMargin(Mises(), *CURVE)
    z, e, ep = np.array([-1.0, 0.0, 1.0]), np.zeros((3, 3)), np.zeros(3)
    least = []
    for steps, d_major, d_minor, bend in ((20, 0.3, -0.28, 0.0), (6, 0.005, 0.0, 0.09), (6, 0.005, 0.0, -0.09)):
        for _ in range(steps):
            d = np.column_stack([d_major + bend * z, np.full(3, d_minor), np.zeros(3)]) / steps
            e, ep = e + d, ep + [equivalent(Mises(), row) for row in d]
            least.append(path.add_tensor(e[None], ep[None]).now[0])
            crude = mean.add_tensor(e.mean(axis=0)[None], np.array([ep.mean()]))
    assert min(least) > 0.0
    assert crude.margin_pct[0] < 0.0


def test_no_strain_has_the_whole_margin():
    m = PathMargin(Mises(), *CURVE).add(np.zeros(3), np.zeros(3), np.zeros(3))
    np.testing.assert_allclose(m.margin_pct, 100 * (np.exp(np.interp(0, *CURVE)) - 1.0))


def test_refusals():
    path = PathMargin(Mises(), *CURVE)
    path.add(np.zeros(3), np.zeros(3), np.zeros(3))
    with pytest.raises(InputError, match="do not belong together"):
        path.add(np.zeros(4), np.zeros(4), np.zeros(4))
    with pytest.raises(InputError, match="not a finite number"):
        path.add(np.array([0, np.nan, 0]), np.zeros(3), np.zeros(3))
    with pytest.raises(InputError, match="rising row"):
        PathMargin(Mises(), np.zeros(3), np.ones(3))


def test_twenty_thousand_triangles_and_forty_frames_take_little():
    rng = np.random.default_rng(1)
    end = rng.uniform(-0.2, 0.3, (20_000, 3))
    path = PathMargin(SURFACES["hill48"], *CURVE)
    start = time.perf_counter()
    for k in range(40):
        path.add_tensor(end * (k + 1) / 40, np.full(20_000, 0.01 * k))
    assert time.perf_counter() - start < 10.0  # about 1 s; the bound only catches a loop in Python
