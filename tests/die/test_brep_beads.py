"""The draw bead as bodies: closed and valid on every kind of blankholder, as large as section times length, the stated room between nose and floor, and read by other readers."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from die_parts import circle_line, rounded
from test_details import before, keys, work

from diewright.die.bead_cad import GAP, VOLUME, BeadBodies, bead_bodies
from diewright.die.bead_path import bead_path
from diewright.die.brep.bead_section import bar, cutter
from diewright.die.detail_bodies import body_findings
from diewright.die.holder import Holder
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_shape import Cylinder
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.forming.bead_line import BeadLine, Groove, bead_line, groove
from diewright.part.sandbox import Limits
from diewright.watch import Watch

T = 1.0
PAN = rounded([(-120, -80), (120, -80), (120, 80), (-120, 80)], 15.0)
PLANES = {
    "plane": Holder(10.0),
    "tilted": Holder(-4.0, tilt=(0.1, -0.05)),
    "cylinder": Holder(0.0, Cylinder((0.6, 0.8), (-200.0, -100.0, 0.0, 100.0, 200.0), (-16.0, -4.0, 0.0, -4.0, -16.0))),
    "developable": Holder(
        0.0, Envelope((0.0, 0.0), (1.0, 0.0), (-150.0, 150.0), (0.1, -0.1), (-200.0, -60.0, 90.0, 200.0), (0.0, -0.0012, -0.0006, 0.0))
    ),
    "cone": Holder(3.0, Cone((-600.0, 40.0), (1.0, 0.0), (-0.5, -0.2, 0.1, 0.5), (0.0, 0.04, 0.02, 0.0))),
}
GMSH = """
import gmsh, json, sys
gmsh.initialize(); gmsh.option.setNumber("General.Terminal", 0); gmsh.merge(sys.argv[1])
solids = gmsh.model.getEntities(3)
print(json.dumps([[gmsh.model.getEntityName(3, t), gmsh.model.occ.getMass(3, t)] for _, t in solids]))
"""
BUILD123D = """
import json, sys
from build123d import import_step
shape = import_step(sys.argv[1])
parts = shape.children or [shape]
print(json.dumps([[p.label, p.volume, bool(p.is_valid), len(p.solids())] for p in parts]))
"""


def face(holder: Holder, half: float = 0.5 * T, wide: float = 220.0, step: float = 5.0) -> TriMesh:
    """The blankholder's face over a square, as triangles with their points on it."""
    at = np.arange(-wide, wide + step, step)
    x, y = (g.ravel() for g in np.meshgrid(at, at, indexing="ij"))
    xy, n = np.column_stack([x, y]), len(at)
    points = np.column_stack([xy, holder.height(xy)]) + half * holder.normal(xy)
    i, j = (g.ravel() for g in np.meshgrid(np.arange(n - 1), np.arange(n - 1), indexing="ij"))
    a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
    return TriMesh(points, np.concatenate([np.column_stack([a, c, b]), np.column_stack([a, d, c])]).astype(np.int32))


def bodies(holder: Holder, g: Groove, line: BeadLine, known: bool = True, **limits: float) -> BeadBodies:
    mesh = face(holder)
    path = bead_path(line, mesh, holder.record() if known else None, T)
    return bead_bodies(line, path, g, T, mesh, "J-1", Watch(), Limits(**{"seconds": 60.0, **limits}))


def fresh(code: str, path: Path) -> list[list[object]]:
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=120, check=True)
    found: list[list[object]] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


@pytest.mark.parametrize(("name", "known"), [*((name, True) for name in PLANES), ("cone", False)])
def test_bodies_stand_upright_on_every_blankholder(name: str, known: bool):
    holder, g = PLANES[name], groove("square", 4.0, 5.0, 3.0, T)
    line = bead_line(PAN, 16.0, 0.5 * g.mouth, 40.0)
    made = bodies(holder, g, line, known)
    assert made.path.ground == ("surface" if known else "triangles")
    assert not made.faults
    assert [r["piece"] for r in made.rows] == [1, 2, 3, 4]
    for row in made.rows:
        for kind in ("bar", "groove"):
            assert row[kind]["valid"]
            assert row[kind]["closed"]
            assert row[kind]["volume_off"] < VOLUME
            assert row[kind]["sewing_gap"] < 0.002
        assert (row["gap"]["least"], row["gap"]["most"]) == pytest.approx((T + g.floor, T + g.floor), abs=GAP)
    assert not list(body_findings(made)) or {f.key for f in body_findings(made)} == {"details.bead_face"}
    # bars fill what is cut: their straight length is that less a width
    cut = (line.bounds[:, 1] - line.bounds[:, 0])[line.cut]
    assert sum(r["bar"]["swept"] for r in made.rows) == pytest.approx(made.rows[0]["bar"]["area"] * (cut - g.width).sum(), rel=0.01)


def test_the_frame_stands_on_the_surface_itself():
    holder = PLANES["cone"]
    line = bead_line(PAN, 16.0, 9.0, 0.0)
    for known, near, turned in ((True, 1e-9, 1e-9), (False, 0.03, 0.012)):
        path = bead_path(line, face(holder), holder.record() if known else None, T)
        assert np.abs(holder.height(path.points[:, :2]) - path.points[:, 2]).max() < near
        assert np.linalg.norm(holder.normal(path.points[:, :2]) - path.normals, axis=1).max() < turned
        assert path.strayed < 0.15


def test_triangles_that_leave_the_surface_are_followed_instead_of_it():
    bent = PLANES["cylinder"]
    path = bead_path(bead_line(PAN, 16.0, 9.0, 0.0), face(bent), Holder(0.0).record(), T)
    assert path.ground == "triangles"
    assert np.abs(bent.height(path.points[:, :2]) - path.points[:, 2]).max() < 0.03


def test_the_bead_all_round_is_one_ring_without_ends():
    g = groove("round", 4.0, 3.0, 0.0, T)
    made = bodies(Holder(0.0), g, bead_line(circle_line(80.0, 720), 12.0, 0.5 * g.mouth, 0.0))
    (row,) = made.rows
    assert row["bar"]["ends"] == row["groove"]["ends"] == 0.0
    assert row["bar"]["volume"] == pytest.approx(row["bar"]["area"] * 2 * math.pi * 92.0, rel=1e-3)
    assert row["bar"]["valid"]
    assert row["groove"]["closed"]


def test_sections_have_the_areas_of_the_closed_form():
    r, h, b = 3.0, 5.0, 4.0
    g = groove("square", r, h, b, T)
    whole = bar(g, T)
    # a rectangle from nose to back less its two rounded corners
    assert whole.area == pytest.approx(g.width * (h + g.width) - 2 * (1 - math.pi / 4) * r * r)
    assert whole.end_volume == pytest.approx(math.pi * _moment(whole.pieces))
    cut = cutter(g, T)
    d, w = g.depth, g.groove_width
    foot = min(r, d - r)
    assert cut.area == pytest.approx(w * d - 2 * (1 - math.pi / 4) * foot**2 + 2 * (1 - math.pi / 4) * r * r + g.mouth * T)


def _moment(pieces: tuple) -> float:
    """``int x dA`` of a half section from a dense polygon."""
    line = np.vstack([p.at(np.linspace(0, 1, 4000)) for p in pieces])
    x, y = line.T
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    return float(np.sum((x + x2) * (x * y2 - x2 * y)) / 6.0)


def test_a_shallow_groove_ends_where_its_shoulders_meet_the_floor():
    half = cutter(groove("round", 6.0, 2.0, 0.0, T), T)
    floor = half.pieces[0].at(np.array([1.0]))[0]
    shoulder = half.pieces[1].at(np.array([0.0]))[0]
    assert floor == pytest.approx(shoulder)
    assert 6.0 < floor[0] < half.corners[:, 0].max()


def test_a_line_that_turns_within_the_groove_is_a_finding_with_its_place():
    g = groove("round", 6.0, 5.0, 0.0, T)
    made = bodies(Holder(0.0), g, bead_line(rounded([(-120, -80), (120, -80), (120, 80), (-120, 80)], 2.0), 3.0, 0.5 * g.mouth, 0.0))
    assert made.step is None
    found = list(body_findings(made))
    assert [f.key for f in found] == ["details.bead_body.0", "details.bead_body.1"]
    assert "more tightly than the section's half width" in found[0].sentence
    assert "at (1" in found[0].sentence or "at (-1" in found[0].sentence


def test_a_child_that_runs_out_of_time_is_a_finding_and_no_end_of_the_stage():
    made = bodies(Holder(0.0), groove("round", 4.0, 3.0, 0.0, T), bead_line(PAN, 16.0, 9.0, 40.0), seconds=0.05)
    (found,) = body_findings(made)
    assert made.step is None
    assert "took longer" in found.sentence


def test_other_readers_find_the_bodies_with_their_names_and_volumes(tmp_path: Path):
    g = groove("round", 4.0, 5.0, 0.0, T)
    made = bodies(PLANES["cylinder"], g, bead_line(PAN, 16.0, 0.5 * g.mouth, 40.0))
    assert made.step is not None
    (tmp_path / "beads.step").write_bytes(made.step)
    wanted = {
        f"bead {kind} {r['piece']} {'blankholder' if kind == 'bar' else 'die'}": r[kind]["volume"]
        for r in made.rows
        for kind in ("bar", "groove")
    }
    theirs = fresh(GMSH, tmp_path / "beads.step")
    assert len(theirs) == 8
    assert {str(name).rsplit("/", 1)[-1] for name, _ in theirs} == set(wanted)
    for name, volume in theirs:
        assert volume == pytest.approx(wanted[str(name).rsplit("/", 1)[-1]], rel=1e-4)
    again = fresh(BUILD123D, tmp_path / "beads.step")
    assert {str(label): volume for label, volume, *_ in again} == pytest.approx(
        {n.replace(" ", "_"): v for n, v in wanted.items()}, rel=1e-4
    )
    assert all(valid and count == 1 for *_, valid, count in again)
    assert bodies(PLANES["cylinder"], g, bead_line(PAN, 16.0, 0.5 * g.mouth, 40.0)).step == made.step, "equal beads give equal bytes"


def test_the_stage_hands_out_the_bodies_and_says_what_they_weigh():
    up = before()
    r = work(up, {"bead_kind": "round"})
    assert set(r.files) == {"details.dxf", "beads.step"}
    b = r.values["bead"]["bodies"]
    assert (b["bars"], b["grooves"], b["valid"], b["ground"]) == (1, 1, True, "surface")
    assert r.figure("details.bar_volume").value == pytest.approx(1e-3 * b["bar_volume"])
    assert r.figure("details.bead_room").value == pytest.approx(b["room"], abs=GAP)
    assert r.tables["bead_bodies"]["volume_mm3"].sum() == pytest.approx(b["bar_volume"] + b["groove_volume"])
    assert not {k for k in keys(r) if k.startswith("details.bead_")}
    bare = work(up, {"bead_kind": "none"})
    assert set(bare.files) == {"details.dxf"}
