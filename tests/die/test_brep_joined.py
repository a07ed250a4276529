"""Two parts in one draw as CAD: the designer's faces twice, the bridge between them, one valid die, two punches."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from brep_tools import asked_of, beaded
from test_brep_faces import GMSH, OCCT, fresh

from diewright.die.brep.faces_cad import TOOLS, FacesCad, faces_cad
from diewright.errors import SolveError


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], FacesCad]:
    asked = asked_of(beaded(tmp_path_factory.mktemp("pair") / "cup.step"), 1.0, copies="mirrored", target_edge=6.0)
    return asked, faces_cad(**asked, name="pair")


def test_both_parts_and_the_bridge_are_one_valid_die(pair: tuple[dict[str, Any], FacesCad]) -> None:
    _, made = pair
    assert made.faults == []
    for tool in TOOLS:
        found = made.report["tools"][tool]
        assert found["valid"]
        assert found["gap"] < 0.01
        assert found["break_deg"] < 1.0
        assert found["free_inside"] == []
        assert found["crowded_edges"] == []
    assert made.report["tools"]["die"]["free_edges"] == 4, "the outer limit alone"


def test_what_was_tried_is_what_is_cut(pair: tuple[dict[str, Any], FacesCad]) -> None:
    """Within the fiftieth of a thickness that the triangles' own chords may take."""
    _, made = pair
    for tool in TOOLS:
        assert made.report["tools"][tool]["deviation"]["max"] < 0.02


def test_the_second_part_is_the_first_one_mirrored(pair: tuple[dict[str, Any], FacesCad]) -> None:
    """The die's points, mirrored by the placement, lie on the die again; every face of the part is there twice, of the designer's kind."""
    from igl import point_mesh_squared_distance

    asked, made = pair
    raw = np.frombuffer(made.stl["die"][84:], dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])["p"].astype(float)
    points, second = raw.reshape(-1, 3), asked["copies"][1]
    turned = points @ second[:3, :3].T + second[:3, 3]
    cells = np.arange(len(points), dtype=np.int64).reshape(-1, 3)
    low = points[:, 2] < points[:, 2].max() - 3.0
    square, _, _ = point_mesh_squared_distance(np.ascontiguousarray(turned[low][::7]), np.ascontiguousarray(points), cells)
    assert np.sqrt(np.asarray(square)).max() < 0.02, "chords of the written triangles"
    kinds = made.step["punch"].count(b"TOROIDAL_SURFACE"), made.step["punch"].count(b"CONICAL_SURFACE")
    assert all(k % 4 == 0 for k in kinds), "each turned face in two halves, on both parts"
    assert sum(kinds) > 0


def test_other_readers_see_one_die_and_two_punches(pair: tuple[dict[str, Any], FacesCad], tmp_path: Path) -> None:
    _, made = pair
    for tool, shells in (("die", 1), ("punch", 2)):
        path = tmp_path / f"{tool}.step"
        path.write_bytes(made.step[tool])
        kernel, mesher = fresh(OCCT, path), fresh(GMSH, path)
        assert kernel["valid"]
        assert kernel["shells"] == shells
        assert kernel["faces"] == mesher["faces"] == made.report["tools"][tool]["faces"]
        assert kernel["free"] == made.report["tools"][tool]["free_edges"]
        assert mesher["empty"] == []
        assert mesher["most"] == 2
        assert mesher["loops"] == shells


def test_a_bridge_that_is_not_on_the_parts_edge_is_refused(pair: tuple[dict[str, Any], FacesCad]) -> None:
    asked, _ = pair
    off = [run + np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]) for run in asked["runs"]]
    with pytest.raises(SolveError, match="1 mm away from the edge of the part's CAD"):
        faces_cad(**{**asked, "runs": off})
