"""The blankholder's ring as CAD over a cone and over a general developable surface: sewn, valid, and where the tryout's triangles are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from brep_tools import asked_of, pan

from diewright.die.brep.faces_cad import TOOLS, faces_cad
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_shape import Shape

W = np.linspace(-0.5, 0.5, 8)
CONE = Cone((-260.0, 20.0), (1.0, 0.0), tuple(W), tuple(-0.25 * W * W))
KNOTS = tuple(np.linspace(-130.0, 130.0, 8))
ENVELOPE = Envelope(
    (0.0, 0.0),
    (0.8, 0.6),
    (-120.0, -40.0, 40.0, 120.0),
    (-0.25, 0.1, 0.2, 0.1),
    KNOTS,
    (0.0, -0.001, -0.002, -0.0025, -0.0015, 0.0005, 0.001, 0.0),
)


@pytest.mark.parametrize("shape", [CONE, ENVELOPE], ids=["cone", "envelope"])
def test_faces_on_a_developable_blankholder_are_cad(shape: Shape, tmp_path: Path) -> None:
    asked = asked_of(pan(tmp_path / "pan.step"), 1.0, curved=shape)
    holder = asked["drawn"].holder
    assert holder.kind == shape.kind
    assert np.ptp(holder.height(asked["drawn"].outer)) > 10.0
    made = faces_cad(**asked, name="pan")
    assert made.faults == []
    for tool in TOOLS:
        found = made.report["tools"][tool]
        assert found["valid"]
        assert found["free_inside"] == []
        assert found["gap"] < 0.002
        assert found["deviation"]["max"] < 0.002  # the fit's own allowance: the triangles' points lie on the surface exactly
        assert found["break_deg"] < 1.0
