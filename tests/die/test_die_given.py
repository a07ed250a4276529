"""Faces given as files: coordinates, sides, and what is wrong with them."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from die_parts import circle_line, cup_profile, faces_of, revolved

from diewright.die import stage
from diewright.die.given import Given, facing_gap, plan_outline, read_face, towards_sheet
from diewright.die.simple import round_cup_tools
from diewright.errors import FileError, InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.stage import InputFile, Result
from diewright.watch import Watch

T, DEPTH = 1.0, 40.0
TOOLS = round_cup_tools(59.0, 7.5, 61.4, 6.5, DEPTH, T, 110.0, bottom=True, chord=0.05)


def write_stl(path: Path, mesh: TriMesh) -> InputFile:
    """A binary STL."""
    record = np.zeros(len(mesh.triangles), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
    record["corner"] = mesh.points[mesh.triangles]
    path.write_bytes(b"face".ljust(80, b" ") + np.uint32(len(record)).tobytes() + record.tobytes())
    return InputFile(path, path.name, hashlib.sha256(path.read_bytes()).hexdigest())


def write_step(path: Path, profile: list[tuple[float, float]], radius: float, centre: tuple[float, float]) -> None:
    """A surface of revolution with two straight pieces and an arc between them (r, z), as STEP in mm."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt
    from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer

    at = [gp_Pnt(r, 0.0, z) for r, z in profile]
    middle = gp_Pnt(centre[0] - radius * np.sqrt(0.5), 0.0, centre[1] + radius * np.sqrt(0.5))
    wire = BRepBuilderAPI_MakeWire()
    wire.Add(BRepBuilderAPI_MakeEdge(at[0], at[1]).Edge())
    wire.Add(BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(at[1], middle, at[2]).Value()).Edge())
    wire.Add(BRepBuilderAPI_MakeEdge(at[2], at[3]).Edge())
    shape = BRepPrimAPI_MakeRevol(wire.Wire(), gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape()
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    writer.Write(str(path))


def cup() -> TriMesh:
    return revolved(cup_profile(30.0, DEPTH, 8.0, flange=15.0, shoulder=7.0))


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("faces")
    turned = {"die": TOOLS["die"].reversed(), "punch": TOOLS["punch"].reversed(), "blankholder": TOOLS["blankholder"]}
    files = {name: write_stl(folder / f"{name}.stl", mesh) for name, mesh in turned.items()}
    return faces_of(cup(), circle_line(55.0), files, die_file="die.stl", punch_file="punch.stl", blankholder_file="blankholder.stl")


def test_files_give_the_faces_back_the_right_way_round(given: Result) -> None:
    assert given.values["kind"] == "given"
    for name, mesh in TOOLS.items():
        found = given.meshes[name].mesh
        assert found.area == pytest.approx(mesh.area, rel=1e-5)
        assert np.sign(found.doubled_normals[:, 2].sum()) == (1 if name == "die" else -1)
    assert given.values["stroke"] == pytest.approx(DEPTH, abs=1e-4)
    assert given.values["holder_gap"] == pytest.approx(T, abs=1e-4)
    assert given.values["clearance"] == pytest.approx(1.2, abs=0.02)
    assert given.values["gap_min"] > 0.95
    assert given.values["opening_area"] == pytest.approx(np.pi * 29.5**2, rel=0.01)
    assert given.findings == ()
    assert given.arrays["trim_line"].shape[1] == 3


def wrong(monkeypatch: pytest.MonkeyPatch, **moved: tuple[float, float, float]) -> dict[str, str]:
    files = {}
    for name, mesh in TOOLS.items():
        shift = np.array(moved.get(name, (0.0, 0.0, 0.0)))
        files[name] = Given(TriMesh(mesh.points + shift, mesh.triangles), ())
    monkeypatch.setattr(stage, "read_face", lambda name, *rest: files[name])
    named = {name: InputFile(Path(f"{name}.stl"), f"{name}.stl", "") for name in TOOLS}
    result = faces_of(cup(), circle_line(55.0), named, die_file="die.stl", punch_file="punch.stl", blankholder_file="blankholder.stl")
    return {f.key: f.severity for f in result.findings}


def test_faces_that_do_not_fit_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    assert wrong(monkeypatch, punch=(0.0, 0.0, -2.0))["faces.gap"] == "stop"
    assert wrong(monkeypatch, punch=(0.0, 0.0, DEPTH + 5.0))["faces.stroke"] == "stop"
    assert wrong(monkeypatch, blankholder=(0.0, 0.0, 30.0))["faces.holder_gap.far"] == "stop"
    assert wrong(monkeypatch, blankholder=(0.0, 0.0, -0.5))["faces.holder_gap"] == "stop"
    assert wrong(monkeypatch, die=(0.0, 0.0, -5.0), punch=(0.0, 0.0, -5.0), blankholder=(0.0, 0.0, -5.0))["faces.place"] == "attend"


def test_step_face_is_fine_and_turned_into_press_coordinates(tmp_path: Path) -> None:
    path = tmp_path / "die.step"
    write_step(path, [(30.7, -40.0), (30.7, -7.0), (37.2, -0.5), (70.0, -0.5)], 6.5, (37.2, -7.0))
    turn = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    face = read_face("die", path, "", np.eye(3), np.array([0.0, 0.0, 2.0]), Watch())
    exact = 2 * np.pi * (30.7 * 33.0 + (37.2 * np.pi / 2 - 6.5) * 6.5) + np.pi * (70.0**2 - 37.2**2)
    assert face.mesh.area == pytest.approx(exact, rel=1e-3)
    assert face.mesh.points[:, 2].max() == pytest.approx(1.5)
    assert face.mesh.doubled_normals[:, 2].sum() > 0
    assert len(face.mesh.boundary_loops) == 2
    assert len(np.unique(face.mesh.components)) == 1
    r, z = np.hypot(*face.mesh.centroids[:, :2].T), face.mesh.centroids[:, 2] - 2.0
    on = (r < 37.0) & (z > -6.9)
    assert np.abs(np.hypot(r[on] - 37.2, z[on] + 7.0) - 6.5).max() < 2 * 0.02
    with pytest.raises(InputError, match=r"faces\.die_file.*cannot be told which side"):
        read_face("die", path, "", turn, np.zeros(3), Watch())


def test_a_damaged_file_names_its_field(tmp_path: Path) -> None:
    path = tmp_path / "punch.step"
    path.write_text("ISO-10303-21; not more")
    with pytest.raises(FileError, match=r"faces\.punch_file"):
        read_face("punch", path, "", np.eye(3), np.zeros(3), Watch())
    stl = write_stl(tmp_path / "die.stl", TOOLS["die"])
    with pytest.raises(InputError, match=r"part\.unit"):
        read_face("die", stl.path, "", np.eye(3), np.zeros(3), Watch())


def test_closed_body_is_opened_on_the_far_side() -> None:
    block = np.array([[x, y, z] for x in (0.0, 10.0) for y in (0.0, 10.0) for z in (0.0, 5.0)])
    import scipy.spatial

    hull = scipy.spatial.ConvexHull(block)
    cells = hull.simplices.copy()
    flip = (
        np.einsum(
            "ij,ij->i", np.cross(block[cells[:, 1]] - block[cells[:, 0]], block[cells[:, 2]] - block[cells[:, 0]]), hull.equations[:, :3]
        )
        < 0
    )
    cells[flip] = cells[flip][:, ::-1]
    found = towards_sheet("punch", TriMesh(block, cells), [])
    assert "closed body" in found.notes[0]
    assert found.mesh.normals[:, 2].min() == pytest.approx(-1.0)
    assert found.mesh.normals[:, 2].max() < 0.1
    assert found.mesh.area == pytest.approx(100.0 + 4 * 50.0)


def test_outline_and_gap_helpers() -> None:
    assert np.hypot(*plan_outline(TOOLS["punch"]).T).max() == pytest.approx(29.5, abs=1e-3)
    found = facing_gap(TOOLS["punch"], TOOLS["die"])
    assert found.least > 0.99
    assert found.most < 3.0
