"""A small cup from flat blank to bottom: forces, energies, depth; checkpoints that survive a kill; early stops that say why."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from diewright.errors import Cancelled, InputError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.forming import run as module
from diewright.mechanics.forming.draw import DrawPlan, draw_operations, set_draw, symmetric
from diewright.mechanics.forming.operations import Move, Operation
from diewright.mechanics.forming.run import Run
from diewright.watch import Watch

sys.path.insert(0, str(Path(__file__).parent))
import small_cup as cup


@pytest.fixture(scope="module")
def drawn():
    r = cup.run()
    return r, r.work()


def test_a_draw_goes_through_and_ends_where_the_plan_says(drawn):
    r, out = drawn
    assert out.stopped is None
    assert [m[0] for m in out.marks] == ["hold", "draw"]
    names = r.model.tools.names
    end = out.curve["travel"][-1]
    assert end[names.index("punch")] == pytest.approx(0.0, abs=1e-4)
    assert end[names.index("die")] == 0.0
    assert len(out.frames) == 1 + 1 + cup.PLAN.frames
    bottom = r.model.x[: r.model.patches.n, 2].min()
    # without a pad the bottom bows a little below the punch
    assert -cup.STROKE - 0.3 < bottom < -cup.STROKE + 0.02
    assert sum(m[3] for m in out.marks) * 1.0 == pytest.approx((out.curve["time"][-1]) / np.mean(out.curve["dt"]), rel=0.05)


def test_forces_balance_and_the_blankholder_presses_as_told(drawn):
    r, out = drawn
    names = r.model.tools.names
    draw = out.curve["operation"] == 1
    f = out.curve["force"][draw][:, :, 2]
    total = np.abs(f).sum(1)
    # the rest is the inertia of the sheet and of the blankholder
    assert (np.abs(f.sum(1))[2:] < 0.05 * total[2:]).all()
    held = -f[:, names.index("blankholder")]
    assert np.median(held) == pytest.approx(1000.0, rel=0.03)
    punch = -f[:, names.index("punch")]
    assert punch.max() > 1500.0
    assert punch[: len(punch) // 10].mean() < 0.3 * punch.max()


def test_energy_balances_motion_is_small_and_the_sheet_stays_out_of_the_tools(drawn):
    _, out = drawn
    c = out.curve
    draw = np.flatnonzero(c["operation"] == 1)
    late = draw[len(draw) // 5 :]
    assert (c["kinetic"][late] < 0.05 * c["internal"][late]).all()
    assert (c["slopes"][late] < 0.01 * c["internal"][late]).all()
    assert c["balance"][-1] < 1e-3
    assert c["deepest"].max() < 0.05
    assert c["deepest"].shape == c["travel"].shape
    # what the tools did is what the sheet took, what friction took, and what contact damping took
    work = c["work"][-1].sum()
    taken = c["external"][-1] + c["heat"][-1]
    assert taken <= work * 1.005
    assert taken == pytest.approx(work, rel=0.03)
    # work of the punch from force and travel alone
    k = 1
    by_curve = float((-c["force"][:, k, 2] * np.diff(c["travel"][:, k], prepend=c["travel"][0, k])).sum())
    assert by_curve == pytest.approx(c["work"][-1, k], rel=0.02)


def test_the_sheet_keeps_its_volume_and_thickens_at_the_rim(drawn):
    """Plastic flow keeps volume: thickness times area of every triangle is that at rest, within the elastic part."""
    r, _ = drawn
    m = r.model
    x, tri = m.x, m.patches.conn[:, :3]
    area = np.linalg.norm(np.cross(x[tri[:, 1]] - x[tri[:, 0]], x[tri[:, 2]] - x[tri[:, 0]]), axis=1)
    p = m.patches.points
    rest = np.linalg.norm(np.cross(p[tri[:, 1]] - p[tri[:, 0]], p[tri[:, 2]] - p[tri[:, 0]]), axis=1)
    assert float((m.stretch * area).sum()) == pytest.approx(float(rest.sum()), rel=0.01)
    far = np.linalg.norm(p[tri].mean(1)[:, :2], axis=1) > 14.0
    assert m.stretch[far].mean() > 1.005


def test_a_quarter_is_a_full_model(drawn):
    """Symmetry planes: punch force within 1 %, thickness within 0.5 %, the same shape within 0.02 mm."""
    r, out = drawn
    full_plan = dataclasses.replace(cup.PLAN, force=4 * cup.PLAN.force)
    full = Run(cup.model(full=True, plan=full_plan), draw_operations(full_plan, cup.T))
    got = full.work()
    assert got.stopped is None
    k = r.model.tools.number("punch")
    a = -4 * out.curve["force"][out.curve["operation"] == 1][:, k, 2]
    b = -got.curve["force"][got.curve["operation"] == 1][:, k, 2]
    assert b.max() == pytest.approx(a.max(), rel=0.01)
    p, q = r.model.patches.points[: r.model.patches.n], full.model.patches.points[: full.model.patches.n]
    same = [int(np.argmin(((q - x) ** 2).sum(1))) for x in p]
    assert np.abs(full.model.x[same] - r.model.x[: len(p)]).max() < 0.02
    mean = lambda m: np.sort(np.asarray(m.stretch, dtype=float))  # noqa: E731
    assert mean(full.model)[[0, -1]] == pytest.approx(mean(r.model)[[0, -1]], rel=0.005)


def test_the_same_run_twice_gives_the_same_bits(drawn):
    again = cup.run()
    again.work()
    assert cup.everything(again) == cup.everything(drawn[0])


# -- checkpoints


@pytest.mark.parametrize("rows", [3, 25, 60])
def test_a_run_that_is_cancelled_goes_on_and_gives_the_same_bits(drawn, tmp_path, monkeypatch, rows):
    monkeypatch.setattr(module, "SAVE_EVERY", 0.0)

    class Stop(Watch):
        def step(self, phase, done=0.0, total=0.0):
            if len(going.curve.rows) > rows:
                raise Cancelled("stopped")

    going = cup.run(tmp_path / "a.npz", watch=Stop())
    with pytest.raises(Cancelled):
        going.work()
    monkeypatch.setattr(module, "SAVE_EVERY", 1e9)
    back = cup.run(tmp_path / "a.npz")
    before = len(back.curve.rows)
    out = back.work()
    assert before == 0
    assert out.stopped is None
    assert cup.everything(back) == cup.everything(drawn[0])
    assert not (tmp_path / "a.npz.new").exists()


def test_a_run_killed_in_the_middle_goes_on_and_gives_the_same_bits(drawn, tmp_path):
    saved = tmp_path / "run.npz"
    child = subprocess.Popen(
        [sys.executable, str(Path(cup.__file__)), str(saved)], env={**os.environ, "NUMBA_NUM_THREADS": "1"}, start_new_session=True
    )
    try:
        until = time.monotonic() + 240
        while not saved.with_suffix(".ready").exists():
            assert child.poll() is None, "the child ended by itself"
            assert time.monotonic() < until
            time.sleep(0.05)
        child.send_signal(signal.SIGKILL)
    finally:
        child.kill()
        assert child.wait() == -signal.SIGKILL
    heard = []
    back = cup.run(saved, on_frame=lambda f, c: heard.append(f.time))
    back.work()
    assert 0 < len(heard) < len(back.frames), "it went on from the checkpoint, not from the start"
    assert cup.everything(back) == cup.everything(drawn[0])


def test_a_checkpoint_of_another_run_or_a_damaged_one_is_left_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "SAVE_EVERY", 0.0)
    saved = tmp_path / "a.npz"
    ops = (Operation("hold", (Move("die"), Move("punch"), Move("blankholder", "force", to=200.0, stop=0.1)), 1e-4, frames=1),)
    Run(cup.model(), ops, saved=saved).work()
    whole = saved.read_bytes()
    moved = cup.model()
    moved.tools.set_travel("punch", -3.0)
    for other in (
        Run(cup.model(), (dataclasses.replace(ops[0], time=2e-4),), saved=saved),
        Run(cup.model(real=np.float64), ops, saved=saved),
        Run(moved, ops, saved=saved),
    ):
        other.digest = module.checkpoint.digest(other)
        assert module.checkpoint.load(saved, other) is None
    same = Run(cup.model(), ops, saved=saved)
    same.digest = module.checkpoint.digest(same)
    for damaged in (whole[: len(whole) // 2], b"", b"not an archive", whole[:3000] + b"\xa5" * 400 + whole[3400:]):
        saved.write_bytes(damaged)
        assert module.checkpoint.load(saved, same) is None
    saved.write_bytes(whole)
    assert module.checkpoint.load(saved, same) is not None


# -- early stops


def test_a_force_that_is_no_number_stops_with_place_time_and_the_last_good_frame():
    r = cup.run()
    r.model.external[7, 2] = np.nan
    out = r.work()
    assert "is not a number" in out.stopped
    assert "(time " in out.stopped
    assert "node" in out.stopped or "element" in out.stopped
    assert "last good state is kept" in out.help
    assert np.isfinite(out.frames[-1].x).all()
    assert out.frames[-1].time == 0.0


def test_faces_that_close_beyond_the_sheet_stop_as_lost_contact():
    """A blankholder driven 1.3 mm beyond touching a sheet of 1 mm: the faces cross inside it."""
    ops = (Operation("close", (Move("die"), Move("punch"), Move("blankholder", "stroke", to=1.3)), 1e-3, frames=2),)
    out = Run(cup.model(), ops).work()
    assert out.stopped is not None
    assert "contact is lost at the " in out.stopped
    assert "of its thickness deep in it, hardest pressed near [" in out.stopped
    assert "operation close, time " in out.stopped
    assert "likely the gap between the faces is narrower than the sheet" in out.stopped
    assert "clearance" in out.help
    assert np.isfinite(out.frames[-1].x).all()
    assert 0.3 < out.curve["travel"][-1][2] < 1.3
    assert out.frames[0].time == 0.0


def test_an_element_pushed_through_itself_stops_with_element_place_and_cause():
    r = cup.run()
    m = r.model
    inner = 20
    m.prescribe([inner], "x", m.history([0.0, 1e-5, 1.0], [0.0, 4e5, 4e5]))
    out = r.work()
    assert out.stopped is not None
    assert out.stopped.startswith("element ")
    assert " near [" in out.stopped
    assert "inside out" in out.stopped or "yield surface" in out.stopped or "not a number" in out.stopped
    assert np.isfinite(out.frames[-1].x).all()
    k = int(out.stopped.split()[1])
    assert inner in m.patches.conn[k, :6]


# -- operations and guards


def test_tools_away_and_a_second_hit_pass_the_state_on():
    """Draw, lift, and press again (restrike): the second hit starts from the state of the first and hardly changes it."""
    ops = (
        *draw_operations(cup.PLAN, cup.T),
        Operation("lift", (Move("die"), Move("punch", "stroke", to=-2.0), Move("blankholder", "away")), 1e-3, damping=2e3, frames=1),
        Operation("restrike", (Move("die"), Move("punch", "stroke", to=0.0)), 1.5e-3, damping=2e3, frames=1),
    )
    r = Run(cup.model(), ops)
    out = r.work()
    assert out.stopped is None
    plastic = [f.plastic.copy() for f in out.frames]
    assert (plastic[-1] >= plastic[-2] - 1e-6).all()
    first = plastic[-3]
    assert np.abs(plastic[-1] - first).max() < 0.08
    assert np.median(np.abs(plastic[-1] - first)) < 0.01
    k = r.model.tools.number("blankholder")
    assert r.model.tools.sizes[k, at.Z_MODE] == at.AWAY
    assert not r.model.tools.force("blankholder").any()
    lifted = out.curve["operation"] == 2
    assert np.abs(out.curve["force"][lifted][-1, 1]).max() < 400.0


def test_a_blankholder_by_gap_keeps_its_gap():
    plan = DrawPlan(cup.STROKE, gap=0.05, friction=cup.PLAN.friction, speed=4000.0, frames=2)
    r = Run(cup.model(plan=plan), draw_operations(plan, cup.T))
    out = r.work()
    assert out.stopped is None
    k = r.model.tools.number("blankholder")
    assert out.curve["travel"][-1][k] == pytest.approx(-0.05, abs=1e-4)


def test_a_tool_moved_twice_or_no_operation_is_refused():
    m = cup.model()
    with pytest.raises(InputError, match="there is no operation"):
        Run(m, ())
    twice = Operation("draw", (Move("punch", "stroke", to=0.0), Move("punch")), 1e-3)
    with pytest.raises(InputError, match="moved twice"):
        Run(m, (twice,)).work()
    with pytest.raises(InputError, match="no tool called 'pad'"):
        Run(m, (Operation("draw", (Move("pad"),), 1e-3),)).work()


def test_symmetry_without_sides_on_the_plane_is_refused():
    p, t = cup.quarter()
    with pytest.raises(InputError, match="plane x = 0"):
        symmetric(p + np.array([1.0, 0, 0]), t, "x")
    with pytest.raises(InputError, match="plane y = 0"):
        set_draw(p + np.array([0, 1.0, 0]), t, cup.T, cup.STEEL, (), cup.PLAN, symmetry="y")
