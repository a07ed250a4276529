"""Holes over several CAD faces: closed smoothly, by the filling that the tryout ran on, or left open with the numbers."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from brep_tools import asked_of, pierced

from diewright.die.brep.faces_cad import FacesCad, faces_cad

T = 1.0


@pytest.fixture(scope="module")
def corner(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], FacesCad]:
    """A hole through floor, bottom radius and the torus of a corner."""
    asked = asked_of(pierced(tmp_path_factory.mktemp("corner") / "corner.step", (12.0, 12.0), 8.0), T, filled=True)
    return asked, faces_cad(**asked)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_crown_and_a_saddle_come_back_exactly(sign: float) -> None:
    from diewright.die.brep.filling import Height

    a = 2 * np.pi * np.arange(48) / 48
    xy = 7.0 * np.column_stack([(1.0 + 0.3 * np.cos(2 * a)) * np.cos(a), np.sin(a)])

    def shape(p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x, y = p.T
        return 0.02 * x * x + sign * 0.03 * y * y + 0.01 * x * y + 0.2 * x + 1.0, np.column_stack(
            [0.04 * x + 0.01 * y + 0.2, sign * 0.06 * y + 0.01 * x]
        )

    out = np.column_stack([np.cos(a), np.sin(a)])
    z, slope = shape(xy)
    made = Height(np.zeros(3), np.eye(3), xy, z, out, (slope * out).sum(axis=1))
    probe = np.random.default_rng(4).uniform(-4.0, 4.0, (200, 2))
    height, way = made.heights(probe)
    assert height == pytest.approx(shape(probe)[0], abs=1e-6)
    assert way == pytest.approx(shape(probe)[1], abs=1e-6)


def test_slopes_are_those_of_the_heights() -> None:
    from diewright.die.brep.filling import Height

    a = 2 * np.pi * np.arange(40) / 40
    out = np.column_stack([np.cos(a), np.sin(a)])
    inner = np.array([[0.5, 0.3], [-2.0, 1.0]])
    made = Height(np.zeros(3), np.eye(3), np.vstack([6.0 * out, inner]), np.append(np.sin(3 * a), [0.4, -0.2]), out, np.cos(2 * a))
    assert made.heights(inner)[0] == pytest.approx([0.4, -0.2], abs=1e-6)
    on, slope = made.heights(6.0 * out)
    assert on == pytest.approx(np.sin(3 * a), abs=1e-6)
    assert (slope * out).sum(axis=1) == pytest.approx(np.cos(2 * a), abs=1e-6)
    probe, h = np.array([[1.0, 2.0], [-3.0, 0.5]]), 1e-5
    for k in range(2):
        step = h * np.eye(2)[k]
        assert made.heights(probe)[1][:, k] == pytest.approx(
            (made.heights(probe + step)[0] - made.heights(probe - step)[0]) / (2 * h), abs=1e-5
        )


def test_a_hole_over_several_faces_is_closed_smoothly(corner: tuple[dict[str, Any], FacesCad]) -> None:
    _, made = corner
    assert made.faults == []
    assert made.report["holes_open"] == 0
    (hole,) = made.report["holes_filled"]
    assert hole["faces"] == 2
    assert hole["gap"] < 0.001
    assert hole["break_deg"] < 0.1
    for name, free in (("die", 4), ("punch", 8)):
        tool = made.report["tools"][name]
        assert tool["valid"]
        assert tool["free_edges"] == free, "the limit's four edges, and the wall's: none is the hole's"
        assert tool["gap"] < 0.01
        assert tool["break_deg"] < 1.0
        assert tool["free_inside"] == []


def test_what_fills_it_is_what_was_tried(corner: tuple[dict[str, Any], FacesCad]) -> None:
    """The triangles' own filling lies within a fiftieth of the thickness of the surface, and the tools' triangles with it; without their points it would not."""
    asked, made = corner
    assert made.report["holes_filled"][0]["off"] < 0.02 * T
    for name in ("die", "punch"):
        assert made.report["tools"][name]["deviation"]["max"] < 0.02 * T
    assert len(asked["drawn"].mesh.boundary_loops) == 1, "the triangles have no hole either"


def test_a_hole_across_a_sharp_edge_stays_open_with_its_numbers(tmp_path: Path) -> None:
    """Floor and wall meet in a sharp edge: no smooth surface joins both sides of the hole, and the tools keep its edges free."""
    made = faces_cad(**asked_of(pierced(tmp_path / "sharp.step", (60.0, 3.0), 6.0, nose=0.0), T))
    assert (made.report["holes_open"], made.report["holes_filled"]) == (1, [])
    (fault,) = [f for f in made.faults if "hole" in f]
    found = re.search(
        r"hole over \d CAD faces at \(-?0, -4\d, -\d+\) mm is open in the tools: no smooth surface closes it, it would miss by (\S+) mm and (\S+) deg",
        fault,
    )
    assert found is not None, fault
    assert float(found[1]) > 0.01 or float(found[2]) > 1.0
    assert made.report["tools"]["die"]["free_edges"] > 4
