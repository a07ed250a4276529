"""The details of a shipped example, from its CAD file to the drawing, and what a moved bead does to the stage's state."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

import diewright
from diewright.desk import Desk
from diewright.job.stage import Result


@pytest.fixture(scope="module")
def fascia(tmp_path_factory: pytest.TempPathFactory) -> tuple[Desk, Result]:
    folder = tmp_path_factory.mktemp("job") / "fascia"
    shutil.copytree(Path(diewright.__file__).parent / "examples" / "fascia", folder)
    desk = Desk(folder)
    desk.edit({"part.target_edge": 12.0, "part.chord_error": 0.3, "tryout.bead_kind": "round"})
    return desk, desk.work("details")


def test_the_fascias_details_lie_where_they_should(fascia: tuple[Desk, Result]):
    desk, r = fascia
    faces, blank = desk.result("faces"), desk.result("blank")
    assert faces is not None
    assert blank is not None
    opening, outline = shapely.Polygon(faces.arrays["opening"][:, :2]), shapely.Polygon(blank.arrays["outline"])
    line = shapely.LinearRing(r.arrays["bead_line"])
    assert shapely.distance(line, opening) == pytest.approx(r.values["bead"]["offset"], abs=0.05)
    assert outline.contains(line)
    assert r.values["locators"]["rank"] == 3
    assert r.values["locators"]["condition"] < 4.0
    pins = shapely.points(r.arrays["locators"][:, :2])
    assert shapely.distance(pins, outline) == pytest.approx(5.0, abs=0.2)
    vents = r.arrays["vents"]
    assert shapely.contains_xy(opening, vents[:, 0], vents[:, 1]).all()
    # the air under the sheet is what the punch displaces, and the clearance beside it
    assert r.values["vents"]["volume"] == pytest.approx(opening.area * faces.values["stroke"], rel=0.15)
    assert r.values["vents"]["count"] == r.values["vents"]["wanted"]
    for name in ("die", "punch", "blankholder"):
        mesh = r.meshes[name]
        assert np.array_equal(mesh.mesh.triangles, faces.meshes[name].mesh.triangles)
        assert all(np.isfinite(v).all() for v in mesh.cell.values())
    assert set(r.files) == {"details.dxf", "beads.step"}
    bodies = r.values["bead"]["bodies"]
    assert (bodies["valid"], bodies["faults"], bodies["bars"]) == (True, [], r.values["bead"]["pieces"])


def test_it_comes_back_from_the_store_whole_and_follows_its_own_fields_only(fascia: tuple[Desk, Result]):
    desk, r = fascia
    again = desk.result("details")
    assert again is not None
    assert again.values == r.values
    assert np.array_equal(again.arrays["bead_line"], r.arrays["bead_line"])
    assert desk.state("details").state == "current"
    desk.edit({"tryout.stations": 7})
    assert desk.state("details").state == "current"
    desk.edit({"tryout.bead_height": 3.0})
    assert desk.state("details").state == "out of date"
    assert desk.state("faces").state == "current"
