"""Faces as CAD from parts in CAD: sewn, valid, smooth, at the right distance, and read by other readers."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from brep_tools import CROWN, asked_of, bowl, pan

from diewright.die.brep.faces_cad import TOOLS, FacesCad, faces_cad
from diewright.errors import SolveError
from diewright.part.sandbox import Limits

EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples"

GMSH = """
import gmsh, json, sys
import numpy as np
gmsh.initialize(); gmsh.option.setNumber("General.Terminal", 0); gmsh.option.setNumber("Mesh.Algorithm", 6)
gmsh.option.setNumber("Mesh.MeshSizeMax", 15)
gmsh.merge(sys.argv[1])
faces = [tag for _, tag in gmsh.model.getEntities(2)]
gmsh.model.mesh.generate(2)
tri = np.concatenate([np.asarray(n).reshape(-1, 3) for n in gmsh.model.mesh.getElements(2)[2]]).astype(int)
edge, count = np.unique(np.sort(np.vstack([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1), axis=0, return_counts=True)
after = {}
for a, b in edge[count == 1].tolist():
    after.setdefault(a, []).append(b); after.setdefault(b, []).append(a)
loops, left = 0, set(after)
while left:
    loops += 1; stack = [left.pop()]
    while stack:
        new = [q for q in after[stack.pop()] if q in left]; left -= set(new); stack += new
empty = [t for t in faces if not len(gmsh.model.mesh.getElements(2, t)[1])]
print(json.dumps({"faces": len(faces), "empty": empty, "most": int(count.max()), "loops": loops, "area": sum(gmsh.model.occ.getMass(2, t) for t in faces)}))
"""
OCCT = """
import json, sys
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.STEPControl import STEPControl_Reader
from diewright.part.cad import silence, subshapes, area_of, TopAbs_FACE, TopAbs_SHELL, _free_edges
silence()
reader = STEPControl_Reader(); reader.ReadFile(sys.argv[1]); reader.TransferRoots(); shape = reader.OneShape()
faces = subshapes(shape, TopAbs_FACE)
print(json.dumps({"valid": BRepCheck_Analyzer(shape).IsValid(), "shells": len(subshapes(shape, TopAbs_SHELL)), "faces": len(faces), "free": _free_edges(faces), "area": area_of(shape)}))
"""


def fresh(code: str, path: Path) -> dict[str, Any]:
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=120, check=True)
    return json.loads(done.stdout.strip().splitlines()[-1])


@pytest.fixture(scope="module")
def cup() -> tuple[dict[str, Any], FacesCad]:
    asked = asked_of(EXAMPLES / "cup" / "cup.step", 1.0)
    return asked, faces_cad(**asked, name="C-020")


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], FacesCad]:
    asked = asked_of(pan(tmp_path_factory.mktemp("pan") / "pan.step"), 1.0)
    return asked, faces_cad(**asked, name="pan")


@pytest.fixture(scope="module")
def crowned(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], FacesCad]:
    asked = asked_of(pan(tmp_path_factory.mktemp("crowned") / "pan.step"), 1.0, curved=CROWN)
    return asked, faces_cad(**asked, name="crowned")


@pytest.mark.parametrize("name", ["cup", "tray", "crowned"])
def test_tools_are_sewn_valid_and_smooth(name: str, request: pytest.FixtureRequest) -> None:
    """One valid body a tool: free edges on the border alone, faces that meet within 0.01 mm and without a tangent break above 1 degree."""
    _, made = request.getfixturevalue(name)
    assert made.faults == []
    for tool in TOOLS:
        found = made.report["tools"][tool]
        assert found["valid"]
        assert found["gap"] < 0.01
        assert found["fit_error"] < 0.002
        assert found["break_deg"] < 1.0
        assert found["free_inside"] == []
        assert found["crowded_edges"] == []
        assert all(b["true_edge"] for b in found["breaks"])


@pytest.mark.parametrize("name", ["cup", "tray", "crowned"])
def test_what_was_tried_is_what_is_cut(name: str, request: pytest.FixtureRequest) -> None:
    """The points of the tryout's triangles lie on the surfaces, within the fit and what a fine mesh makes up between its exact points."""
    _, made = request.getfixturevalue(name)
    for tool in TOOLS:
        assert made.report["tools"][tool]["deviation"]["max"] < 0.005


@pytest.mark.parametrize("tool", TOOLS)
def test_other_readers_see_the_same_body(tool: str, tray: tuple[dict[str, Any], FacesCad], tmp_path: Path) -> None:
    _, made = tray
    path = tmp_path / f"{tool}.step"
    path.write_bytes(made.step[tool])
    figures = made.report["tools"][tool]
    kernel, mesher = fresh(OCCT, path), fresh(GMSH, path)
    assert kernel["valid"]
    assert kernel["shells"] == 1
    assert kernel["faces"] == mesher["faces"] == figures["faces"]
    assert kernel["free"] == figures["free_edges"]
    assert mesher["empty"] == []
    assert mesher["most"] == 2  # no edge of the mesh in three triangles
    assert mesher["loops"] == {"die": 1, "punch": 1, "blankholder": 2}[tool]
    assert abs(mesher["area"] / kernel["area"] - 1.0) < 1e-6


@pytest.mark.parametrize("name", ["cup", "tray"])
@pytest.mark.parametrize("tool", TOOLS)
def test_a_modeller_reads_one_valid_shell(tool: str, name: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """A Python modeller takes each tool as one sewn shell: valid, as many faces as were made, the same area as the mesher's, every inner edge between two faces."""
    from build123d import Shell, import_step

    _, made = request.getfixturevalue(name)
    path = tmp_path / f"{tool}.step"
    path.write_bytes(made.step[tool])
    shell, figures = import_step(path), made.report["tools"][tool]
    assert isinstance(shell, Shell)
    assert len(shell.shells()) == 1
    assert shell.is_valid
    assert len(shell.faces()) == figures["faces"]
    users = [edge for face in shell.faces() for edge in face.edges()]
    inner = len(users) - len(shell.edges())  # an edge of two faces is counted twice
    assert len(shell.edges()) - inner == figures["free_edges"]
    mesher = fresh(GMSH, path)
    assert mesher["empty"] == []
    assert mesher["faces"] == figures["faces"]
    assert mesher["most"] == 2
    assert mesher["area"] == pytest.approx(shell.area, rel=1e-6)


def test_designers_surfaces_are_not_fitted_where_they_need_not_be(cup: tuple[dict[str, Any], FacesCad]) -> None:
    """The cup's own faces (planes, cylinders and tori) come back as such on the punch; only what was led out and the wall are fitted."""
    _, made = cup
    assert made.step["punch"].count(b"CYLINDRICAL_SURFACE") == 2
    assert made.step["punch"].count(b"TOROIDAL_SURFACE") == 2
    assert made.report["tools"]["punch"]["fitted"] == 4
    assert b"PRODUCT('C-020 punch'" in made.step["punch"]
    assert b"SI_UNIT(.MILLI.,.METRE.)" in made.step["punch"]


def test_cup_has_its_radii(cup: tuple[dict[str, Any], FacesCad]) -> None:
    """Points of the written die, read as triangles, against the closed form of the cup: walls apart by thickness and clearance, die radius where it was asked."""
    asked, made = cup
    die, punch = (triangles(made.stl[t]).reshape(-1, 3) for t in ("die", "punch"))
    level = asked["drawn"].level
    wall = {t: np.hypot(*p[np.abs(p[:, 2]) < 0.01][:, :2].T) for t, p in (("die", die), ("punch", punch))}  # at the part's rim
    assert np.allclose(wall["die"], wall["die"][0], atol=2e-3)
    assert wall["die"].mean() - wall["punch"].mean() == pytest.approx(1.0 + 0.2, abs=2e-3)
    assert die[:, 2].max() == pytest.approx(level - 0.5, abs=1e-6)
    # STL: normals of the die up, of the punch down
    for tool, sign in (("die", 1.0), ("punch", -1.0)):
        corner = triangles(made.stl[tool])
        assert sign * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2].sum() > 0


def triangles(stl: bytes) -> np.ndarray:
    count = int(np.frombuffer(stl[80:84], dtype="<u4")[0])
    rows = np.frombuffer(stl[84:], dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    assert len(rows) == count
    return rows["p"].astype(float)


def test_sections_are_drawn_in_layers(cup: tuple[dict[str, Any], FacesCad]) -> None:
    """The drawing opens without a fault, and the section through the axis has the die's wall one gap outside the punch's."""
    import ezdxf

    _, made = cup
    doc = ezdxf.read(io.StringIO(made.sections.decode()))
    assert not doc.audit().has_errors
    assert doc.units == ezdxf.units.MM
    layers = {e.dxf.layer for e in doc.modelspace()}
    assert layers == {"DIE", "PUNCH", "BLANKHOLDER", "SHEET", "TEXT"}
    assert len([e for e in doc.modelspace() if e.dxf.layer == "TEXT"]) == 4
    half = {}
    for layer in ("DIE", "PUNCH"):
        x = [
            v[0] for e in doc.modelspace().query(f'*[layer=="{layer}"]') for v in points_of(e) if -80.0 < v[1] < 0.01
        ]  # of the first section
        half[layer] = max(x)
    assert half["DIE"] - half["PUNCH"] == pytest.approx(1.2, abs=0.01)


def points_of(entity: Any) -> list[Any]:
    return list(entity.flattening(0.01)) if entity.dxftype() == "SPLINE" else [entity.dxf.start, entity.dxf.end]


def test_equal_calls_give_equal_files(tray: tuple[dict[str, Any], FacesCad]) -> None:
    asked, made = tray
    again = faces_cad(**asked, name="pan")
    assert again.step == made.step
    assert again.sections == made.sections


def test_compensated_faces_are_written_the_same_way(tray: tuple[dict[str, Any], FacesCad]) -> None:
    """A smooth displacement moves every tool; the report compares with the displaced triangles."""
    asked, _ = tray

    def bow(x: np.ndarray) -> np.ndarray:
        return np.column_stack([np.zeros((len(x), 2)), 0.5 * np.cos(x[:, 0] / 40.0) * np.cos(x[:, 1] / 50.0)])

    made = faces_cad(**asked, move=bow)
    assert made.faults == []
    for tool in TOOLS:
        assert made.report["tools"][tool]["deviation"]["max"] < 0.005
        assert made.report["tools"][tool]["kept"] == made.report["tools"][tool]["moved"] == 0
    middle = triangles(made.stl["die"]).reshape(-1, 3)
    low = middle[np.hypot(*middle[:, :2].T).argmin()]
    assert low[2] == pytest.approx(asked["tools"]["die"].points[:, 2].min() + 0.5, abs=0.01)


def test_a_displacement_with_a_jump_is_refused(tray: tuple[dict[str, Any], FacesCad]) -> None:
    asked, _ = tray
    with pytest.raises(SolveError, match="not smooth enough to be carried over"):
        faces_cad(**asked, move=lambda x: np.column_stack([np.zeros((len(x), 2)), np.where(x[:, 0] > 3.0, 1.0, 0.0)]))


def test_a_sharp_edge_is_told_with_its_gap(tmp_path: Path) -> None:
    """Both sides of a sharp bottom edge move apart: the files are made, and the fault names the place and the gap."""
    made = faces_cad(**asked_of(pan(tmp_path / "sharp.step", nose=0.0), 1.0))
    assert made.report["tools"]["die"]["gap"] > 0.3
    gaps = [float(f.split("gapes by ")[1].split()[0]) for f in made.faults if f.startswith("the die gapes")]
    assert len(gaps) == 3  # the worst first, the others counted
    assert gaps[0] == pytest.approx(max(g["value"] for g in made.report["tools"]["die"]["gaps"]), abs=6e-4)
    assert any(fault.endswith("more places") for fault in made.faults)


def test_one_face_over_everything_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SolveError, match="one face reaches over both"):
        faces_cad(**asked_of(bowl(tmp_path / "bowl.step"), 1.0))


def test_refusals(cup: tuple[dict[str, Any], FacesCad], tmp_path: Path) -> None:
    asked, made = cup
    stl = tmp_path / "part.stl"
    stl.write_bytes(made.stl["die"])
    with pytest.raises(SolveError, match="given as triangles"):
        faces_cad(**{**asked, "path": stl})
    away = replace(asked["drawn"], columns=np.add(asked["drawn"].columns, [0.0, 0.0, 0.5]))
    with pytest.raises(SolveError, match="led on 0.5 mm away from the edge"):
        faces_cad(**{**asked, "drawn": away})
    with pytest.raises(SolveError, match="not the ones that were meshed"):
        faces_cad(**{**asked, "numbers": [1, 99]})
    with pytest.raises(SolveError, match="cannot be made as CAD: .* took longer"):
        faces_cad(**asked, limits=Limits(seconds=0.2))
