"""The stage ``dip``: trapped air, pools, the best attitude, holes that help, drag-out. All places in part (CAD) coordinates."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from pydantic import BaseModel, ConfigDict

from diewright.finish.dip.drag_out import drag_out
from diewright.finish.dip.findings import findings
from diewright.finish.dip.found import Found
from diewright.finish.dip.holes import Bath, measured, with_all
from diewright.finish.dip.live import arrays_of
from diewright.finish.dip.report import figures, meshes, tables, values
from diewright.finish.dip.rules import GRAVITY
from diewright.finish.dip.search import search
from diewright.finish.dip.sheet import bath_sheet
from diewright.geometry.flood_pockets import attitude
from diewright.geometry.flood_space import Space
from diewright.job.schema import DipStated, Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.watch import Watch


class DipInputs(BaseModel):
    """What the stage reads of the job: the table ``[dip]`` and the sheet's thickness [mm]."""

    model_config = ConfigDict(frozen=True)
    dip: DipStated
    thickness: float


def _inputs(job: Job) -> DipInputs:
    return DipInputs(dip=job.dip, thickness=job.sheet.thickness)


def work(inputs: DipInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Fill the space round the part once, search all attitudes, and look closely at the one that is stated or found.

    Raises :class:`InputError` for a part in loose pieces, :class:`SolveError` for one that crosses itself or closes a hollow without a hole.
    """
    d = inputs.dip
    sheet = bath_sheet(upstream["part"], upstream["tipping"], d.hole_least)
    space = Space.round_sheet(sheet.mesh, watch=watch)
    attitude(space, np.array([0.0, 0.0, 1.0]))  # refuses a closed hollow before the search
    upper = np.array([1.0, 0.0]) if sheet.front_is_upper else np.array([0.0, 1.0])
    weight = {"both": np.ones(2), "upper": upper, "lower": 1.0 - upper}[d.significant]
    found = search(space, d.directions, weight, watch)
    watch.step("pockets and holes", 0, 1)
    up = found.best[0] if isinstance(d.attitude, str) else np.asarray(d.attitude, dtype=np.float64)
    at = attitude(space, up, least=d.pocket_least)
    bath = Bath(d.density, d.surface_tension, d.depth, d.in_speed, d.drip_time, d.hole_least)
    air, pools = measured(at, bath)
    mesh = sheet.mesh
    steel = float(upstream["sheet"].values["density"])
    metal = mesh.area * inputs.thickness * 1e-9
    result = Found(
        sheet=sheet, auto=isinstance(d.attitude, str), bath=bath, weight=weight, at=at, air=air, pools=pools, improved=with_all(at, [*air, *pools]) if air or pools else None,
        search=found, best=[attitude(space, u, least=d.pocket_least) for u in found.best],
        drag=drag_out(mesh, at.up, at.pool_total, d.out_speed, d.drip_time, d.viscosity, d.density, d.surface_tension), thickness=inputs.thickness,
        lift=d.density * GRAVITY * 1e-9 * sum(m.kept * m.pocket.volume for m in air), weight_in_bath=(steel - d.density) * metal * GRAVITY,
    )  # fmt: skip
    arrays: dict[str, np.ndarray] = {
        "map_up": found.ups,
        "map_air": found.totals[:, 0],
        "map_air_significant": found.totals[:, 1],
        "map_pool": found.totals[:, 2],
    }
    return Result(
        values=values(result, d, upstream["part"]), figures=figures(result, d), findings=findings(result), meshes=meshes(result), tables=tables(result),
        arrays=arrays | arrays_of(space),
    )  # fmt: skip


STAGE = Stage(
    name="dip", title="Dipping", version=1,
    packages=("finish/dip", "geometry/mesh", "geometry/flood", "geometry/flood_fill", "geometry/flood_fill_child", "geometry/flood_space", "geometry/flood_pockets", "geometry/flood_measure"),
    needs=("part", "tipping", "sheet"), inputs=_inputs, work=work,
)  # fmt: skip
