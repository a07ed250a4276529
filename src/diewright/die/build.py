"""The faces of a part from its mesh to punch, die and blankholder, with everything on the way that they were made from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diewright.die.bridge import bridged
from diewright.die.edge import Edge
from diewright.die.ends import one_way
from diewright.die.extend import Drawn, lead_on
from diewright.die.finer import Finer
from diewright.die.fit import Wanted
from diewright.die.holder_fit import Spread
from diewright.die.made import Made, make
from diewright.die.rim import turned_edge
from diewright.die.seams import Origin
from diewright.die.stated import Places, Values, Way, leads
from diewright.die.surface import fine_surface, same_loop, whole_normals
from diewright.die.sweep import Folds
from diewright.die.zones import Zones, split
from diewright.geometry.mesh import TriMesh
from diewright.watch import Watch

Floats = NDArray[np.float64]

CHORD = 0.02
"""Largest chord error at radii, in thicknesses."""
DISC = 1.0
"""Radius of the disc that is rolled round an edge with notches, in lengths of land, punch radius and die radius together."""
TURN = 12.0
"""Largest turn of the surface along one triangle edge [deg]."""


@dataclass(frozen=True)
class Stated:
    """What decides the faces beside the part: ``thickness`` and ``wall`` (gap at a vertical wall) [mm], the section's ``values``, ``way`` and ``places``, and the blankholder ``wanted``."""

    thickness: float
    wall: float
    values: Values
    way: Way = "auto"
    wanted: Wanted = field(default_factory=Wanted)
    places: Places = ()


@dataclass(frozen=True, eq=False)
class Built:
    """The part's finer middle surface, the edge that is led on, the drawn surface, its zones, the faces, how uneven the draw is, the part's own edge ``trim (k, 3)`` and the
    middles of the notches that were bridged ``(c, 3)``. Without notches ``trim`` is the edge led on."""

    fine: Finer
    edge: Edge
    drawn: Drawn
    zones: Zones
    faces: Made
    spread: Spread
    trim: Floats
    notches: Floats


def build(
    part: TriMesh, exact: Floats | None, outer: NDArray[np.integer], blank: Floats, stated: Stated, watch: Watch,
    numbers: NDArray[np.integer] | None = None,
) -> Built:  # fmt: skip
    """Make the faces of a ``part`` (middle surface) with unit normals ``exact (k, 3)`` at its first points, edge ``outer`` (point numbers) and flat ``blank (j, 2)``;
    ``numbers`` of the CAD faces that its first triangles lie on, if it comes from CAD.

    Raises :class:`SolveError` where they cannot be made, with the place.
    """
    t, values = stated.thickness, stated.values
    watch.step("refining the part's surface", 0, 5)
    fine = fine_surface(part, exact, CHORD * t, TURN)
    watch.step("leading the surface on", 1, 5)
    fine, normals, edge = turned_edge(fine, whole_normals(fine), same_loop(fine.mesh, np.asarray(outer).ravel()))
    edge = one_way(edge)
    own, notches = edge.points, np.zeros((0, 3))
    disc: tuple[float, ...] = (DISC, 2.0 * DISC)
    while True:
        lead, holder, spread = leads(edge, values, t, stated.way, stated.wanted, blank, stated.places)
        try:
            drawn = lead_on(
                fine.mesh, normals, edge, blank, values.land, values.radius + 0.5 * t, CHORD * t, max(4.0 * t, 4.0), lead, holder
            )
        except Folds:
            # only an edge that does not serve as it is gets its notches bridged, first those that a smaller disc does not enter
            if not disc:
                raise
            over = bridged(fine, normals, edge, disc[0] * (values.land + values.punch + values.radius))
            fine, normals, edge, disc = over.fine, over.normals, one_way(over.edge), disc[1:]
            notches = np.concatenate([notches, over.at])
        else:
            break
    watch.step("finding punch and blankholder", 2, 5)
    zones = split(drawn, t)
    watch.step("offsetting the faces", 3, 5)
    origin = None
    if numbers is not None:
        filled = np.full(len(part.triangles) - len(numbers), -1, dtype=np.int64)
        origin = Origin(np.concatenate([np.asarray(numbers, dtype=np.int64), filled])[fine.parent], len(part.points))
    made = make(drawn, zones, t, stated.wall - t, origin)
    return Built(fine, edge, drawn, zones, made, spread, own, notches)
