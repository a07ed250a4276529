"""The stage ``finish``: what is asked for, how the surface is prepared, the rack, what is measured. Places in press coordinates."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.errors import InputError
from diewright.finish.dip import rules
from diewright.finish.dip.drag_out import lower_edge
from diewright.finish.findings import findings
from diewright.finish.found import Found
from diewright.finish.plating.baths import bath_called
from diewright.finish.prepare.start import drawn, start
from diewright.finish.prepare.steps import Step, effort, rest_stock, sequence
from diewright.finish.rack.contacts import contacts
from diewright.finish.rack.layout import attitude, lay_out
from diewright.finish.records import bath_log, readings
from diewright.finish.records.plan import plan
from diewright.finish.report import figures, meshes, tables, values
from diewright.finish.spec.alternatives import priced
from diewright.finish.spec.classes import corrosion, wanted
from diewright.finish.spec.significant import HALF, SENSE, Significant
from diewright.finish.surface import of_result
from diewright.geometry.accessible import Probe
from diewright.geometry.loops import outer_loop
from diewright.geometry.mesh import TriMesh
from diewright.geometry.need import positive
from diewright.geometry.sides import Region, regions
from diewright.job.schema import DipStated, FinishStated, Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch

LEAST_REGION = 20.0
"""Smallest region that is named [mm2]."""
MOST_REGIONS = 12
LEAST_SHARE = 0.75
"""Of the sheet's thickness that must be left where nothing is stated (ours)."""


class FinishInputs(BaseModel):
    """What the stage reads of the job: ``[finish]``, the bath's flow of ``[dip]`` for the drag-out, and the sheet's thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    finish: FinishStated
    out_speed: float
    viscosity: float
    density: float
    surface_tension: float
    thickness: float


def _inputs(job: Job) -> FinishInputs:
    d: DipStated = job.dip
    return FinishInputs(
        finish=job.finish, out_speed=d.out_speed, viscosity=d.viscosity, density=d.density, surface_tension=d.surface_tension, thickness=job.sheet.thickness
    )  # fmt: skip


def _files(job: Job) -> dict[str, str]:
    named = {"finish.readings_file": job.finish.readings_file, "finish.bath_log_file": job.finish.bath_log_file}
    return {field: name for field, name in named.items() if name}


def work(inputs: FinishInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Everything from the class to the records. Raises :class:`InputError` for a class, face, grit or rack that cannot be, :class:`FileError` for records that cannot be read."""
    f, sheet = inputs.finish, upstream["sheet"]
    part = upstream["tipping"].meshes["part"]
    mesh, family = part.mesh, str(sheet.values["family"])
    asked = wanted(f, family)
    # the records are read first: what is wrong in them is told at once
    read = readings.read(files["finish.readings_file"].path) if f.readings_file else None
    book = bath_log.read(files["finish.bath_log_file"].path) if f.bath_log_file else None

    watch.step("ball and wheel", 0, 3)
    probe = Probe(mesh, inputs.thickness)
    chord = float(upstream["part"].values.get("mesh", {}).get("chord_error") or 0.0)
    picked = of_result(upstream["surface"])
    wheel = {}
    for k, (name, sense) in enumerate(SENSE.items(), start=1):
        watch.step("ball and wheel", k, 3)
        wheel[name] = probe.wheel_share(0.5 * f.wheel_mm, f.wheel_width, sense, max(0.05, 2.0 * chord))

    watch.step("preparation", 0, 2)
    solution, shape = upstream["solution"], upstream["shape"]
    cells = solution.meshes["part"].cell
    of = np.asarray(shape.meshes["part"].cell["of"]).astype(np.int64)
    pressed = drawn(
        mesh,
        of,
        solution.meshes["part"].mesh,
        solution.meshes["flat"].mesh,
        np.asarray(cells["thickness"]),
        np.asarray(cells["plastic_strain"]),
        inputs.thickness,
    )
    surface = start(mesh, pressed, picked.side, f, family)
    on = picked.picked
    steps = sequence(float(surface.ra[on].max()), float(surface.depth[on].max()), f)
    low, high = _removed(surface.depth, steps, on)
    least = LEAST_SHARE * inputs.thickness if isinstance(f.least_thickness, str) else f.least_thickness
    if least > inputs.thickness:
        raise InputError(
            f"{least:g} mm are to be left of a sheet of {inputs.thickness:g} mm.",
            where="finish.least_thickness",
            help="State less, or a thicker sheet.",
        )
    # both sides lose it where both are polished
    left = pressed.thickness - 1e-3 * high * len(picked.sides)
    area = float(mesh.areas[on].sum()) * len(picked.sides)

    watch.step("rack and records", 1, 2)
    turn = attitude(mesh, f, picked.side)
    density = _density(f)
    mass = 1e-9 * mesh.area * inputs.thickness * positive(float(sheet.values["density"]), "The sheet's density", "kg/m3")
    layout = lay_out(mesh, turn, f, inputs.thickness, mass, density)
    loops = mesh.boundary_loops
    recesses = _missed(mesh, picked, {s: wheel[s] < HALF for s in picked.sides})
    counts = {s: picked.counts(s) for s in picked.sides}
    drag = _drag_out(inputs, mesh, turn[2])
    limits = {"nickel": asked.nickel, "chromium": asked.chromium}
    shares = {"coulometric": 0.01 * f.coulometric_pct, "xrf": 0.01 * f.xrf_pct}
    nickel, chromium = bath_called("watts-nickel"), bath_called("chromium-vi")
    chemistry = bath_log.Chemistry(
        nickel.deposit, float(nickel.curve.at(nickel.mean_a_dm2)), chromium.deposit, float(chromium.curve.at(chromium.mean_a_dm2)), f.nickel_g_l, f.chromic_g_l,
        f.brightener_ml_kah, f.brightener_ml_l, drag,
    )  # fmt: skip
    found = Found(
        stated=f, mesh=mesh, sheet=inputs.thickness, wanted=asked, test=corrosion(asked.service), significant=picked, wheel=wheel, drawn=pressed, start=surface, steps=steps,
        removed=high, removed_least=low, left=left, least=least, recesses=recesses,
        untouched=_missed(mesh, picked, {s: picked.ball[s] < HALF for s in picked.sides}), effort=effort(1e-2 * area, len(steps), f.rate_cm2_min, f.wheel_life_m2),
        layout=layout, turn=turn, contacts=contacts(mesh, turn, picked.any_side, outer_loop(mesh) if loops else -1, layout.contacts),
        spots=plan(mesh, counts, recesses, f.plan_points), drag_out=drag, readings=None if read is None else readings.judge(read, limits, shares),
        book=None if book is None else bath_log.balance(book, chemistry), anodes_kg=0.0 if book is None else bath_log.anode_kg(book, nickel.deposit),
        alternatives=priced(f, family, asked.service, 1e-6 * 2.0 * mesh.area),
    )  # fmt: skip
    return Result(values=values(found), figures=figures(found), findings=findings(found), meshes=meshes(found), tables=tables(found))


def _removed(depth: np.ndarray, steps: list[Step], on: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stock off each triangle that is polished, least and most [µm]: its own start surface, then the scratches of every step."""
    low, high = rest_stock(steps)
    first = steps[0].stock[1] / max(float(depth[on].max()), 1e-12)
    return np.where(on, depth + low, 0.0), np.where(on, first * depth + high, 0.0)


def _missed(mesh: TriMesh, picked: Significant, by_side: dict[str, np.ndarray]) -> list[tuple[str, Region]]:
    """The largest regions of the picked surface on each side that something does not reach."""
    out = [(side, r) for side, missed in by_side.items() for r in regions(mesh, picked.picked & missed, least=LEAST_REGION)]
    return sorted(out, key=lambda x: -x[1].area)[:MOST_REGIONS]


def _density(f: FinishStated) -> float:
    if not isinstance(f.current_density, str):
        return f.current_density
    return max(bath_called(name).mean_a_dm2 for name in ("watts-nickel", "chromium-vi"))


def _drag_out(inputs: FinishInputs, mesh: TriMesh, up: np.ndarray) -> float:
    """Bath carried out by the part, hanging as here [mL/m2 of both sides]; pools are the stage ``dip``'s matter."""
    if not isinstance(inputs.finish.drag_out_ml_m2, str):
        return inputs.finish.drag_out_ml_m2
    area = 2.0 * mesh.area
    millilitres = rules.konishi(area, lower_edge(mesh, up), inputs.out_speed, inputs.viscosity, inputs.density, inputs.surface_tension)
    return 1e6 * millilitres / area


STAGE = Stage(
    name="finish", title="Finish", version=1,
    packages=(
        "finish/spec", "finish/prepare", "finish/rack", "finish/records", "finish/stage", "finish/surface", "finish/found", "finish/report", "finish/report_tables", "finish/findings", "finish/cautions",
        "finish/current/faraday", "finish/plating", "finish/dip/rules", "finish/dip/drag_out", "geometry/accessible", "geometry/sides", "geometry/mesh", "geometry/loops",
    ),
    needs=("part", "tipping", "shape", "sheet", "solution", "surface"), inputs=_inputs, work=work, files=_files,
)  # fmt: skip
