"""Every row of ``reference/line.csv`` is met."""

from __future__ import annotations

from diewright import prove


def test_every_row_is_met() -> None:
    rows = prove.run(["line"])
    assert len(rows) == 18
    assert [(r.case, r.quantity, r.ours) for r in rows if r.verdict != "meets"] == []
