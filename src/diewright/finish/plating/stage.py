"""The stage ``plating``: how thick each deposit becomes on the parts of a rack, and ``anodes``: where the anodes had better hang.

It computes current and thickness only. Hot, acid and chromic baths are dangerous; how they are run, ventilated and drained is for
licensed practice and local codes, and no number here speaks about it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.finish.plating import findings, report
from diewright.finish.plating.run import Plated, make_mesh, plate, surface_cells
from diewright.finish.plating.search import Tried, search
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job, PlatingStated
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch


class PlatingInputs(BaseModel):
    """What the stages read of the job: the table ``[plating]`` and the sheet's thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    plating: PlatingStated
    thickness: float


def _inputs(job: Job) -> PlatingInputs:
    # the search's own field is no key of the plating
    stated = job.plating.model_copy(update={"tries": PlatingStated.model_fields["tries"].default})
    return PlatingInputs(plating=stated, thickness=job.sheet.thickness)


def _anode_inputs(job: Job) -> PlatingInputs:
    return PlatingInputs(plating=job.plating, thickness=job.sheet.thickness)


def plated(part: TriMesh, stated: PlatingStated, bodies: bool, watch: Watch, surface: FieldMesh | None = None) -> Plated:
    """The rack with or without its bodies; ``surface``: the part with what the stage ``surface`` says is significant."""
    mesh = make_mesh(part, stated, stated.bodies if bodies else (), stated.quality, watch)
    return plate(mesh, stated, surface_cells(mesh, part, stated.significant, surface), watch)


def work(inputs: PlatingInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Mesh the bath, solve each deposit's current, grow it. Raises :class:`InputError` for a rack that does not fit, :class:`SolveError` where mesh or solution fail."""
    part, stated, surface = upstream["tipping"].meshes["part"].mesh, inputs.plating, upstream["surface"].meshes["part"]
    done = plated(part, stated, True, watch, surface)
    tables = report.tables(done)
    found = findings.of_plated(done, inputs.thickness)
    if stated.bodies:
        bare = plated(part, stated, False, watch, surface)
        numbers = [[report.layer_numbers(p, layer) for layer in p.layers] for p in (bare, done)]
        tables["bodies"] = _compared(*numbers)
        found.append(findings.of_bodies([layer.name for layer in done.layers], *numbers))
    return Result(
        values=report.values(done), figures=tuple(report.figures(done)), findings=tuple(found), tables=tables,
        meshes={**report.part_meshes(done), "tank": report.tank_mesh(done)},
    )  # fmt: skip


def _compared(before: list[dict[str, float]], after: list[dict[str, float]]) -> dict[str, np.ndarray]:
    """One row a deposit: the numbers without the bodies (``_without``) and with them (``_with``)."""
    columns = (
        "min_um",
        "thinnest_um",
        "mean_um",
        "max_um",
        "mean_over_min",
        "max_a_dm2",
        "burnt_pct",
        "starved_pct",
        "minutes",
        "voltage_V",
        "thieves_pct",
    )
    out = {"layer": np.arange(1.0, len(before) + 1.0)}
    for c in columns:
        out[f"{c}_without"] = np.array([n[c] for n in before])
        out[f"{c}_with"] = np.array([n[c] for n in after])
    return out


def work_anodes(inputs: PlatingInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Look for a better place of the anodes on a coarse mesh. Raises :class:`SolveError` if not even the stated place could be solved."""
    tried = search(upstream["tipping"].meshes["part"].mesh, inputs.plating, watch, upstream["surface"].meshes["part"])
    best = min(range(len(tried)), key=lambda i: tried[i].ratio)
    first, chosen = tried[0], tried[best]
    fields: dict[str, Any] = {
        "plating.anode_distance": chosen.distance,
        "plating.anode_span": chosen.span,
        "plating.anode_length": chosen.length,
    }
    values: dict[str, Any] = {
        "tries": len(tried),
        "best": best,
        "before": first.ratio,
        "after": chosen.ratio,
        "gain_pct": 100.0 * (1.0 - chosen.ratio / first.ratio),
        "quality": "coarse",
    }
    if best:
        values["take_over"] = {"fields": fields, "files": {}}
    return Result(
        values=values, tables={"tried": {c: np.array([getattr(t, c) for t in tried]) for c in Tried.__dataclass_fields__}}, findings=(_searched(values),),
        figures=(Figure(
            key="anodes.ratio", label="Mean over thinnest, first deposit", value=chosen.ratio, formula="mean / mean of the thinnest 1 % of the significant surface",
            inputs={"distance": (chosen.distance, "mm"), "span": (chosen.span, "mm"), "length": (chosen.length, "mm")}, source="computed current distribution, coarse mesh",
        ),),
    )  # fmt: skip


def _searched(v: dict[str, Any]) -> Finding:
    if not v["best"]:
        return Finding(
            key="anodes.none",
            severity="note",
            sentence=f"None of {v['tries']} places of the anodes is better than the stated one: the mean is {v['before']:.3g} times the thinnest.",
            value=v["before"],
            source="search on a coarse mesh",
            help="Shields, thieves or another way to hang the parts do more.",
        )
    return Finding(
        key="anodes.better",
        severity="note",
        sentence=f"Anodes elsewhere lower the mean over the thinnest from {v['before']:.3g} to {v['after']:.3g}.",
        value=v["after"],
        limit=v["before"],
        source="search on a coarse mesh",
        help="Take the place over, then work the stage plating.",
    )


PACKAGES = ("finish/current", "finish/plating", "geometry/mesh", "geometry/sides", "geometry/remesh", "geometry/plane_mesh_child")
STAGE = Stage(
    name="plating", title="Plating", version=1, packages=PACKAGES, needs=("tipping", "surface"), inputs=_inputs, work=work, slow=True
)
ANODES = Stage(
    name="anodes",
    title="Anode placement",
    version=1,
    packages=PACKAGES,
    needs=("tipping", "surface"),
    inputs=_anode_inputs,
    work=work_anodes,
    slow=True,
)
