"""The stages ``part`` (the shape as it was read) and ``tipping`` (how it lies in the press)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import DeskError, InputError, SolveError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure, Place
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.part import findings, measure
from diewright.part.holes import Hole, find_holes
from diewright.part.reader import read
from diewright.part.tipping import Candidate, Tipper, press_frame
from diewright.watch import Watch

Vector = tuple[float, float, float]


class PartInputs(BaseModel):
    """What ``part`` reads of the job. The press direction and the sheet thickness count only where they decide something."""

    model_config = ConfigDict(frozen=True)
    file: str
    unit: str
    skin: Literal["auto", "upper", "lower", "middle"]
    direction: Vector | None
    target_edge: float
    chord_error: float
    min_edge: float
    thickness: float


def _part_inputs(job: Job) -> PartInputs:
    p = job.part
    stated = None if isinstance(p.press_direction, str) else p.press_direction
    return PartInputs(
        file=p.file, unit=p.unit, skin=p.skin, direction=stated if p.skin in ("upper", "lower") else None,
        target_edge=p.target_edge, chord_error=p.chord_error, min_edge=p.min_edge, thickness=job.sheet.thickness,
    )  # fmt: skip


def _part_work(inputs: PartInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    if "cad" not in files:
        raise InputError("no CAD file is stated.", where="part.file", help="Name a STEP, IGES or STL file in the job folder.")
    shape = read(
        files["cad"].path, unit=inputs.unit, skin=inputs.skin, direction=inputs.direction, target_edge=inputs.target_edge,
        chord_error=inputs.chord_error, min_edge=inputs.min_edge, watch=watch,
    )  # fmt: skip
    holes = find_holes(shape.mesh, shape.drawn)
    values = {**shape.values, "holes": [h.as_dict() for h in holes]}
    feature = np.maximum(shape.sharp, shape.rim)
    mesh = FieldMesh(
        shape.mesh,
        point={"sharp": feature, "inner_sharp": shape.sharp, "curvature": shape.curvature, "normal": shape.point_normal},
        cell={"face": shape.face, "normal": shape.normal, "quality": shape.quality},
    )
    arrays: dict[str, np.ndarray] = {"feature_edges": shape.mesh.points[shape.edges].reshape(-1, 2, 3)}
    arrays |= {f"hole_{h.id}": h.loop for h in holes}
    figures = (
        Figure(
            key="part.area", label="Area of one skin", value=shape.mesh.area, unit="mm2", formula="sum of the triangles",
            confidence="the mesh leaves out the sagitta of its chords", digits=5,
        ),
        Figure(
            key="part.thickness", label="Thickness in the file", value=values["thickness_found"], unit="mm",
            formula="median distance of the two skins along their normals", confidence=findings.thickness_spread(values),
        ),
    )  # fmt: skip
    return Result(values, figures, tuple(findings.of_part(values, shape.mesh, shape.quality, inputs.thickness)), {"part": mesh}, {}, arrays)


class TippingInputs(BaseModel):
    """What ``tipping`` reads of the job: the stated direction, the thickness [mm], the density of a library sheet [kg/m3]."""

    model_config = ConfigDict(frozen=True)
    direction: Vector | None
    thickness: float
    density: float | None


def _tipping_inputs(job: Job) -> TippingInputs:
    stated = None if isinstance(job.part.press_direction, str) else job.part.press_direction
    return TippingInputs(direction=stated, thickness=job.sheet.thickness, density=_density(job.sheet.material))


def _density(material: str) -> float | None:
    """Density of a library sheet; None for an own sheet of the job, whose file this stage does not read."""
    from diewright.sheet.library import load

    try:
        return float(load(material).values.density.value)
    except DeskError:
        return None


def _tipping_work(inputs: TippingInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    part = upstream["part"]
    fields = part.meshes["part"]
    holes = _holes(part)
    watch.step("judging directions", 0, 1)
    slack = 2.0 * float(part.values["mesh"]["chord_error"])
    tipper = Tipper(fields.mesh, holes, slack, np.asarray(fields.cell["normal"]))
    proposals = tipper.candidates(watch)
    stated = inputs.direction is not None
    if stated:
        chosen = tipper.judge(-np.asarray(inputs.direction, dtype=float), full=True)
    else:
        chosen = proposals[0]
    watch.step("measuring", 0, 1)
    return _measured(inputs, part, tipper, chosen, proposals, stated)


def _holes(part: Result) -> tuple[Hole, ...]:
    return tuple(
        Hole(
            h["id"],
            np.asarray(part.arrays[f"hole_{h['id']}"]),
            tuple(h["centre"]),
            tuple(h["axis"]),
            h["diameter"],
            h["perimeter"],
            h["area"],
        )
        for h in part.values["holes"]
    )


def _measured(inputs: TippingInputs, part: Result, tipper: Tipper, chosen: Candidate, proposals: list[Candidate], stated: bool) -> Result:
    fields = part.meshes["part"]
    direction = chosen.direction / np.linalg.norm(chosen.direction)
    rotation, shift = press_frame(fields.mesh, direction)
    sense = tipper.view.sense(-direction)
    mesh = fields.mesh.moved(rotation, shift)
    mesh = mesh if sense > 0 else mesh.reversed()
    normals = sense * np.asarray(fields.cell["normal"]) @ rotation.T
    curvature = sense * np.asarray(fields.point["curvature"])
    sharp = np.asarray(fields.point["inner_sharp"])
    undercut = tipper.view.undercut(-direction)
    angle = measure.draft(normals)
    depth = -mesh.points[:, 2]
    if not np.isfinite(depth).all() or not np.isfinite(angle).all():
        raise SolveError(
            "the part could not be measured: a depth or a draft angle is not a number.", where="part.file", help="Report the file."
        )
    concave = measure.least_radius(mesh, curvature, sharp, True)
    convex = measure.least_radius(mesh, curvature, sharp, False)
    pierced = sum(h["area"] for h in part.values["holes"])
    round_part = measure.round_part(mesh)
    volume = mesh.area * inputs.thickness
    ratio = float(np.sqrt(4 * (mesh.area + pierced) / np.pi) / round_part["diameter"]) if round_part["is_round"] else None
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    reachable = angle[~undercut]
    values: dict[str, Any] = {
        "direction": [float(v) for v in direction], "rotation": rotation.tolist(), "shift": shift.tolist(),
        "chosen": "stated" if stated else "auto", "candidates": [c.as_dict() for c in proposals],
        "undercut_share": chosen.undercut_share, "balance": chosen.balance, "score": chosen.score,
        "depth": float(depth.max()), "plan_bbox": [low[:2].tolist(), high[:2].tolist()], "bbox": [low.tolist(), high.tolist()],
        "developed_area": mesh.area, "undercut_area": float(mesh.areas[undercut].sum()), "undercut_regions": measure.regions(mesh, undercut, angle),
        "draft_min_deg": float(angle.min()), "draft_min_reachable_deg": float(reachable.min()) if len(reachable) else None,
        "radius_concave_min": concave.value if concave else None, "radius_convex_min": convex.value if convex else None,
        "radius_concave_place": list(concave.place) if concave else None, "radius_convex_place": list(convex.place) if convex else None,
        "volume": volume, "mass_kg": volume * 1e-9 * inputs.density if inputs.density else None,
        "round": round_part, "draw_ratio": ratio, "holes": _in_press(part, rotation, shift),
    }  # fmt: skip
    moved = FieldMesh(
        mesh,
        point={
            "depth": depth,
            "radius": measure.signed_radius(curvature),
            "sharp": np.asarray(fields.point["sharp"]),
            "normal": sense * np.asarray(fields.point["normal"]) @ rotation.T,
        },
        cell={"draft_deg": angle, "undercut": undercut.astype(np.int8), "face": np.asarray(fields.cell["face"])},
    )
    edges = np.asarray(part.arrays["feature_edges"])
    arrays = {"feature_edges": edges @ rotation.T + shift}
    arrays |= {name: np.asarray(a) for name, a in part.arrays.items() if name.startswith("hole_")}
    found = findings.of_tipping(values, part.values, mesh, undercut, inputs.thickness, Place)
    return Result(values, tuple(_figures(values, inputs)), tuple(found), {"part": moved}, {}, arrays)


def _in_press(part: Result, rotation: np.ndarray, shift: np.ndarray) -> list[dict[str, Any]]:
    """The holes in press coordinates, with the angle between each one's axis and the press direction [deg]."""
    out = []
    for h in part.values["holes"]:
        axis = rotation @ np.array(h["axis"])
        askew = float(np.degrees(np.arccos(min(abs(axis[2]), 1.0))))
        out.append({**h, "centre": (rotation @ np.array(h["centre"]) + shift).tolist(), "axis": axis.tolist(), "askew_deg": askew})
    return out


def _figures(v: dict[str, Any], inputs: TippingInputs) -> list[Figure]:
    t = (inputs.thickness, "mm")
    area = (v["developed_area"], "mm2")
    found = [
        Figure(
            key="tipping.depth",
            label="Depth",
            value=v["depth"],
            unit="mm",
            formula="highest less lowest point along the press direction",
            digits=4,
        ),
        Figure(
            key="tipping.area",
            label="Developed area",
            value=v["developed_area"],
            unit="mm2",
            formula="sum of the triangles, holes left out",
            digits=5,
        ),
        Figure(
            key="tipping.volume", label="Volume", value=v["volume"], unit="mm3", formula="V = A t", inputs={"A": area, "t": t}, digits=5
        ),
    ]
    if v["mass_kg"] is not None:
        found.append(Figure(
            key="tipping.mass", label="Mass", value=v["mass_kg"], unit="kg", formula="m = rho A t",
            inputs={"rho": (inputs.density or 0.0, "kg/m3"), "A": area, "t": t}, confidence="sheet of nominal thickness",
        ))  # fmt: skip
    if v["draw_ratio"] is not None:
        found.append(Figure(
            key="tipping.draw_ratio", label="Draw ratio", value=v["draw_ratio"], formula="beta = sqrt(4 A / pi) / d",
            inputs={"A": (v["developed_area"] + sum(h["area"] for h in v["holes"]), "mm2"), "d": (v["round"]["diameter"], "mm")},
            source="constant area: blank and part have the same area, holes filled", confidence="thickness taken as unchanged",
        ))  # fmt: skip
    return found


def in_part_coordinates(mesh: TriMesh, values: Mapping[str, Any]) -> np.ndarray:
    """Points of a press-coordinate mesh in the part's own coordinates, ``(n, 3) [mm]``: ``x = R^T (x' - s)``."""
    return (mesh.points - np.asarray(values["shift"])) @ np.asarray(values["rotation"])


STAGE = Stage(
    name="part", title="The shape", version=1, packages=("part", "geometry/mesh", "geometry/remesh"), needs=(), inputs=_part_inputs, work=_part_work,
    files=lambda job: {"cad": job.part.file} if job.part.file else {},
)  # fmt: skip

TIPPING = Stage(
    name="tipping",
    title="Tipping",
    version=1,
    packages=("part", "geometry/mesh"),
    needs=("part",),
    inputs=_tipping_inputs,
    work=_tipping_work,
)
