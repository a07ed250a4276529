"""Two parts in one draw: each is cut out along its own edge, and the bridge between them is scrap."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from trim_parts import grid, trim, upstream

from diewright.develop import stage as develop
from diewright.errors import InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch


def two_up() -> dict[str, Result]:
    """A flat sheet of 120 x 80 mm; the parts are its outer fifths and more, |x| > 12, the bridge lies between."""
    flat = grid(np.linspace(-60, 60, 31), np.linspace(-40, 40, 17))
    before = upstream(flat, flat)
    edges = {}
    for k, side in enumerate((-1.0, 1.0)):
        own = flat.triangles[side * flat.centroids[:, 0] > 12.0]
        used = np.unique(own)
        ring = TriMesh(flat.points[used], np.searchsorted(used, own).astype(np.int32)).boundary_loops[0]
        edges[f"edge_{k}"] = used[ring]
    shape = before["shape"]
    before["shape"] = replace(shape, values={**shape.values, "parts": 2}, arrays=edges)
    return before


def test_each_part_is_cut_out_and_the_bridge_is_scrap():
    r = trim(two_up())
    cuts = {c["id"]: c for c in r.values["cuts"]}
    assert set(cuts) == {"edge_0", "edge_1"}
    for cut in cuts.values():
        assert cut["length_mm"] == pytest.approx(2 * (48 + 80), abs=1e-6)
        assert cut["area_mm2"] == pytest.approx(48 * 80, rel=1e-9)
        assert cut["kind"] == "trim"
    mesh, scrap = r.meshes["drawn"].mesh, np.asarray(r.meshes["drawn"].cell["scrap"]) > 0
    assert mesh.areas[scrap].sum() == pytest.approx(24 * 80, rel=1e-9)
    assert np.abs(mesh.centroids[scrap, 0]).max() < 12.0


def test_a_hole_in_the_bridge_lies_off_the_parts():
    found = {f.key for f in trim(two_up(), [{"x": 0.0, "y": 0.0, "diameter": 8.0, "kind": "pierce"}]).findings}
    beside = {f.key for f in trim(two_up(), [{"x": 40.0, "y": 0.0, "diameter": 8.0, "kind": "pierce"}]).findings}
    assert found - beside == {"trim.scrap.line_1"}


def test_no_blank_is_developed_for_parts_that_are_cut_apart():
    before = two_up()
    before["trim"] = trim(before)
    job = parse({})
    with pytest.raises(InputError, match="2 parts are drawn in one stroke"):
        develop.work(develop._inputs(job), before, {}, Watch())
