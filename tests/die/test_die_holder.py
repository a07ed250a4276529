"""The blankholder surface: developable, fitted to the edge, chosen only where it makes the draw more even, and everything measured from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from die_parts import faces_of
from die_shapes import SHAPES, _box, lifted, pan, pan_section, plan_line
from die_shapes import _shape as shape

from diewright.die.edge import find_edge
from diewright.die.evenness import _turned
from diewright.die.fit import Wanted, choose, plain
from diewright.die.gaps import gap
from diewright.die.holder import Holder
from diewright.die.holder_fit import fit_cylinder, plane_spread
from diewright.die.holder_shape import Cylinder
from diewright.errors import InputError, SolveError
from diewright.job.stage import Result

RNG = np.random.default_rng(7)
PLAN = RNG.uniform(-80.0, 80.0, (400, 2))
ONES = np.ones(len(PLAN))


def arch(direction: float, radius: float, plan: np.ndarray = PLAN) -> np.ndarray:
    """Heights of a circular cylinder whose straight lines run under ``direction`` [deg]."""
    u = plan @ np.array([np.sin(np.radians(direction)), -np.cos(np.radians(direction))])
    return np.sqrt(radius**2 - u**2) - radius


@pytest.mark.parametrize("direction", [0.0, 37.0, 90.0, 141.0])
def test_a_cylinder_is_found_and_is_developable(direction: float) -> None:
    found = fit_cylinder(PLAN, arch(direction, 400.0), ONES, 200.0)
    assert found is not None
    holder, left = found
    assert isinstance(holder.shape, Cylinder)
    assert (holder.shape.direction - direction + 90.0) % 180.0 - 90.0 == pytest.approx(0.0, abs=2.0)
    assert left < 0.15
    assert holder.height(PLAN) - arch(direction, 400.0) == pytest.approx(0.0, abs=0.6)
    far = RNG.uniform(-300.0, 300.0, (500, 2))
    # heights of up to 200 mm with rounding of 1e-16 of that, over the square of 0.5 mm and times the bend of 1/300: some 1e-15
    assert np.abs(holder.gaussian(far)).max() < 1e-14
    saddle = Holder(0.0)
    object.__setattr__(saddle, "height", lambda xy: xy[..., 0] * xy[..., 1] / 1000.0)
    assert np.abs(saddle.gaussian(far[:1])).max() == pytest.approx(1e-6, rel=0.3)  # what a saddle would show


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.1, -0.2)])
def test_normals_are_those_of_the_heights(tilt: tuple[float, float]) -> None:
    found = fit_cylinder(PLAN, arch(20.0, 300.0), ONES, 200.0)
    assert found is not None
    holder = Holder(5.0, found[0].shape, tilt)
    n, h = holder.normal(PLAN), 1e-5
    for i, step in enumerate(([h, 0.0], [0.0, h])):
        slope = (holder.height(PLAN + np.array(step)) - holder.height(PLAN - np.array(step))) / (2 * h)
        assert -n[:, i] / n[:, 2] == pytest.approx(slope, abs=1e-8)
    assert np.linalg.norm(n, axis=1) == pytest.approx(1.0)
    assert holder.raised(2.5).height(PLAN) - holder.height(PLAN) == pytest.approx(2.5)


def test_bounds_on_bend_and_slope_are_kept() -> None:
    tight = fit_cylinder(PLAN, 6.0 * np.sin(PLAN[:, 0] / 12.0), ONES, 250.0)
    assert tight is None or tight[0].least_radius(PLAN) >= 250.0
    steep = fit_cylinder(PLAN, 0.9 * np.abs(PLAN[:, 1]), ONES, 150.0, direction=0.0)
    assert (
        steep is None
        or np.abs(np.gradient(steep[0].height(np.column_stack([np.zeros(400), np.linspace(-80, 80, 400)])), 160 / 399)).max() < 0.47
    )
    assert fit_cylinder(PLAN, 2.0 * PLAN[:, 0], ONES, 150.0, direction=90.0) is None
    assert plane_spread(PLAN, 2.0 * PLAN[:, 0] + 7.0, ONES) == pytest.approx(0.0, abs=1e-9)
    assert plane_spread(PLAN, arch(0.0, 400.0), ONES) == pytest.approx(float(np.std(arch(0.0, 400.0))), rel=0.05)


@pytest.fixture(scope="module")
def crowned() -> Result:
    s = SHAPES["crowned pan"]()
    return faces_of(s.mesh, s.blank, normals=s.normals)


def test_a_crowned_flange_gets_a_cylinder(crowned: Result) -> None:
    b = crowned.values["blankholder"]
    assert b["kind"] == "cylindrical"
    assert b["direction"] == pytest.approx(90.0, abs=0.1)
    assert b["uneven_flat"] > 5.0
    assert b["uneven_curved"] < 0.2
    assert b["bend"] == pytest.approx(500.0, rel=0.2)
    assert b["gauss"] < 1e-13
    holder, die = crowned.meshes["blankholder"].mesh, crowned.meshes["die"].mesh
    closed = gap(holder.points, die).value
    assert closed == pytest.approx(1.0, abs=0.02)  # on the blend itself, steeper than the surface, the rule gives 0.011 mm more
    assert np.median(np.abs(closed - 1.0)) < 1e-4
    held = holder.points[np.abs(holder.points[:, 0]) < 100.0]
    assert held[:, 2] == pytest.approx(-(held[:, 0] ** 2) / 1000.0 + 0.5 * np.hypot(1.0, held[:, 0] / 500.0), abs=0.6)
    assert crowned.figure("faces.gauss").value == b["gauss"]
    assert [f.key for f in crowned.findings if f.severity == "stop"] == []


def test_stroke_is_from_a_flat_blank_on_the_highest_place_under_it(crowned: Result) -> None:
    die, punch = crowned.meshes["die"].mesh.points, crowned.meshes["punch"].mesh.points
    ridge = die[np.abs(die[:, 0]) < 8.0][:, 2].max()
    assert crowned.arrays["die_touch"][0] == pytest.approx(ridge + 0.5, abs=0.02)
    assert crowned.values["stroke"] == pytest.approx(ridge + 1.0 - punch[:, 2].min(), abs=0.02)
    # a surface that rises outwards touches the blank at its rim, not where the die ends beyond it
    s = SHAPES["crowned pan"]()
    up = lifted(
        *pan(*plan_line(_box(180.0, 120.0), 30.0), pan_section(30.0, 8.0, 8.0, 20.0, 8.0)),
        lambda p: (p[:, 0] ** 2 / 1000.0, np.column_stack([p[:, 0] / 500.0, 0 * p[:, 0]]), 0.0 * p[:, 0]),
    )
    r = faces_of(up[0], s.blank, normals=up[1])
    assert r.values["blankholder"]["kind"] == "cylindrical"
    assert r.arrays["die_touch"][0] < r.meshes["die"].mesh.points[:, 2].max() - 1.0
    assert r.arrays["die_touch"][0] == pytest.approx(np.abs(s.blank[:, 0]).max() ** 2 / 1000.0, abs=1.5)


def test_flat_direction_shift_and_tilt_are_obeyed() -> None:
    s = SHAPES["crowned pan"]()
    flat = faces_of(s.mesh, s.blank, normals=s.normals, blankholder="flat")
    assert flat.values["blankholder"]["kind"] == "flat"
    far = flat.meshes["blankholder"].mesh.points
    assert np.ptp(far[np.abs(far[:, 0]) > 155.0][:, 2]) < 1e-9
    cup = SHAPES["cup without flange"]()
    base = faces_of(cup.mesh, cup.blank, normals=cup.normals)
    raised = faces_of(cup.mesh, cup.blank, normals=cup.normals, blankholder_shift=3.0)
    assert raised.values["stroke"] - base.values["stroke"] == pytest.approx(3.0)
    tilted = faces_of(cup.mesh, cup.blank, normals=cup.normals, blankholder_tilt_x=5.0)
    holder = tilted.meshes["blankholder"].mesh
    assert holder.normals[:, 0] == pytest.approx(np.sin(np.radians(5.0)), abs=1e-6)
    assert gap(holder.points, tilted.meshes["die"].mesh).value == pytest.approx(1.0, abs=1e-6)
    assert [f.key for f in tilted.findings if f.severity == "stop"] == []
    with pytest.raises(InputError, match="blankholder_shift"):
        faces_of(cup.mesh, cup.blank, normals=cup.normals, blankholder_shift=-3.0)
    edge = find_edge(cup.mesh, cup.mesh.boundary_loops[0])
    steep = replace(edge, points=edge.points + np.column_stack([0 * edge.climb, 0 * edge.climb, edge.points[:, 0] * 0.8]))
    with pytest.raises(SolveError, match="no cylindrical blankholder"):
        choose(steep, plain(steep, 5.0, 8.5), Wanted("cylindrical", 90.0), 1.0, cup.blank)


def test_total_curvature_of_a_cap_is_seen() -> None:
    from die_parts import revolved

    at = np.linspace(0.0, 0.5, 20)
    cap = revolved(np.column_stack([50 * np.sin(at), 50 * np.cos(at)]))
    solid = 2 * np.pi * (1 - np.cos(0.5 * (at[-1] + at[-2])))  # Gauss and Bonnet: the solid angle up to between the last two rings
    assert _turned(cap.points, cap.triangles) == pytest.approx(solid, rel=0.02)


def test_a_curve_that_is_not_worth_it_is_not_taken() -> None:
    mesh, normals = pan(*plan_line(_box(180.0, 120.0), 30.0), pan_section(30.0, 8.0, 8.0, 20.0, 8.0))
    slight = lifted(mesh, normals, lambda p: (-(p[:, 0] ** 2) / 4000.0, np.column_stack([-p[:, 0] / 2000.0, 0 * p[:, 0]]), 0.0 * p[:, 0]))
    s = shape(*slight)
    b = faces_of(s.mesh, s.blank, normals=s.normals).values["blankholder"]
    assert b["kind"] == "flat"
    assert b["uneven_flat"] < 3.0
    assert b["uneven_curved"] < 0.5 * b["uneven_flat"]
