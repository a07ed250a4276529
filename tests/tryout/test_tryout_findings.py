"""Each finding comes when its limit is passed, with value, limit, source, help and place; a good tryout is silent."""

from dataclasses import replace

import numpy as np
import pytest
from sheets import cup_profile, disc_mesh, turned

from diewright.errors import SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.places import zones
from diewright.tryout.edge import draw_in
from diewright.tryout.findings import Tried, findings_of
from diewright.tryout.loads import Reserve
from diewright.tryout.loose import Loose
from diewright.tryout.surface import Skid

FLAT, TRIANGLES = disc_mesh(95.0, 5.0)
MESH = TriMesh(turned(FLAT, cup_profile(50.0, 10.0, 10.0, 30.0)), TRIANGLES)
M, N = len(TRIANGLES), len(FLAT)
FLANGE = MESH.centroids[:, 2] > -1.0
RIM = np.flatnonzero(np.hypot(*FLAT.T) > 94.9)
RIM = RIM[np.argsort(np.arctan2(FLAT[RIM, 1], FLAT[RIM, 0]))]

GOOD = Tried(
    MESH, zones(MESH, FLANGE), 1.0, margin=np.full(M, 20.0), thickness=np.full(M, 0.95), straight=np.full(M, 22.0), bent_share=0.02, wrinkle=np.full(N, 0.05),
    gap=np.where(MESH.centroids[:, 2] < -12, 1.1, np.nan), press="crank 160", reserve=Reserve(0.6, 20.0, 10.0, 60.0, 100.0, None), punch_kN=60.0, handbook_kN=66.0,
    edge=draw_in(FLAT[RIM], MESH.points[RIM]), flange=np.full(len(RIM), 12.0), edge_at=MESH.points[RIM],
    skid=Skid(np.zeros(N, bool), np.zeros((0, 2, 3)), 0.0, 0.0), kinetic=0.01, balance=0.3, penetration=0.01, mass=0.0,
)  # fmt: skip


def one(key, margin_wanted=10.0, **changes):
    found = [f for f in findings_of(replace(GOOD, **changes), margin_wanted) if f.key == key]
    assert len(found) == 1, [f.key for f in found]
    f = found[0]
    assert f.sentence.endswith(".") or f.key == "tryout.stopped"
    assert f.source
    assert f.help
    return f


def worst_at(value, other, index, size=M):
    field = np.full(size, other)
    field[index] = value
    return field


def test_a_good_tryout_is_silent():
    assert findings_of(GOOD, 10.0) == []


def test_bare_results_are_judged_without_the_rest():
    assert findings_of(Tried(MESH, GOOD.zone, 1.0, GOOD.margin, GOOD.thickness), 10.0) == []


def test_tear_and_neck():
    cell = int(np.argmax(MESH.centroids[:, 0]))
    tear = one("tryout.tear", margin=worst_at(-4.0, 20.0, cell))
    assert (tear.severity, tear.value, tear.limit) == ("stop", -4.0, 0.0)
    assert tear.place.points[0] == pytest.approx(tuple(MESH.centroids[cell]), abs=1e-5)
    assert "flange" in tear.place.label
    neck = one("tryout.neck", margin=worst_at(6.0, 20.0, cell))
    assert (neck.severity, neck.value, neck.limit) == ("attend", 6.0, 10.0)
    assert "more than 100" in one("tryout.tear", margin=worst_at(-400.0, 20.0, cell)).sentence


def test_wrinkles_of_flange_and_wall_call_for_different_things():
    s = np.hypot(*FLAT.T)
    flange = one("tryout.wrinkle", wrinkle=worst_at(0.6, 0.0, int(np.argmax(s)), N), wrinkle_stroke=8.0)
    assert flange.severity == "attend"
    assert flange.limit == 0.25
    assert "8.0 mm" in flange.sentence
    assert "holder gap" in flange.help
    wall = one("tryout.wrinkle", wrinkle=worst_at(0.6, 0.0, int(np.argmin(np.abs(s - 60.0))), N))
    assert "puckers" in wall.help


def test_ironing_counts_where_there_is_a_gap():
    wall = int(np.argmin(MESH.centroids[:, 2] + 1e3 * (~np.isfinite(GOOD.gap))))
    f = one("tryout.ironing", thickness=worst_at(1.155, 0.95, wall))
    assert f.value == pytest.approx(5.0)
    assert findings_of(replace(GOOD, thickness=worst_at(1.115, 0.95, wall)), 10.0) == []
    assert findings_of(replace(GOOD, thickness=worst_at(1.3, 0.95, int(np.argmax(FLANGE)))), 10.0) == []


def test_press():
    weak = one("tryout.press", reserve=Reserve(1.4, 20.0, 10.0, 140.0, 100.0, 14.2))
    assert weak.severity == "stop"
    assert (weak.value, weak.limit) == (140.0, 100.0)
    assert "20.0 mm" in weak.sentence
    assert "14.2 mm" in weak.sentence
    assert one("tryout.press", reserve=Reserve(0.9, 20.0, 10.0, 90.0, 100.0, None)).severity == "attend"
    assert one("tryout.handbook", punch_kN=90.0).severity == "note"


def test_edge_in_the_radius():
    f = one("tryout.edge", flange=worst_at(-3.0, 5.0, 0, len(RIM)))
    assert (f.severity, f.value) == ("attend", -3.0)
    assert f.place.points == (tuple(MESH.points[RIM[0]].round(6)),)
    assert "edge has come in by up to" in f.sentence
    assert one("tryout.edge", flange=np.full(len(RIM), -3.0), drawn_through=True).severity == "note"


def test_loose_and_skid():
    cells = np.flatnonzero(MESH.centroids[:, 2] < -29.9)
    f = one("tryout.loose", loose=[Loose(cells, 800.0, 0.004, 0.5)])
    assert f.value == pytest.approx(0.4)
    assert "bottom" in f.place.label
    marked = np.zeros(N, bool)
    marked[np.argmax(MESH.points[:, 2])] = True
    assert one("tryout.skid", skid=Skid(marked, np.zeros((0, 2, 3)), 40.0, 7.0)).value == 7.0


@pytest.mark.parametrize(
    ("key", "value", "severity", "shown"),
    [
        ("kinetic", 0.08, "attend", 8.0),
        ("balance", -3.0, "attend", 3.0),
        ("penetration", 0.07, "attend", 7.0),
        ("mass", 0.3, "note", 30.0),
    ],
)
def test_limits_of_the_run(key, value, severity, shown):
    f = one(f"tryout.{key}", **{key: value})
    assert f.severity == severity
    assert f.value == pytest.approx(shown)


def test_path_and_early_stop():
    assert one("tryout.path", bent_share=0.4).value == pytest.approx(40.0)
    found = findings_of(replace(GOOD, stopped="element 7 is turned inside out.", kinetic=0.2), 10.0)
    assert [f.severity for f in found] == ["stop", "attend"]
    assert found[0].key == "tryout.stopped"


@pytest.mark.parametrize("name", ["margin", "thickness", "wrinkle", "flange", "kinetic"])
def test_what_is_not_finite_is_refused_instead_of_passing_every_limit(name):
    value = getattr(GOOD, name)
    bad = np.where(np.arange(len(value)) == 3, np.nan, value) if isinstance(value, np.ndarray) else np.nan
    with pytest.raises(SolveError, match=name):
        findings_of(replace(GOOD, **{name: bad}), 10.0)
