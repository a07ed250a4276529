"""The section round the edge: its pieces are lines and arcs of the stated values and meet tangentially; open ends, lips and notches."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from die_parts import cup_profile, faces_of, revolved
from die_shapes import SHAPES, _box, lifted, pan, pan_section, plan_line
from die_shapes import _shape as shape

from diewright.die.bridge import bridged
from diewright.die.build import Built, Stated, build
from diewright.die.edge import find_edge
from diewright.die.ends import open_end
from diewright.die.line import diffused, steps
from diewright.die.rules import wall_gap
from diewright.die.stated import along, values_of
from diewright.die.surface import fine_surface, whole_normals
from diewright.errors import InputError, SolveError
from diewright.watch import Watch

T = 1.0


def built(name: str, way: str = "auto", places: tuple = (), **values: float) -> Built:
    s = SHAPES[name]()
    outer = max(s.mesh.boundary_loops, key=s.mesh.loop_length)
    stated = values_of(T, *(values.get(k, "auto") for k in ("land", "punch", "angle", "radius")))
    return build(s.mesh, s.normals, outer, s.blank, Stated(T, wall_gap(T, "steel"), stated, way, places=places), Watch())  # type: ignore[arg-type]


def pieces(b: Built, column: int) -> list[np.ndarray]:
    """The pieces of one section as (out, up), cut at the joints."""
    c = b.drawn.columns[column]
    flat = np.column_stack([np.hypot(*(c - c[0])[:, :2].T), c[:, 2]])
    cuts = [0, *b.drawn.joints, len(c) - 1]
    return [flat[i : j + 1] for i, j in pairwise(cuts)]


def circle(p: np.ndarray) -> tuple[float, float]:
    """Radius of the circle through a piece's points and how far they lie off it."""
    table = np.column_stack([p, np.ones(len(p))])
    x, y, c = np.linalg.lstsq(table, (p**2).sum(axis=1), rcond=None)[0]
    r = math.sqrt(c + x * x / 4 + y * y / 4)
    return r, float(np.abs(np.hypot(p[:, 0] - x / 2, p[:, 1] - y / 2) - r).max())


def lean(p: np.ndarray) -> np.ndarray:
    d = np.diff(p, axis=0)
    return np.degrees(np.arctan2(d[:, 1], d[:, 0]))


def test_a_full_section_has_the_stated_pieces() -> None:
    b = built("cup with flange", "profile", land=6.0, punch=5.0, angle=12.0, radius=7.0)
    assert b.drawn.lead.mode == "profile"
    for column in (0, 17, 40):
        land, punch, wall, rest, die = pieces(b, column)
        assert lean(land) == pytest.approx(0.0, abs=1e-9)
        assert land[-1, 0] == pytest.approx(6.0)
        assert circle(punch) == pytest.approx((5.5, 0.0), abs=1e-6)
        assert lean(wall) == pytest.approx(78.0, abs=1e-6)
        assert lean(rest) == pytest.approx(78.0, abs=0.01)
        assert circle(die) == pytest.approx((7.5, 0.0), abs=1e-4)
        # tangent: the first and last chords of an arc stand half a chord's turn off the lines they meet
        turn = 78.0 / (len(punch) - 1) / 2
        assert lean(punch)[[0, -1]] == pytest.approx([turn, 78.0 - turn], abs=0.01)
        turn = 78.0 / (len(die) - 1) / 2
        assert lean(die)[[0, -1]] == pytest.approx([78.0 - turn, turn], abs=0.01)


@pytest.mark.parametrize("name", ["square pan", "crowned pan", "L pan", "cup with a lip down", "hat channel"])
def test_normals_stand_square_to_the_sections_and_join_the_surface(name: str) -> None:
    b = built(name, "profile")
    c, n, holder = b.drawn.columns, b.drawn.standing, b.drawn.holder
    assert np.linalg.norm(n, axis=2) == pytest.approx(1.0)
    assert n[:, 0] == pytest.approx(b.drawn.normals[b.edge.numbers])
    assert c[:, -1, 2] == pytest.approx(holder.height(c[:, -1, :2]), abs=1e-6)
    assert n[:, -1] == pytest.approx(holder.normal(c[:, -1, :2]))
    # the land leaves the part in its tangent plane
    way = c[:, 1] - c[:, 0]
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    assert np.degrees(np.arcsin(np.abs((way * n[:, 0]).sum(axis=1)))).max() < 0.6
    # neighbours along a section turn by a chord's turn and no more, joints included
    turn = np.degrees(np.arccos(np.clip((n[:, 1:] * n[:, :-1]).sum(axis=2), -1, 1)))
    assert np.percentile(turn, 99) < 7.0


def test_values_change_smoothly_along_the_edge() -> None:
    places = ({"x": 80.0, "y": 0.0, "wall_angle": 20.0, "trim_land": 4.0}, {"x": -80.0, "y": 0.0, "wall_angle": 5.0})
    b = built("square pan", "profile", places)
    right, left = int(np.argmax(b.edge.points[:, 0])), int(np.argmin(b.edge.points[:, 0]))
    right = int(np.argmin(np.hypot(*(b.edge.points[:, :2] - [80.0, 0.0]).T)))
    left = int(np.argmin(np.hypot(*(b.edge.points[:, :2] - [-80.0, 0.0]).T)))
    assert lean(pieces(b, right)[2]) == pytest.approx(70.0, abs=0.2)
    assert lean(pieces(b, left)[2]) == pytest.approx(85.0, abs=0.2)
    assert b.drawn.lead.land == pytest.approx(4.0)  # stated at one place only: it holds all round
    step = np.abs(np.diff(np.degrees(b.drawn.lead.steep))) / steps(b.edge.points)[:-1]
    assert step.max() < 1.6 * 15.0 / (0.4 * steps(b.edge.points).sum())
    assert along(b.edge, 3.0, []) == pytest.approx(3.0)


def test_a_stated_blend_needs_a_flange() -> None:
    s = SHAPES["cup without flange"]()
    with pytest.raises(InputError, match=r"faces\.lead_on"):
        faces_of(s.mesh, s.blank, normals=s.normals, lead_on="blend")


def test_a_low_flange_gets_the_full_section() -> None:
    """Half of the flange lies 20 mm lower: no blend can reach one plane from there within a die radius."""
    mesh, normals = pan(*plan_line(_box(180.0, 120.0), 30.0), pan_section(40.0, 8.0, 8.0, 20.0, 8.0))

    def by(p: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        x = np.clip((p[:, 0] + 60.0) / 120.0, 0.0, 1.0)
        return -24.0 * x * x * (3 - 2 * x), np.column_stack([-24.0 * 6 * x * (1 - x) / 120.0, 0 * x]), 0 * x

    s = shape(*lifted(mesh, normals, by))
    r = faces_of(s.mesh, s.blank, normals=s.normals, blankholder="flat")
    assert r.values["blankholder"]["lead_on"] == "profile"
    assert r.values["blankholder"]["depth_most"] - r.values["blankholder"]["depth_least"] == pytest.approx(24.0, abs=0.1)
    assert [f.key for f in r.findings if f.severity == "stop"] == []
    assert r.figure("faces.wall_angle").value == pytest.approx(8.0)
    assert r.figure("faces.punch_radius_led").value == pytest.approx(6.0)


def test_the_open_end_of_a_channel_is_closed() -> None:
    b = built("channel")
    low = open_end(b.edge)
    assert set(np.round(np.abs(b.edge.points[low][:, 0]))) == {80.0}
    assert np.degrees(0.5 * math.pi - b.drawn.lead.steep[low]) == pytest.approx(25.0)
    # the walls run on in their own planes beyond the end, and the end is closed all round: one plane, one outer edge, no hole
    beyond = b.drawn.columns[low & (b.edge.points[:, 2] > -20.0)][:, : b.drawn.joints[2]].reshape(-1, 3)
    assert np.abs(beyond[:, 1]) == pytest.approx(40.0, abs=1e-6)
    assert len(b.faces.die.boundary_loops) == 1
    r = b.drawn.columns[:, -1]
    assert r[:, 2] == pytest.approx(b.drawn.level)
    assert np.abs(r[:, 0]).max() > 100.0


def test_a_lip_down_is_turned_up_again() -> None:
    b = built("cup with a lip down")
    assert b.drawn.lead.mode == "profile"
    land, punch, *_ = pieces(b, 3)
    assert lean(land) == pytest.approx(-30.0, abs=0.1)
    assert circle(punch)[0] == pytest.approx(6.5, abs=1e-3)


def test_a_notch_is_bridged_on_the_course_of_the_surface() -> None:
    s = SHAPES["pan with a sharp notch"]()
    crown = lifted(s.mesh, s.normals, lambda p: (-(p[:, 1] ** 2) / 1200.0, np.column_stack([0 * p[:, 1], -p[:, 1] / 600.0]), 0.0 * p[:, 1]))
    fine = fine_surface(*crown, 0.02, 12.0)
    edge = find_edge(fine.mesh, max(fine.mesh.boundary_loops, key=fine.mesh.loop_length), whole_normals(fine))
    over = bridged(fine, whole_normals(fine), edge, 30.0)
    assert len(over.at) == 1
    assert over.at[0, :2] == pytest.approx([0.0, 90.0], abs=6.0)
    new = over.fine.mesh.points[len(fine.mesh.points) :]
    assert new[:, 2] == pytest.approx(-(new[:, 1] ** 2) / 1200.0, abs=0.05)
    n = over.normals[len(fine.mesh.points) :]
    assert np.degrees(np.arctan(n[:, 1] / n[:, 2])) == pytest.approx(np.degrees(np.arctan(new[:, 1] / 600.0)), abs=1.0)
    assert over.fine.mesh.normals[:, 2].min() > -1e-9
    assert len(over.fine.mesh.boundary_loops) == len(fine.mesh.boundary_loops)
    whole = faces_of(s.mesh, s.blank, normals=s.normals, lead_on="profile")
    assert any("bridged" in note for note in whole.values["notes"])
    assert whole.arrays["trim_line"][:, 1].max() == pytest.approx(
        faces_of(s.mesh, s.blank, normals=s.normals).arrays["trim_line"][:, 1].max()
    )
    assert [f.key for f in whole.findings if f.severity == "stop"] == []


def test_a_notch_in_a_wall_is_refused() -> None:
    hat = revolved(cup_profile(30.0, 40.0, 8.0))
    fine = fine_surface(hat, None, 0.02, 12.0)
    edge = find_edge(fine.mesh, fine.mesh.boundary_loops[0])
    dented = np.array(edge.points)
    dented[3:6, :2] *= 0.9
    with pytest.raises(SolveError, match="stands too steeply"):
        bridged(
            fine,
            whole_normals(fine),
            replace(edge, points=dented),
            30.0,
        )
    loop = np.array(edge.points)
    loop[[3, 9]] = loop[[9, 3]]
    with pytest.raises(SolveError, match="crosses itself in plan"):
        bridged(fine, whole_normals(fine), replace(edge, points=loop), 30.0)


def test_smoothing_does_not_mind_uneven_points() -> None:
    at = np.sort(np.concatenate([np.linspace(0, 2 * np.pi, 60)[:-1], np.linspace(0.3, 0.5, 40)]))
    line = 50.0 * np.column_stack([np.cos(at), np.sin(at), 0 * at])
    even = diffused(line, np.cos(3 * at)[:, None], 8.0, 4)[:, 0]
    share = (1.0 + 8.0**2 / 4 * (3 / 50.0) ** 2) ** -4  # of a wave of wave number q: (1 + l^2 q^2 / rounds)^-rounds
    assert even == pytest.approx(share * np.cos(3 * at), abs=0.01)
