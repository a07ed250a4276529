"""The stage ``shape``: what is drawn in the first operation. The tipped part itself unless a person states copies side by side or flanges that are bent later."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from diewright.errors import InputError
from diewright.geometry.loops import outer_loop
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure
from diewright.job.schema import FlangeStated, Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.part import measure
from diewright.shape.bridge import Bridge, bridge
from diewright.shape.carry import carry
from diewright.shape.copies import clear_shadows, placements, shadow
from diewright.shape.fields import Shape, copied_shape, joined_shape, measured, opened_shape
from diewright.shape.findings import Unfolded, findings_of
from diewright.shape.flange import Flange, find_flange, seed_at, seed_of
from diewright.shape.pieces import pieces_of
from diewright.shape.unroll import cylinder_of, unroll
from diewright.watch import Watch

NEAR = 2.0
"""How far from the part a stated point may lie [mm]: it is read off a picture or a drawing; half the thickness at least."""
KEPT = (
    "rotation", "shift", "direction", "depth", "plan_bbox", "bbox", "developed_area", "undercut_area", "undercut_regions", "draft_min_deg", "draft_min_reachable_deg",
    "radius_concave_min", "radius_convex_min", "radius_concave_place", "radius_convex_place", "volume", "round", "draw_ratio", "holes",
)  # fmt: skip
"""What is handed on of tipping's values, measured anew where the shape is another one."""


class ShapeInputs(BaseModel):
    """What the stage reads of the job: copies, their side in plan [deg] and spacing [mm], flanges, thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    copies: Literal["one", "mirrored", "turned", "shifted"]
    side: float
    spacing: float
    flange: tuple[FlangeStated, ...]
    thickness: float


def _inputs(job: Job) -> ShapeInputs:
    s = job.shape
    # where nothing lies beside the part, its side and spacing decide nothing
    side, spacing = (0.0, 0.0) if s.copies == "one" else (s.side, s.spacing)
    return ShapeInputs(copies=s.copies, side=side, spacing=spacing, flange=s.flange, thickness=job.sheet.thickness)


def work(inputs: ShapeInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Pass the tipped part on, or open its flanges and lay copies beside each other."""
    tipping = upstream["tipping"]
    values = {name: tipping.values[name] for name in KEPT if name in tipping.values}
    given = tipping.meshes["part"]
    m = len(given.mesh.triangles)
    maps = {"copy": np.zeros(m, dtype=np.int32), "of": np.arange(m, dtype=np.int32)}
    plain = inputs.copies == "one" and not inputs.flange
    values |= {"changed": not plain, "copies": inputs.copies, "parts": 1, "part_area": given.mesh.area, "flanges": [], "bridge": None}
    if plain:
        fields = FieldMesh(given.mesh, given.point, {**given.cell, **maps})
        return Result(values, meshes={"part": fields}, arrays={**tipping.arrays, "copies": np.eye(4)[None]})
    watch.step("opening flanges", 0, 3)
    own = _own(tipping, maps)
    shape, unfolded, moved = _opened(own, inputs, watch)
    places, joint, edges = np.eye(4)[None], None, {}
    if inputs.copies != "one":
        watch.step("laying copies", 1, 3)
        shape, moved, places, joint = _doubled(shape, moved, inputs)
    watch.step("measuring", 2, 3)
    shape = measured(shape, moved, bool(unfolded))
    up = np.array([0.0, 0.0, 1.0])
    for k in range(len(places)):
        copy = TriMesh(shape.mesh.points, shape.mesh.triangles[shape.cell["copy"] == k])
        edges[f"edge_{k}"] = copy.boundary_loops[outer_loop(copy, up)]
    values |= _values(shape, inputs, bool(unfolded)) | {
        "parts": len(places), "flanges": [u.as_dict() for u in unfolded], "bridge": _bridge_dict(joint) if joint is not None else None
    }  # fmt: skip
    arrays = {"feature_edges": shape.edges, "copies": places, **{f"hole_{i}": loop for i, loop in shape.loops.items()}, **edges}
    if joint is not None:
        arrays |= {f"bridge_{k}": run for k, run in enumerate(joint.runs)}
    return Result(
        values, tuple(_figures(values, unfolded, joint)), tuple(findings_of(unfolded, joint, inputs.thickness, inputs.copies)), {"part": shape.fields}, {}, arrays
    )  # fmt: skip


def _own(tipping: Result, maps: dict[str, np.ndarray]) -> Shape:
    given = tipping.meshes["part"]
    loops = {int(name.removeprefix("hole_")): np.asarray(a).ravel() for name, a in tipping.arrays.items() if name.startswith("hole_")}
    holes = [{**h, "copy": 0, "of": h["id"]} for h in tipping.values.get("holes", []) if h["id"] in loops]
    edges = np.asarray(tipping.arrays.get("feature_edges", np.zeros((0, 2, 3)))).reshape(-1, 2, 3)
    point = {name: np.asarray(a) for name, a in given.point.items()}
    return Shape(given.mesh, point, {**{name: np.asarray(a) for name, a in given.cell.items()}, **maps}, loops, holes, edges)


def _opened(shape: Shape, inputs: ShapeInputs, watch: Watch) -> tuple[Shape, list[Unfolded], NDArray[np.bool_]]:
    """All flanges opened, those that hang on others first."""
    mesh, own = shape.mesh, shape
    moved = np.zeros(len(mesh.triangles), dtype=bool)
    if not inputs.flange:
        return shape, [], moved
    pieces = pieces_of(mesh, shape.cell["face"])
    found: list[tuple[int, FlangeStated, Flange]] = []
    for i, stated in enumerate(inputs.flange):
        where = f"shape.flange.{i}"
        near = max(NEAR, 0.6 * inputs.thickness)
        if stated.face is not None:
            seed = seed_of(shape.cell["face"], stated.face, where)
        elif stated.x is not None and stated.y is not None and stated.z is not None:
            seed = seed_at(mesh, (stated.x, stated.y, stated.z), near, where)
        else:
            raise InputError("a flange needs a point (x, y, z) or a CAD face.", where=where, help="State x, y and z, or face.")
        found.append((i, stated, find_flange(mesh, pieces, seed, inputs.thickness, f"flange {i + 1}", where)))
    _must_nest(own.mesh, found)
    unfolded = []
    for i, stated, flange in sorted(found, key=lambda f: int(f[2].cells.sum())):
        where = f"shape.flange.{i}"
        points, normals = shape.mesh.points, shape.point["normal"]
        angle = 0.0 if isinstance(stated.angle, str) else float(np.radians(stated.angle))
        cylinder = cylinder_of(points, normals, flange, mesh)
        opened = (
            unroll(points, normals, mesh, flange, cylinder, angle)
            if cylinder is not None
            else carry(points, normals, mesh, flange, angle, where, watch)
        )
        shape = opened_shape(shape, opened, flange.cells)
        moved |= flange.cells
        unfolded.append(Unfolded(i + 1, flange, opened, angle, cylinder, TriMesh(opened.points, mesh.triangles)))
    _must_part(shape.mesh, found)
    return shape, sorted(unfolded, key=lambda u: u.number), moved


def _must_nest(mesh: TriMesh, found: list[tuple[int, FlangeStated, Flange]]) -> None:
    """Each two flanges lie apart, or one hangs on the other's flange, not on its bend."""
    for k, (i, _, a) in enumerate(found):
        for j, _, b in found[:k]:
            common = a.cells & b.cells
            if common.any() and not (_within(common, a, b) or _within(common, b, a)):
                at = mesh.centroids[common].mean(axis=0)
                raise InputError(
                    f"flanges {j + 1} and {i + 1} are the same one, or share a bend, at ({at[0]:.1f}, {at[1]:.1f}, {at[2]:.1f}) mm.", where=f"shape.flange.{i}", help="Name each flange once.",
                )  # fmt: skip


def _within(common: NDArray[np.bool_], inner: Flange, outer: Flange) -> bool:
    return bool((common == inner.cells).all() and not (common & outer.bend).any())


def _must_part(mesh: TriMesh, found: list[tuple[int, FlangeStated, Flange]]) -> None:
    """Raises :class:`InputError` where two opened flanges lie over each other in plan."""
    shadows = [shadow(mesh.points, mesh.triangles[f.cells]) for _, _, f in found]
    for k, (i, _, a) in enumerate(found):
        for (j, _, b), other in zip(found[:k], shadows[:k], strict=True):
            if (a.cells & b.cells).any():
                continue
            common = shapely.intersection(shadows[k], other)
            if common.area > 0.01:
                at = common.representative_point()
                raise InputError(
                    f"flanges {j + 1} and {i + 1} share a corner: opened they lie over each other by {common.area:.3g} mm2 at ({at.x:.1f}, {at.y:.1f}) mm.", where=f"shape.flange.{i}",
                    help="Open one of them less, or cut a notch into the corner in CAD.",
                )  # fmt: skip


def _doubled(shape: Shape, moved: NDArray[np.bool_], inputs: ShapeInputs) -> tuple[Shape, NDArray[np.bool_], np.ndarray, Bridge]:
    side = float(np.radians(inputs.side))
    places = placements(shape.mesh, inputs.copies, side, inputs.spacing)
    own = clear_shadows(shape.mesh, places[1])
    both = copied_shape(shape, places)
    joint = bridge(both.mesh, both.point["normal"], len(shape.mesh.triangles), side, inputs.thickness, inputs.spacing)
    whole = joined_shape(both, joint)
    between = shadow(whole.mesh.points, joint.triangles)
    for k, part in enumerate(own):
        common = shapely.intersection(between, part).buffer(-0.02)
        if common.area > 0.1:
            at = common.representative_point()
            raise InputError(
                f"the bridge would lie over copy {k + 1} at ({at.x:.1f}, {at.y:.1f}) mm.", where="shape.side", help="State another side or more spacing; close notches of the edges that face each other in CAD.",
            )  # fmt: skip
    new = np.concatenate([np.tile(moved, len(places)), np.ones(len(joint.triangles), dtype=bool)])
    return whole, new, places, joint


def _values(shape: Shape, inputs: ShapeInputs, opened: bool) -> dict[str, Any]:
    """Tipping's values for the shape that is drawn; the least radii are the part's own unless a bend was opened."""
    mesh, undercut, angle = shape.mesh, shape.cell["undercut"] > 0, shape.cell["draft_deg"]
    low, high = mesh.points.min(axis=0), mesh.points.max(axis=0)
    rounded = measure.round_part(mesh)
    pierced = sum(h["area"] for h in shape.holes)
    out: dict[str, Any] = {
        "depth": float(high[2] - low[2]), "plan_bbox": [low[:2].tolist(), high[:2].tolist()], "bbox": [low.tolist(), high.tolist()], "developed_area": mesh.area,
        "undercut_area": float(mesh.areas[undercut].sum()), "undercut_regions": measure.regions(mesh, undercut, angle), "draft_min_deg": float(angle.min()),
        "draft_min_reachable_deg": float(angle[~undercut].min()) if not undercut.all() else None, "volume": mesh.area * inputs.thickness, "round": rounded,
        "draw_ratio": float(np.sqrt(4 * (mesh.area + pierced) / np.pi) / rounded["diameter"]) if rounded["is_round"] else None, "holes": shape.holes,
    }  # fmt: skip
    if opened:
        for name, concave in (("concave", True), ("convex", False)):
            least = measure.least_radius(mesh, 1.0 / np.asarray(shape.point["radius"]), np.asarray(shape.point["sharp"]), concave)
            out |= {f"radius_{name}_min": least.value if least else None, f"radius_{name}_place": list(least.place) if least else None}
    return out


def _bridge_dict(b: Bridge) -> dict[str, Any]:
    return {
        "gap": list(b.gap),
        "length": b.length,
        "tightest_radius": b.tightest,
        "tightest_at": b.at.tolist(),
        "steepest_deg": b.steepest,
        "corner_deg": b.corner,
    }


def _figures(values: dict[str, Any], unfolded: list[Unfolded], joint: Bridge | None) -> list[Figure]:
    out = [
        Figure(key="shape.depth", label="Depth of the draw shape", value=values["depth"], unit="mm", formula="highest less lowest point along the press direction", digits=4),
        Figure(key="shape.area", label="Area of the draw shape", value=values["developed_area"], unit="mm2", formula="sum of the triangles, holes left out", digits=5),
    ]  # fmt: skip
    if joint is not None:
        out += [
            Figure(key="shape.parts", label="Parts a stroke", value=float(values["parts"]), unit=""),
            Figure(key="shape.bridge_area", label="Area of the bridge", value=values["developed_area"] - values["parts"] * values["part_area"] if not unfolded else None, unit="mm2", formula="A - n A_part",
                   inputs={"n": (float(values["parts"]), ""), "A_part": (values["part_area"], "mm2")}, confidence="cut away after the draw", digits=4),
        ]  # fmt: skip
    for u in unfolded:
        out.append(Figure(
            key=f"shape.flange.{u.number}.arc", label=f"Developed length of bend {u.number}", value=u.opened.length, unit="mm", formula="s = r beta" if u.cylinder is not None else "mean length over the mesh from root to tip line",
            inputs={"r": (u.cylinder.radius, "mm"), "beta": (float(np.degrees(u.opened.angle_was)), "deg")} if u.cylinder is not None else {}, source="arc length on the middle surface kept",
            confidence=f"exact on the arc; the mesh's chords lie up to {u.opened.chord:.2g} mm inside it. The shift of the neutral fibre belongs to the bend calculation", digits=5,
        ))  # fmt: skip
    return out


STAGE = Stage(
    name="shape", title="Draw shape", version=1, packages=("shape", "part/measure", "part/holes", "part/visible"), needs=("tipping",), inputs=_inputs, work=work,
)  # fmt: skip
