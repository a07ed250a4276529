"""All invented shapes: faces are made, none runs through itself, the gap is the rule's everywhere, and what is held closes on the sheet."""

from __future__ import annotations

import numpy as np
import pytest
from die_parts import faces_of
from die_shapes import SHAPES, ragged

from diewright.die.build import Built, Stated, build
from diewright.die.crossing import crossing
from diewright.die.gaps import gap
from diewright.die.parallel import sharp_points
from diewright.die.rules import wall_gap
from diewright.die.stated import Way, values_of
from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

T = 1.0
CHORD = 0.02 * T


def built(name: str, way: Way = "auto") -> Built:
    s = SHAPES[name]()
    outer = max(s.mesh.boundary_loops, key=s.mesh.loop_length)
    stated = Stated(T, wall_gap(T, "steel"), values_of(T, "auto", "auto", "auto", "auto"), way)
    return build(s.mesh, s.normals if len(s.normals) else None, outer, s.blank, stated, Watch())


def off_the_rule(b: Built) -> np.ndarray:
    """Measured gap less that of the rule at the punch's points, away from sharp edges."""
    used = np.unique(b.drawn.mesh.triangles[b.zones.punched])
    sharp = sharp_points(b.drawn.mesh, b.drawn.normals)
    near = np.unique(b.drawn.mesh.triangles[sharp[b.drawn.mesh.triangles].any(axis=1)])
    used = np.setdiff1d(used, near)
    measured = gap(b.faces.upper.mesh.points[used], b.faces.die).value
    return measured - (T + (wall_gap(T, "steel") - T) * b.faces.rule.share(b.drawn.mesh.points[used], b.drawn.normals[used]))


def check(b: Built) -> None:
    for face in (b.faces.die, b.faces.punch, b.faces.blankholder):
        assert face.areas.min() > 0
        assert len(crossing(face)) == 0
    assert not b.faces.lower.folded.any()
    assert not (b.faces.upper.folded & b.zones.punched).any()
    off = off_the_rule(b)
    assert off.min() > -2 * CHORD
    assert off.max() < 2 * CHORD
    assert gap(b.faces.blankholder.points, b.faces.die).value == pytest.approx(T, abs=2 * CHORD)
    # the way the land leaves the part lies in the part's tangent plane (where a blend starts with an arc, within half a chord's turn)
    c, n = b.drawn.columns, b.drawn.standing
    if b.drawn.led and b.drawn.lead.mode != "blend":
        way = c[:, 1] - c[:, 0]
        off_plane = np.einsum("ij,ij->i", way, n[:, 0]) / np.linalg.norm(way, axis=1)
        smooth = ~sharp_points(b.drawn.mesh, b.drawn.normals)[b.edge.numbers]
        assert np.degrees(np.arcsin(np.abs(off_plane[smooth]))).max() < 1.0


@pytest.mark.parametrize("name", SHAPES)
def test_faces_of(name: str) -> None:
    check(built(name))


@pytest.mark.parametrize(
    "name",
    [
        "cup with flange",
        "pan with tight corners",
        "L pan",
        "T pan",
        "crowned pan",
        "doubly crowned pan",
        "pan with a sharp notch",
        "triangular pan",
    ],
)
def test_faces_with_the_full_section_of(name: str) -> None:
    b = built(name, "profile")
    assert b.drawn.lead.mode == "profile"
    check(b)


def test_what_is_refused_says_where() -> None:
    s = ragged()
    with pytest.raises(SolveError, match=r"(would fold|stands too steeply) at \(.*, .*, .*\) mm|crosses itself in plan \(.*\[.*\] mm\)"):
        faces_of(s.mesh, s.blank, normals=s.normals)


def test_crossing_is_seen() -> None:
    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, -1], [0.3, 0.2, 1], [0.2, 0.3, 1.0]])
    assert crossing(TriMesh(p, np.array([[0, 1, 2], [3, 4, 5]]))).tolist() == [[0, 1]]
    assert len(crossing(TriMesh(p, np.array([[0, 1, 2]])))) == 0
