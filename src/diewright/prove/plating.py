"""Checks of the plating: Faraday's law, and the current distribution against closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from diewright.finish.current import formulas
from diewright.finish.current.cell import Electrode, Solution
from diewright.finish.current.crack import open_surface
from diewright.finish.current.faraday import Metal
from diewright.finish.current.laws import ButlerVolmer, Law, Linear
from diewright.finish.current.newton import solve
from diewright.finish.current.tank import Sheet, mesh_tank
from diewright.finish.plating.baths import bath_called
from diewright.geometry.mesh import TriMesh
from diewright.geometry.plane_mesh import mesh_region
from diewright.prove.plating_cells import Grid, cylinder, disk_wedge, graded, grid, sphere

Floats = NDArray[np.float64]
KAPPA = 0.008
"""8 S/m in S/mm."""
ROCK_SALT = 1.7475646
"""Madelung's constant of rock salt: images of a point in the middle of a cube of edge s with conducting walls lower its potential by this over 4 pi kappa s."""


def nickel_minutes() -> dict[str, float]:
    """The chart of minutes: it rounds Ah/dm2 to hundredths and the minutes from these to two digits, halves upwards."""
    out = {}
    metal = bath_called("watts-nickel").deposit
    for um in (2, 4, 6):
        charge = math.floor(100.0 * metal.minutes(um, 1.0, 0.95) / 60.0 + 0.5) / 100.0
        for i in (0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12):
            minutes = 60.0 * charge / i
            unit = 1.0 if minutes >= 9.95 else 0.1
            out[f"{um} um at {i:g} A/dm2"] = unit * math.floor(minutes / unit + 0.5 + 1e-9)
    return out


def faraday_rates() -> dict[str, float]:
    """Grams an ampere-hour, and micrometres a minute at 1 A/dm2, at 100 %."""
    metals = {"Ni": Metal(58.6934, 2, 8.9), "Cr VI": Metal(51.9961, 6, 7.1), "Cr III": Metal(51.9961, 3, 7.1), "Cu": Metal(63.546, 2, 8.92)}
    out = {f"{n} g/Ah": m.grams_per_ah for n, m in metals.items()}
    return out | {f"{n} um/min": float(m.thickness(1.0, 1.0, 1.0)) for n, m in metals.items()}


def textbook_plate() -> dict[str, float]:
    """Nickel on 43 456 mm2 at 25 A for 60 min with 95 %: multiplied by the efficiency, not divided."""
    return {"thickness": float(Metal(58.6934, 2, 8.9).thickness(25.0 / 4.3456, 60.0, 0.95)) / 1000.0}


def chromium_minutes() -> dict[str, float]:
    """Minutes for 0.25 um of chromium from chromic acid."""
    metal = bath_called("chromium-vi").deposit
    return {f"{i:g} A/dm2 at {100 * e:g} %": metal.minutes(0.25, i, e) for i, e in ((10, 0.10), (10, 0.15), (20, 0.15))}


def two(g: Grid, first: NDArray[np.int64], second: NDArray[np.int64], law: Law | None = None, volts: float = 1.0) -> Solution:
    """The cell between an anode ``first`` and a cathode ``second``."""
    return solve(
        g.points, g.tetrahedra, KAPPA, [Electrode("anode", first, law, potential=volts), Electrode("cathode", second, law, potential=0.0)]
    )


def cylinders() -> dict[str, float]:
    """Concentric cylinders of 10 and 100 mm."""
    g = cylinder(10.0, 100.0, 24, 24)
    s = two(g, g.face(0, math.log(100.0)), g.face(0, math.log(10.0)))
    return {"R L": 1.0 / s.carried["cathode"].total / 4.0 * 10.0 / 1000.0}


def sphere_resistance(n: int) -> float:
    """Resistance [ohm] between spheres of 10 and 100 mm from ``n`` steps a side."""
    g = sphere(10.0, 100.0, n, n)
    return 1.0 / two(g, g.face(0, 0.01), g.face(0, 0.1)).carried["cathode"].total / 6.0


def spheres() -> dict[str, float]:
    """Concentric spheres, and how fast the error falls with the edge."""
    exact = (1 / 10.0 - 1 / 100.0) / (4 * math.pi * KAPPA)
    errors = [abs(sphere_resistance(n) - exact) for n in (6, 12, 24)]
    return {"R": sphere_resistance(24), "order": math.log2(errors[1] / errors[2]), "order coarse": math.log2(errors[0] / errors[1])}


def kinetic_cylinders() -> dict[str, float]:
    """Butler-Volmer kinetics on both cylinders: the current at 2 V against the equation in one unknown."""
    law = ButlerVolmer(1e-6, 0.12, 0.08)
    g = cylinder(10.0, 100.0, 32, 32)
    s = two(g, g.face(0, math.log(100.0)), g.face(0, math.log(10.0)), law, 2.0)
    return {"current": s.carried["cathode"].total * 4.0, "imbalance": s.imbalance}


def strips() -> dict[str, float]:
    """Two flush strips facing each other in a long channel; half of it by symmetry, one step deep."""
    out = {}
    for ratio in (0.5, 1.0, 2.0, 5.0):
        half = 0.5 * ratio
        n = 40 if ratio < 3 else 60
        x = np.concatenate([half - graded(0.0, half, n, 3.0)[::-1], half + graded(0.0, 2.5, 44, 3.5)[1:]])
        g = grid(x, graded(0.0, 1.0, 44, 2.5, both=True), np.array([0.0, 0.05]))
        under = g.face(1, 0.0)
        over = g.face(1, 1.0)
        inside = lambda t, g=g, half=half: t[g.plain[t][:, :, 0].mean(axis=1) < half]  # noqa: E731
        s = two(g, inside(over), inside(under))
        cathode = s.carried["cathode"]
        out[f"R at L/h {ratio:g}"] = KAPPA * 0.05 / (2.0 * cathode.total)
        where = g.points[cathode.face.nodes][:, 0]
        mean = cathode.total / cathode.face.area
        order = np.argsort(where, kind="stable")
        for share in (0.0, 0.25, 0.45):
            out[f"i at L/h {ratio:g}, x/L {share:g}"] = (
                float(np.interp(share * ratio, *_even(where[order], cathode.density[order], cathode.face.weights[order]))) / mean
            )
    return out


def _even(where: Floats, density: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """One value for each place: the mean by area over the nodes that share it."""
    at, number = np.unique(np.round(where, 9), return_inverse=True)
    return at, np.bincount(number, weights=density * weights) / np.bincount(number, weights=weights)


def groove() -> dict[str, float]:
    """Rectangular groove in a flat cathode: width 1, pitch 8, far plane 8 above; middle of the bottom over the mean current of the pitch."""
    out = {}
    for depth in (0.75, 1.0, 2.0):
        x = np.concatenate([0.5 - graded(0.0, 0.5, 24, 2.5)[::-1], 0.5 + graded(0.0, 3.5, 26, 2.5)[1:]])
        z = np.concatenate([-graded(0.0, depth, 40, 2.0)[::-1], graded(0.0, 8.0, 34, 2.5)[1:]])
        g = grid(x, z, np.array([0.0, 0.05]), keep=lambda p: (p[:, 1] > 0) | (p[:, 0] < 0.5))
        bottom, top = g.face(1, -depth), g.face(1, 8.0)
        flat = g.face(1, 0.0)
        wall = g.outer[(np.abs(g.at[:, 0] - 0.5) < 1e-9) & (g.at[:, 1] < 0)]
        s = two(g, top, np.concatenate([bottom, flat, wall]))
        c = s.carried["cathode"]
        at = g.points[c.face.nodes]
        low = np.abs(at[:, 1] + depth) < 1e-9
        places, density = _even(at[low, 0], c.density[low], c.face.weights[low])
        out[f"bottom at d/w {depth:g}"] = float(density[np.argmin(places)]) / (c.total / (4.0 * 0.05))
    return out


def haring_cell() -> dict[str, float]:
    """Haring-Blum cell with linear polarisation: one anode (an inner sheet, opened) 40 and 200 mm from two cathodes."""
    out = {}
    x = np.concatenate([np.linspace(0, 40, 9), np.linspace(40, 240, 41)[1:]])
    g = grid(x, np.linspace(0, 20, 5), np.linspace(0, 20, 5))
    faces = np.concatenate([g.tetrahedra[:, c] for c in ([0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3])])
    inner = np.unique(np.sort(faces[(np.abs(g.points[faces][:, :, 0] - 40.0) < 1e-9).all(axis=1)], axis=1), axis=0)
    opened = open_surface(g.points, g.tetrahedra, inner)
    for resistance in (0.0, 1e-3, 2e-3, 5e-3):
        law = Linear(resistance * 1e6) if resistance else None
        anode = Electrode("anode", np.concatenate([opened.upper, opened.lower]), None, current=-1.0)
        s = solve(
            opened.points,
            opened.tetrahedra,
            KAPPA,
            [anode, Electrode("near", g.face(0, 0.0), law, potential=0.0), Electrode("far", g.face(0, 240.0), law, potential=0.0)],
        )
        out[f"ratio at b {resistance:g}"] = s.carried["near"].total / s.carried["far"].total
        out[f"formula at b {resistance:g}"] = formulas.haring_blum(40.0, 200.0, KAPPA, resistance * 1e6)
    return out


def sinusoid() -> dict[str, float]:
    """A small wave on a flat cathode with linear polarisation: amplitude of the current over its mean."""
    wave, height, resistance = 10.0, 0.1, 2e-3 * 1e6

    def shape(p: Floats) -> Floats:
        lift = height * np.cos(2 * np.pi * p[:, 0] / wave) * (1.0 - p[:, 1] / 20.0)
        return np.column_stack([p[:, 0], p[:, 1] + lift, p[:, 2]])

    g = grid(np.linspace(0.0, wave, 41), graded(0.0, 20.0, 50, 1.6), np.array([0.0, 0.25]), shape)
    cathode = Electrode("cathode", g.face(1, 0.0), Linear(resistance), potential=0.0)
    s = solve(g.points, g.tetrahedra, KAPPA, [Electrode("anode", g.face(1, 20.0), None, potential=1.0), cathode])
    c = s.carried["cathode"]
    where = g.plain[c.face.nodes][:, 0]
    part = 2.0 * float((c.density * np.cos(2 * np.pi * where / wave)) @ c.face.weights) / c.face.area
    return {"amplitude": part / (c.total / c.face.area), "wagner": formulas.wagner_linear(KAPPA, resistance, wave)}


def disk_in_plane() -> dict[str, float]:
    """A disk of 10 mm in an insulating plane, a wedge of it out to ten radii; what lies beyond is added by its share 1 - (2 / pi) arctan 10."""
    reach, angle = 10.0, 0.15
    g = disk_wedge(10.0, reach, 40, 60, angle)
    s = two(g, g.face(0, math.asinh(reach)), g.face(0, 0.0))
    c = s.carried["cathode"]
    share = angle / (2.0 * math.pi)
    out = {"R": share / c.total + (1.0 - 2.0 / math.pi * math.atan(reach)) * formulas.disk_resistance(KAPPA, 10.0)}
    places, density = _even(np.hypot(*g.points[c.face.nodes][:, :2].T) / 10.0, c.density, c.face.weights)
    mean = c.total / (0.5 * angle * 100.0)
    return out | {f"i at r/a {r:g}": float(np.interp(r, places, density)) / mean for r in (0.0, 0.25, 0.5, 0.75, 0.9)}


def disk(edge: float = 0.9, rim: float = 0.12, slope: float = 0.17, growth: float = 0.16, reach: float = 30.0) -> dict[str, float]:
    """A thin disk in a large bath, meshed as a part is: both sides are half of the disk in a plane each."""
    a = 10.0
    turn = np.linspace(0.0, 2 * np.pi, int(2 * np.pi * a / rim) + 2)[:-1]
    plane = mesh_region(
        a * np.column_stack([np.cos(turn), np.sin(turn)]),
        size=lambda x, y: np.minimum(edge, rim + slope * np.maximum(a - np.hypot(x, y), 0.0)),
    )
    sheet = TriMesh(np.column_stack([plane.points, np.zeros(len(plane.points))]), plane.triangles)
    tank = mesh_tank((-reach,) * 3, (reach,) * 3, [], [Sheet("disk", sheet)], growth=growth, most_edge=reach / 6)
    both = np.concatenate([tank.faces["disk:upper"], tank.faces["disk:lower"]])
    s = solve(
        tank.points,
        tank.tetrahedra,
        KAPPA,
        [Electrode("walls", tank.faces["walls"], None, potential=1.0), Electrode("disk", both, None, potential=0.0)],
    )
    c = s.carried["disk"]
    # from the walls to far away, by their images
    resistance = 1.0 / c.total + ROCK_SALT / (4 * np.pi * KAPPA * 2 * reach)
    out = {"R": 2.0 * resistance}
    mean = c.total / c.face.area
    radius = np.hypot(*tank.points[c.face.nodes][:, :2].T) / a
    for share in (0.0, 0.5, 0.9):
        near = np.abs(radius - share) < (0.08 if share < 0.7 else 0.012)
        level = (c.density * np.sqrt(1.0 - np.minimum(radius, 1.0) ** 2))[near]
        out[f"i at r/a {share:g}"] = float(level @ c.face.weights[near] / c.face.weights[near].sum()) / math.sqrt(1.0 - share**2) / mean
    return out


def throwing() -> dict[str, float]:
    """Throwing power of M = 4 and M = 2 at K = 5."""
    return {f"{name} at M {m:g}": value for m in (4.0, 2.0) for name, value in formulas.throwing_power(5.0, m).items()}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "nickel-minutes": nickel_minutes,
    "faraday-rates": faraday_rates,
    "textbook-plate": textbook_plate,
    "chromium-minutes": chromium_minutes,
    "concentric-cylinders": cylinders,
    "concentric-spheres": spheres,
    "kinetic-cylinders": kinetic_cylinders,
    "channel-strips": strips,
    "groove-bottom": groove,
    "haring-cell": haring_cell,
    "wavy-cathode": sinusoid,
    "disk-in-plane": disk_in_plane,
    "free-disk": disk,
    "throwing-power": throwing,
}
