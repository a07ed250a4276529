"""The stage ``draws``: a round cup that one draw does not reach, as a sequence of tools: draw, redraws, and a strike of the bottom radius where it is sharp."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.die import draw_rules as rules
from diewright.die.draw_faces import faces
from diewright.die.draw_plan import Draw, Sheet, plan
from diewright.die.draw_profile import Floats
from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh
from diewright.job.findings import Figure, Finding, Place
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

CHORD, ANGLE = 0.02, 5.0
"""Chords of the tools' arcs: sagitta over the thickness, and turn [deg]."""
FLANGE = 2.0
"""How far the rim may stand out from the wall, in thicknesses, before it is a flange (ours)."""
SHAPE = 0.5
"""Deviation of the part from a flat-bottomed cup, in thicknesses, from which on it is told (ours)."""


class DrawsInputs(BaseModel):
    """What the stage reads of the job [mm, kN]: blank, diameters, die radii, forces, clearance, thickness."""

    model_config = ConfigDict(frozen=True)
    blank_diameter: Literal["auto"] | float
    diameters: tuple[float, ...]
    die_radii: tuple[float, ...]
    forces_kn: tuple[float, ...]
    clearance: Literal["auto"] | float
    thickness: float


def _inputs(job: Job) -> DrawsInputs:
    d = job.draws
    return DrawsInputs(
        blank_diameter=d.blank_diameter, diameters=d.diameters, die_radii=d.die_radii, forces_kn=d.forces_kn, clearance=job.faces.clearance, thickness=job.sheet.thickness
    )  # fmt: skip


def work(inputs: DrawsInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Plan the draws and turn their tools; a part that gets no sequence says why."""
    t = inputs.thickness
    why = not_a_cup(upstream["shape"], upstream["press"], t)
    if why:
        note = Finding(
            key="draws.none",
            severity="note",
            sentence=why,
            source="sequences are laid out for round cups without flange",
            help="The tryout of the faces judges a single draw.",
        )
        return Result(
            values={"draws": [], "why_none": why, "blank_diameter": None, "single": None, "round": _is_round(upstream["shape"])},
            findings=(note,),
        )
    table = upstream["press"].values["draw_sequence"]
    sheet = upstream["sheet"].values
    metal = Sheet(t, float(sheet["Rm"]), str(sheet["family"]), float(sheet["anisotropy"]["rbar"]))
    blank = float(table[0]["diameter"]) * float(table[0]["ratio"]) if isinstance(inputs.blank_diameter, str) else inputs.blank_diameter
    gap = None if isinstance(inputs.clearance, str) else inputs.clearance
    if gap is not None and gap < t:
        raise InputError(
            f"a gap of {gap:g} mm does not let a sheet of {t:g} mm through.", where="faces.clearance", help="State more, or auto."
        )
    tip = upstream["shape"].values
    own = tip.get("radius_concave_min")
    bottom = None if own is None else max(float(own) - 0.5 * t, rules.STRIKE_LEAST * t)
    draws = plan(table, blank, metal, bottom, inputs.diameters, [1000.0 * f for f in inputs.forces_kn], gap, inputs.die_radii)
    meshes, arrays = {}, {"blank": _circle(0.5 * blank)}
    for i, d in enumerate(draws):
        watch.step(f"tools of draw {d.draw}", i, len(draws))
        for name, mesh in faces(d, draws[i - 1] if i else None, t, CHORD * t, ANGLE).items():
            meshes[f"{name}_{d.draw}"] = FieldMesh(mesh)
        arrays[f"meridian_{d.draw}"] = d.meridian(t)
    off, at = off_cup(upstream["shape"].meshes["part"].mesh.points, _axis(tip), draws[-1].meridian(t))
    depth = float(tip["depth"])
    values = {
        "draws": [d.as_dict() for d in draws], "why_none": None, "blank_diameter": blank, "single": sum(d.kind != "restrike" for d in draws) == 1, "round": True,
        "thickness": t, "part_height": depth, "part_off_mm": off, "axis": list(_axis(tip)), "notes": _notes(draws),
    }  # fmt: skip
    return Result(
        values=values, figures=tuple(f for d in draws for f in _figures(d, t)), findings=tuple(_findings(draws, depth, off, at, t, upstream["press"])),
        meshes=meshes, arrays=arrays, tables={"draws": _table(draws)},
    )  # fmt: skip


def _is_round(shape: Result) -> bool:
    return bool((shape.values.get("round") or {}).get("is_round"))


def _axis(tip: Mapping[str, Any]) -> tuple[float, float]:
    a = (tip.get("round") or {}).get("axis") or (0.0, 0.0)
    return float(a[0]), float(a[1])


def not_a_cup(shape: Result, press: Result, thickness: float) -> str:
    """Why no sequence is laid out, empty where one is."""
    if press.values.get("operation") != "drawing":
        return "The part is flat: there is nothing to draw."
    if not _is_round(shape):
        return "Only round parts get a sequence of draws; this one is not round and is judged as a single draw."
    table = press.values.get("draw_sequence")
    if not table:
        return "The press figures give no sequence of draws for this part."
    p, axis = shape.meshes["part"].mesh.points, _axis(shape.values)
    rim, wall = float(np.hypot(p[:, 0] - axis[0], p[:, 1] - axis[1]).max()), 0.5 * float(table[-1]["diameter"])
    if rim > wall + FLANGE * thickness:
        return f"The cup has a flange ({2 * rim:.4g} mm over a wall of {2 * wall:.4g} mm): sequences are laid out for cups that are drawn through."
    return ""


def off_cup(points: Floats, axis: tuple[float, float], meridian: Floats) -> tuple[float, tuple[float, float, float]]:
    """Greatest distance [mm] of the part's points from a cup with this meridian standing on its lowest point, and where."""
    rz = np.column_stack([np.hypot(points[:, 0] - axis[0], points[:, 1] - axis[1]), points[:, 2] - points[:, 2].min()])
    line = np.vstack([meridian, meridian[-1:] + np.array([[0.0, 1e4]])])
    a, d = line[:-1], np.diff(line, axis=0)
    share = np.clip(((rz[:, None] - a) * d).sum(axis=2) / (d * d).sum(axis=1), 0.0, 1.0)
    away = np.linalg.norm(rz[:, None] - a - share[..., None] * d, axis=2).min(axis=1)
    i = int(np.argmax(away))
    return float(away[i]), (float(points[i, 0]), float(points[i, 1]), float(points[i, 2]))


def _circle(radius: float) -> Floats:
    at = np.linspace(0.0, 2.0 * math.pi, 361)
    return radius * np.column_stack([np.cos(at), np.sin(at)])


def _table(draws: list[Draw]) -> dict[str, np.ndarray]:
    names = {
        "draw": "draw", "diameter": "diameter_mm", "ratio": "ratio", "height": "height_mm", "punch_radius": "punch_radius_mm", "die_radius": "die_radius_mm",
        "clearance": "clearance_mm", "foot": "foot_mm", "punch_diameter": "punch_diameter_mm", "die_diameter": "die_diameter_mm", "stroke": "stroke_mm",
    }  # fmt: skip
    out = {label: np.array([float(getattr(d, name)) for d in draws]) for name, label in names.items()}
    return out | {"blankholder_kN": np.array([1e-3 * d.holder_force for d in draws])}


def _notes(draws: list[Draw]) -> list[str]:
    out = []
    if len([d for d in draws if d.kind != "restrike"]) > 1:
        out.append("Every draw but the last leaves a cone of 45 degrees at the foot; the next one holds the cup down on it with a sleeve.")
    out.append("The cup is drawn through: its rim passes the die's land, which is relieved below.")
    return out


def _figures(d: Draw, t: float) -> list[Figure]:
    k, name = d.draw, f"{d.kind.capitalize()} {d.draw}"
    if d.kind == "restrike":
        return [
            Figure(
                key=f"punch_radius_{k}",
                label=f"{name}: punch radius",
                value=d.punch_radius,
                unit="mm",
                formula="the part's own",
                inputs={"s": (t, "mm")},
                source=d.source,
            )
        ]
    base: dict[str, tuple[float | str, str]] = {"d": (d.diameter, "mm"), "D": (d.before, "mm"), "s": (t, "mm")}
    return [
        Figure(key=f"ratio_{k}", label=f"{name}: draw ratio", value=d.ratio, formula="beta = d_(n-1) / d_n", inputs=base, source=d.source, confidence="follows exactly from its inputs"),
        Figure(key=f"height_{k}", label=f"{name}: height of the cup", value=d.height, unit="mm", formula="area of bottom, cone, radii and wall = area of the blank", inputs={**base, "foot": (d.foot, "mm")}, source="constant thickness, drawing handbooks", confidence="within about 3 %; ears stand above it"),
        Figure(key=f"clearance_{k}", label=f"{name}: clearance a side", value=d.clearance, unit="mm", formula="u = s + k sqrt(10 s), or the rim's thickness s (D0/d)^(1/(1 + r))", inputs={"s": (t, "mm")}, source="Oehler (from memory); thickness by the r-value; or stated"),
        Figure(key=f"blankholder_force_{k}", label=f"{name}: {'blankholder' if k == 1 else 'sleeve'} force", value=d.holder_force, unit="N", formula="p = [(beta - 1)^2 + d/(200 s)] Rm/400, on the level ring" if k == 1 else "specific pressure, on the projected ring", inputs={**base, "beta": (d.ratio, "")}, source="Siebel form; Kugler, Umformtechnik, Hanser 2009, or stated" if k == 1 else "Romanovskii (from memory), or stated", confidence="for redraws an order of size"),
    ]  # fmt: skip


def _findings(draws: list[Draw], depth: float, off: float, at: tuple[float, float, float], t: float, press: Result) -> list[Finding]:
    last, out = draws[-1], []
    if sum(d.kind != "restrike" for d in draws) == 1:
        out.append(
            Finding(
                key="draws.single",
                severity="note",
                value=last.ratio,
                sentence=f"One draw is enough for this cup (draw ratio {draws[0].ratio:.3g}).",
                source=last.source,
                help="The tryout of the faces judges it.",
            )
        )
    if last.height < depth:
        out.append(Finding(
            key="draws.height", severity="attend", value=last.height, limit=depth, unit="mm", source="constant area of the middle surface",
            sentence=f"The blank of {draws[0].before:.4g} mm gives a cup {last.height:.4g} mm high on the mean, the part is {depth:.4g} mm high: nothing is left to trim.", help="State a larger draws.blank_diameter.",
        ))  # fmt: skip
    if last.kind == "restrike":
        out.append(Finding(
            key="draws.restrike", severity="note", value=last.punch_radius, limit=rules.least_punch_radius(t), unit="mm", source="least punch radius of a draw 4 s (handbook, from memory)",
            sentence=f"The part's bottom radius of {last.punch_radius:.3g} mm is sharper than a draw takes: it is drawn with {draws[-2].punch_radius:.3g} mm and struck.", help="A larger radius on the part saves this hit.",
        ))  # fmt: skip
    if off > SHAPE * t:
        out.append(Finding(
            key="draws.shape", severity="attend", value=off, limit=SHAPE * t, unit="mm", source="distance of the part's middle surface to the cup of the last draw", place=Place(points=(at,), label="farthest from the cup"),
            sentence=f"The part is no flat-bottomed cup: it lies up to {off:.2f} mm off the shape of the last draw.", help="A further hit with the part's own faces has to form the rest.",
        ))  # fmt: skip
    if press.values.get("draw_table_inside") is False:
        out.append(Finding(
            key="draws.table", severity="attend", value=100.0 * t / draws[0].before, unit="%", source="Romanovskii (from memory): 100 t/D from 0.08 to 2",
            sentence="The relative thickness lies outside the table of draw ratios: its end is taken.", help="Let the tryout of the draws decide.",
        ))  # fmt: skip
    return out


STAGE = Stage(
    name="draws", title="The draws", plural=True, version=1, packages=("die", "geometry"), needs=("shape", "sheet", "blank", "press"), inputs=_inputs, work=work
)  # fmt: skip
