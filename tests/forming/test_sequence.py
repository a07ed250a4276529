"""A row of hits on one sheet: what is handed over to the bit, a redraw, a flange, piercing and springback between."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from diewright.die.loft import loft
from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.mechanics.forming.draw import DrawPlan, tools_of
from diewright.mechanics.forming.hits import flange, redraw, restrike
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.sequence import Cut, Hit, Sheet, Spring, blank_sheet, cut, laid, model_of, work_sequence
from diewright.mechanics.shell.recover import recover
from diewright.prove.shell import grid

sys.path.insert(0, str(Path(__file__).parent))
import small_cup as cup


def rounded(corners: list[tuple[float, float]], radii: list[float], pieces: int = 10) -> np.ndarray:
    """A polyline with its inner corners rounded (k, 2)."""
    p = np.array(corners, dtype=float)
    out = [p[0]]
    for a, b, c, r in zip(p[:-2], p[1:-1], p[2:], radii, strict=True):
        u, w = (a - b) / np.linalg.norm(a - b), (c - b) / np.linalg.norm(c - b)
        half = 0.5 * np.arccos(np.clip(u @ w, -1, 1))
        centre = b + (u + w) / np.linalg.norm(u + w) * r / np.sin(half)
        first, last = b + u * r / np.tan(half) - centre, b + w * r / np.tan(half) - centre
        turn = np.arctan2(first[0] * last[1] - first[1] * last[0], first @ last)
        for s in np.linspace(0.0, turn, pieces):
            out.append(centre + np.array([first[0] * np.cos(s) - first[1] * np.sin(s), first[0] * np.sin(s) + first[1] * np.cos(s)]))
    return np.array([*out, p[-1]])


def revolved(profile: np.ndarray, up: bool) -> tuple[np.ndarray, np.ndarray]:
    """A profile (r, z), inside first, turned about z."""
    at = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    ring = np.column_stack([np.cos(at), np.sin(at)])
    rings = [np.column_stack([r * ring, np.full(96, z)]) if r > 0 else np.array([[0.0, 0.0, z]]) for r, z in profile]
    mesh = loft(rings, closed=True, up=up)
    return mesh.points, mesh.triangles


def extruded(profile: np.ndarray, towards: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """A profile (x, z) drawn out along y; its normals point ``towards`` on the whole."""
    near, far = (np.column_stack([profile[:, 0], np.full(len(profile), y), profile[:, 1]]) for y in (-8.0, 14.0))
    mesh = loft([near, far], closed=False, up=True)
    p = mesh.points[mesh.triangles]
    n = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]).sum(axis=0)
    return mesh.points, mesh.triangles if n[[0, 2]] @ towards > 0 else mesh.triangles[:, ::-1]


def volume(sheet: Sheet) -> float:
    """Middle surface times thickness by the elements' own strains [mm3]; flat triangles through the nodes would cut the corners of a coarse mesh."""
    flat = TriMesh(sheet.points, sheet.triangles).areas
    membrane = recover(sheet.patches, sheet.material, sheet.stations, sheet.form).membrane
    return float((flat * np.exp(membrane[:, 0] + membrane[:, 1]) * sheet.form.stretch * sheet.thickness).sum())


def plastic(sheet: Sheet) -> np.ndarray:
    """Equivalent plastic strain at all stations (m, stations)."""
    return sheet.form.state[:, 3::4]


# -- handing over

BOTTOM = {"die": Move("die", "rest"), "blankholder": Move("blankholder", "rest")}


def half_stroke(to: float, name: str) -> tuple[Operation, ...]:
    stroke = Operation(name, (*BOTTOM.values(), Move("punch", "stroke", to=to)), 1.5e-3, frames=1)
    return stroke, Operation(f"{name}: dwell", (*BOTTOM.values(), Move("punch", "rest")), 1e-3, damping=2e4, frames=1)


@pytest.fixture(scope="module")
def split():
    points, triangles = cup.quarter()
    blank = blank_sheet(points, triangles, cup.T, cup.STEEL, symmetry="xy", stations=3)
    start = (("punch", -cup.STROKE - 0.02), ("blankholder", -0.1))
    whole = work_sequence(blank, [Hit("both", cup.tools(), half_stroke(-3.0, "first") + half_stroke(0.0, "second"), start)])
    parts = work_sequence(
        blank,
        [
            Hit("first", cup.tools(), half_stroke(-3.0, "first"), start),
            Hit("second", cup.tools(), half_stroke(0.0, "second"), (("punch", -3.0), ("blankholder", -0.1))),
        ],
    )
    return whole, parts


def test_a_hand_over_is_exact_to_the_bit(split):
    """Places, strains, plastic strain, thickness and stress of the last frame before are those of the first frame after; time goes on."""
    _, (first, second) = split
    before, after = first.outcome.frames[-1], second.outcome.frames[0]
    for name in ("x", "membrane", "stretch", "plastic", "plastic_max", "stress", "curvature", "layers", "layers_plastic"):
        assert np.array_equal(getattr(before, name), getattr(after, name)), name
    assert before.time == after.time == first.sheet.time
    assert second.outcome.curve["time"][0] > after.time
    a = first.sheet
    model = model_of(a, cup.tools())
    assert np.array_equal(model.x, a.form.x)  # mirror images too
    now = model.form()
    assert all(np.array_equal(getattr(now, n), getattr(a.form, n)) for n in ("slope", "state", "stretch"))
    assert plastic(a).max() > 0.02


def test_two_hits_that_share_a_draw_end_as_one(split):
    """Tolerance: 0.02 mm in place (2 % of the thickness) and 0.5 % in strain; what the dwell left in motion is dropped and reported."""
    (whole,), (first, second) = split
    assert whole.outcome.stopped is first.outcome.stopped is second.outcome.stopped is None
    assert np.abs(second.sheet.x - whole.sheet.x).max() < 0.02
    assert np.abs(second.outcome.frames[-1].membrane - whole.outcome.frames[-1].membrane).max() < 0.005
    work = whole.outcome.curve["internal"][-1]
    assert 0.0 <= second.dropped < 1e-3 * work


def test_a_hit_that_goes_on_keeps_the_motion(split):
    _, (first, _) = split
    moving = first.sheet
    hit = Hit("on", cup.tools(), half_stroke(0.0, "on"), (("punch", -3.0), ("blankholder", -0.1)), goes_on=True)
    (on,) = work_sequence(moving, [hit])
    assert on.dropped == 0.0
    assert on.outcome.curve["kinetic"][0] > 0


def test_a_killed_sequence_finds_its_finished_hits_done(split, tmp_path):
    _, (first, second) = split
    points, triangles = cup.quarter()
    blank = blank_sheet(points, triangles, cup.T, cup.STEEL, symmetry="xy", stations=3)
    hits = [
        Hit("first", cup.tools(), half_stroke(-3.0, "first"), (("punch", -cup.STROKE - 0.02), ("blankholder", -0.1))),
        Hit("second", cup.tools(), half_stroke(0.0, "second"), (("punch", -3.0), ("blankholder", -0.1))),
    ]
    work_sequence(blank, hits[:1], saved=tmp_path)
    steps: list[str] = []
    from diewright.watch import Watch

    again = work_sequence(blank, hits, saved=tmp_path, watch=Watch(listen=lambda p: steps.append(p.phase)))
    assert np.array_equal(again[0].sheet.x, first.sheet.x)
    assert np.array_equal(again[1].sheet.x, second.sheet.x)
    assert [m[0] for m in again[0].outcome.marks] == ["first", "first: dwell"]
    assert not [s for s in steps if s.startswith("first: ")]  # nothing of it was worked again
    assert [s for s in steps if s.startswith("second: ")]


# -- a redraw

FIRST = 25.0  # punch travel: the blank is drawn through


def first_faces() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Punch 40 mm with a cone of 45 degrees at its foot, die radius 5."""
    z = -FIRST + 0.5
    return {
        "die": revolved(rounded([(21.4, -FIRST - 6), (21.4, -0.5), (46.0, -0.5)], [5.0]), True),
        "punch": revolved(rounded([(0.0, z), (15.0, z), (20.0, z + 5), (20.0, 6.0)], [3.0, 3.0]), False),
        "blankholder": revolved(np.array([(21.4, 0.5), (46.0, 0.5)]), False),
    }


def second_faces(stroke: float) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Punch 31.2 mm (0.78), a sleeve with the cone of the first punch, a die with the cone of the cup's outside."""
    out = 14.5 + np.sqrt(2.0)
    return {
        "die": revolved(rounded([(17.0, -stroke - 4), (17.0, 17.0 - out), (23.0, 23.0 - out)], [4.0]), True),
        "punch": revolved(rounded([(0.0, -stroke + 0.5), (15.6, -stroke + 0.5), (15.6, 12.0)], [3.0]), False),
        "blankholder": revolved(rounded([(16.2, 1.7), (19.8, 5.3), (19.8, 30.0)], [3.0]), False),
    }


@pytest.fixture(scope="module")
def redrawn():
    points, triangles = cup.quarter(18, 36.0)
    blank = blank_sheet(points, triangles, 1.0, cup.STEEL, symmetry="xy", stations=3)
    friction = {"die": 0.05, "punch": 0.15, "blankholder": 0.05}
    plan = DrawPlan(FIRST, 4000.0, friction=friction, speed=6000.0, frames=4, dwell=1e-3)
    made = work_sequence(blank, [redraw(blank, first_faces(), plan, flow_stress=400.0, name="draw", shift=(0.0, 0.0, 0.0)), Spring()])
    again = DrawPlan(12.0, 3000.0, friction=friction, speed=5000.0, frames=4, dwell=1e-3)
    hit = redraw(made[-1].sheet, second_faces(12.0), again, flow_stress=400.0)
    return blank, made, work_sequence(made[-1].sheet, [hit, Spring()])


def test_a_cup_is_redrawn_to_a_smaller_diameter(redrawn):
    """Ratio 1.8, then 0.78 of the diameter: it runs through, the height rises, the volume stays within 0.5 %, no strain is lost."""
    blank, (drawn, sprung), (second, last) = redrawn
    assert drawn.outcome.stopped is None
    assert second.outcome.stopped is None
    edge = np.hypot(blank.points[:, 0], blank.points[:, 1]) > 35.9
    height = [float(np.ptp(s.x[:, 2])) for s in (drawn.sheet, second.sheet)]
    # only its edge still stands on the die radius; (D^2 - d^2)/(4 d) = 21.4 mm for d = 41, without cone and radii
    assert 17.0 < height[0] < 25.0
    assert np.hypot(*drawn.sheet.x[edge, :2].T).max() < 24.0
    assert height[1] > height[0] + 3.0
    low = second.sheet.x[:, 2] < second.sheet.x[:, 2].min() + 6.0
    assert np.hypot(*second.sheet.x[low, :2].T).max() < 17.3  # inside the second die
    for s in (drawn.sheet, sprung.sheet, second.sheet, last.sheet):
        assert volume(s) == pytest.approx(volume(blank), rel=0.005)
        geometric = float((TriMesh(s.x, s.triangles).areas * s.form.stretch * s.thickness).sum())
        assert geometric == pytest.approx(volume(blank), rel=0.01)
    assert (plastic(second.sheet) >= plastic(sprung.sheet) - 1e-7).all()
    assert plastic(second.sheet).max() > plastic(drawn.sheet).max()
    assert last.sheet.time > drawn.sheet.time > 0


def test_the_second_hit_needs_a_force_and_bends_where_the_first_did_not(redrawn):
    _, (_, sprung), (second, _) = redrawn
    names = ["die", "punch", "blankholder"]
    force = -second.outcome.curve["force"][:, names.index("punch"), 2]
    assert 4 * force.max() > 10e3  # of the whole cup
    share = second.sheet.form.stretch
    assert 0.75 < share.min() < share.max() < 1.45
    turned = np.abs(plastic(second.sheet) - plastic(sprung.sheet)).max(axis=1)
    r = np.hypot(*second.sheet.x[second.sheet.triangles].mean(axis=1)[:, :2].T)
    assert turned[r < 8].max() < 0.5 * turned[(r > 14) & (r < 18)].max()


# -- a flange, pierced and let go


@pytest.fixture(scope="module")
def flanged():
    points, triangles, _ = grid(30.0, 6.0, 30, 4)
    points[:, 0] -= 18.0
    blank = blank_sheet(points, triangles, 1.0, cup.STEEL, symmetry="y", stations=5)
    faces = {
        "die": extruded(rounded([(-30.0, -0.5), (0.0, -0.5), (0.0, -20.0)], [2.0]), (1.0, 1.0)),
        "pad": extruded(np.array([(-30.0, 0.5), (-2.2, 0.5)]), (0.0, -1.0)),
        "steel": extruded(rounded([(1.05, 8.0), (1.05, -14.0), (20.0, -14.0)], [2.5]), (-1.0, -1.0)),
    }
    hit = flange(blank, faces, 6000.0, 15.0, flow_stress=400.0, speed=5000.0)

    def hole(sheet: Sheet) -> np.ndarray:
        centre = sheet.points[sheet.triangles].mean(axis=1)
        return np.hypot(centre[:, 0] + 10.0, centre[:, 1]) > 2.6

    return blank, work_sequence(blank, [hit, Cut("pierce", hole), Spring()]), work_sequence(blank, [hit, Spring()])


def leg(sheet: Sheet) -> float:
    """Angle of the flange below the level part [deg]."""

    def slope(low: float, high: float) -> float:
        on = (sheet.points[:, 0] > low) & (sheet.points[:, 0] < high)
        centred = sheet.x[on][:, [0, 2]] - sheet.x[on][:, [0, 2]].mean(axis=0)
        d = np.linalg.svd(centred)[2][0]
        far = sheet.x[on][np.argmax(sheet.points[on, 0])] - sheet.x[on][np.argmin(sheet.points[on, 0])]
        d = d if d @ far[[0, 2]] > 0 else -d
        return float(np.degrees(np.arctan2(-d[1], d[0])))

    return slope(6.0, 13.0) - slope(-19.0, -4.0)


def test_a_wiping_steel_bends_an_edge_by_a_right_angle(flanged):
    blank, (bent, *_), _ = flanged
    assert bent.outcome.stopped is None
    assert leg(blank) == pytest.approx(0.0, abs=1e-9)
    assert leg(bent.sheet) == pytest.approx(90.0, abs=4.0)
    assert bent.sheet.x[:, 0].max() < 2.0
    assert volume(bent.sheet) == pytest.approx(volume(blank), rel=0.005)


def test_piercing_carries_stress_over_and_the_flange_springs_open(flanged):
    _, (bent, pierced, sprung), (_, plain) = flanged
    a, b = bent.sheet, pierced.sheet
    gone = len(a.triangles) - len(b.triangles)
    assert 6 <= gone <= 40
    assert np.array_equal(b.form.state, a.form.state[b.cells])
    assert np.array_equal(b.form.stretch, a.form.stretch[b.cells])
    assert np.array_equal(b.x, a.x[b.nodes])
    old, new = (recover(s.patches, s.material, s.stations, s.form) for s in (a, b))
    assert np.abs(new.curvature - old.curvature[b.cells]).max() < 1e-12
    # the stretch of a triangle at the new edge is measured without its lost neighbour: a hundred-thousandth, 1 MPa; all others are as they were
    edge = (b.patches.conn[:, 3:6] == np.roll(b.patches.conn[:, :3], -1, axis=1)).any(axis=1)
    assert np.abs(new.stress - old.stress[b.cells])[~edge].max() < 1e-8
    assert np.abs(new.strain - old.strain[b.cells]).max() < 1e-5
    opened = leg(bent.sheet) - leg(sprung.sheet)
    assert 0.3 < opened < 8.0
    # a hole in the flat part is no reason to spring otherwise
    assert leg(sprung.sheet) == pytest.approx(leg(plain.sheet), abs=0.3)
    assert sprung.sheet.x.shape == b.x.shape


def test_a_restrike_sets_what_had_sprung_back(flanged):
    """Struck again between post and steel of the wanted shape, the angle comes back to a right one."""
    _, _, (_, plain) = flanged
    s = plain.sheet
    # laid back: the level part level at z = 0, its fold at the post
    on = s.points[:, 0] < -4.0
    angle = np.arctan2(np.ptp(s.x[on, 2]) * np.sign(np.polyfit(s.x[on, 0], s.x[on, 2], 1)[0]), np.ptp(s.x[on, 0]))
    turn = np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])
    x = s.x @ turn.T
    wall = (s.points[:, 0] > 6.0) & (s.points[:, 0] < 12.5)
    shift = (0.45 - float(x[wall, 0].min()), 0.0, -float(x[on, 2].mean()))
    lower = extruded(rounded([(-30.0, -0.5), (0.0, -0.5), (0.0, -20.0)], [2.0]), (1.0, 1.0))
    upper = extruded(rounded([(-30.0, 0.55), (1.05, 0.55), (1.05, -20.0)], [3.05]), (-1.0, -1.0))
    free = blank_like(s, turn, shift)
    hit = restrike(free, {"die": lower, "punch": upper}, flow_stress=400.0, speed=3000.0)
    (struck,) = work_sequence(free, [hit])
    assert struck.outcome.stopped is None
    assert leg(struck.sheet) == pytest.approx(90.0, abs=1.5)
    assert leg(struck.sheet) > leg(s) + 0.3


def blank_like(sheet: Sheet, turn: np.ndarray, shift: tuple[float, float, float]) -> Sheet:
    """The sheet turned about y, in its plane of symmetry."""
    from dataclasses import replace

    from diewright.mechanics.shell.form import place

    form = sheet.form.copy()
    form.x = place(sheet.patches, sheet.x @ turn.T + np.array(shift))
    return replace(sheet, form=form)


# -- refusals


def test_what_cannot_be_laid_or_cut_is_refused():
    points, triangles = cup.quarter(4)
    blank = blank_sheet(points, triangles, 1.0, cup.STEEL, symmetry="xy", stations=3)
    ops = half_stroke(0.0, "draw")
    with pytest.raises(InputError, match="along its planes"):
        laid(blank, Hit("draw", (), ops, shift=(1.0, 0.0, 0.0)))
    with pytest.raises(InputError, match="by a turn and a finite shift"):
        laid(blank, Hit("draw", (), ops, turn=((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))))
    moved = laid(blank, Hit("draw", (), ops, shift=(0.0, 0.0, 5.0)))
    assert (moved.form.x[:, 2] == 5.0).all()
    with pytest.raises(SolveError, match="leaves 0 triangles"):
        cut(blank, np.zeros(len(triangles), dtype=bool))
    with pytest.raises(InputError, match="yes or no"):
        cut(blank, np.ones(3, dtype=bool))
    with pytest.raises(InputError, match="lack pad and steel"):
        flange(blank, {"die": first_faces()["die"]}, 1.0, 1.0, flow_stress=300.0)
    assert tools_of  # the faces' own refusals are those of the draw
