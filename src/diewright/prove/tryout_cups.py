"""The tryout on cups: force against handbook forms, limiting ratio, blankholder too low and too high, earing, square cup."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diewright.die.simple import hemisphere_tools, round_cup_tools, square_cup_tools
from diewright.geometry.mesh import TriMesh
from diewright.geometry.plane_mesh import mesh_region
from diewright.mechanics.forming.draw import DrawPlan, draw_operations, set_draw, tools_of
from diewright.mechanics.forming.run import Outcome, Run
from diewright.mechanics.shell.material import ShellMaterial, barlat_yield, hill_from_r, plastic
from diewright.mechanics.shell.model import ShellModel
from diewright.press import drawing
from diewright.prove.tryout_membrane import Membrane, solve

Floats = NDArray[np.float64]
STEEL = {"K": 550.0, "e0": 0.005, "n": 0.21}
RM = STEEL["K"] * STEEL["n"] ** STEEL["n"] * math.exp(STEEL["e0"] - STEEL["n"])
"""Tensile strength of the Swift law: the load is highest at ``e0 + e = n`` [MPa]."""


@dataclass
class Drawn:
    """A draw that was run: forces and energies of the whole part."""

    model: ShellModel
    out: Outcome
    parts: int
    points: Floats

    def force(self, tool: str = "punch") -> Floats:
        """Force of a tool over the draw [N], positive."""
        c, k = self.out.curve, self.model.tools.number(tool)
        return np.abs(c["force"][c["operation"] == self._draw()][:, k, 2]) * self.parts

    def _draw(self) -> int:
        return [m[0] for m in self.out.marks].index("draw") if self.out.stopped is None else int(self.out.curve["operation"][-1])

    def stroke(self) -> Floats:
        """Share of the draw over its rows."""
        c, k = self.out.curve, self.model.tools.number("punch")
        z = c["travel"][c["operation"] == self._draw()][:, k]
        return 1.0 - z / z[0]

    def kinetic(self) -> float:
        """Largest kinetic over internal energy after the first tenth of the stroke."""
        c = self.out.curve
        draw = c["operation"] == self._draw()
        late = self.stroke() > 0.1
        return float((c["kinetic"][draw][late] / c["internal"][draw][late]).max())

    def figures(self) -> dict[str, float]:
        """What every case reports of itself."""
        return {
            "kinetic share": self.kinetic(), "energy balance": float(self.out.curve["balance"].max()),
            "deepest penetration": float(self.out.curve["deepest"].max()),
        }  # fmt: skip


def draw(
    faces: Mapping[str, TriMesh], outline: Floats, t: float, material: ShellMaterial, depth: float, *, edge: float, force: float = 0.0,
    gap: float | None = None, friction: Mapping[str, float], flow: float, quarter: bool = True, speed: float = 5000.0, block: float = 0.1,
    step: float | None = None, work: float = 0.0,
) -> Drawn:  # fmt: skip
    """Draw a blank; ``force`` of the whole blankholder [N], the model a quarter of it where ``quarter``."""
    mesh = mesh_region(outline, size=edge, quarter=quarter)
    x = np.column_stack([mesh.points, np.zeros(len(mesh.points))])
    parts = 4 if quarter else 1
    plan = DrawPlan(depth, force / parts, gap=gap, friction=dict(friction), speed=speed, block=block, frames=4, work=work / parts)
    tools = tools_of({k: (m.points, m.triangles) for k, m in faces.items()}, t, plan, flow_stress=flow)
    model = set_draw(x, mesh.triangles, t, material, tools, plan, symmetry="xy" if quarter else "", step=step)
    run = Run(model, draw_operations(plan, t, mass=model.masses.true))
    return Drawn(model, run.work(), parts, x)


def circle(diameter: float) -> Floats:
    """A round outline."""
    a = np.linspace(0.0, 2.0 * np.pi, 721)[:-1]
    return 0.5 * diameter * np.column_stack([np.cos(a), np.sin(a)])


@cache
def steel_cup(
    ratio: float, *, t: float = 1.0, depth: float = 0.0, force: float = 0.0, quarter: bool = True, edge: float = 2.5, mu: float = 0.08,
    r_value: float = 1.6, speed: float = 5000.0, work: float = 0.0,
) -> Drawn:  # fmt: skip
    """A cup of 50 mm in mild steel, 550 (0.005 + e)^0.21 MPa, punch radius 6, die radius 7, play 1.2 t a side."""
    blank = 50.0 * ratio
    faces = round_cup_tools(50.0, 6.0, 50.0 + 2.4 * t, 7.0, depth, t, blank)
    material = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(r_value, r_value, r_value), STEEL)
    return draw(
        faces, circle(blank), t, material, depth, edge=edge, force=force, friction={"die": mu, "punch": 0.12, "blankholder": mu}, flow=450.0,
        quarter=quarter, speed=speed, work=work,
    )  # fmt: skip


def cup_force() -> dict[str, float]:
    """Ratio 1.8, blankholder 1.5 MPa on the flange: the largest punch force against two handbook forms, both with ``Rm`` of the same law."""
    blank = 90.0
    holder = 1.5 * math.pi / 4.0 * (blank**2 - (52.4 + 14.0) ** 2)
    got = steel_cup(1.8, depth=26.0, force=holder)
    top = float(got.force().max())
    strain = math.log(1.8)
    mean = STEEL["K"] * ((STEEL["e0"] + strain) ** 1.21 - STEEL["e0"] ** 1.21) / (1.21 * strain)
    groover = drawing.draw_force_groover(50.0, 1.0, RM, blank)
    siebel = drawing.draw_force_siebel(51.2, 1.0, mean, blank / 51.2)
    return {"over Groover's form": top / groover, "over Siebel's form": top / siebel, **got.figures()}


def tears(got: Drawn, t: float) -> bool:
    """The rule, stated before any run: a place that draws in plane strain tears when its thickness strain passes Keeler's plane-strain limit.

    ``FLC0 = (23.3 + 14.13 t) n/0.21`` per cent of engineering strain, ``t`` in mm and 3 at most; or the run stops.
    """
    limit = math.log(1.0 + (23.3 + 14.13 * min(t, 3.0)) * STEEL["n"] / 0.21 / 100.0)
    return got.out.stopped is not None or -math.log(float(np.asarray(got.model.stretch).min())) > limit


def limiting_ratio() -> dict[str, float]:
    """r 1.6: Whiteley gives 2.32 to 2.46 for an efficiency of 0.74 to 0.79; a cup of 1.9 has to draw, those of 2.6 and 2.8 have to tear. Blankholder 2 MPa.

    They are drawn until the force is past its highest: 30 mm of 33, and 45 mm of 72 and 85.
    """
    out = {}
    for ratio, depth in ((1.9, 30.0), (2.6, 45.0), (2.8, 45.0)):
        holder = 2.0 * math.pi / 4.0 * ((50.0 * ratio) ** 2 - 66.4**2)
        got = steel_cup(ratio, depth=depth, force=holder)
        out[f"tears at {ratio:g}"] = float(tears(got, 1.0))
        out[f"least thickness at {ratio:g}"] = float(np.asarray(got.model.stretch).min())
    return out


def wrinkle(got: Drawn, t: float) -> float:
    """Largest gap [mm] between the die and the lower skin of the flange outside the die radius."""
    m = got.model
    x = m.x[: m.patches.n]
    share = np.zeros(m.patches.n)
    count = np.zeros(m.patches.n)
    np.add.at(share, m.patches.conn[:, :3], np.asarray(m.stretch, dtype=float)[:, None])
    np.add.at(count, m.patches.conn[:, :3], 1.0)
    flange = np.hypot(x[:, 0], x[:, 1]) > 25.0 + 1.2 * t + 7.0
    return float((x[:, 2] - 0.5 * t * share / np.maximum(count, 1) + 0.5 * t)[flange].max()) if flange.any() else 0.0


def holder_order() -> dict[str, float]:
    """Whole cups, 0.7 mm, ratio 2.0, 30 mm deep; wrinkled means a gap under the flange above a quarter of the thickness; the mesh is the only imperfection."""
    out = {}
    for name, force in (("low", 200.0), ("middle", 10e3), ("high", 160e3)):
        got = steel_cup(2.0, t=0.7, depth=30.0, force=force, quarter=False, edge=3.2)
        gap = wrinkle(got, 0.7)
        out[f"wrinkles, {name}"] = float(gap > 0.25 * 0.7)
        out[f"tears, {name}"] = float(tears(got, 0.7))
        out[f"gap under the flange, {name}"] = gap
    return out


@cache
def square(edge: float = 2.5, *, speed: float = 5000.0, step: float | None = None, quarter: bool = True, depth: float = 40.0) -> Drawn:
    """The square cup of 1993 in mild steel, blankholder 19.6 kN, friction 0.144."""
    faces = square_cup_tools(70.0, 10.0, 8.0, 74.0, 12.0, 5.0, depth, 0.78, 150.0)
    s = 75.0
    steel = plastic(2.06e5, 0.3, 7.85e-9, hill_from_r(1.79, 1.51, 2.27), {"K": 565.32, "e0": 0.007117, "n": 0.2589})
    mu = dict.fromkeys(("die", "punch", "blankholder"), 0.144)
    outline = np.array([[-s, -s], [s, -s], [s, s], [-s, s]])
    return draw(
        faces, outline, 0.78, steel, depth, edge=edge, force=19600.0, friction=mu, flow=450.0, speed=speed, step=step, quarter=quarter
    )


def draw_in(got: Drawn) -> dict[str, float]:
    """Draw-in of the edge on the axes and on the diagonal [mm]."""
    p, x = got.points, got.model.x
    at = lambda a, b: int(np.argmin(np.hypot(p[:, 0] - a, p[:, 1] - b)))  # noqa: E731
    i, j, k = at(75.0, 0.0), at(0.0, 75.0), at(75.0, 75.0)
    return {
        "draw-in DX": 75.0 - float(x[i, 0]), "draw-in DY": 75.0 - float(x[j, 1]), "draw-in DD": math.hypot(75.0, 75.0) - float(np.hypot(x[k, 0], x[k, 1])),
    }  # fmt: skip


def square_cup() -> dict[str, float]:
    """Draw-in at 40 mm, with what the run says of itself."""
    got = square()
    return {**draw_in(got), **got.figures()}


@cache
def aluminium_cup(edge: float = 4.0, depth: float = 53.0) -> Drawn:
    """The AA6016-T4 cup of 2021: Yld2000-2d (published coefficients), Swift, friction 0.09, blankholder 40 kN; drawn through the die.

    On meshes finer than about twice the thickness of the rim single nodes of the rim fold up once it has left the blankholder
    (docs/design/tryout-checks.md), so the mesh is 4 mm.
    """
    faces = round_cup_tools(60.0, 5.0, 62.4, 10.0, depth, 1.0, 107.5)
    alpha = (0.9238, 0.9967, 0.9365, 1.0227, 1.0303, 1.0075, 0.8385, 1.3761)
    metal = plastic(7e4, 0.33, 2.7e-9, barlat_yield(alpha, 8.0), {"K": 498.8, "e0": 0.0089, "n": 0.285})
    mu = dict.fromkeys(("die", "punch", "blankholder"), 0.09)
    return draw(faces, circle(107.5), 1.0, metal, depth, edge=edge, force=40e3, friction=mu, flow=350.0)


def ears(got: Drawn, t: float, rim: float) -> dict[float, float]:
    """Height of the rim above the outside of the bottom at angles to the rolling direction [mm]."""
    p, x = got.points, got.model.x[: got.model.patches.n]
    edge = np.flatnonzero(np.hypot(p[:, 0], p[:, 1]) > rim - 0.05)
    a = np.degrees(np.arctan2(p[edge, 1], p[edge, 0]))
    z = x[edge, 2] - x[:, 2].min() + 0.5 * t
    o = np.argsort(a)
    return {d: float(np.interp(d, a[o], z[o])) for d in (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)}


def earing() -> dict[str, float]:
    """Mean height, ears at 0 and 90, valleys at 45, height of the ears (mean of the two ears less the valley)."""
    got = aluminium_cup()
    h = ears(got, 1.0, 53.75)
    every = [h[0.0], h[90.0]] + 2 * [h[d] for d in (15.0, 30.0, 45.0, 60.0, 75.0)]
    valley = min(h, key=lambda d: h[d])
    return {
        "mean height": float(np.mean(every)), "ear height": 0.5 * (h[0.0] + h[90.0]) - h[45.0], "angle of the valley": valley,
        "angle of the ear below 45": max((0.0, 15.0, 30.0), key=lambda d: h[d]), "angle of the ear above 45": max((60.0, 75.0, 90.0), key=lambda d: h[d]),
        **got.figures(),
    }  # fmt: skip


def dome() -> dict[str, float]:
    """AA5182-O dome, punch 50, die 54 with a radius of 5, blank 100, holder gap 0.24 over 1 mm, friction 0.03, 20 mm deep; Mises, against the membrane."""
    depth, t = 20.0, 1.0
    faces = hemisphere_tools(50.0, 54.0, 5.0, depth, t, 100.0)

    def flow(p: Floats) -> Floats:
        return 315.0 - 189.0 * np.exp(-13.1 * p) + 221.0 * p

    metal = plastic(6.92e4, 0.33, 2.7e-9, hill_from_r(1.0, 1.0, 1.0), flow)
    mu = dict.fromkeys(("die", "punch", "blankholder"), 0.03)
    got = draw(faces, circle(100.0), t, metal, depth, edge=2.5, gap=0.24, friction=mu, flow=350.0)
    theory = solve(
        Membrane(np.linspace(0.0, 50.0, 51), t, 6.92e4, 0.33, (315.0, 189.0, 13.1, 221.0), 25.0, (32.0, 5.0), (0.03, 0.03), 0.24), way=depth
    )
    x = got.model.x[: got.model.patches.n]
    rim = np.hypot(*got.points[:, :2].T) > 49.95
    middle = got.points[got.model.patches.conn[:, :3]].mean(1)
    pole = float(np.asarray(got.model.stretch)[np.hypot(middle[:, 0], middle[:, 1]) < 5.0].mean())
    return {
        "edge radius over membrane": float(np.hypot(x[rim, 0], x[rim, 1]).mean()) / float(theory.r[-1]),
        "pole thickness over membrane": pole / float(theory.share[:5].mean()),
        "punch force over membrane": float(got.force()[-5:].mean()) / theory.force,
        **got.figures(),
    }  # fmt: skip
