"""A draw bead and the blank's weight in a run of the tryout: what the job states is what the sheet feels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import Delaunay

from diewright.die.simple import round_cup_tools
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import Job
from diewright.job.stage import FieldMesh, Result
from diewright.mechanics.forming.beads import bead_restraint
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.tryout.bead_line import Bead, bead_of, line_outside
from diewright.tryout.press_run import Wanted, press_tools, run_press
from diewright.tryout.setup import tryout_inputs
from diewright.watch import Watch

T, STROKE = 1.0, 5.0
STEEL = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.8, 1.5, 2.1), {"K": 550.0, "e0": 0.005, "n": 0.22})
RING = np.linspace(0.0, 2.0 * np.pi, 181)
OPENING = 11.4 * np.column_stack([np.cos(RING), np.sin(RING)])


@pytest.fixture(scope="module")
def upstream() -> dict[str, Result]:
    tools = round_cup_tools(20.0, 4.0, 22.8, 4.0, STROKE, T, 52.0, chord=0.05)
    faces = Result(
        values={"stroke": STROKE, "die_radius": 4.0}, meshes={k: FieldMesh(m, {}, {}) for k, m in tools.items()}, arrays={"opening": OPENING, "die_touch": np.zeros(1)}
    )  # fmt: skip
    strain = np.linspace(0.0, 1.0, 400)
    return {"faces": faces, "sheet": Result(tables={"hardening": {"strain": strain, "stress": 550.0 * (0.005 + strain) ** 0.22}})}


def blank(rings: int = 10, radius: float = 20.0) -> TriMesh:
    """A disc of rings."""
    points, rows = [np.zeros((1, 2))], [[0]]
    for k in range(1, rings + 1):
        a = np.linspace(0.0, 2 * np.pi, 6 * k, endpoint=False)
        rows.append(list(range(sum(map(len, points)), sum(map(len, points)) + 6 * k)))
        points.append(radius * k / rings * np.column_stack([np.cos(a), np.sin(a)]))
    p = np.concatenate(points)
    t = Delaunay(p).simplices
    d1, d2 = p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]]
    area = d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]
    t = np.where((area < 0)[:, None], t[:, ::-1], t)[np.abs(area) > 1e-3]
    return TriMesh(np.column_stack([p, np.zeros(len(p))]), t)


def run(upstream: dict[str, Result], **how):
    wanted = replace(Wanted(8000.0, 8000.0, 4e4, 0.05, 0.15, speed=5000.0, stations=3, frames=3), **how)
    faces = upstream["faces"]
    model, outcome = run_press(
        blank(), T, STEEL, press_tools(faces, T, wanted, 400.0), faces, wanted, rolling=(1.0, 0.0, 0.0), watch=Watch()
    )
    assert outcome.stopped is None
    return model, outcome


def edge_in(model) -> float:
    r0, r = (np.hypot(p[:, 0], p[:, 1]) for p in (model.patches.points[: model.patches.n], model.x[: model.patches.n]))
    return float((r0 - r)[r0 > 19.9].mean())


def test_the_bead_of_a_job_is_that_of_its_cross_section(upstream):
    bead = bead_of("round", 3.0, 3.0, "auto", 0.0, T, 0.1, upstream, 0.0, 0.0)
    assert bead is not None
    own = bead_restraint("round", 3.0, 3.0, T, lambda e: 550.0 * (0.005 + np.asarray(e)) ** 0.22, 0.1)
    assert bead.restraint == pytest.approx(own.force, rel=1e-3)
    assert bead.uplift == pytest.approx(own.uplift, rel=1e-3)
    assert bead.offset == pytest.approx(4.0 + 6.0 + 1.1 + 1.0)
    assert bead.length == pytest.approx(2 * np.pi * (11.4 + bead.offset), rel=2e-3)
    assert bead_of("round", 3.0, 3.0, 9.0, 0.0, T, 0.1, upstream, 0.0, 0.0).offset == 9.0
    assert bead_of("none", 3.0, 3.0, "auto", 0.0, T, 0.1, upstream, 0.0, 0.0) is None
    assert bead_of("round", 3.0, 0.0, "auto", 0.0, T, 0.1, upstream, 0.0, 0.0) is None
    stated = bead_of("none", 3.0, 3.0, "auto", 70.0, T, 0.1, upstream, 0.0, 0.0)
    assert (stated.restraint, stated.uplift) == (70.0, None)
    with pytest.raises(InputError, match="crosses itself"):
        line_outside(np.array([[0, 0], [1, 1], [1, 0], [0, 1.0]]), 1.0)


def test_what_the_job_states_reaches_the_stage():
    job = Job.model_validate(
        {"tryout": {"bead_kind": "square", "bead_radius": 5.0, "bead_offset": 12.0, "gravity": True}, "blank": {"bead_restraint": 80.0}}
    )
    inputs = tryout_inputs(job)
    assert (inputs.bead_kind, inputs.bead_radius, inputs.bead_height, inputs.bead_offset) == ("square", 5.0, 4.0, 12.0)
    assert inputs.bead_restraint == 80.0
    assert inputs.gravity
    assert not tryout_inputs(Job()).gravity


def pull(model, outcome) -> float:
    """Mean radial pull of the sheet between punch and bead [N/mm]."""
    last, t = outcome.frames[-1], model.patches.conn[:, :3]
    at, rest = last.x[t].mean(axis=1), model.patches.points[t].mean(axis=1)[:, :2]
    c, s = (rest / np.hypot(*rest.T)[:, None]).T
    radial = last.stress[:, 0] * c * c + last.stress[:, 1] * s * s + 2.0 * last.stress[:, 2] * c * s
    r = np.hypot(*at[:, :2].T)
    return float((radial * last.stretch * T)[(r > 9.0) & (r < 13.0)].mean())


def test_a_bead_holds_the_sheet_back_with_its_restraint(upstream):
    """A yielding flange hands a pull from outside on unchanged a mm: between punch and bead the sheet carries the restraint more, within a quarter.

    The band of this coarse mesh (2 mm) reaches 4 mm to both sides; what of it lies beyond the edge of the blank holds nothing.
    """
    plain, free = run(upstream, force=3000.0, force_end=3000.0)
    bead = Bead(40.0, None, 0.0, False, 6.0, float(line_outside(OPENING, 6.0).length))
    model, held = run(upstream, force=3000.0, force_end=3000.0, bead=bead)
    edge = np.hypot(*model.x[: model.patches.n, :2].T).max()
    reach = 6.0 / model.tools.bead_at[2] * 2.0  # FINE cells an edge, REACH edges
    share = 1.0 - 0.5 * max(1.0 - (edge - 17.4) / reach, 0.0) ** 2
    assert 0.7 < share < 1.0
    assert pull(model, held) - pull(plain, free) == pytest.approx(share * bead.restraint, rel=0.25)
    assert -held.curve["force"][-1, 1, 2] > -free.curve["force"][-1, 1, 2] + 500.0
    assert edge_in(model) < 0.95 * edge_in(plain)
    assert held.frames[-1].stretch.min() < free.frames[-1].stretch.min() - 0.01
    with pytest.raises(InputError, match="lies outside the blank"):
        run(upstream, bead=replace(bead, offset=40.0))


def test_a_run_that_begins_with_the_sagged_blank(upstream):
    """A small thick blank hardly sags: it begins with its weight on the die and ends as it does without."""
    plain, _ = run(upstream)
    model, outcome = run(upstream, gravity=True)
    first = outcome.frames[0].x
    assert -1e-2 < first[:, 2].min() < 0.0
    assert model.external[: model.patches.n, 2].sum() == pytest.approx(-7.85e-9 * 9810 * blank().areas.sum() * T, rel=1e-5)
    assert np.abs(model.x - plain.x).max() < 0.05
