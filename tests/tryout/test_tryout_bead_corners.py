"""The tryout feels the bead where the toolmaker cuts it, by the same rule, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from diewright.die.details import STAGE as DETAILS
from diewright.die.details import DetailsInputs
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.mechanics.forming.bead_line import lay
from diewright.mechanics.forming.beads import FINE, REACH, bead_field
from diewright.tryout.bead_line import Bead, bead_of, lay_bead, line_outside
from diewright.tryout.setup import tryout_inputs

T = 1.0
SIDE, WIDE, CORNER = 120.0, 80.0, 15.0
OPENING = np.asarray(shapely.box(-SIDE, -WIDE, SIDE, WIDE).buffer(-CORNER).buffer(CORNER, quad_segs=24).exterior.coords)[:-1][::-1]


class Felt:
    """What a bead puts on the tools, read back at points."""

    def set_beads(self, origin: tuple[float, float], spacing: float, raster: np.ndarray) -> None:
        self.origin, self.spacing, self.raster = np.asarray(origin), spacing, raster

    def at(self, xy: np.ndarray) -> np.ndarray:
        i, j = np.floor((xy - self.origin) / self.spacing).astype(int).T
        inside = (i >= 0) & (j >= 0) & (i < self.raster.shape[0]) & (j < self.raster.shape[1])
        return np.where(inside, self.raster[np.clip(i, 0, self.raster.shape[0] - 1), np.clip(j, 0, self.raster.shape[1] - 1)], 0.0)


def upstream() -> dict[str, Result]:
    strain = np.linspace(0.0, 1.0, 300)
    return {
        "faces": Result(values={"die_radius": 5.0}, arrays={"opening": OPENING}),
        "sheet": Result(tables={"hardening": {"strain": strain, "stress": 550.0 * (0.005 + strain) ** 0.22}}),
    }


def stated(**details: object) -> Bead:
    job = parse({"sheet": {"thickness": T}, "tryout": {"bead_kind": "round", "bead_radius": 4.0, "bead_height": 4.0}, "details": details})
    i = tryout_inputs(job)
    bead = bead_of(i.bead_kind, i.bead_radius, i.bead_height, i.bead_offset, 0.0, T, 0.1, upstream(), i.bead_flat, i.bead_least_radius)
    assert bead is not None
    return bead


def felt(bead: Bead) -> Felt:
    at = np.arange(-190.0, 191.0, 5.0)
    x, y = (g.ravel() for g in np.meshgrid(at, at, indexing="ij"))
    n = len(at)
    i, j = (g.ravel() for g in np.meshgrid(np.arange(n - 1), np.arange(n - 1), indexing="ij"))
    a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
    tools = Felt()
    lay_bead(tools, bead, np.column_stack([x, y, 0 * x]), np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]), OPENING)  # type: ignore[arg-type]
    return tools


def test_corners_of_a_pan_carry_no_bead_force():
    bead = stated()
    assert bead.pieces is not None
    assert len(bead.pieces) == 4
    tools, whole = felt(bead), felt(stated(bead_least_radius=0.0))
    line = np.array(
        [
            line_outside(OPENING, bead.offset).interpolate(s).coords[0]
            for s in np.arange(0.0, line_outside(OPENING, bead.offset).length, 1.0)
        ]
    )
    corner = (np.abs(line[:, 0]) > SIDE - CORNER) & (np.abs(line[:, 1]) > WIDE - CORNER)
    assert not tools.at(line[corner]).any()
    assert (whole.at(line[corner]) > 0).all()
    middle = (np.abs(line[:, 0]) < SIDE - 50.0) | (np.abs(line[:, 1]) < WIDE - 50.0)
    # the band falls from its middle to nothing over REACH edges of FINE cells; a place is read from the middle of its cell
    peak = bead.restraint / (REACH * FINE * tools.spacing)
    for found in (tools, whole):
        assert found.at(line[middle]) == pytest.approx(np.full(middle.sum(), peak), rel=1.0 / (REACH * FINE))
    # a piece holds nothing beyond its end, where the sheet comes in round the corner
    for points in bead.pieces:
        way = points[-1] - points[-2]
        assert not tools.at(points[-1] + np.linspace(1.5, 30.0, 20)[:, None] * tools.spacing * way / np.linalg.norm(way)).any()
    # what is held back in all is the restraint times what is cut
    for found, length in ((tools, bead.length), (whole, float(line_outside(OPENING, bead.offset).length))):
        assert float(found.raster.sum()) * found.spacing**2 == pytest.approx(bead.restraint * length, rel=0.002)
    assert bead.length < 0.75 * stated(bead_least_radius=0.0).length


def test_the_pieces_are_those_that_the_details_cut():
    for details in ({}, {"bead_least_radius": 20.0}, {"bead_least_radius": 300.0}):
        job = parse(
            {"sheet": {"thickness": T}, "tryout": {"bead_kind": "round", "bead_radius": 4.0, "bead_height": 4.0}, "details": details}
        )
        d = DETAILS.inputs(job)
        assert isinstance(d, DetailsInputs)
        theirs = lay(OPENING, d.bead_kind, d.bead_radius, d.bead_height, d.bead_flat, d.bead_offset, d.bead_least_radius, T, 5.0).line
        bead = stated(**details)
        assert bead.length == pytest.approx(theirs.cut_length, rel=1e-3)
        assert (bead.pieces is None) == bool(theirs.on.all())
        for ours, (points, _) in zip(bead.pieces or (), theirs.cut_lines() if bead.pieces is not None else (), strict=True):
            assert np.array_equal(ours, points)


def test_cut_all_round_it_is_the_closed_line_as_ever():
    bead = stated(bead_least_radius=0.0)
    assert bead.pieces is None
    path = np.asarray(line_outside(OPENING, bead.offset).coords)
    found = felt(bead)
    again = bead_field([path], bead.restraint, found.spacing * FINE)
    assert np.array_equal(again.raster, found.raster)


def test_where_nothing_is_cut_nothing_is_felt():
    around = 30.0 * np.column_stack([np.cos(a := np.linspace(0, 2 * np.pi, 200, endpoint=False)), np.sin(a)])
    up = upstream()
    up["faces"].arrays["opening"] = around
    bead = bead_of("round", 4.0, 4.0, "auto", 0.0, T, 0.1, up, 0.0, 100.0)
    assert bead is not None
    assert bead.pieces == ()
    assert bead.length == 0.0
    assert not hasattr(felt(bead), "raster")
