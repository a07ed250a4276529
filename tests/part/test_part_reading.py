"""Shapes of known area and thickness come back with them, whatever the format and unit."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diewright.part.holes import find_holes
from diewright.part.reader import PartShape, read
from diewright.part.stl import read_corners

ROOT = Path(__file__).resolve().parents[2]


def said(shape: PartShape, severity: str) -> list[str]:
    return [e["what"] for e in shape.values["audit"] if e["severity"] == severity]


@pytest.fixture(scope="module")
def hat(cad: Any) -> PartShape:
    return read(cad.step("hat.step", cad.hat()), target_edge=4.0)


def test_hat_middle_has_exact_area_and_thickness(hat: PartShape, cad: Any) -> None:
    assert hat.values["kind"] == "solid sheet"
    assert hat.values["thickness_found"] == pytest.approx(1.2, abs=1e-3)
    # chords on radii of 4 mm leave out at most (h / R)^2 / 24 of the round quarter of the area
    assert hat.mesh.area == pytest.approx(cad.hat_area(), rel=2e-3)
    assert hat.mesh.area < cad.hat_area()
    assert len(hat.mesh.boundary_loops) == 1
    assert np.abs(hat.curvature).max() == pytest.approx(1 / 4.0, rel=1e-6)  # the middle radius, from both skins
    assert hat.curvature.min() == pytest.approx(-1 / 4.0, rel=1e-6)
    assert hat.curvature.max() == pytest.approx(1 / 4.0, rel=1e-6)


def test_mesh_is_conforming_and_oriented(hat: PartShape) -> None:
    mesh = hat.mesh
    directed = np.concatenate([mesh.triangles[:, [0, 1]], mesh.triangles[:, [1, 2]], mesh.triangles[:, [2, 0]]])
    assert len(np.unique(directed, axis=0)) == len(directed)  # no directed edge twice: neighbours agree
    assert len(mesh.points) - len(mesh.edges) + len(mesh.triangles) == 1  # a disc
    assert hat.quality.min() > 0.3
    assert np.abs(np.linalg.norm(hat.normal, axis=1) - 1).max() < 1e-9
    assert (np.einsum("ij,ij->i", hat.normal, mesh.normals) > 0.9).all()


@pytest.mark.parametrize(("unit", "name", "words"), [("INCH", "hat_inch.step", "inch"), ("M", "hat_m.step", "m")])
def test_step_units_are_honoured(cad: Any, hat: PartShape, unit: str, name: str, words: str) -> None:
    shape = read(cad.step(name, cad.hat(), unit), target_edge=4.0)
    assert shape.values["unit"] == words
    assert shape.values["unit_source"] == "file"
    assert np.allclose(shape.values["bbox"], hat.values["bbox"], atol=1e-3)
    assert shape.mesh.area == pytest.approx(hat.mesh.area, rel=1e-4)
    assert shape.values["thickness_found"] == pytest.approx(1.2, abs=1e-3)


def test_step_without_unit_takes_the_jobs(cad: Any, tmp_path: Path) -> None:
    text = cad.step("plate.step", cad.box(60, 40, 1.5)).read_text(encoding="latin-1")
    path = tmp_path / "plate.step"
    path.write_text(re.sub(r"(GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\(\s*)#\d+,", r"\1", text), encoding="latin-1")
    shape = read(path, unit="cm", target_edge=150.0)
    assert shape.values["unit_source"] == "job"
    assert shape.values["thickness_found"] == pytest.approx(15.0, abs=1e-6)
    assert shape.mesh.area == pytest.approx(600.0 * 400.0, rel=1e-9)


def test_iges_faces_are_sewn_and_said(cad: Any, hat: PartShape) -> None:
    shape = read(cad.iges("hat.igs", cad.hat()), target_edge=4.0)
    assert shape.values["format"] == "iges"
    assert shape.values["thickness_found"] == pytest.approx(1.2, abs=1e-3)
    assert shape.mesh.area == pytest.approx(hat.mesh.area, rel=1e-3)
    assert any("joined" in text and "0.01 mm" in text for text in said(shape, "repaired"))


def test_iges_in_inches(cad: Any, hat: PartShape) -> None:
    shape = read(cad.iges("hat_in.igs", cad.hat(), "IN"), target_edge=4.0)
    assert shape.values["unit"] == "inch"
    assert shape.mesh.area == pytest.approx(hat.mesh.area, rel=1e-3)


def test_stl_solid_gives_the_same_middle(cad: Any) -> None:
    shape = read(cad.stl("hat.stl", cad.hat(), deflection=0.05), unit="mm", target_edge=8.0, chord_error=0.3)
    assert shape.values["unit_source"] == "job"
    assert shape.values["kind"] == "solid sheet"
    assert shape.values["thickness_found"] == pytest.approx(1.2, abs=0.01)
    assert shape.mesh.area == pytest.approx(cad.hat_area(), rel=5e-3)
    assert np.median(shape.quality) > 0.85
    assert any("became" in text for text in said(shape, "note"))
    assert any("replaced by" in text for text in said(shape, "note"))


def test_text_and_binary_stl_hold_the_same_triangles(cad: Any) -> None:
    text = read_corners(cad.stl("hat_text.stl", cad.hat(), deflection=0.05, text=True))
    binary = read_corners(cad.stl("hat.stl", cad.hat(), deflection=0.05))
    assert text.shape == binary.shape
    assert text == pytest.approx(binary, abs=1e-4)


def test_stl_in_inches_is_scaled(cad: Any) -> None:
    shape = read(cad.stl("hat_coarse.stl", cad.hat(), deflection=0.1), unit="inch", target_edge=600.0, chord_error=8.0)
    assert shape.mesh.area == pytest.approx(cad.hat_area() * 25.4**2, rel=5e-3)


def test_sharp_bracket(cad: Any) -> None:
    shape = read(cad.step("bracket.step", cad.bracket()), target_edge=3.0)
    assert shape.values["thickness_found"] == pytest.approx(3.0, abs=1e-6)
    assert shape.mesh.area == pytest.approx((38.5 + 28.5) * 25, rel=1e-9)  # the mitred middle
    assert shape.sharp.sum() > 5


def test_dome_with_hole(cad: Any) -> None:
    shape = read(cad.step("dome.step", cad.dome()), target_edge=2.5)
    assert shape.values["thickness_found"] == pytest.approx(0.8, abs=1e-3)
    holes = find_holes(shape.mesh, shape.drawn)
    assert len(holes) == 1
    assert holes[0].diameter == pytest.approx(12.0, abs=1e-3)
    assert abs(holes[0].axis[2]) == pytest.approx(1.0, abs=1e-6)
    assert holes[0].centre[0] == pytest.approx(15.0, abs=0.1)
    assert np.linalg.norm(shape.mesh.points, axis=1) == pytest.approx(np.full(len(shape.mesh.points), 59.6), abs=2e-4)
    cap = 2 * math.pi * 59.6**2 * (1 - math.cos(math.radians(40)))
    assert shape.mesh.area < cap
    assert shape.mesh.area == pytest.approx(cap - math.pi * 6**2 / math.cos(math.asin(15 / 59.6)), rel=3e-3)
    inner = shape.rim == 0
    assert shape.curvature[inner] == pytest.approx(np.full(inner.sum(), -1 / 59.6), rel=1e-5)


def test_skins_by_name(cad: Any) -> None:
    path = cad.step("dome.step", cad.dome())
    # the punch travels upwards into the dome: the skin that looks at it is the hollow one
    upper = read(path, skin="upper", direction=(0, 0, 1), target_edge=10.0)
    lower = read(path, skin="lower", direction=(0, 0, 1), target_edge=10.0)
    assert np.linalg.norm(upper.mesh.points, axis=1).max() == pytest.approx(59.2, abs=1e-6)
    assert np.linalg.norm(lower.mesh.points, axis=1).min() == pytest.approx(60.0, abs=1e-6)
    alone = read(path, skin="upper", target_edge=10.0)
    assert np.linalg.norm(alone.mesh.points, axis=1).max() == pytest.approx(59.2, abs=1e-6)
    assert "open side" in alone.values["skin"]


def test_surface_is_used_as_drawn(maker: Any) -> None:
    shape = read(ROOT / "src" / "diewright" / "examples" / "fascia" / "fascia_surface.step", target_edge=12.0, chord_error=0.3)
    assert shape.values["kind"] == "surface"
    assert shape.values["thickness_found"] is None
    assert "as drawn" in shape.values["skin"]
    assert shape.mesh.area == pytest.approx(shape.values["skin_area"], rel=5e-3)


def test_stated_sizes_are_kept(cad: Any) -> None:
    coarse = read(cad.step("hat.step", cad.hat()), target_edge=12.0, chord_error=0.5, min_edge=2.0)
    fine = read(cad.step("hat.step", cad.hat()), target_edge=3.0, chord_error=0.02)
    assert coarse.values["mesh"]["target_edge"] == 12.0
    assert coarse.values["mesh"]["edge_max"] < 1.6 * 12.0
    assert fine.values["mesh"]["edge_max"] < 1.6 * 3.0
    assert len(fine.mesh.triangles) > 4 * len(coarse.mesh.triangles)
    # chord error: middle of every edge on the round against the exact radius
    bent = np.abs(fine.curvature) > 0.2
    edge = fine.mesh.edges[bent[fine.mesh.edges].all(axis=1)]
    sagitta = np.linalg.norm(fine.mesh.points[edge[:, 0]] - fine.mesh.points[edge[:, 1]], axis=1) ** 2 / (8 * 4.0)
    assert np.percentile(sagitta, 99) < 2.5 * 0.02
