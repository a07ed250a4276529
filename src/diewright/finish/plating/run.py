"""One rack in one bath after the other: mesh, current distribution, thickness."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError, SolveError
from diewright.finish.current.cell import Carried, Electrode, Solution
from diewright.finish.current.newton import solve
from diewright.finish.current.skin import plating_skin
from diewright.finish.current.tank import Sheet, TankMesh, mesh_tank
from diewright.finish.plating.baths import AREA, Bath, bath_called
from diewright.finish.plating.rack import Rack, body_pieces, lay_out
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import PlatingBodyStated, PlatingLayerStated, PlatingStated
from diewright.watch import Watch

Floats = NDArray[np.float64]
SIDES = ("upper", "lower")

TRIANGLES = {"coarse": 700, "normal": 2200, "fine": 6000}
"""Triangles of one part that the automatic edge aims at, on the whole; a rack of more than four parts gets fewer each."""
RIM = {"coarse": 0.5, "normal": 0.25, "fine": 0.2}
"""Edge along rims over that on the whole."""
GROWTH = {"coarse": 0.5, "normal": 0.42, "fine": 0.32}
TRIES = 3
FINER = 0.7


@dataclass(frozen=True)
class Meshed:
    """The tank with its parts: ``skin`` the coarse part in press coordinates, ``parts`` it in place, ``roles`` of the bodies, ``tries`` of the mesher."""

    rack: Rack
    skin: TriMesh
    parts: list[TriMesh]
    tank: TankMesh
    roles: dict[str, str]
    edge: float
    rim: float
    tries: int


@dataclass(frozen=True)
class Layer:
    """One deposit. ``density``, ``thickness`` by (part, side): ``(k,)`` [A/dm2], [µm]; ``current`` [A] of the rectifier, ``voltage`` [V],
    ``minutes``, whether that time was found for the least thickness (``timed``), ``shares`` of the current by group [A], ``metal`` on parts and thieves [g]."""

    name: str
    stated: PlatingLayerStated
    bath: Bath
    conductivity: float
    slope: float
    solution: Solution
    density: dict[tuple[int, str], Floats]
    thickness: dict[tuple[int, str], Floats]
    current: float
    mean: float
    voltage: float
    minutes: float
    timed: bool
    shares: dict[str, float]
    metal_parts: float
    metal_thieves: float

    @property
    def energy_kwh(self) -> float:
        """Electrical energy at the electrodes [kWh]."""
        return self.current * self.voltage * self.minutes / 60.0 / 1000.0


@dataclass(frozen=True)
class Plated:
    """The whole sequence. ``significant (k,)`` by side: which triangles of the skin count."""

    mesh: Meshed
    layers: list[Layer]
    significant: dict[str, NDArray[np.bool_]] = field(default_factory=dict)

    def on_significant(self, values: dict[tuple[int, str], Floats]) -> tuple[Floats, Floats]:
        """Values and areas of all significant triangles of all parts."""
        picked = [(v[self.significant[side]], self.mesh.skin.areas[self.significant[side]]) for (_, side), v in values.items()]
        return np.concatenate([a for a, _ in picked]), np.concatenate([b for _, b in picked])


def edges_for(mesh: TriMesh, parts: int, quality: str) -> tuple[float, float]:
    """Wanted edge on the part and along its rims [mm]: an equilateral triangle of edge h has the area 0.433 h2."""
    count = TRIANGLES[quality] * min(1.0, (4.0 / parts) ** 0.7)
    edge = float(np.sqrt(mesh.area / (0.433 * count)))
    return edge, RIM[quality] * edge


def make_mesh(part: TriMesh, stated: PlatingStated, bodies: Sequence[PlatingBodyStated], quality: str, watch: Watch) -> Meshed:
    """Mesh parts and bath; where the coarse part cannot be followed (folds closer than its edges), it is tried again finer.

    Raises :class:`InputError` for things that do not fit into the bath, :class:`SolveError` of the last try.
    """
    edge, rim = edges_for(part, stated.columns * stated.rows, quality)
    anode_edge = max(0.5 * stated.anode_width, edge)
    rack = lay_out(part, stated, anode_edge)
    blocks, plates, roles = body_pieces(bodies, 1.5 * edge)
    for attempt in range(1, TRIES + 1):
        watch.step(f"meshing the bath, try {attempt}", attempt - 1, TRIES)
        try:
            skin = plating_skin(part, edge, rim)
            parts = [skin.moved(rack.rotation, shift) for shift in rack.shifts]
            sheets = [Sheet(f"part_{i + 1}", p) for i, p in enumerate(parts)] + plates
            most = float(np.min(np.array(rack.high) - np.array(rack.low))) / 6.0
            tank = mesh_tank(rack.low, rack.high, [*rack.anodes, *blocks], sheets, growth=GROWTH[quality], most_edge=most, watch=watch)
            return Meshed(rack, skin, parts, tank, roles, edge, rim, attempt)
        except SolveError:
            if attempt == TRIES:
                raise
            edge, rim = FINER * edge, FINER * rim
    raise AssertionError("the last try returns or raises")


def plate(
    meshed: Meshed,
    stated: PlatingStated,
    significant: dict[str, NDArray[np.bool_]],
    watch: Watch,
    layers: Sequence[PlatingLayerStated] | None = None,
) -> Plated:
    """Solve every bath on the mesh and grow the deposits."""
    done: list[Layer] = []
    wanted = list(stated.layers if layers is None else layers)
    for k, layer in enumerate(wanted):
        watch.step(f"current in bath {k + 1}", k, len(wanted))
        metal = bath_called(layer.bath).metal
        name = metal if all(d.bath.metal != metal for d in done) else f"{metal}_{k + 1}"
        done.append(_layer(name, layer, meshed, significant, watch.check))
    return Plated(meshed, done, significant)


def _layer(
    name: str, stated: PlatingLayerStated, meshed: Meshed, significant: dict[str, NDArray[np.bool_]], quiet: Callable[[], None]
) -> Layer:
    bath = bath_called(stated.bath)
    kappa = bath.conductivity_s_m if isinstance(stated.conductivity, str) else stated.conductivity
    slope = bath.cathode_slope_v if isinstance(stated.tafel_slope, str) else 1e-3 * stated.tafel_slope
    law = bath.cathode(slope)
    faces = meshed.tank.faces
    cathodes = [
        Electrode(f"part_{i + 1}:{side}", faces[f"part_{i + 1}:{side}"], law, potential=0.0)
        for i in range(len(meshed.parts))
        for side in SIDES
    ]
    thieves: list[Electrode] = []
    floating: list[Electrode] = []
    for body, role in meshed.roles.items():
        if role == "shield":
            continue
        triangles = np.concatenate([f for n, f in faces.items() if n == body or n.startswith(body + ":")])
        (thieves if role == "thief" else floating).append(
            Electrode(body, triangles, law, potential=0.0) if role == "thief" else Electrode(body, triangles, law, current=0.0)
        )
    area = 2.0 * meshed.skin.area * len(meshed.parts) + sum(_area(meshed.tank.points, e.triangles) for e in thieves)
    mean = bath.mean_a_dm2 if isinstance(stated.current_density, str) else stated.current_density
    current = mean * AREA * area if isinstance(stated.current, str) else stated.current
    metal = np.concatenate([faces[a.name] for a in meshed.rack.anodes])
    anode = Electrode("anodes", metal, bath.anode, current=-current, equilibrium=-bath.equilibrium_v)
    solution = solve(meshed.tank.points, meshed.tank.tetrahedra, 1e-3 * kappa, [anode, *cathodes, *thieves, *floating], quiet=quiet)
    density = {(i, side): solution.carried[f"part_{i + 1}:{side}"].of_triangles / AREA for i in range(len(meshed.parts)) for side in SIDES}
    rate = {at: bath.deposit.thickness(v, 1.0, bath.curve.at(v)) for at, v in density.items()}
    least = min(float(v[significant[side]].min()) for (_, side), v in rate.items() if significant[side].any())
    timed = isinstance(stated.minutes, str) and least > 0
    if isinstance(stated.minutes, str):
        mean_rate = float(sum(v @ meshed.skin.areas for v in rate.values())) / (2.0 * meshed.skin.area * len(meshed.parts))
        if mean_rate <= 0:
            raise InputError(
                f"No {name} is deposited anywhere at {mean:.3g} A/dm2.", where="plating.layers.current_density", help="State more current."
            )
        # where the least place gets nothing no time is long enough: the mean then decides, and a finding says so
        minutes = stated.minimum_um / (least if timed else mean_rate)
    else:
        minutes = stated.minutes
    thickness = {at: v * minutes for at, v in rate.items()}
    carried = solution.carried
    parts_metal = sum(float(t @ meshed.skin.areas) for t in thickness.values()) * 1e-6 * bath.density_g_cm3
    return Layer(
        name, stated, bath, kappa, slope, solution, density, thickness, current, current / area / AREA, solution.voltage("anodes", "part_1:upper"), minutes, timed,
        {"parts": sum(carried[c.name].total for c in cathodes), "thieves": sum(carried[t.name].total for t in thieves), "bipolar": sum(_taken(carried[b.name]) for b in floating)},
        parts_metal, sum(_grams(carried[t.name], bath, minutes) for t in thieves),
    )  # fmt: skip


def _taken(c: Carried) -> float:
    """Current that enters a bipolar body, and leaves it elsewhere [A]."""
    flow = c.of_triangles * c.face.areas
    return float(flow[flow > 0].sum())


def _grams(c: Carried, bath: Bath, minutes: float) -> float:
    i = c.of_triangles / AREA
    return float(bath.deposit.thickness(i, minutes, bath.curve.at(i)) @ c.face.areas) * 1e-6 * bath.density_g_cm3


def _area(points: Floats, triangles: NDArray[np.int64]) -> float:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def significant_cells(meshed: Meshed, part: TriMesh, side: str, cells: NDArray[np.bool_] | None = None) -> dict[str, NDArray[np.bool_]]:
    """Which triangles of the coarse part count, by side: all of the chosen side, or those nearest to a part triangle that ``cells (m,)`` says."""
    from igl import AABB

    count = np.ones(len(meshed.skin.triangles), dtype=bool)
    if cells is not None:
        tree = AABB()
        source = np.ascontiguousarray(part.triangles, dtype=np.int64)
        tree.init(part.points, source)
        _, nearest, _ = tree.squared_distance(part.points, source, np.ascontiguousarray(meshed.skin.centroids))
        count = np.asarray(cells, dtype=bool)[nearest]
        if not count.any():
            raise InputError("No triangle of the part is called significant.", where="plating.significant")
    chosen = meshed.rack.outer if side == "auto" else side
    return {s: count if chosen in (s, "both") else np.zeros(len(count), dtype=bool) for s in SIDES}


def surface_cells(meshed: Meshed, part: TriMesh, side: str, surface: FieldMesh | None) -> dict[str, NDArray[np.bool_]]:
    """As :func:`significant_cells`; ``finish`` takes each side's triangles from the cell fields ``significant_<side>`` of the stage ``surface``."""
    if side != "finish" or surface is None:
        return significant_cells(meshed, part, side)
    counts = {s: np.asarray(surface.cell[f"significant_{s}"]) > 0 for s in SIDES}
    return {
        s: significant_cells(meshed, part, s, c)[s] if c.any() else np.zeros(len(meshed.skin.triangles), dtype=bool)
        for s, c in counts.items()
    }
