"""Loose regions and flat faces."""

import numpy as np
import pytest
from sheets import cup_profile, disc_mesh, turned

from diewright.geometry.mesh import TriMesh
from diewright.tryout.loose import flat_faces, loose_regions

FLAT, TRIANGLES = disc_mesh(80.0, 3.0)
MESH = TriMesh(np.column_stack([FLAT, 0 * FLAT[:, 0]]), TRIANGLES)
AT = MESH.centroids
EVERY = np.ones(len(TRIANGLES), dtype=bool)


def test_two_loose_islands_are_found_with_their_areas():
    major, minor = np.full(len(AT), 0.05), np.full(len(AT), 0.01)
    for x, r in ((-40.0, 20.0), (40.0, 12.0)):
        inside = np.hypot(AT[:, 0] - x, AT[:, 1]) < r
        major[inside], minor[inside] = 0.004, 0.001
    found = loose_regions(MESH, major, minor, EVERY, 0.8)
    assert len(found) == 2
    assert found[0].area == pytest.approx(np.pi * 400, rel=0.05)
    assert found[1].area == pytest.approx(np.pi * 144, rel=0.08)
    assert found[0].major == pytest.approx(0.004)
    assert found[0].share == pytest.approx(found[0].area / MESH.area)
    assert (AT[found[0].cells, 0] < 0).all()


def test_firm_small_or_hidden_regions_are_not_named():
    firm = np.full(len(AT), 0.03)
    assert loose_regions(MESH, firm, np.zeros(len(AT)), EVERY, 0.8) == []
    assert loose_regions(MESH, firm * 0 + 0.015, np.full(len(AT), 0.012), EVERY, 0.8) == []  # stretched a little both ways
    assert loose_regions(MESH, firm * 0 + 0.015, np.full(len(AT), 0.004), EVERY, 0.8) != []
    slack = np.zeros(len(AT))
    assert loose_regions(MESH, slack, slack, ~EVERY, 0.8) == []
    speck = np.hypot(AT[:, 0], AT[:, 1]) < 4.0
    assert loose_regions(MESH, np.where(speck, 0.0, 0.1), slack, EVERY, 0.8) == []


def test_flat_faces_leave_out_the_radii():
    flat, triangles = disc_mesh(95.0, 2.5)
    cup = TriMesh(turned(flat, cup_profile(50.0, 6.5, 8.0, 30.0)), triangles)
    found = flat_faces(cup, 30.0)
    s = np.hypot(*flat[triangles].mean(axis=1).T)
    arc = (s > 46.0) & (s < 51.0)
    assert not found[arc].any()
    assert found[s < 40.0].all()
    assert found[s > 88.0].all()
