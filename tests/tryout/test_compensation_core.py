"""The loop of the compensation on a draw that is known in closed form, and what is measured on moved faces."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from diewright.die.simple import channel_tools
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.geometry.shift_field import ShiftField
from diewright.tryout.compensation_checks import check_moved
from diewright.tryout.compensation_core import Pressed, compensate, move_faces, off_surface
from diewright.tryout.compensation_findings import findings_of
from diewright.tryout.reference_points import best_fit

T, SIZE, COUNT = 1.0, 120.0, 31


def grid(x0: float, x1: float, y0: float, y1: float, step: float, z: float = 0.0, up: bool = True) -> TriMesh:
    """A level rectangle."""
    x, y = np.arange(x0, x1 + 0.5 * step, step), np.arange(y0, y1 + 0.5 * step, step)
    points = np.column_stack([a.ravel() for a in np.meshgrid(x, y)] + [np.full(len(x) * len(y), z)])
    a = (np.arange(len(y) - 1)[:, None] * len(x) + np.arange(len(x) - 1)).ravel()
    cells = np.vstack([np.column_stack([a, a + 1, a + len(x) + 1]), np.column_stack([a, a + len(x) + 1, a + len(x)])])
    return TriMesh(points, cells if up else cells[:, ::-1])


def pan() -> tuple[dict[str, TriMesh], TriMesh]:
    """A shallow arch between its faces, and a level blankholder away from it."""
    sheet = grid(-60.0, 60.0, -60.0, 60.0, 5.0)

    def arched(mesh: TriMesh, off: float) -> TriMesh:
        x = mesh.points[:, 0] / 60.0
        slope = -2.0 * 8.0 * x / 60.0
        n = np.column_stack([-slope, np.zeros(len(x)), np.ones(len(x))]) / np.hypot(slope, 1.0)[:, None]
        return TriMesh(np.column_stack([mesh.points[:, :2], 8.0 * (1.0 - x**2)]) + off * n, mesh.triangles)

    wide = grid(-66.0, 66.0, -66.0, 66.0, 3.0)
    faces = {
        "die": arched(wide, -0.5 * T),
        "punch": arched(wide, 0.5 * T).reversed(),
        "blankholder": grid(80.0, 110.0, -66.0, 66.0, 6.0, 0.5 * T, up=False),
    }
    return faces, arched(sheet, 0.0)


class Springs:
    """A draw whose sheet lies in the middle of the gap, slides along it a little more every time, and springs by a stated field, turned and pushed as a whole."""

    def __init__(self, middle: TriMesh, amount: float = 1.5, sliding: float = 0.3) -> None:
        self.middle, self.amount, self.sliding, self.runs = middle, amount, sliding, 0
        self.faces: list[dict[str, TriMesh]] = []

    def spring(self, p: np.ndarray) -> np.ndarray:
        x, y = p[:, 0] / 60.0, p[:, 1] / 60.0
        return self.amount * np.column_stack([0.1 * x * y, 0.0 * x, x**2 - 0.6 * x * y])

    def __call__(self, faces: dict[str, TriMesh], field: ShiftField | None) -> Pressed:
        self.faces.append(dict(faces))
        at = self.middle.points.copy()
        at[:, 1] += self.sliding * self.runs  # straight along the arch: the sheet slides in its own surface
        self.runs += 1
        lies = at if field is None else at + field.at(at)
        sprung = lies + self.spring(lies)
        c, s = math.cos(0.3), math.sin(0.3)
        away = sprung @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + np.array([5.0, -7.0, 20.0])
        return Pressed(TriMesh(lies, self.middle.triangles), TriMesh(away, self.middle.triangles), np.arange(len(lies)))


@pytest.fixture(scope="module")
def done():
    faces, middle = pan()
    draw = Springs(middle)
    return compensate(draw, faces, T, best_fit, iterations=3, wave=25.0), draw


def test_a_smooth_springback_is_gone_in_three_moves_though_the_sheet_slides(done) -> None:
    got, draw = done
    assert len(got.rounds) == draw.runs == 4
    assert got.rounds[0].max_mm > 0.4
    assert got.rounds[-1].max_mm < 0.1 * got.rounds[0].max_mm
    assert got.rounds[-1].rms_mm < 0.02 * got.rounds[0].rms_mm
    assert got.best in (2, 3)
    assert got.chosen is got.rounds[got.best]


def test_faces_move_as_skins_of_one_sheet(done) -> None:
    got, draw = done
    last = got.rounds[-1]
    assert last.field is not None
    moved = got.nominal.points + last.field.at(got.nominal.points)
    c = check_moved(got.rounds[0].faces, last.faces, got.nominal, moved, T)
    assert np.abs(last.field.at(got.nominal.points)).max() > 0.4
    assert c.gap_change < 0.01 * T
    assert c.undercut_area == 0.0
    assert last.faces is not got.rounds[0].faces
    assert all(np.array_equal(draw.faces[-1][n].points, last.faces[n].points) for n in last.faces)


def test_a_blankholder_away_from_the_part_stays_in_its_plane(done) -> None:
    got, _ = done
    assert got.holder == "keep"
    before, after = got.rounds[0].faces["blankholder"], got.rounds[-1].faces["blankholder"]
    assert np.abs(after.points[:, 2] - before.points[:, 2]).max() < 1e-12


def test_a_flange_under_the_blankholder_takes_it_along_unless_it_is_to_stay() -> None:
    faces, middle = pan()
    flange = grid(-60.0, -40.0, -66.0, 66.0, 6.0)
    x = flange.points[:, 0]
    faces["blankholder"] = TriMesh(
        np.column_stack([flange.points[:, :2], 8.0 * (1.0 - (x / 60.0) ** 2) + 0.5 * T]), flange.triangles[:, ::-1]
    )
    follow = compensate(Springs(middle), faces, T, best_fit, iterations=1, wave=25.0)
    assert follow.holder == "follow"
    keep = compensate(Springs(middle), faces, T, best_fit, iterations=1, wave=25.0, holder="keep")
    off = [
        ((r.faces["blankholder"].points - r0.faces["blankholder"].points) * r0.faces["blankholder"].point_normals).sum(1)
        for r, r0 in ((g.rounds[1], g.rounds[0]) for g in (follow, keep))
    ]
    assert np.abs(off[0]).max() > 0.3
    assert np.abs(off[1]).max() < 1e-9
    assert follow.rounds[1].rms_mm < keep.rounds[1].rms_mm


def test_it_stops_where_the_part_is_good_enough() -> None:
    faces, middle = pan()
    assert len(compensate(Springs(middle), faces, T, best_fit, iterations=3, wave=25.0, enough=0.2).rounds) == 3
    none = compensate(Springs(middle, amount=0.01), faces, T, best_fit, iterations=3, wave=25.0, enough=0.2)
    assert len(none.rounds) == 1
    assert none.best == 0
    assert none.chosen.field is None
    found = findings_of(none, None, SimpleNamespace(tolerance=0.2, thickness=T), {"max_mm": np.array([0.01])})
    assert [(f.key, f.severity) for f in found] == [("compensation.none_needed", "note")]


def test_numbers_out_of_range_and_runs_of_other_parts_are_refused() -> None:
    faces, middle = pan()
    for iterations, factor in ((0, 1.0), (1, 0.0), (1, 2.5)):
        with pytest.raises(InputError, match="at least one"):
            compensate(Springs(middle), faces, T, best_fit, iterations=iterations, factor=factor, wave=25.0)

    def other(f, field):
        got = Springs(middle)(f, field)
        return got if field is None else Pressed(got.drawn, got.part, got.nodes[::-1])

    with pytest.raises(InputError, match="different parts"):
        compensate(other, faces, T, best_fit, iterations=1, wave=25.0)
    covered = {**faces, "blankholder": faces["punch"]}
    with pytest.raises(InputError, match="all of the part lies under the blankholder"):
        compensate(Springs(middle), covered, T, best_fit, iterations=1, wave=25.0, holder="keep")


def test_half_a_factor_takes_half_back() -> None:
    faces, middle = pan()
    whole, half = (compensate(Springs(middle, sliding=0.0), faces, T, best_fit, iterations=1, wave=25.0, factor=f) for f in (1.0, 0.5))
    assert half.rounds[1].rms_mm == pytest.approx(0.5 * half.rounds[0].rms_mm, rel=0.1)
    assert whole.rounds[1].rms_mm < 0.1 * whole.rounds[0].rms_mm


def upright() -> tuple[dict[str, TriMesh], TriMesh]:
    """A channel with upright walls, split fine, and a sheet on its bottom and walls."""
    from diewright.geometry.short_edges import with_short_edges

    faces = channel_tools(40.0, 5.0, 42.0, 5.0, 30.0, T, 120.0, 20.0, bottom=True)
    punch = faces["punch"]
    middle = TriMesh(punch.points + 0.5 * T * punch.point_normals, punch.triangles)
    return {n: with_short_edges(m, 5.0) for n, m in faces.items()}, with_short_edges(middle, 5.0).reversed()


def moved_in(points: np.ndarray, amount: float) -> np.ndarray:
    """Walls lean in towards the top."""
    out = points.copy()
    out[:, 0] -= (
        amount * np.sign(points[:, 0]) * np.clip((points[:, 2] + 30.0) / 30.0, 0.0, None) * np.minimum(np.abs(points[:, 0]) / 10.0, 1.0)
    )
    return out


def test_a_wall_without_draft_that_leans_in_is_an_undercut_and_stops() -> None:
    faces, sheet = upright()
    after = {n: TriMesh(moved_in(m.points, 1.0), m.triangles) for n, m in faces.items()}
    c = check_moved(faces, after, sheet, moved_in(sheet.points, 1.0), T)
    assert c.draft_before == pytest.approx(0.0, abs=1e-6)
    assert c.draft_after == pytest.approx(-math.degrees(math.atan(1.0 / 30.0)), abs=0.05)
    assert c.undercut_area > 100.0
    assert (np.abs(c.undercut_at[:, 0]) > 15.0).all()
    found = _found(c)
    assert found[0].key == "compensation.undercut"
    assert found[0].severity == "stop"
    out = {n: TriMesh(moved_in(m.points, -1.0), m.triangles) for n, m in faces.items()}
    leant = check_moved(faces, out, sheet, moved_in(sheet.points, -1.0), T)
    assert leant.undercut_area == 0.0
    assert leant.draft_after == pytest.approx(math.degrees(math.atan(1.0 / 30.0)), abs=0.05) or leant.draft_after >= 0.0


def test_a_gap_that_changes_is_measured_and_stops() -> None:
    faces, sheet = upright()
    after = dict(faces)
    after["punch"] = TriMesh(faces["punch"].points - np.array([0.1, 0.0, 0.0]), faces["punch"].triangles)
    c = check_moved(faces, after, sheet, sheet.points, T)
    assert c.gap_change == pytest.approx(0.1, abs=1e-6)
    assert [f.key for f in _found(c) if f.severity == "stop"] == ["compensation.gap"]


def test_a_blankholder_that_warps_too_far_is_said() -> None:
    faces, sheet = upright()
    warped = faces["blankholder"].points.copy()
    warped[:, 2] += 0.1 * np.abs(warped[:, 0])
    c = check_moved(faces, {**faces, "blankholder": TriMesh(warped, faces["blankholder"].triangles)}, sheet, sheet.points, T)
    assert c.holder_steepest == pytest.approx(math.degrees(math.atan(0.1)), abs=1e-6)
    assert "compensation.blankholder" in [f.key for f in _found(c)]


def _found(c):
    one = SimpleNamespace(laid=SimpleNamespace(normal_mm=np.array([0.05, -0.2])), meant=SimpleNamespace(points=np.zeros((2, 3))))
    got = SimpleNamespace(best=1, chosen=one, rounds=(one, one), holder="follow")
    table = {"rms_mm": np.array([1.0, 0.1]), "max_mm": np.array([2.0, 0.2])}
    return findings_of(got, c, SimpleNamespace(thickness=T, tolerance=0.1, blankholder="auto"), table)


def test_findings_follow_what_is_left() -> None:
    faces, sheet = upright()
    c = check_moved(faces, faces, sheet, sheet.points, T)
    assert c.gap_change == 0.0
    assert c.turn == pytest.approx(0.0, abs=1e-5)
    assert [f.key for f in _found(c)] == ["compensation.left", "compensation.kept"]
    one = SimpleNamespace(laid=SimpleNamespace(normal_mm=np.array([0.05])), meant=SimpleNamespace(points=np.zeros((1, 3))))
    got = SimpleNamespace(best=1, chosen=one, rounds=(one, one), holder="keep")
    inputs = SimpleNamespace(thickness=T, tolerance=0.3, blankholder="auto")
    reached = findings_of(got, c, inputs, {"rms_mm": np.array([1.0, 0.1]), "max_mm": np.array([2.0, 0.2])})
    assert [(f.key, f.severity) for f in reached] == [("compensation.reached", "note"), ("compensation.kept", "note")]
    worse = findings_of(got, c, inputs, {"rms_mm": np.array([1.0, 1.1]), "max_mm": np.array([2.0, 2.2])})
    assert worse[0].key == "compensation.worse"


def test_distance_from_a_surface_has_its_side() -> None:
    level = grid(-10.0, 10.0, -10.0, 10.0, 5.0)
    assert off_surface(level, np.array([[1.0, 2.0, 3.0], [0.0, 0.0, -2.0]])) == pytest.approx([3.0, -2.0])
    with pytest.raises(KeyError):
        move_faces({"die": level}, ShiftField(np.vstack([np.eye(3), -np.eye(3)]), np.zeros((6, 3))), "keep")
