"""Kinetics: slope and energy against finite differences, the inverse, and Faraday's law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diewright.errors import FileError, InputError
from diewright.finish.current.faraday import Efficiency, Metal
from diewright.finish.current.laws import ButlerVolmer, Linear, Tafel
from diewright.finish.plating import baths as library
from diewright.finish.plating.baths import bath_called, baths

LAWS = [Linear(250.0), Tafel(1e-6, 0.1), Tafel(1e-6, 0.06, -1), ButlerVolmer(1e-6, 0.12, 0.05), ButlerVolmer(1e-4, 0.06, 0.2)]
U = np.linspace(-0.4, 0.4, 41)


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_slope_and_energy_are_derivative_and_integral(law) -> None:
    step = 1e-6
    slope = (law.current(U + step) - law.current(U - step)) / (2 * step)
    assert np.allclose(law.slope(U), slope, rtol=1e-6)
    force = (law.energy(U + step) - law.energy(U - step)) / (2 * step)
    assert np.allclose(law.current(U), force, rtol=1e-6, atol=1e-9 * np.abs(law.current(U)).max())
    assert (law.slope(U) > 0).all()


@pytest.mark.parametrize("law", LAWS, ids=str)
def test_the_inverse_is_the_inverse(law) -> None:
    assert np.allclose(law.potential(law.current(U)), U, atol=1e-9)


def test_tafel_carries_one_way_only() -> None:
    assert np.isnan(Tafel(1e-6, 0.1).potential(np.array([-1.0]))).all()


@given(st.floats(-1e-2, 1e-2), st.floats(1e-9, 1e-3), st.floats(0.03, 0.3), st.floats(0.03, 0.3))
def test_butler_volmer_is_inverted_for_any_constants(i: float, exchange: float, cathodic: float, anodic: float) -> None:
    law = ButlerVolmer(exchange, cathodic, anodic)
    back = float(law.current(law.potential(np.array([i])))[0])
    assert back == pytest.approx(i, rel=1e-8, abs=1e-12)


def test_metal_by_charge() -> None:
    nickel = Metal(58.6934, 2, 8.9)
    assert nickel.grams_per_ah == pytest.approx(1.09497, abs=5e-6)
    assert nickel.micron_per_ah == pytest.approx(12.303, abs=5e-4)
    assert nickel.minutes(float(nickel.thickness(3.0, 17.0, 0.95)), 3.0, 0.95) == pytest.approx(17.0, rel=1e-12)
    with pytest.raises(InputError, match="No metal is deposited"):
        nickel.minutes(1.0, 3.0, 0.0)


def test_efficiency_is_linear_between_and_level_outside() -> None:
    curve = Efficiency((1.0, 3.0), (0.2, 0.4))
    assert curve.at(np.array([-1.0, 0.0, 0.5, 2.0, 9.0])).tolist() == pytest.approx([0.0, 0.0, 0.2, 0.3, 0.4])


def test_every_bath_is_whole_and_its_mean_current_usual() -> None:
    assert {"watts-nickel", "chromium-vi", "chromium-iii", "acid-copper"} <= set(baths())
    for bath in baths().values():
        assert bath.usual_a_dm2[0] <= bath.mean_a_dm2 <= bath.usual_a_dm2[1] < bath.burn_a_dm2
        assert bath.starve_a_dm2 < bath.usual_a_dm2[0]
        assert all(text.strip() for text in bath.sources.values())
    with pytest.raises(InputError, match="no bath called 'gold'.*watts-nickel"):
        bath_called("gold")


def test_a_bath_without_a_source_is_refused(tmp_path, monkeypatch) -> None:
    text = (library.Path(library.__file__).with_name("baths.toml")).read_text().replace('burn_a_dm2 = "typical', 'other = "typical')
    (tmp_path / "baths.toml").write_text(text)
    monkeypatch.setattr(library, "__file__", str(tmp_path / "baths.py"))
    library.baths.cache_clear()
    with pytest.raises(FileError, match="library of baths"):
        library.baths()
    monkeypatch.undo()
    library.baths.cache_clear()
