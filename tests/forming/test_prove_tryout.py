"""The rows of ``reference/tryout.csv`` that take seconds, each within the tolerance written there; the long ones are run by ``diewright prove``."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from diewright.prove.tryout import CASES, LONG
from diewright.prove.tryout_membrane import Membrane, solve

ROWS = list(csv.DictReader((Path(__file__).parents[2] / "reference" / "tryout.csv").open(encoding="utf-8")))
MISSES = {("cup-force", "over Groover's form")}
"""Rows that miss their tolerance today, as the proof table says."""


def test_every_case_has_rows_and_every_row_a_case():
    assert {row["case"] for row in ROWS} == set(CASES)
    assert set(CASES) > LONG


SLOW = {"bend-under-tension", "cup-force", "sphere-on-clamped-sheet", "dome-aa5182"}


@pytest.mark.parametrize("case", [pytest.param(c, marks=pytest.mark.slow if c in SLOW else ()) for c in CASES if c not in LONG])
def test_case_is_within_its_tolerance(case):
    got = CASES[case]()
    rows = [row for row in ROWS if row["case"] == case]
    assert {row["quantity"] for row in rows} <= set(got)
    for row in rows:
        published, tolerance = float(row["published"]), float(row["tolerance"])
        bound = tolerance * abs(published) if row["tolerance_kind"] == "rel" else tolerance
        meets = abs(got[row["quantity"]] - published) <= bound
        assert meets != ((case, row["quantity"]) in MISSES), f"{row['quantity']}: {got[row['quantity']]}"


def test_the_membrane_keeps_balance_at_its_pole_and_its_volume():
    """``p = 2 s t/rho`` at the pole of a bulge; the volume of the sheet is kept but for the elastic part."""
    a, t, p = 50.0, 1.0, 8.0
    k, e0, n = 550.0, 0.005, 0.22
    got = solve(Membrane(np.linspace(0.0, a, 41), t, 2.06e5, 0.3, (k, e0, n)), pressure=p)
    assert got.rest < 1e-5
    # radius of curvature a few rings from the axis, where lumping the pressure to nodes leaves no kink
    ring = slice(3, 8)
    slope = np.arctan2(-np.diff(got.z), np.diff(got.r))[ring]
    rho = float((0.5 * (got.r[1:] + got.r[:-1])[ring] / np.sin(slope)).mean())
    strain = -math.log(got.share[ring].mean())
    stress = k * (e0 + strain) ** n
    assert 2.0 * stress * got.share[ring].mean() * t / rho == pytest.approx(p, rel=0.02)
    length = np.hypot(np.diff(got.r), np.diff(got.z))
    volume = float((math.pi * (got.r[1:] + got.r[:-1]) * length * got.share * t).sum())
    assert volume == pytest.approx(math.pi * a * a * t, rel=0.005)
