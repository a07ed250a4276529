"""The rows of the reference table that belong to the draws."""

from __future__ import annotations

import pytest

from diewright import prove

ROWS = [r for r in prove.references() if r.package == "draws"]
KNOWN = {f"height over constant thickness, draw {k}" for k in (2, 3)}
"""Misses that are told in docs/design/draws.md: the wall thickens, which the handbook's constant thickness does not know."""


@pytest.mark.slow
@pytest.mark.parametrize("case", sorted({r.case for r in ROWS}))
def test_reference(case: str) -> None:
    ours = prove.cases("draws")[case]()
    rows = [r for r in ROWS if r.case == case]
    assert {r.quantity for r in rows} == set(ours)
    misses = {r.quantity for r in rows if prove.judge(r, ours[r.quantity]).verdict == "misses"}
    assert misses == KNOWN & set(ours)
