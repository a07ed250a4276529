"""Conical and general developable blankholders: known surfaces are found and kept, nothing stretches, bounds hold, and the simplest surface that serves is chosen."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest
from die_parts import faces_of, upstream
from die_shapes import Shape, lifted, pan, pan_section, plan_line
from die_shapes import _shape as shape

from diewright.die.fit import REACH
from diewright.die.gaps import gap
from diewright.die.holder import Holder, holder_of
from diewright.die.holder_cone import Cone
from diewright.die.holder_envelope import Envelope
from diewright.die.holder_fit import fit_cylinder
from diewright.die.holder_ruled import APART, Aim, Area, Lines, area_of, fit_cone, fit_developable, fit_lines
from diewright.errors import InputError, SolveError
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.proposal import stage
from diewright.watch import Watch

Floats = np.ndarray
Height = Callable[[Floats], Floats]
TURN = np.linspace(0.0, 2.0 * np.pi, 300, endpoint=False)
LOOP = np.column_stack([90.0 * np.cos(TURN) * (1.0 + 0.2 * np.cos(TURN) ** 4), 60.0 * np.sin(TURN)])
AREA = area_of(LOOP, 1.3 * LOOP, REACH)
APEX = (-300.0, 100.0)


def upright(p: Floats) -> Floats:
    """A right circular cone standing upright, its side rising by 15 deg towards the apex."""
    return -np.hypot(*(p - np.array(APEX)).T) * np.tan(np.radians(15.0))


def helical(p: Floats) -> Floats:
    """The tangents of a helix of radius 120 mm and rise 40 mm a radian about an axis at (-330, -60)."""
    a, b = 120.0, 40.0
    q = p - np.array([-330.0, -60.0])
    length = np.sqrt((q**2).sum(axis=1) - a * a)
    return b * (np.arctan2(q[:, 1], q[:, 0]) - np.arctan2(length, a)) + length * b / a


def aim(height: Height, radius: float = 100.0, area: Area = AREA) -> Aim:
    return Aim(LOOP, height(LOOP), np.ones(len(LOOP)), radius, area)


def test_a_circular_cone_is_found_by_its_heights_alone() -> None:
    found = fit_cone(aim(upright))
    assert found is not None
    holder, left = found
    assert isinstance(holder.shape, Cone)
    assert left < 1e-3
    assert holder.shape.apex == pytest.approx(APEX, abs=0.1)
    inner = 0.9 * LOOP
    assert holder.height(inner) == pytest.approx(upright(inner), abs=2e-3)
    assert np.abs(holder.gaussian(AREA.spots)).max() < 1e-13
    # normal curvature across the lines of a cone whose lines rise by b: sin(b) / r, r the plan distance from the apex
    near = np.array([[60.0, -20.0]])
    assert holder.least_radius(near) == pytest.approx(np.hypot(*(near[0] - APEX)) / np.sin(np.radians(15.0)), rel=0.02)


def test_tangents_of_a_helix_are_followed_more_closely_than_by_a_cone() -> None:
    cylinder = fit_cylinder(LOOP, helical(LOOP), np.ones(len(LOOP)), 100.0)
    cone, ruled = fit_cone(aim(helical)), fit_developable(aim(helical))
    assert cylinder is not None
    assert cone is not None
    assert ruled is not None
    assert ruled[1] < 1e-3 < cone[1] < 0.1 * cylinder[1]
    assert np.abs(ruled[0].gaussian(AREA.spots)).max() < 1e-13


CONE = Holder(3.0, Cone((-260.0, 20.0), (1.0, 0.0), (-0.5, -0.3, 0.0, 0.2, 0.5), (-0.06, -0.02, 0.0, -0.01, -0.07)), (0.05, -0.02))
ENVELOPE = Holder(
    -4.0,
    Envelope((5.0, -3.0), (0.8, 0.6), (-120.0, -40.0, 40.0, 120.0), (-0.25, 0.1, 0.2, 0.1), (-130.0, -60.0, 0.0, 70.0, 130.0), (0.0, -0.002, -0.003, 0.001, 0.0)),
    (0.05, 0.1),
)  # fmt: skip


@pytest.mark.parametrize("holder", [CONE, ENVELOPE], ids=["cone", "envelope"])
def test_slopes_and_bends_are_those_of_the_heights(holder: Holder) -> None:
    spots, h = np.random.default_rng(3).uniform(-130.0, 130.0, (400, 2)), 1e-4
    slope, here = holder.gradient(spots), holder.shape.at(spots)
    normal = holder.normal(spots)
    assert np.linalg.norm(normal, axis=1) == pytest.approx(1.0)
    for i, step in enumerate(np.eye(2) * h):
        assert (holder.height(spots + step) - holder.height(spots - step)) / (2 * h) == pytest.approx(slope[:, i], abs=1e-8)
        assert -normal[:, i] / normal[:, 2] == pytest.approx(slope[:, i], abs=1e-12)
        second = (holder.gradient(spots + step) - holder.gradient(spots - step)) / (2 * h)
        assert second == pytest.approx(here.bend[:, None] * here.across[:, i : i + 1] * here.across, abs=2e-7)
    # along its straight line the surface is straight, and its normal stands
    line = np.column_stack([-here.across[:, 1], here.across[:, 0]])
    assert holder.normal(spots + 7.0 * line) == pytest.approx(normal, abs=1e-9)
    assert np.abs(holder.gaussian(spots)).max() < 1e-13
    kept = holder_of(json.loads(json.dumps(holder.record())))
    assert kept.height(spots) == pytest.approx(holder.height(spots), abs=0.0)
    assert holder.raised(2.5).tilted((0.1, 0.0)).height(spots) == pytest.approx(holder.height(spots) + 2.5 + 0.1 * spots[:, 0])


def test_rulings_through_one_point_make_the_cone_about_it() -> None:
    cone = fit_cone(aim(upright), APEX)
    lines = [
        (float(x), float(y), float(np.degrees(np.arctan2(y - APEX[1], x - APEX[0])) % 180.0))
        for x, y in ((-30.0, -90.0), (0.0, 5.0), (30.0, 95.0))
    ]
    ruled = fit_developable(aim(upright), lines)
    assert cone is not None
    assert ruled is not None
    assert ruled[0].height(LOOP) == pytest.approx(cone[0].height(LOOP), abs=0.02)
    assert isinstance(ruled[0].shape, Envelope)
    assert len(ruled[0].shape.rulings) == 3
    # the rulings that it gives state the same surface again
    again = fit_developable(aim(upright), ruled[0].shape.rulings)
    assert again is not None
    assert again[0].height(LOOP) == pytest.approx(ruled[0].height(LOOP), abs=1e-3)


def test_bounds_on_bend_slope_and_meeting_lines_are_kept() -> None:
    for fit in (fit_cone, fit_developable):
        waved = fit(aim(lambda p: 6.0 * np.sin(p[:, 0] / 12.0), 250.0))
        assert waved is not None
        assert waved[0].least_radius(AREA.spots) >= 250.0 * (1.0 - 1e-6)
        assert fit(aim(lambda p: 0.6 * p[:, 0])) is None
    assert fit_cone(aim(upright), (0.0, 10.0)) is None
    assert fit_cone(aim(upright), (-150.0, 0.0)) is None  # in the blankholder's box
    v = AREA.corners[:, 1].max()
    for share, able in ((0.98, True), (1.02, False)):  # lines closing to a quarter of their distance at the box's edge
        m = -share * (1.0 - APART) / v
        assert (
            fit_lines(aim(lambda p: 0.0 * p[:, 0]), Lines(np.zeros(2), 0.0, (-100.0, 100.0), (-100.0 * m, 100.0 * m))) is not None
        ) == able


@pytest.mark.parametrize(
    "rulings", [[(0.0, 0.0, 90.0)], [(0.0, 0.0, 90.0), (0.0, 50.0, 90.0)], [(0.0, -50.0, 0.0), (0.0, 0.0, 90.0), (0.0, 50.0, 0.0)]]
)
def test_rulings_that_make_no_surface_are_refused(rulings: list[tuple[float, float, float]]) -> None:
    with pytest.raises(InputError, match="the rulings stated"):
        fit_developable(aim(upright), rulings)


def fan() -> Shape:
    """A pan, wider at one end, whose flange lies on the cone ``z = -0.4 eta^2 / xi`` about an apex 200 mm before its narrow end."""
    mesh, normals = pan(
        *plan_line([(-150.0, -60.0), (150.0, -150.0), (150.0, 150.0), (-150.0, 60.0)], 30.0), pan_section(30.0, 8.0, 8.0, 20.0, 8.0)
    )

    def by(p: Floats) -> tuple[Floats, Floats, Floats]:
        w = p[:, 1] / (p[:, 0] + 350.0)
        return -0.4 * w * p[:, 1], np.column_stack([0.4 * w * w, -0.8 * w]), 0.0 * w

    return shape(*lifted(mesh, normals, by))


@pytest.fixture(scope="module")
def fanned() -> Result:
    s = fan()
    return faces_of(s.mesh, s.blank, normals=s.normals)


def test_a_flange_on_a_cone_gets_a_cone(fanned: Result) -> None:
    b = fanned.values["blankholder"]
    assert b["kind"] == "conical"
    assert b["uneven_flat"] > 3.0
    assert b["uneven_curved"] > 1.0
    assert b["uneven_conical"] < 0.5 * b["uneven_curved"]
    assert b["uneven_developable"] is None  # what the cone leaves is within a thickness: nothing more general is fitted
    assert b["apex"][0] < -250.0
    assert b["apex"][1] == pytest.approx(0.0, abs=1.0)
    assert b["gauss"] < 1e-13
    assert b["bend"] >= 200.0
    assert [f.key for f in fanned.findings if f.severity == "stop"] == []  # a face that runs through itself is one
    closed = gap(fanned.meshes["blankholder"].mesh.points, fanned.meshes["die"].mesh).value
    assert closed == pytest.approx(1.0, abs=0.04)
    assert np.median(np.abs(closed - 1.0)) < 2e-3
    assert b["depth_most"] - b["depth_least"] < 4.0  # under a plane it is 25 mm


def test_kind_apex_and_rulings_are_obeyed() -> None:
    s = fan()
    stated = faces_of(s.mesh, s.blank, normals=s.normals, blankholder="conical", blankholder_apex_x=-420.0, blankholder_apex_y=30.0)
    assert stated.values["blankholder"]["apex"] == pytest.approx([-420.0, 30.0])
    lines = [{"x": 0.0, "y": y, "direction": (0.1 * y) % 180.0} for y in (-120.0, 0.0, 120.0)]
    ruled = faces_of(s.mesh, s.blank, normals=s.normals, blankholder="developable", blankholder_ruling=lines)
    b = ruled.values["blankholder"]
    assert b["kind"] == "developable"
    assert sorted(r[2] for r in b["rulings"]) == pytest.approx([0.0, 12.0, 168.0], abs=1e-6)
    assert b["gauss"] < 1e-13
    assert [f.key for r in (stated, ruled) for f in r.findings if f.severity == "stop"] == []
    with pytest.raises(InputError, match="only one coordinate"):
        faces_of(s.mesh, s.blank, normals=s.normals, blankholder_apex_x=1.0)
    with pytest.raises(SolveError, match="no conical blankholder"):
        faces_of(s.mesh, s.blank, normals=s.normals, blankholder="conical", blankholder_apex_x=0.0, blankholder_apex_y=0.0)
    crossing = [{"x": -60.0, "y": 0.0, "direction": 60.0}, {"x": 60.0, "y": 0.0, "direction": 120.0}]
    with pytest.raises(SolveError, match="no developable blankholder"):
        faces_of(s.mesh, s.blank, normals=s.normals, blankholder="developable", blankholder_ruling=crossing)


def test_the_proposal_tries_what_the_faces_would_take() -> None:
    s = fan()
    job = parse({"sheet": {"thickness": 1.0}, "part": {"unit": "mm"}})
    found = stage._Proposal(stage._inputs(job), upstream(s.mesh, s.blank, s.normals), {}, Watch())
    assert found._surfaces()[0] == "conical"
    assert [r.blankholder for r in found.rows] == ["flat", "cylindrical", "conical"]
