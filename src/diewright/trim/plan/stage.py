"""The stage ``plan``: which operations share a die, the force of each press stroke with steps between the steels, the press of each station, and its cycle."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from diewright.errors import InputError
from diewright.geometry.need import positive
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.press.table import OWN, OWN_FILE, Press, generic_presses, own_presses
from diewright.trim.loads.press import press_of
from diewright.trim.plan.found import BLANK_WALL, TRANSFER_FROM, Compound, Found, Group, PlanInputs
from diewright.trim.plan.ops import Operation, operations
from diewright.trim.plan.press import station_of, together
from diewright.trim.plan.stations import automatic, grouped, load_of, tight_webs
from diewright.trim.plan.tell import figures_of, findings_of, tables_of, values_of
from diewright.watch import Watch


def _inputs(job: Job) -> PlanInputs:
    web = 2.0 * job.sheet.thickness if isinstance(job.trim.web_least, str) else job.trim.web_least
    return PlanInputs(
        stated=job.plan, thickness=job.sheet.thickness, quantity=job.job.quantity, press=job.press.name, strokes_per_minute=job.press.strokes_per_minute, entry=job.cutting.entry, pad_lead=job.cutting.pad_lead,
        web_least=web,
    )  # fmt: skip


def _files(job: Job) -> dict[str, str]:
    return {"press.name": OWN_FILE} if job.press.name.startswith(OWN) else {}


def work(inputs: PlanInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """See the module's docstring. Raises :class:`InputError` for stations that cannot be understood and results that give no force."""
    stated = inputs.stated
    presses = own_presses(files["press.name"].path) if "press.name" in files else generic_presses()
    drawn_on = str(press_of(upstream["press"].values)["name"])
    found = operations(upstream, inputs.thickness, inputs.entry, inputs.pad_lead, stated.holder_lead)
    family = str(upstream["sheet"].values.get("family", ""))
    parts = int(positive(upstream["blank"].values.get("parts") or 1, "the parts of a blank"))
    box = list(upstream["blank"].values.get("bbox") or [])
    if len(box) != 2:
        raise InputError("the blank's box must be two lengths.", where="blank.bbox", help="Work the stage 'blank' again.")
    bed = (positive(box[0], "the blank's box", "mm"), positive(box[1], "the blank's box", "mm"))
    feed = stated.feed if stated.feed != "auto" else "transfer" if inputs.quantity >= TRANSFER_FROM else "hand"
    tight = tight_webs(found, upstream["cutting"].values.get("webs") or [], inputs.web_least)
    drawn = [o.name for o in found if o.kind == "draw"]
    groups, unclaimed = grouped(found, stated.station, automatic(found, tight, stated.compound and bool(drawn)))
    stations = []
    for i, g in enumerate(groups):
        watch.step("stations", i, len(groups))
        load = load_of(g, inputs.thickness, stated.stagger_steps)
        stations.append(station_of(i + 1, g, load, presses, inputs, bed, family, parts, feed, drawn_on))
    line = None
    if feed == "transfer" and len(stations) > 1:
        watch.step("transfer")
        whole, load, room = together(stations, *bed)
        line = station_of(0, Group(whole.name, whole.operations, why=whole.why), load, presses, inputs, room, family, parts, feed, drawn_on)
    main = next(
        (s.number for s in stations if any(o.kind == "draw" for o in s.group.operations)),
        max(stations, key=lambda s: float(s.slide.max())).number,
    )
    compound = _compound(found, upstream, presses, inputs, drawn_on) if drawn else None
    f = Found(inputs, feed, found, stations, line, compound, unclaimed, parts, main, list(tight.values()))
    return Result(values_of(f), tuple(figures_of(f)), tuple(findings_of(f)), {}, tables_of(f))


def _compound(
    found: list[Operation], upstream: Mapping[str, Result], presses: tuple[Press, ...], inputs: PlanInputs, drawn_on: str
) -> Compound:
    """One die that cuts the blank and draws it: is the ring between blank edge and punch opening a wall that stands, and does the press give the cutting force so high above bottom."""
    both = {o.name: o for o in found if o.name in ("blank", "draw 1")}
    load = load_of(Group("", tuple(both.values())), inputs.thickness, 0)
    cut = both["blank"].flat
    i = int(np.argmin(np.abs(load.height - load.touch)))
    press = next((p for p in presses if p.name == drawn_on), None)
    height = float(load.height[i])
    have = float(press.capacity(np.array([height]))[0]) if press is not None else 0.0
    outline, opening = upstream["blank"].arrays.get("outline"), upstream["faces"].arrays.get("opening")
    wanted = max(BLANK_WALL[0] * inputs.thickness, BLANK_WALL[1])
    wall = None
    if outline is not None and opening is not None and len(outline) > 2 and len(opening) > 2:
        inner, outer = shapely.Polygon(np.asarray(opening)[:, :2]).buffer(0), shapely.Polygon(np.asarray(outline)[:, :2]).buffer(0)
        wall = float(outer.exterior.distance(inner)) if outer.geom_type == "Polygon" and outer.contains(inner) else 0.0
    if wall is None:
        return Compound(False, "the punch opening is not known", None, wanted, cut, height, have)
    if wall < wanted:
        return Compound(
            False,
            f"the wall between blank edge and punch opening is {wall:.1f} mm at its thinnest, {wanted:.1f} mm are wanted",
            wall,
            wanted,
            cut,
            height,
            have,
        )
    if cut > have:
        return Compound(
            False,
            f"cutting takes {cut / 1000:.0f} kN at {height:.0f} mm above bottom, {drawn_on} gives {have / 1000:.0f} kN there",
            wall,
            wanted,
            cut,
            height,
            have,
        )
    return Compound(
        True,
        f"the wall is {wall:.1f} mm, and {drawn_on} gives {have / 1000:.0f} kN where cutting takes {cut / 1000:.0f} kN",
        wall,
        wanted,
        cut,
        height,
        have,
    )


STAGE = Stage(
    name="plan", title="Press plan", version=1, packages=("trim/plan", "trim/loads", "press", "mechanics/crank"),
    needs=("shape", "sheet", "blank", "press", "faces", "draws", "cutting", "bends"), inputs=_inputs, work=work, files=_files,
)  # fmt: skip
