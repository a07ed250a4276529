"""Lines that cannot be cut as they are stated: each is refused, or found, with the place."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from trim_parts import channel, finding, grid, keys, trim, upstream

from diewright.errors import DeskError, FileError, InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.job.stage import InputFile


@pytest.fixture(scope="module")
def plate() -> dict:
    flat = grid(np.linspace(-60, 60, 25), np.linspace(-40, 40, 17))
    return upstream(flat, flat)


def named(path: Path) -> dict[str, InputFile]:
    return {"line_1": InputFile(path, path.name, hashlib.sha256(path.read_bytes()).hexdigest())}


def csv(tmp_path: Path, text: str, name: str = "line.csv") -> dict[str, InputFile]:
    path = tmp_path / name
    path.write_text(text)
    return named(path)


def drawing(tmp_path: Path, pieces: list, unit: int = 4, layer: str = "0") -> dict[str, InputFile]:
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = unit
    for piece in pieces:
        if len(piece) == 2:
            doc.modelspace().add_line(*piece, dxfattribs={"layer": layer})
        else:
            doc.modelspace().add_arc(piece[0], piece[1], piece[2], piece[3], dxfattribs={"layer": layer})
    path = tmp_path / "line.dxf"
    doc.saveas(path)
    return named(path)


SQUARE = "x [mm],y [mm]\n-10,-10\n10,-10\n10,10\n-10,10\n"
FILE = [{"file": "line.csv"}]


def test_a_good_file_is_laid_and_its_unit_is_read(plate, tmp_path):
    r = trim(plate, FILE, csv(tmp_path, SQUARE))
    assert r.values["cuts"][1]["length_mm"] == pytest.approx(80.0)
    inch = trim(plate, FILE, csv(tmp_path, SQUARE.replace("[mm]", "[inch]").replace("10", "1")))
    assert inch.values["cuts"][1]["length_mm"] == pytest.approx(8 * 25.4)
    stated = trim(plate, [{"file": "line.csv", "unit": "cm"}], csv(tmp_path, SQUARE.replace(" [mm]", "").replace("10", "1")))
    assert stated.values["cuts"][1]["length_mm"] == pytest.approx(80.0)


def test_a_drawing_of_lines_and_arcs_is_joined(plate, tmp_path):
    slot = [((-10, -5), (10, -5)), ((10, 0), 5, -90, 90), ((10, 5), (-10, 5)), ((-10, 0), 5, 90, 270)]
    r = trim(plate, [{"file": "line.dxf"}], drawing(tmp_path, slot))
    cut = r.values["cuts"][1]
    assert cut["length_mm"] == pytest.approx(40 + 10 * math.pi, rel=2e-3)
    assert cut["area_mm2"] == pytest.approx(200 + 25 * math.pi, rel=2e-3)
    small = [
        tuple(tuple(v / 25.4 for v in p) if isinstance(p, tuple) else p for p in s)
        if len(s) == 2
        else ((s[0][0] / 25.4, s[0][1] / 25.4), s[1] / 25.4, s[2], s[3])
        for s in slot
    ]
    inch = trim(plate, [{"file": "line.dxf"}], drawing(tmp_path, small, unit=1))
    assert inch.values["cuts"][1]["length_mm"] == pytest.approx(40 + 10 * math.pi, rel=2e-3)


def refused(plate, lines, files, *words: str) -> None:
    with pytest.raises(DeskError) as caught:
        trim(plate, lines, files)
    for word in words:
        assert word in caught.value.sentence, caught.value.sentence


def test_an_open_line_is_refused_with_its_gap(plate, tmp_path):
    refused(
        plate,
        [{"file": "line.dxf"}],
        drawing(tmp_path, [((0, 0), (20, 0)), ((20, 0), (20, 15))]),
        "open",
        "(20.000, 15.000)",
        "(0.000, 0.000)",
    )
    arc = "x [mm],y [mm]\n" + "\n".join(f"{10 * math.cos(a)},{10 * math.sin(a)}" for a in np.linspace(0, 4.5, 60))
    refused(plate, FILE, csv(tmp_path, arc), "trim.line 1", "open")


def test_no_unit_is_asked_for(plate, tmp_path):
    refused(plate, FILE, csv(tmp_path, "x,y\n0,0\n1,0\n1,1\n"), "states no unit")
    refused(
        plate, [{"file": "line.dxf"}], drawing(tmp_path, [((0, 0), (9, 0)), ((9, 0), (0, 9)), ((0, 9), (0, 0))], unit=0), "states no unit"
    )


def test_a_line_in_the_wrong_unit_reaches_too_far(plate, tmp_path):
    refused(plate, FILE, csv(tmp_path, SQUARE.replace("10", "10000")), "reaches to", "-1e+04", "120 mm across", "unit")


def test_nan_two_points_and_words(plate, tmp_path):
    refused(plate, FILE, csv(tmp_path, SQUARE.replace("10,10\n", "nan,10\n", 1)), "point 3", "not a finite number")
    refused(plate, FILE, csv(tmp_path, "x [mm],y [mm]\n0,0\n30,0\n"), "2 different points", "three")
    refused(plate, FILE, csv(tmp_path, "x [mm],y [mm]\n0,0\n30,here\n"), "point 2", "not a number")
    refused(plate, FILE, csv(tmp_path, "x [mm],y [mm]\n5,5\n5,5\n5,5\n5,5\n"), "different points")
    refused(plate, FILE, csv(tmp_path, ""), "no points")
    refused(plate, [{"diameter": None}], {}, "neither a file nor a diameter")


def test_a_file_that_is_no_drawing(plate, tmp_path):
    for text in ("rubbish", "", "0\nSECTION\n2\nENTITIES\n0\nLINE\n"):
        path = tmp_path / "line.dxf"
        path.write_text(text)
        with pytest.raises((FileError, InputError)):
            trim(plate, [{"file": "line.dxf"}], named(path))
    refused(plate, [{"file": "line.txt"}], csv(tmp_path, SQUARE, "line.txt"), "neither .dxf nor .csv")


def test_a_line_that_crosses_itself(plate, tmp_path):
    refused(plate, FILE, csv(tmp_path, "x [mm],y [mm]\n-10,-10\n10,10\n10,-10\n-10,10\n"), "crosses or touches itself", "trim.line 1", "(")


def test_two_lines_that_cross_are_told_once_with_the_place(plate):
    r = trim(plate, [{"x": 0.0, "y": 0.0, "diameter": 20.0}, {"x": 14.0, "y": 0.0, "diameter": 20.0}])
    found = finding(r, "trim.cross.line_1.line_2")
    assert found.severity == "stop"
    (x, y, _) = found.place.points[0]
    assert (x, abs(y)) == pytest.approx((7.0, math.sqrt(100 - 49)), abs=0.05)


def test_a_narrow_web_puts_the_second_into_a_later_operation(plate):
    r = trim(plate, [{"x": 0.0, "diameter": 20.0}, {"x": 21.5, "diameter": 20.0}, {"x": -30.0, "diameter": 20.0}])
    assert finding(r, "trim.web.line_1.line_2").value == pytest.approx(1.5, abs=0.01)
    assert [c["operation"] for c in r.values["cuts"]] == ["first trim", "first trim", "second trim", "first trim"]
    assert not [k for k in keys(r) if "line_3" in k]


def test_the_same_line_twice_is_left_out(plate):
    r = trim(plate, [{"x": 3.0, "diameter": 20.0}, {"x": 3.0, "diameter": 20.0}])
    assert finding(r, "trim.same.line_2").place.points
    assert [c["id"] for c in r.values["cuts"]] == ["edge", "line_1"]
    assert "line_2" in r.values["left_out"]


def test_lines_off_the_part_and_holes_larger_than_it(plate):
    for hole, at in (({"x": 300.0, "diameter": 20.0}, 290), ({"diameter": 500.0}, 60), ({"x": 55.0, "diameter": 20.0}, 59)):
        r = trim(plate, [hole])
        found = finding(r, "trim.off.line_1")
        assert found.severity == "stop"
        assert max(abs(p[0]) for p in found.place.points) >= at
        assert "line_1" in r.values["left_out"]
        assert [c["id"] for c in r.values["cuts"]] == ["edge"]


def test_a_line_over_the_blanks_edge_and_in_the_scrap():
    wide = grid(np.linspace(-60, 60, 41), np.linspace(-50, 50, 35))
    part = grid(np.linspace(-30, 30, 21), np.linspace(-20, 20, 15))
    before = upstream(part, part, beyond=8.0)
    faces = upstream(wide, wide)["faces"]
    faces.arrays["trim_line"] = before["faces"].arrays["trim_line"]
    r = trim(
        {**before, "faces": faces}, [{"x": 36.0, "diameter": 8.0}, {"x": -34.0, "y": 0.0, "diameter": 4.0}, {"x": 0.0, "diameter": 4.0}]
    )
    assert {"trim.edge.line_1", "trim.scrap.line_1", "trim.scrap.line_2"} <= keys(r)
    assert max(p[0] for p in finding(r, "trim.edge.line_1").place.points) == pytest.approx(40.0, abs=0.1)
    assert not [k for k in keys(r) if "line_3" in k]


def test_a_line_on_a_wall_of_three_degrees_cannot_be_cut_down(tmp_path):
    formed, flat = channel(87.0, 10.0, 30.0, 30.0)
    square = "x [mm],y [mm]\n-20,-20\n100,-20\n100,20\n-20,20\n".replace("100", "41")
    r = trim(upstream(formed, flat), [{"file": "line.csv", "direction": [0.0, 0.0, -1.0]}], csv(tmp_path, square))
    found = finding(r, "trim.knife.line_1")
    assert found.severity == "stop"
    assert found.value == pytest.approx(3.0, abs=0.05)
    assert max(p[0] for p in found.place.points) > 39.0
    tilted = channel(75.0, 10.0, 30.0, 30.0)
    r = trim(upstream(*tilted), [{"file": "line.csv", "direction": [0.0, 0.0, -1.0]}], csv(tmp_path, square))
    assert "trim.lean.line_1" in keys(r)
    assert "trim.knife.line_1" not in keys(r)


def test_a_hole_on_a_bend_and_one_that_keeps_off_it():
    formed, flat = channel(60.0, 6.0, 30.0, 25.0)
    s = np.abs(flat.points[:, 0])
    radius = np.where((s > 30.0 - 1e-6) & (s < 30.0 + 6.0 * math.radians(60) + 1e-6), 6.0, 1e6)
    before = upstream(formed, flat, radius=radius)
    r = trim(before, [{"x": 32.0, "diameter": 3.0}, {"x": 20.0, "y": 20.0, "diameter": 6.0}, {"x": 17.0, "y": -20.0, "diameter": 6.0}])
    assert finding(r, "trim.bend.line_1").value == pytest.approx(0.0, abs=1e-6)
    near = finding(r, "trim.bend.line_2")
    assert near.value == pytest.approx(7.0, abs=0.01)
    assert near.limit == pytest.approx(2.0 + 5.5)
    assert "trim.bend.line_3" not in keys(r)  # 10 mm


def test_a_hole_on_an_undercut_wall_must_wait(plate):
    part = plate["shape"].meshes["part"]
    part.cell["undercut"] = (part.mesh.centroids[:, 0] > 20).astype(np.int8)
    try:
        r = trim(plate, [{"x": 40.0, "diameter": 10.0}, {"x": -10.0, "diameter": 10.0}])
    finally:
        del part.cell["undercut"]
    assert {"trim.wait.line_1", "trim.wait.edge"} <= keys(r)
    assert "trim.wait.line_2" not in keys(r)


def test_a_line_in_space_off_the_sheet_is_laid_on_it_and_told(plate, tmp_path):
    line = "x [mm],y [mm],z [mm]\n-10,-10,2\n10,-10,2\n10,10,2\n-10,10,2\n"
    r = trim(plate, FILE, csv(tmp_path, line))
    assert finding(r, "trim.away.line_1").value == pytest.approx(2.0)
    assert r.arrays["cut_line_1"][:, 2] == pytest.approx(0.0, abs=1e-12)


def test_contradicting_limits_and_directions(plate):
    with pytest.raises(InputError, match="lean_care"):
        trim(plate, [], lean_care=40.0, lean_most=30.0)
    with pytest.raises(InputError):
        parse({"trim": {"line": [{"diameter": 5.0, "direction": [0, 0, 0]}]}})
    with pytest.raises(InputError, match="height z"):
        trim(plate, [{"diameter": 5.0, "direction": [1.0, 0.0, -1.0]}])


def test_a_mesh_in_pieces_of_no_area_does_not_break_the_laying():
    flat = grid(np.linspace(-20, 20, 9), np.linspace(-20, 20, 9))
    sliver = np.array([[0, 1, 1]], dtype=np.int32)
    mesh = TriMesh(flat.points, np.vstack([flat.triangles, sliver]))
    from diewright.trim.lines.angle import DOWN
    from diewright.trim.lines.project import axes, lay

    got = lay(mesh, np.array([[-5.0, -5], [5, -5], [5, 5], [-5, 5]]), axes(DOWN))
    assert np.linalg.norm(got.points - np.roll(got.points, 1, axis=0), axis=1).sum() == pytest.approx(40.0)
