"""A blank that sags under its weight: a strip over two edges as the beam formula, a blank on a ring, a draw that starts from there."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from diewright.die.loft import joined, loft
from diewright.errors import SolveError
from diewright.mechanics.contact.grid import distance_grid
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.forming.gravity import G, node_weight, sag
from diewright.mechanics.shell.form import at_rest
from diewright.mechanics.shell.material import elastic
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import grid

sys.path.insert(0, str(Path(__file__).parent))
import small_cup as cup

STEEL = elastic(2.06e5, 0.3, 7.85e-9)
LAYERS = through_thickness(3)


def edges(span: float, top: float, radius: float = 5.0) -> Tool:
    """Two round bars along y whose tops lie at ``top``, a span apart along x."""
    at = np.linspace(np.radians(150), np.radians(30), 25)
    bars = []
    for x in (-0.5 * span, 0.5 * span):
        near, far = (np.column_stack([x + radius * np.cos(at), np.full(25, y), top - radius + radius * np.sin(at)]) for y in (-10.0, 20.0))
        bars.append(loft([near, far], closed=False, up=False))
    mesh = joined(bars)
    n = np.cross(*(mesh.points[mesh.triangles[:, k]] - mesh.points[mesh.triangles[:, 0]] for k in (1, 2)))
    triangles = mesh.triangles if n[:, 2].sum() > 0 else mesh.triangles[:, ::-1]
    return Tool("die", distance_grid(mesh.points, triangles, spacing=0.25, band=1.5), (0, 0, 1.0))


def strip(span: float, over: float, thickness: float, nx: int, start: float = 0.0):
    points, triangles, _ = grid(span + 2 * over, 10.0, nx, 2)
    points[:, 0] -= 0.5 * span + over
    points[:, 2] = start
    patches = build_patches(points, triangles, thickness)
    tools = ToolSet((edges(span, -0.5 * thickness),), np.ones(patches.n), 1)
    return patches, tools


def test_a_strip_over_two_edges_sags_as_a_beam():
    """``5 w L^4/(384 EI) - w a^2 L^2/(16 EI)`` at the middle with ``a`` beyond the edges: within 3 %. 1.9 mm on 300 mm at 0.5 mm."""
    span, over, t = 300.0, 10.0, 0.5
    patches, tools = strip(span, over, t, 64)
    found = sag(patches, STEEL, LAYERS, at_rest(patches, LAYERS, kinematic=False), tools)
    w, stiff = STEEL.density * G * t, 2.06e5 * t**3 / 12.0
    expected = w * span**4 * 5 / (384 * stiff) - w * over**2 * span**2 / (16 * stiff)
    middle = np.abs(patches.points[: patches.n, 0]) < 1e-6
    assert expected == pytest.approx(1.88, abs=0.02)
    assert -found.form.x[: patches.n, 2][middle].mean() == pytest.approx(expected, rel=0.03)
    # the edges carry the weight, half each, and hardly dent
    assert found.support[:, 2].sum() == pytest.approx(node_weight(patches, STEEL).sum(), rel=1e-3)
    assert found.support[patches.points[: patches.n, 0] < 0, 2].sum() == pytest.approx(0.5 * found.weight.sum(), rel=1e-2)
    assert found.weight.sum() == pytest.approx(STEEL.density * G * 320 * 10 * t, rel=1e-12)
    assert found.deepest < 0.02
    assert found.left < 1e-5


def test_where_it_begins_does_not_matter():
    """Let down from 3 mm above, it comes to rest at the same place."""
    ends = []
    for start in (0.0, 3.0):
        patches, tools = strip(200.0, 10.0, 0.5, 22, start)
        ends.append(sag(patches, STEEL, LAYERS, at_rest(patches, LAYERS, kinematic=False), tools).form.x[: patches.n, 2])
    assert np.abs(ends[0] - ends[1]).max() < 2e-3
    assert ends[0].min() < -0.3


def test_a_blank_that_misses_its_edges_is_refused():
    patches, _ = strip(200.0, 10.0, 0.5, 10)
    away = ToolSet((edges(600.0, -0.25),), np.ones(patches.n), 1)
    with pytest.raises(SolveError, match="falls past|finds no rest"):
        sag(patches, STEEL, LAYERS, at_rest(patches, LAYERS, kinematic=False), away)


def test_a_blank_on_a_die_ring_lies_on_it_and_bows_into_its_opening():
    """A quarter of a thin blank on the small cup's die: the ring carries its weight; the middle hangs a little below the flange."""
    points, triangles = cup.quarter(8, 17.0)
    from diewright.mechanics.forming.draw import symmetric

    patches = build_patches(points, triangles, cup.T, mirrors=symmetric(points, triangles, "xy"))
    die = ToolSet(tuple(t for t in cup.tools() if t.name == "die"), np.ones(patches.n), 1)
    heavy = elastic(2.06e5, 0.3, 7.85e-6)  # a thousand times steel: sags by something that can be seen
    found = sag(patches, heavy, LAYERS, at_rest(patches, LAYERS, kinematic=False), die, symmetry="xy")
    z = found.form.x[: patches.n, 2]
    assert found.support[:, 2].sum() == pytest.approx(found.weight.sum(), rel=1e-3)
    r = np.hypot(points[:, 0], points[:, 1])
    assert z[0] == z.min() < z[r > 14.8].mean() - 1e-3
    assert found.support[r < 13.0].max() == 0.0
