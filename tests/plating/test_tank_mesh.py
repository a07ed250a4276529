"""The mesh of the bath: opened along sheets, blocks cut out, everything named, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.errors import InputError, SolveError
from diewright.finish.current import tank as module
from diewright.finish.current.crack import open_surface
from diewright.finish.current.skin import plating_skin
from diewright.finish.current.tank import Block, Sheet, mesh_tank
from diewright.finish.current.tetra import signed_volumes, triangle_areas
from diewright.geometry.mesh import TriMesh
from diewright.prove.plating_cells import grid


def flat(n=8, size=60.0, bend=0.0, z=0.0):
    a = np.linspace(-0.5, 0.5, n + 1)
    u, v = np.meshgrid(a, a, indexing="ij")
    i = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    p, q, r, s = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    points = np.column_stack([size * u.ravel(), size * v.ravel(), z + bend * (u**2).ravel()])
    return TriMesh(points, np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])]))


def test_a_sheet_is_opened_but_for_its_rim() -> None:
    g = grid(np.linspace(0, 4, 5), np.linspace(0, 4, 5), np.linspace(0, 4, 5))
    faces = np.concatenate([g.tetrahedra[:, c] for c in ([0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3])])
    x = g.points[faces]
    middle = x.mean(axis=1)
    inner = np.unique(
        np.sort(faces[(np.abs(x[:, :, 2] - 2) < 1e-9).all(axis=1) & (np.abs(middle[:, :2] - 2) < 1).all(axis=1)], axis=1), axis=0
    )
    assert len(inner) == 8
    o = open_surface(g.points, g.tetrahedra, inner)
    assert len(o.points) == len(g.points) + 1  # nine nodes, eight of them on the rim
    assert (o.origin[o.upper] == inner).all()
    assert (o.origin[o.lower] == inner).all()
    assert signed_volumes(o.points, o.tetrahedra).sum() == pytest.approx(64.0)
    a, b, c = (g.points[inner[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)[:, 2]
    new = len(g.points)
    above = (o.tetrahedra == new).any(axis=1)
    side = g.points[o.origin[o.tetrahedra[above]]].mean(axis=1)[:, 2].mean() > 2
    # the new copy of the middle node belongs to the tetrahedra of one side: every triangle that has it must say so by its own normal
    centre = (inner == o.origin[new]).any(axis=1)
    assert centre.any()
    assert ((o.upper == new).any(axis=1)[centre] == ((normal > 0) == side)[centre]).all()
    assert ((o.lower == new).any(axis=1)[centre] == ((normal > 0) != side)[centre]).all()


def test_a_surface_that_the_mesh_does_not_follow_is_refused() -> None:
    g = grid(np.linspace(0, 4, 3), np.linspace(0, 4, 3), np.linspace(0, 4, 3))
    with pytest.raises(SolveError, match="1 of 1 triangles of the sheet are not followed"):
        open_surface(g.points, g.tetrahedra, np.array([[0, 5, 22]]))


def test_sheets_blocks_and_walls_are_named_and_whole() -> None:
    blocks = [
        Block("anode", (-40.0, 60.0, -40.0), (40.0, 70.0, 40.0), 15.0),
        Block("rod", (-60.0, -6.0, -50.0), (60.0, 6.0, -38.0), 3.0, 0),
    ]
    sheets = [Sheet("part_1", flat(bend=20.0)), Sheet("part_2", flat(6, 30.0, z=45.0))]
    m = mesh_tank((-100.0, -90.0, -80.0), (100.0, 100.0, 90.0), blocks, sheets, growth=0.5, most_edge=40.0)
    area = {name: float(triangle_areas(m.points, t).sum()) for name, t in m.faces.items()}
    assert area["anode"] == pytest.approx(2 * (80 * 80 + 80 * 10 + 80 * 10), rel=1e-9)
    assert area["walls"] == pytest.approx(2 * (200 * 190 + 200 * 170 + 190 * 170), rel=1e-9)
    assert area["rod"] == pytest.approx(np.pi * 12 * 120 + 2 * np.pi * 36, rel=0.06)
    volume = 200 * 190 * 170 - 80 * 10 * 80
    assert signed_volumes(m.points, m.tetrahedra).min() > 0
    assert signed_volumes(m.points, m.tetrahedra).sum() == pytest.approx(volume - np.pi * 36 * 120, rel=1e-3)
    for s in sheets:
        for side in ("upper", "lower"):
            at = m.points[m.faces[f"{s.name}:{side}"]]
            assert np.allclose(at, s.mesh.points[s.mesh.triangles])
    up, down = m.faces["part_1:upper"], m.faces["part_1:lower"]
    apart = up != down
    rim = np.isin(sheets[0].mesh.triangles, np.unique(sheets[0].mesh.boundary_edges))
    assert (apart == ~rim).all()
    assert m.quality_min > 0.02


@pytest.mark.parametrize(
    ("blocks", "sheets", "says"),
    [
        ([], [Sheet("part_1", flat(size=300.0))], "'part_1' does not lie within the bath"),
        ([Block("anode_1", (200.0, 0.0, 0.0), (210.0, 5.0, 5.0), 5.0)], [], "'anode_1' lies outside the bath"),
        ([Block("shield_1", (-10.0, -10.0, -5.0), (10.0, 10.0, 5.0), 5.0)], [Sheet("part_1", flat())], "'shield_1' and 'part_1' lie in each other"),
        ([Block("a", (0.0, 0.0, 0.0), (9.0, 9.0, 9.0), 5.0), Block("b", (5.0, 5.0, 5.0), (20.0, 20.0, 20.0), 5.0)], [], "'a' and 'b' touch or lie in each other"),
        ([], [Sheet("part_1", flat(300, 60.0))], "tetrahedra; 3000000 are the limit"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused(blocks, sheets, says) -> None:
    with pytest.raises(InputError, match=says):
        mesh_tank((-100.0, -90.0, -80.0), (100.0, 100.0, 90.0), blocks, sheets, growth=0.05 if "limit" in says else 0.4, most_edge=30.0)


def test_sheets_that_cross_give_one_sentence() -> None:
    turn = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])
    crossing = [Sheet("part_1", flat()), Sheet("part_2", flat(7).moved(turn))]
    with pytest.raises(SolveError, match=r"plating.*(mesher gave up|ended without an answer|not followed|outer triangles)"):
        mesh_tank((-100.0, -90.0, -80.0), (100.0, 100.0, 90.0), [], crossing, most_edge=40.0)


def test_a_mesher_that_takes_too_long_is_stopped() -> None:
    with pytest.raises(SolveError, match="took longer than 0 s"):
        mesh_tank((-100.0, -90.0, -80.0), (100.0, 100.0, 90.0), [], [Sheet("part_1", flat())], most_edge=40.0, seconds=0.0)


def test_a_mesher_that_dies_is_said(monkeypatch) -> None:
    monkeypatch.setattr(module, "_CHILD", "diewright.no_such_module")
    with pytest.raises(SolveError, match="ended without an answer"):
        mesh_tank((-100.0, -90.0, -80.0), (100.0, 100.0, 90.0), [], [], most_edge=60.0)


def test_the_coarse_skin_keeps_area_rim_and_normals() -> None:
    fine = flat(60, 60.0, bend=15.0)
    coarse = plating_skin(fine, 8.0, 4.0)
    assert len(coarse.triangles) < 0.12 * len(fine.triangles)
    assert coarse.area == pytest.approx(fine.area, rel=0.01)
    assert (coarse.normals[:, 2] > 0.5).all()
    rim = coarse.points[np.unique(coarse.boundary_edges)]
    assert np.abs(np.abs(rim[:, :2]).max(axis=1) - 30.0).max() < 1e-9


def test_a_surface_with_three_triangles_at_an_edge_is_refused() -> None:
    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]], dtype=float)
    with pytest.raises(InputError, match="three or more"):
        plating_skin(TriMesh(p, np.array([[0, 1, 2], [0, 1, 3], [0, 1, 4]])), 1.0, 1.0)
