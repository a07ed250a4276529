"""The force law: its integral is its integral, its largest is one, its limits are those of the handbook."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from diewright.errors import InputError
from diewright.trim.loads.law import ShearLaw


@settings(max_examples=25, deadline=None, derandomize=True)
@given(p=st.floats(0.05, 1.0), u=st.floats(-0.5, 1.5))
def test_the_work_is_the_integral_of_the_share(p, u):
    law = ShearLaw.of(p)
    kinks = [x for x in (law.rise, law.penetration, law.penetration + law.fall) if 0 < x < min(max(u, 0), 1)]
    exact = quad(lambda x: float(law.share(np.array(x))), 0.0, min(max(u, 0.0), 1.0), points=kinks or None, limit=200)[0]
    assert float(law.work(np.array(u))) == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize("p", [0.05, 0.2, 0.5, 0.97, 1.0])
def test_the_force_reaches_its_handbook_value_and_ends(p):
    law = ShearLaw.of(p)
    u = np.linspace(-0.2, 1.2, 14001)
    f = law.share(u)
    assert f.max() == 1.0
    assert (f >= 0).all()
    assert (f[(u < 0) | (u >= 1)] == 0).all()
    assert (f[(u >= law.rise + 1e-9) & (u < p)] == 1.0).all()
    assert (np.diff(law.work(u)) >= -1e-15).all()
    assert float(np.trapezoid(f, u)) == pytest.approx(law.fullness * p, abs=2e-4)


def test_the_elementary_law_is_a_rectangle():
    law = ShearLaw(0.5, rise=0.0, fall=0.0, friction=0.0)
    assert law.fullness == pytest.approx(1.0, abs=1e-15)
    assert law.share(np.array([0.0, 0.25, 0.4999, 0.5, 0.9])).tolist() == [1, 1, 1, 0, 0]


@pytest.mark.parametrize(("p", "more"), [(0.0, {}), (1.2, {}), (np.nan, {}), (0.3, {"rise": 0.4}), (0.3, {"friction": 2.0})])
def test_a_law_that_makes_no_sense_is_refused(p, more):
    with pytest.raises(InputError, match="expected"):
        ShearLaw(p, **more)
