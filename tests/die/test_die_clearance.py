"""The rule of the clearance: its share against an integral of its own over seams known in closed form, the die's distance against that, and the die's tangent breaks with and without easing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from brep_tools import BEADED, along, asked_of, beaded, beaded_section

from diewright.die import made as maker
from diewright.die.brep.faces_cad import FacesCad, faces_cad
from diewright.die.clearance import Seams, sine_share
from diewright.die.holder import Holder

T, C, REACH = 1.0, 0.2, 3.0
EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples"
NONE = Seams(np.zeros((0, 3)), np.zeros((0, 3)), *np.zeros((3, 0)))


def circles(bead: float) -> list[tuple[float, float, float]]:
    """Radius, height and share of the seams of the beaded cup: half way up the bead, and both ends of the leaning wall; where the surface is level ``sin^2`` has no kink."""
    s = beaded_section(bead)
    half, wall = np.sin(np.radians(BEADED["steep"])) ** 2, np.cos(np.radians(BEADED["lean"])) ** 2
    return [(*s[2][0], half), (*s[5][0], wall), (*s[6][0], wall)]


def written_out(p: np.ndarray, n: np.ndarray, rings: list[tuple[float, float, float]], reach: list[float]) -> np.ndarray:
    """The share at points and normals ``(n, 2)`` of a section: the rule as the module's text states it, its sums as integrals over whole circles."""
    at = 2.0 * np.pi * (np.arange(40_000) + 0.5) / 40_000
    total, pulled = np.zeros(len(p)), np.zeros(len(p))
    for (r, z, share), far in zip(rings, reach, strict=True):
        for i, (x, y) in enumerate(p):
            away = np.sqrt((x - r * np.cos(at)) ** 2 + (r * np.sin(at)) ** 2 + (y - z) ** 2)
            kernel = 0.1 * far**2 * np.where(away < far, 1.0 - (away / far) ** 2, 0.0) ** 3 / (away**2 + (0.1 * far) ** 2) ** 1.5
            k = kernel.sum() * 2.0 * np.pi * r / len(at)
            total[i] += k
            pulled[i] += k * share
    return (n[:, 0] ** 2 + pulled) / (1.0 + total)


@pytest.fixture(scope="module")
def cup(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], FacesCad]:
    asked = asked_of(beaded(tmp_path_factory.mktemp("beaded") / "cup.step"), T, C)
    return asked, faces_cad(**asked, name="beaded")


def put(asked: dict[str, Any], p: np.ndarray, n: np.ndarray, turn: float) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals of a section, turned about the axis by ``turn`` [rad], in press coordinates."""
    p, n = (np.column_stack([x[:, 0] * np.cos(turn), x[:, 0] * np.sin(turn), x[:, 1]]) for x in (p, n))
    return p @ asked["rotation"].T + asked["shift"], n @ asked["rotation"].T


def test_share_is_the_integral_over_the_seams(cup: tuple[dict[str, Any], FacesCad]) -> None:
    asked, _ = cup
    share = np.array([0.03, 0.25, 0.6, 0.97])
    for piece in beaded_section(BEADED["bead"]):
        p, n = along(piece, share)
        wanted = written_out(p, n, circles(BEADED["bead"]), [REACH] * 3)
        for turn in (0.4, 2.9):
            found = asked["rule"].share(*put(asked, p, n, turn))
            assert found == pytest.approx(wanted, abs=1e-3)


def test_die_lies_where_the_rule_says(cup: tuple[dict[str, Any], FacesCad]) -> None:
    """Every point of the written die over the part, against the section moved by half the thickness and the share written out: within 0.002 mm."""
    asked, made = cup
    section = []
    for piece in beaded_section(BEADED["bead"])[:-1]:
        p, n = along(piece, np.linspace(0.0, 1.0, 80))
        section.append(p - (0.5 * T + C * written_out(p, n, circles(BEADED["bead"]), [REACH] * 3))[:, None] * n)
    rows = np.frombuffer(made.stl["die"][84:], dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    points = (np.unique(rows["p"].reshape(-1, 3).astype(float), axis=0) - asked["shift"]) @ asked["rotation"]
    flat = np.column_stack([np.hypot(*points[:, :2].T), points[:, 2]])
    flat = flat[flat[:, 0] < section[-1][-1, 0]]
    line = np.vstack(section)
    a, d = line[:-1], np.diff(line, axis=0)
    share = np.clip(np.einsum("kij,ij->ki", flat[:, None] - a, d) / np.maximum((d * d).sum(axis=1), 1e-30), 0.0, 1.0)
    off = np.linalg.norm(a + share[..., None] * d - flat[:, None], axis=2).min(axis=1)
    assert len(flat) > 2000
    assert off.max() < 0.002


def test_level_and_leaning_places_keep_their_gap(cup: tuple[dict[str, Any], FacesCad]) -> None:
    """On level areas the share is 0 right up to the line where a bend begins, on the wall cos^2 of its lean; planes and cones of the die are still planes and cones."""
    asked, made = cup
    s = beaded_section(BEADED["bead"])
    for number, wanted in ((0, 0.0), (3, 0.0), (5, np.cos(np.radians(BEADED["lean"])) ** 2)):
        p, n = along(s[number], np.linspace(0.0, 1.0, 25))
        assert asked["rule"].share(*put(asked, p, n, 1.1)) == pytest.approx(wanted, abs=1e-9)
    assert (
        made.report["tools"]["die"]["moved"] == made.report["tools"]["punch"]["moved"] - 4
    )  # tori of bead, bottom and shoulder are the difference
    assert made.step["die"].count(b"CONICAL_SURFACE") == 2


def test_upright_wall_has_the_whole_clearance_from_the_line_where_the_corner_ends() -> None:
    """Where corners run into level and upright faces ``sin^2`` is smooth by itself: nothing is eased, and the wall has the share 1 over its whole height."""
    asked = asked_of(EXAMPLES / "cup" / "cup.step", T, C)
    assert len(asked["rule"].seams.at) == 0
    drawn = asked["drawn"]
    upright = np.abs(drawn.normals[:, 2]) < 1e-9
    share = asked["rule"].share(drawn.mesh.points, drawn.normals)
    assert upright.sum() > 100
    assert share[upright] == pytest.approx(1.0, abs=1e-12)


def test_die_does_not_break(cup: tuple[dict[str, Any], FacesCad], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where two arcs of 4 mm meet half way up a bead the unchanged rule breaks by ``c k / (1 + d k)`` from either side, ``d`` the die's distance; eased, nothing is left of it."""
    _, made = cup
    assert made.faults == []
    for tool in made.report["tools"].values():
        assert tool["valid"]
        assert tool["break_deg"] < 0.3
        assert tool["gap"] < 0.001
        assert tool["deviation"]["max"] < 0.001
    monkeypatch.setattr(maker, "find_seams", lambda *_: NONE)
    plain = faces_cad(**asked_of(beaded(tmp_path / "cup.step"), T, C))
    k, d = 1.0 / BEADED["bead"], 0.5 * T + 0.5 * C
    wanted = np.degrees(np.arctan(C * k / (1.0 - d * k)) + np.arctan(C * k / (1.0 + d * k)))
    assert plain.report["tools"]["die"]["break_deg"] == pytest.approx(wanted, abs=0.05)
    assert any("breaks by" in fault for fault in plain.faults)


def test_a_bead_narrower_than_the_reach_stays_to_itself(tmp_path: Path) -> None:
    """A seam reaches to the next line alongside at most: arcs of 2 mm are 1.53 mm wide, and the level faces beside them stay exact."""
    made = faces_cad(**(asked := asked_of(beaded(tmp_path / "cup.step", 2.0), T, C)))
    seams, width = asked["rule"].seams, 4.0 * np.sin(np.radians(22.5))
    on_bead = np.abs(seams.share - 0.5) < 1e-6
    assert seams.reach[on_bead] == pytest.approx(width, abs=0.02)
    assert made.report["tools"]["die"]["moved"] == 6
    assert made.report["tools"]["die"]["break_deg"] < 1.0
    p, n = along(beaded_section(2.0)[1], np.linspace(0.05, 0.95, 7))
    wanted = written_out(p, n, circles(2.0), [width, REACH, REACH])
    assert asked["rule"].share(*put(asked, p, n, 0.4)) == pytest.approx(wanted, abs=3e-3)


def test_faces_that_look_away_from_each_other_do_not_mix() -> None:
    """A seam on one wall of a narrow channel says nothing to the wall across it."""
    y = np.arange(-10.0, 10.0, 0.25)
    lean = np.array([np.cos(0.2), 0.0, np.sin(0.2)])
    seams = Seams(np.column_stack([0 * y, y, 0 * y]), np.tile(lean, (len(y), 1)), 0 * y, 0 * y + REACH, 0 * y + 0.25)
    here, across = np.array([[0.5, 0.0, 0.0]]), lean * [-1.0, 1.0, 1.0]
    assert seams.ease(here, lean[None], np.ones(1))[0] < 0.3
    assert seams.ease(here, across[None], np.ones(1))[0] == 1.0


def test_under_a_sloping_blankholder_its_own_slope_is_taken_off() -> None:
    holder = Holder(0.0, tilt=(0.3, 0.0))
    x = np.array([[1.0, 2.0, 0.3], [1.0, 2.0, -40.0]])
    n = np.tile(np.array([-0.3, 0.0, 1.0]) / np.hypot(0.3, 1.0), (2, 1))
    assert sine_share(x, n, holder, 8.0) == pytest.approx([0.0, 0.09 / 1.09], abs=1e-12)
