"""What happens at a node of the sheet that touches a tool: depth, friction, action and reaction, energy, same bits."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.contact.grid import distance_grid
from diewright.mechanics.contact.node import node_thickness
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.shell.layout import C_THICKNESS
from diewright.mechanics.shell.material import elastic, hill_from_r, plastic
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import grid

T = 1.0
SHEET = elastic(2e5, 0.3)
FLAT = (np.array([[-20, -20, 0], [60, -20, 0], [60, 60, 0], [-20, 60, 0.0]]), np.array([[0, 1, 2], [0, 2, 3]]))


def plane(name: str, z: float, *, up: bool, **how) -> Tool:
    """A large flat tool at height z, its normal up or down."""
    points, triangles = FLAT
    g = distance_grid(points + np.array([0, 0, z]), triangles if up else triangles[:, ::-1], spacing=0.5, band=2.5)
    return Tool(name, g, (0, 0, 1.0 if up else -1.0), **how)


def sheet(*tools: Tool, real=np.float64, threads=False, nx=4, size=12.0, z=0.5, **how) -> ShellModel:
    """A loose square of elastic sheet whose lower skin is at ``z - 0.5``."""
    points, triangles, _ = grid(size, size, nx, nx, shake=0.1)
    patches = build_patches(points + np.array([0.3, 0.2, z]), triangles, T)
    model = ShellModel(patches, SHEET, through_thickness(3), tools=tools, real=real, threads=threads, **how)
    for t in tools:
        model.tools.by_speed(t.name, 0)
    return model


def weight(model: ShellModel, pressure: float) -> np.ndarray:
    """Forces of an even pressure downwards (n, 3) [N]."""
    out = np.zeros((model.patches.n, 3))
    out[:, 2] = -pressure * model.tools.area
    return out


def settle(model: ShellModel, external, calls=20, damping=3e4):
    model.damping = damping
    for _ in range(calls):
        model.advance(50, external=external)


def test_thickness_at_a_node_is_the_mean_of_its_triangles():
    model = sheet()
    g = np.random.default_rng(1)
    stretch = g.uniform(0.7, 1.2, len(model.stretch))
    p = model.patches
    for i in (0, 3, 12, p.n - 1):
        mine = [e for e in range(len(p.conn)) if i in p.conn[e, :3]]
        expected = np.mean([p.coef[e, C_THICKNESS] * stretch[e] for e in mine])
        assert node_thickness(i, p.start, p.slots, p.coef, stretch) == pytest.approx((expected, T), rel=1e-14)


@pytest.mark.parametrize("up", [True, False])
def test_a_sheet_rests_on_either_skin_and_the_tool_feels_its_load(up):
    """Depth below the skin is F/(k): far below 5 % of the thickness at 10 MPa; the tool's force is the load."""
    model = sheet(plane("tool", 0.0 if up else 1.0, up=up, friction=0.0))
    load = weight(model, 10.0 if up else -10.0)
    settle(model, load, 60)
    model.tools.start_sums()
    model.tools.start_pressure()
    model.advance(200)
    assert model.tools.mean_force("tool")[2] == pytest.approx(-load[:, 2].sum(), rel=1e-3)
    assert model.tools.pressure()[:, 0] == pytest.approx(np.full(model.patches.n, 10.0), rel=0.02)
    depth = (0.5 - model.x[: model.patches.n, 2]) * (1 if up else -1)
    assert depth.min() > 0.0
    assert depth.max() < 0.05 * T
    deepest = model.tools.state[0, at.T_DEEPEST]
    assert deepest == pytest.approx(depth.max(), rel=0.05)
    assert model.tools.state[0, at.T_TOUCHED] == model.patches.n


def test_depth_follows_the_stated_stiffness():
    """``depth = F dt^2/(k m)`` with share k: halving k doubles it."""
    depth = []
    for share in (0.1, 0.05):
        model = sheet(plane("tool", 0.0, up=True, friction=0.0, stiffness=share))
        load = weight(model, 5.0)
        settle(model, load, 60)
        expected = -load[:, 2] * model.dt**2 / (share * model.masses.node[: model.patches.n])
        got = 0.5 - model.x[: model.patches.n, 2]
        assert got == pytest.approx(expected, rel=0.02)
        depth.append(got.mean())
    assert depth[1] / depth[0] == pytest.approx(2.0, rel=0.02)


def pushed(push: float, *, mu=0.2, pressure=10.0, steps=1500, **how):
    """A sheet pressed on a plane and pushed along x by the share ``push`` of its normal load."""
    model = sheet(plane("tool", 0.0, up=True, friction=mu, **how))
    load = weight(model, pressure)
    settle(model, load, 60)
    model.damping = 0.0
    model.velocity[:] = 0
    model.tools.slide[:] = 0
    model.tools.start_sums()
    began, x0 = model.time, model.x[: model.patches.n, 0].mean()
    load = load.copy()
    load[:, 0] = -push * load[:, 2]
    model.advance(steps, external=load)
    return model, load, model.time - began, model.x[: model.patches.n, 0].mean() - x0


def test_friction_holds_below_its_limit_and_creeps_only_as_stated():
    model, load, time, way = pushed(0.1)
    node = int(np.argmax(load[:, 0]))
    creep = load[:, 0].sum() / model.masses.node.sum() * model.dt / at.STICK * time
    assert way == pytest.approx(creep, rel=0.1)
    assert model.tools.mean_force("tool")[0] == pytest.approx(-load[:, 0].sum(), rel=0.02)
    assert model.tools.slide[node] < 3 * creep


def test_friction_is_mu_times_the_normal_force_when_sliding():
    model, load, time, way = pushed(0.5, steps=600)
    mean = model.tools.mean_force("tool")
    assert mean[2] == pytest.approx(-load[:, 2].sum(), rel=0.01)
    assert -mean[0] / mean[2] == pytest.approx(0.2, rel=0.01)
    free = (load[:, 0].sum() - 0.2 * mean[2]) / model.masses.node.sum()
    assert way == pytest.approx(0.5 * free * time**2, rel=0.02)
    assert model.tools.slide.mean() == pytest.approx(way, rel=0.02)
    # the work of friction is force times way, counted at nodes and at the tool alike
    assert model.tools.rub.sum() == pytest.approx(model.tools.state[0, at.T_HEAT], rel=1e-9)
    assert model.tools.state[0, at.T_HEAT] == pytest.approx(0.2 * mean[2] * way, rel=0.02)


@pytest.mark.parametrize(("pressure", "expected"), [(2.0, 0.2), (8.0, 0.2 * (8.0 / 4.0) ** -0.5)])
def test_friction_fades_beyond_its_pressure(pressure, expected):
    model, _, _, _ = pushed(0.5, pressure=pressure, steps=400, fade=4.0, power=-0.5)
    mean = model.tools.mean_force("tool")
    assert -mean[0] / mean[2] == pytest.approx(expected, rel=0.02)


def test_a_pressure_beyond_the_cap_is_cut():
    """Two planes closer than the sheet: it overlaps both at the pressure of the cap, which is reported as depth."""
    how = {"friction": 0.0, "cap": 2.0}
    model = sheet(plane("lower", 0.05, up=True, **how), plane("upper", 0.95, up=False, **how))
    settle(model, weight(model, 0.0), 20)
    area = model.tools.area.sum()
    assert model.tools.force("lower")[2] == pytest.approx(2.0 * area, rel=1e-6)
    assert model.tools.force("upper")[2] == pytest.approx(-2.0 * area, rel=1e-6)
    assert model.tools.state[:, at.T_DEEPEST].max() == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize("r_value", [1.0, 2.0])
def test_a_sheet_squeezed_between_planes_yields_through_its_thickness(r_value):
    """Without friction a free sheet is in uniaxial compression through its thickness.

    Hill with equal r in the sheet: pressure ``s sqrt((1 + r)/2)``, equivalent strain ``ln(h0/h) sqrt((1 + r)/2)`` by equal work; volume is kept.
    """
    points, triangles, _ = grid(8.0, 8.0, 8, 8, shake=0.1)
    law = {"K": 500.0, "e0": 0.01, "n": 0.2}
    material = plastic(2e5, 0.3, 7.85e-9, hill_from_r(r_value, r_value, r_value), law)
    tools = (plane("lower", 0.0, up=True, friction=0.0), plane("upper", 1.0, up=False, friction=0.0))
    model = ShellModel(
        build_patches(points + np.array([0, 0, 0.5]), triangles, T), material, through_thickness(3), tools=tools, threads=False
    )
    speed, time = 140.0, 1.3e-3
    model.tools.by_speed("lower", 0)
    model.tools.by_speed("upper", model.history([0.0, 0.3 * time, time], [0.0, speed, speed]))
    model.damping = 5e3
    while model.time < 0.8 * time:
        model.advance(50)
    model.tools.start_sums()
    model.advance(400)
    h = float(np.asarray(model.stretch).mean()) * T
    assert 0.8 < h < 0.93
    deepest = model.tools.state[:, at.T_DEEPEST].max()
    corners = model.x[model.patches.conn[:, :3]]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    pressure = -model.tools.mean_force("upper")[2] / area
    factor = math.sqrt(0.5 * (1.0 + r_value))
    expected = factor * law["K"] * (law["e0"] + math.log(T / h) * factor) ** law["n"]
    assert area * h == pytest.approx(64.0, rel=0.01)
    assert pressure == pytest.approx(expected, rel=0.04)
    assert deepest < 0.05


def test_tools_that_are_away_touch_nothing():
    model = sheet(plane("tool", 0.4, up=True))
    model.tools.away("tool")
    model.advance(50, external=weight(model, 1.0))
    assert not model.tools.force("tool").any()
    assert model.x[: model.patches.n, 2].max() < 0.5


def thrown(real=np.float64, threads=False, mu=0.15, damping=0.0, nx=4):
    """A sheet thrown askew at a plane: it bounces and slides."""
    model = sheet(plane("tool", 0.0, up=True, friction=mu, damping=damping), z=0.52, real=real, threads=threads, nx=nx)
    v = np.zeros((model.patches.n, 3))
    v[:] = [800.0, 300.0, -3000.0]
    v[:, 2] += 30.0 * model.x[: model.patches.n, 0]
    model.set_velocity(v)
    return model


def test_momentum_taken_from_the_sheet_is_that_given_to_the_tool():
    """Action is reaction: the change of the sheet's momentum is the sum over the steps of the force that the tool records."""
    model = thrown()
    mass = model.masses.node[: model.patches.n, None]
    before = (mass * model.velocity[: model.patches.n]).sum(0)
    model.tools.start_sums()
    model.advance(300, adapt=False)
    after = (mass * model.velocity[: model.patches.n]).sum(0)
    impulse = model.tools.mean_force("tool")[:3] * 300 * model.dt
    assert np.abs(impulse).min() > 1e-7
    assert after - before == pytest.approx(impulse, rel=1e-9)


def test_force_and_moments_of_a_tool_are_the_sums_over_the_nodes():
    model = sheet(plane("tool", 0.0, up=True, friction=0.0))
    load = weight(model, 10.0)
    load[:, 2] *= 1.0 + 0.05 * model.x[: model.patches.n, 0]
    settle(model, load, 60)
    model.tools.start_sums()
    model.tools.start_pressure()
    model.advance(1, external=load)
    fx, fy, fz, my, mx = model.tools.mean_force("tool")
    push = model.tools.push[:, 0]
    x = model.x[: model.patches.n]
    assert fz == pytest.approx(push.sum(), rel=1e-12)
    assert my == pytest.approx((push * x[:, 1]).sum(), rel=1e-6)
    assert mx == pytest.approx((push * x[:, 0]).sum(), rel=1e-6)
    assert abs(fx) < 1e-6 * fz
    assert abs(fy) < 1e-6 * fz


@pytest.mark.parametrize(("mu", "damping"), [(0.0, 0.0), (0.2, 0.0), (0.0, 0.1)])
def test_energy_of_a_bounce_is_accounted_for(mu, damping):
    """Without friction and damping a bounce gives back what it took, to the integrator's share; friction takes what it reports; damping takes, never gives."""
    model = thrown(mu=mu, damping=damping)
    start = model.energies().kinetic
    model.advance(60, adapt=False)
    felt = model.tools.state[0, at.T_WORK]
    assert model.tools.state[0, at.T_TOUCHED] > 0 or model.tools.push.sum() > 0
    for _ in range(8):
        model.advance(60, adapt=False)
    e = model.energies()
    assert model.tools.state[0, at.T_TOUCHED] == 0.0, "it has left the tool again"
    assert felt == 0.0  # a tool at rest does no work
    left = e.kinetic + e.slopes + e.internal + e.damping
    heat = model.tools.state[0, at.T_HEAT]
    assert abs(e.balance) < 1e-9 * start
    lost = start - left - heat
    if damping == 0.0:
        # friction heat is counted with the speed at the start of a step: at an impact that stops nodes it is a little high
        assert abs(lost) < (0.02 if mu else 0.002) * start
        assert (heat > 0.005 * start) == (mu > 0)
    else:
        assert 0.0 < lost < 0.5 * start


def test_work_of_a_moving_tool_goes_into_the_sheet():
    """A plane that lifts a loose sheet and comes to rest: its work is the external work on the sheet."""
    model = sheet(plane("tool", 0.0, up=True, friction=0.0), z=0.5)
    h = model.history([0.0, 2e-5, 4e-5], [0.0, 2000.0, 2000.0])
    model.tools.by_speed("tool", h)
    while model.time < 2e-4:
        model.advance(50)
    e = model.energies()
    assert e.kinetic > 0.2 * model.masses.true * 2000.0**2 / 2
    # the contact springs keep no energy once the sheet has left or rests in step with the tool; damping takes a share
    assert e.external <= model.tools.state[0, at.T_WORK] * 1.001
    assert e.external == pytest.approx(model.tools.state[0, at.T_WORK], rel=0.1)
    assert model.tools.travel("tool") == pytest.approx(2000.0 * 1e-5 + 2000.0 * (model.time - 2e-5), rel=1e-3)


def test_a_tool_by_force_presses_with_it_and_stops_at_its_stop():
    model = sheet(plane("lower", 0.0, up=True), plane("upper", 1.02, up=False))
    h = model.history([0.0, 2e-4], [0.0, 500.0])
    model.tools.by_force("upper", h, mass=model.masses.true, drag=2e4, stop=0.5)
    model.damping = 1e4
    for _ in range(40):
        model.advance(50)
    model.tools.start_sums()
    model.advance(200)
    assert -model.tools.mean_force("upper")[2] == pytest.approx(500.0, rel=0.01)
    assert model.tools.mean_force("lower")[2] == pytest.approx(500.0, rel=0.01)
    assert model.tools.travel("upper") == pytest.approx(0.02, abs=0.03)
    model.tools.by_force("upper", h, mass=model.masses.true, drag=2e4, stop=model.tools.travel("upper") - 0.015)
    model.tools.set_travel("upper", 0.0)
    for _ in range(20):
        model.advance(50)
    k = model.tools.number("upper")
    assert model.tools.travel("upper") == pytest.approx(model.tools.numbers[k, at.N_STOP], abs=1e-9)
    assert -model.tools.force("upper")[2] < 450.0


@pytest.mark.parametrize("real", [np.float64, np.float32])
def test_same_bits_twice_and_with_or_without_threads(real):
    kept = []
    for threads in (False, True, False):
        model = thrown(real=real, threads=threads, nx=8, damping=0.1)
        model._pace.choose = lambda threads=threads: threads
        for _ in range(3):
            model.advance(40)
        kept.append(
            b"".join(
                np.ascontiguousarray(a).tobytes() for a in (model.x, model.velocity, model.tools.state, model.tools.push, model.tools.slide)
            )
        )
    assert kept[0] == kept[1] == kept[2]


def test_float32_agrees_with_float64():
    a, b = thrown(), thrown(real=np.float32)
    for m in (a, b):
        m.advance(150, adapt=False)
    assert np.abs(a.x - b.x).max() < 1e-5
    assert b.tools.mean_force("tool")[2] == pytest.approx(a.tools.mean_force("tool")[2], rel=1e-3)


def test_bead_drag_holds_back_over_its_area_and_never_pushes():
    """Restraint over the area times the nodes' area, against the motion; at most what stops a node in two steps."""
    model = sheet(plane("tool", -5.0, up=True))
    tools = model.tools
    tools.bead_at[:] = [-1.5, -1.5, 0.1, 4, 4, 1.0]
    tools.bead = np.zeros((4, 4), dtype=np.float32)
    tools.bead[0, :] = 0.05  # N/mm2 for x from -1.5 to 8.5
    v = np.zeros((model.patches.n, 3))
    v[:, 0] = 2000.0
    model.set_velocity(v)
    mass = model.masses.node[: model.patches.n]
    steps = 100
    model.advance(steps, adapt=False)
    inside = model.patches.points[: model.patches.n, 0] < 8.5
    expected = 0.05 * tools.area[inside].sum() * steps * model.dt
    assert (mass * (2000.0 - model.velocity[: model.patches.n, 0])).sum() == pytest.approx(expected, rel=0.02)
    # a sheet that hardly moves is slowed down, never driven
    slow = sheet(plane("tool", -5.0, up=True))
    slow.tools.bead_at[:], slow.tools.bead = tools.bead_at, tools.bead
    slow.set_velocity(1e-3 * v / 2000.0)
    taken = 0.0
    for _ in range(40):
        slow.advance(1, adapt=False)
        assert slow.energies().external <= taken
        taken = slow.energies().external
    assert taken < -0.2 * slow.masses.true * 1e-6 / 2


def test_tool_sets_refuse_what_cannot_be_used():
    a = plane("punch", 0.0, up=True)
    with pytest.raises(InputError, match="one name"):
        ToolSet((a, a), np.ones(1), 1)
    for field, value in (("friction", -0.1), ("stiffness", 0.9), ("damping", math.nan), ("fade", -1.0), ("cap", 0.0), ("power", 0.5)):
        bad = Tool("punch", a.grid, **{field: value})
        with pytest.raises(InputError, match="cannot be used") as said:
            ToolSet((bad,), np.ones(1), 1)
        assert field in str(said.value)
    with pytest.raises(InputError, match="has no length"):
        ToolSet((Tool("punch", a.grid, (0, 0, 0)),), np.ones(1), 1)
    tools = ToolSet((a,), np.ones(1), 1)
    with pytest.raises(InputError, match="no tool called 'pad': punch"):
        tools.number("pad")
    with pytest.raises(InputError, match="more than 0 t"):
        tools.by_force("punch", 0, mass=0.0)


def test_memory_of_a_tool_set_is_put_back_exactly():
    model = thrown()
    kept = model.tools.memory()
    model.advance(50)
    assert model.tools.push.any()
    model.tools.put_back(kept)
    assert not model.tools.push.any()
    assert not model.tools.state.any()
    assert model.tools.push_steps == 0
