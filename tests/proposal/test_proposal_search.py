"""The search over few settings: it goes where the runs tell it to, keeps to what is allowed, and ends."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diewright.proposal.search import GOOD, Range, Setting, Trial, score, search, steps

WIDE = Range((1e3, 1e6), (5.0, 10.0))


def press(low: float, high: float, wanted: float = 10.0):
    """A made-up press: it wrinkles below ``low`` [N], tears above ``high``; a bead doubles the restraint, a wider radius eases it by a fifth."""

    def run(s: Setting) -> Trial:
        pull = s.force * (1.0 + 0.5 * s.bead) * (1.0 - 0.04 * (s.die_radius - 5.0))
        margin = 30.0 * math.log10(high / pull) if pull > 0 else 99.0
        torn, slack = margin < 0, pull < low
        says = (("tryout.tear",) if torn else ("tryout.neck",) if margin < wanted else ()) + (("tryout.wrinkle",) if slack else ())
        return Trial(s, score(int(torn), margin, wanted, slack, 0), int(torn), margin, 10.0, 0.5 * slack, says)

    return run


def test_a_start_that_is_good_is_one_run() -> None:
    tried = search(press(1e4, 1e6), Setting(5e4, 8.0), WIDE, 6)
    assert len(tried) == 1
    assert tried[0].score < GOOD


@pytest.mark.parametrize("begin", [2e3, 9e5])
def test_it_leaves_wrinkles_and_tears(begin: float) -> None:
    tried = search(press(2e4, 3e5), Setting(begin, 8.0), WIDE, 8)
    best = min(tried, key=lambda t: t.score)
    assert best.score < GOOD
    assert len(tried) <= 5
    first, second = tried[0].setting, tried[1].setting
    assert second.force > first.force if begin < 2e4 else second.force < first.force


def test_a_narrow_window_is_found_with_smaller_steps() -> None:
    tried = search(press(9e4, 2.6e5), Setting(8e3, 5.0), Range((1e3, 1e6), (5.0, 5.0), beads=False), 20)
    assert min(t.score for t in tried) < GOOD


def test_where_there_is_no_window_it_ends_and_keeps_the_best() -> None:
    tried = search(press(5e5, 1e4), Setting(5e4, 8.0), WIDE, 40)
    assert len(tried) < 40
    assert len({t.setting for t in tried}) == len(tried)
    assert min(t.score for t in tried) >= GOOD


@given(
    st.floats(1e3, 1e6),
    st.floats(5.0, 10.0),
    st.sampled_from([0.0, 2.0, 4.0]),
    st.sampled_from([1.0, 0.5, 0.25]),
    st.booleans(),
    st.booleans(),
)
@settings(max_examples=200, derandomize=True)
def test_steps_stay_within_what_is_allowed(force: float, radius: float, bead: float, step: float, torn: bool, slack: bool) -> None:
    says = (("tryout.tear",) if torn else ()) + (("tryout.wrinkle",) if slack else ())
    here = Setting(force, radius, bead)
    around = list(steps(Trial(here, 1000.0, says=says), step, WIDE))
    assert here not in around
    assert all(s in WIDE for s in around)
    fixed = Range((force, force), (radius, radius), beads=False)
    assert list(steps(Trial(Setting(force, radius), 1000.0, says=says), step, fixed)) == []


def test_the_score_puts_a_stop_above_all() -> None:
    assert score(1, 20.0, 10.0, False, 0) > score(0, 0.0, 10.0, True, 3)
    assert score(0, 20.0, 10.0, False, 0) == 0.0
    assert score(0, 9.0, 10.0, False, 0) == pytest.approx(10.0)
