"""A blankholder on pins: it tilts onto an uneven sheet, balances force and moments, and is a plain force where pins and sheet are even."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.contact.grid import distance_grid
from diewright.mechanics.contact.tools import Tool
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.pins import Pin, press_by_pins
from diewright.mechanics.forming.run import Run
from diewright.mechanics.shell.material import elastic
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import Mirror, build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import grid

SIZE = 24.0
CORNERS = ((2.0, 2.0), (22.0, 2.0), (22.0, 22.0), (2.0, 22.0))
DIE = Move("die", "rest")


def flat(name: str, z: float, up: bool, slope: float = 0.0) -> Tool:
    """A large tool, tilted along x about the middle of the sheet."""
    x = np.array([-20.0, 44.0, 44.0, -20.0])
    p = np.column_stack([x, [-20.0, -20.0, 44.0, 44.0], z + slope * (x - 12.0)])
    t = np.array([[0, 1, 2], [0, 2, 3]])
    return Tool(name, distance_grid(p, t if up else t[:, ::-1], spacing=0.5, band=3.0), (0, 0, 1.0 if up else -1.0), friction=0.0)


def held(slope: float = 0.0, mirrors: tuple[Mirror, ...] = ()) -> ShellModel:
    """A sheet of 1 mm between a die and a blankholder just above; ``slope``: of both faces and the sheet."""
    points, triangles, _ = grid(SIZE, SIZE, 8, 8, shake=0.1)
    points[:, 2] = 0.0
    model = ShellModel(
        build_patches(points, triangles, 1.0, mirrors=mirrors), elastic(2e5, 0.3), through_thickness(3), real=np.float32, damping=2e4, threads=False,
        tools=(flat("die", -0.5, True, slope), flat("blankholder", 0.52, False)),
    )  # fmt: skip
    n = model.patches.n
    model.x[:n, 2] = slope * (model.x[:n, 0] - 12.0)
    for name in ("die", "blankholder"):
        model.tools.by_speed(name, 0)
    # nothing slides away: both faces are without friction
    model.prescribe([int(np.argmin(((points[:, :2] - 12) ** 2).sum(1)))], "xy")
    return model


def press(model: ShellModel, move: Move, time: float = 2e-3) -> Run:
    if move.kind != "stroke":
        model.tools.set_travel("blankholder", 0.0)
    run = Run(model, (Operation("hold", (DIE, move), time, damping=2e4, frames=1),))
    assert run.work().stopped is None
    model.damping = 2e4
    model.tools.start_sums()
    model.advance(400)
    return run


def test_even_pins_on_an_even_sheet_are_a_plain_force():
    one, two = held(), held()
    press(one, Move("blankholder", "force", to=2000.0))
    press(two, Move("blankholder", "pins", pins=tuple(Pin(x, y, 500.0) for x, y in CORNERS)))
    for name in ("die", "blankholder"):
        assert two.tools.mean_force(name)[2] == pytest.approx(one.tools.mean_force(name)[2], rel=1e-4)
    assert two.tools.travel("blankholder") == pytest.approx(one.tools.travel("blankholder"), abs=1e-5)
    assert np.abs(two.tools.tilt("blankholder")).max() < 1e-5
    assert np.abs(two.x - one.x).max() < 1e-3
    assert one.tools.sizes[1, at.Z_TILT] == at.LEVEL
    assert not one.tools.state[:, at.T_TILT : at.T_TILT + 4].any()


def test_uneven_pins_put_force_and_moments_where_they_push():
    """Forces 200, 700, 900, 400 N: the sheet feels their sum, and their moments about both axes."""
    model = held()
    forces = (200.0, 700.0, 900.0, 400.0)
    press(model, Move("blankholder", "pins", pins=tuple(Pin(x, y, f) for (x, y), f in zip(CORNERS, forces, strict=True))))
    fz, my, mx = model.tools.mean_force("blankholder")[[2, 3, 4]]
    assert -fz == pytest.approx(2200.0, rel=0.01)
    assert -mx == pytest.approx(sum(f * x for (x, _), f in zip(CORNERS, forces, strict=True)), rel=0.01)
    assert -my == pytest.approx(sum(f * y for (_, y), f in zip(CORNERS, forces, strict=True)), rel=0.01)
    a, b = model.tools.tilt("blankholder")
    # more force on the side of larger x, and a little more on that of larger y
    assert a > b > 0


def test_a_tool_on_pins_lies_down_on_a_sloping_sheet():
    """Die and sheet slope by 0.008: a level holder touches one edge only, one on pins takes the slope and touches everywhere."""
    slope = 0.008
    pins = Move("blankholder", "pins", pins=tuple(Pin(x, y, 500.0) for x, y in CORNERS))
    model, stiff = held(slope), held(slope)
    for m in (model, stiff):
        m.tools.set_travel("blankholder", -0.2)
    out = Run(model, (Operation("hold", (DIE, pins), 4e-3, damping=2e4, frames=1),)).work()
    Run(stiff, (Operation("hold", (DIE, Move("blankholder", "force", to=2000.0)), 4e-3, damping=2e4, frames=1),)).work()
    # the holder closes downwards: where the sheet is higher it has travelled less
    assert model.tools.tilt("blankholder") == pytest.approx([-slope, 0.0], abs=3e-4)
    assert model.tools.state[1, at.T_TOUCHED] > 70
    assert stiff.tools.state[1, at.T_TOUCHED] < 30
    assert out.curve["force"][-1, 1, 2] == pytest.approx(-2000.0, rel=0.02)


def test_the_guides_hold_a_tool_that_would_turn_over():
    """All the force on pins beside the sheet: the slope stops at what the guides allow."""
    points = np.array([(40.0, 2.0), (40.0, 22.0), (12.0, 12.0)])
    model = held()
    press_by_pins(
        model,
        "blankholder",
        tuple(Pin(x, y, f) for (x, y), f in zip(points, (500.0, 500.0, 0.0), strict=True)),
        1e-3,
        start=0.0,
        mass=1e-5,
        drag=2e4,
        most=0.01,
    )
    model.advance(4000)
    assert model.tools.tilt("blankholder")[0] == pytest.approx(0.01, abs=1e-9)
    # lifted or led by its stroke, it keeps the slope it has
    model.tools.by_speed("blankholder", 0)
    model.advance(10)
    assert model.tools.tilt("blankholder")[0] == pytest.approx(0.01, abs=1e-9)
    assert model.tools.state[1, at.T_RATE] == 0.0


def test_from_pins_to_other_pins_without_a_jump():
    """The second operation starts from the forces of the first: total and moments at its start are those at the first's end."""
    model = held()
    first = tuple(Pin(x, y, f) for (x, y), f in zip(CORNERS, (300.0, 500.0, 700.0, 500.0), strict=True))
    run = press(model, Move("blankholder", "pins", pins=first))
    assert run.forces["blankholder"] == pytest.approx(2000.0)
    other = (Pin(0.0, 0.0, 400.0), Pin(20.0, 0.0, ((0.0, 0.0), (1.0, 100.0))), Pin(10.0, 24.0, 500.0))
    total = press_by_pins(model, "blankholder", other, 1e-3, start=run.forces["blankholder"], mass=1e-5, drag=2e4)
    assert total == pytest.approx(1000.0)
    rows = [int(model.tools.sizes[1, at.Z_HISTORY]), *model.tools.sizes[1, at.Z_TURN : at.Z_TURN + 2]]
    force, a, b = (float(np.interp(model.time, model._times[r], model._values[r])) for r in rows)
    centre = model.tools.numbers[1, at.N_CENTRE : at.N_CENTRE + 2]
    assert centre == pytest.approx([10.0, 8.0])
    assert force == pytest.approx(2000.0)
    assert a == pytest.approx(sum(p.force * (p.x - centre[0]) for p in first))
    assert b == pytest.approx(sum(p.force * (p.y - centre[1]) for p in first))


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ((Pin(0, 0, 1.0), Pin(5, 5, 1.0)), "2 pins cannot hold"),
        ((Pin(0, 0, 1.0), Pin(5, 5, 1.0), Pin(10, 10, 1.0)), "stand in a line"),
        ((Pin(0, 0, 1.0), Pin(5, 5, -1.0), Pin(10, 0, 1.0)), "a pin pushes"),
        ((Pin(0, 0, 1.0), Pin(5, 5, ((0.2, 1.0), (1.0, 1.0))), Pin(10, 0, 1.0)), "shares rise"),
    ],
)
def test_pins_that_cannot_press_are_refused(pins, says):
    with pytest.raises(InputError, match=says):
        press_by_pins(held(), "blankholder", pins, 1e-3, start=0.0, mass=1e-5, drag=1e4)


def test_a_mirrored_part_of_a_sheet_does_not_tilt():
    points, _, ids = grid(SIZE, SIZE, 8, 8)
    del points
    mirror = Mirror(np.column_stack([ids[0, :-1], ids[0, 1:]]), np.array([1.0, 0.0, 0.0]))
    with pytest.raises(InputError, match="whole sheet"):
        press_by_pins(
            held(mirrors=(mirror,)), "blankholder", tuple(Pin(x, y, 500.0) for x, y in CORNERS), 1e-3, start=0.0, mass=1e-5, drag=1e4
        )
