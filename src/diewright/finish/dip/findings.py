"""What the stage ``dip`` has to say."""

from __future__ import annotations

import numpy as np

from diewright.finish.dip import rules
from diewright.finish.dip.found import Found
from diewright.finish.dip.holes import Measured
from diewright.geometry.flood_pockets import Attitude
from diewright.job.findings import Finding, Place, Triple

GEOMETRY = "geometry: the highest way out of the pocket, exact for the mesh; quasi-static"
CAPILLARY = "inferred from pockets 3 to 5 mm wide and 1.6 mm deep that kept pinhole bubbles in every rack tried; no source gives a limit"
TORRICELLI = "Torricelli, Cd 0.62 (handbook, from memory); hot-dip galvanizing tables (EN ISO 14713-2) are upper-bound guidance only"
LEAST_GAIN = 0.5
"""A hole that takes away less than this share of its pocket is reported as of little use."""


def findings(f: Found) -> tuple[Finding, ...]:
    """Findings of pockets, capillarity, holes, lift, search and mesh, in this order."""
    out = [_air(f, i, m) for i, m in enumerate(f.air, 1)]
    out += [_pool(f, i, m) for i, m in enumerate(f.pools, 1)]
    return (*out, *_capillary(f), *_holes(f), *_lift(f), *_attitude(f), *_shut(f), *_mesh(f))


def _place(at: np.ndarray, label: str) -> Place:
    x, y, z = (float(v) for v in at)
    return Place(points=((x, y, z),), label=label)


def _points(found: list[Measured]) -> tuple[Triple, ...]:
    return tuple((float(m.pocket.far[0]), float(m.pocket.far[1]), float(m.pocket.far[2])) for m in found)


def _air(f: Found, i: int, m: Measured) -> Finding:
    p, shown = m.pocket, f.shown(m)
    where = f"on {shown / 100:.3g} cm2 of significant surface" if shown > 0 else "on surface that is not significant"
    return Finding(
        key=f"dip.air.{i}", severity="attend" if shown > 0 else "note",
        sentence=f"{p.volume / 1000:.3g} mL of air stay when the part is lowered, {p.depth:.3g} mm high, {where}: nothing is plated there.",
        value=p.volume, limit=0.0, unit="mm3", source=GEOMETRY, place=_place(p.far, f"highest point of air pocket {i}"),
        help="Hang the part in another attitude; it is too shallow for a hole." if m.holds else f"Hang the part in another attitude, or make a hole of {m.hole:g} mm at its highest point.",
    )  # fmt: skip


def _pool(f: Found, i: int, m: Measured) -> Finding:
    p, film = m.pocket, 1000.0 * f.drag.drained
    return Finding(
        key=f"dip.pool.{i}", severity="attend" if p.volume > film else "note",
        sentence=f"{p.volume / 1000:.3g} mL of the bath stay in the part when it comes out, {p.depth:.3g} mm deep; the rest of the part carries {film / 1000:.3g} mL.",
        value=p.volume, limit=film, unit="mm3", source=f"{GEOMETRY}; limit: the part's drag-out without pools (Konishi et al. 1974)",
        place=_place(p.far, f"lowest point of pool {i}"),
        help="Hang the part in another attitude; it is too shallow for a hole." if m.holds else f"Hang the part in another attitude, or make a hole of {m.hole:g} mm at its lowest point.",
    )  # fmt: skip


def _capillary(f: Found) -> list[Finding]:
    narrow = [("air pocket", i, m) for i, m in enumerate(f.air, 1) if m.width < rules.CAPILLARY_WIDTH]
    narrow += [("pool", i, m) for i, m in enumerate(f.pools, 1) if m.width < rules.CAPILLARY_WIDTH]
    if not narrow:
        return []
    least = min(m.width for _, _, m in narrow)
    return [Finding(
        key="dip.capillary", severity="attend",
        sentence=f"{', '.join(f'{kind} {i} ({m.width:.2g} mm)' for kind, i, m in narrow)}: below {rules.CAPILLARY_WIDTH:g} mm width surface tension decides, and more may stay there than is shown.",
        value=least, limit=rules.CAPILLARY_WIDTH, unit="mm", source=CAPILLARY,
        place=Place(points=_points([m for _, _, m in narrow]), label="narrow pockets"),
        help="Try it with a part in the bath; round the corner or open the groove if bubbles stay.",
    )]  # fmt: skip


def _holes(f: Found) -> list[Finding]:
    every = [*f.air, *f.pools]
    if f.improved is None or not every:
        return []
    air, pool = f.improved.air_total, f.improved.pool_total
    weak = [m for m in every if m.saved < LEAST_GAIN * m.pocket.volume]
    tail = f" {len(weak)} of them take away less than half of their pocket." if weak else ""
    return [Finding(
        key="dip.vent", severity="note",
        sentence=(
            f"With {_count(every)}, air falls from {f.at.air_total / 1000:.3g} to {air / 1000:.3g} mL "
            f"and pools from {f.at.pool_total / 1000:.3g} to {pool / 1000:.3g} mL.{tail}"
        ),
        value=air + pool, limit=f.at.air_total + f.at.pool_total, unit="mm3", source=TORRICELLI,
        place=Place(points=_points(every), label="proposed holes"),
        help="Ask the designer where a hole may be seen; a hole that is only for the bath can be plugged after plating.",
    )]  # fmt: skip


def _count(every: list[Measured]) -> str:
    least, most = min(m.hole for m in every), max(m.hole for m in every)
    if len(every) == 1:
        return f"a hole of {most:g} mm"
    return f"{len(every)} holes of {least:g} mm" if least == most else f"{len(every)} holes of {least:g} to {most:g} mm"


def _lift(f: Found) -> list[Finding]:
    if f.lift < f.weight_in_bath:
        return []
    return [Finding(
        key="dip.lift", severity="attend",
        sentence=f"The trapped air lifts the part with {f.lift:.3g} N, more than its weight in the bath of {f.weight_in_bath:.3g} N: it floats off a hook.",
        value=f.lift, limit=f.weight_in_bath, unit="N", source="Archimedes, air at the pressure of its depth", help="Hold the part down on the rack, or let the air out.",
    )]  # fmt: skip


def _attitude(f: Found) -> list[Finding]:
    best = f.search.best_totals[0]
    now, could = _cost(f, f.at), float(best[1] + best[2])
    if f.auto or now <= could + max(0.05 * now, 1000.0):
        return []
    up = ", ".join(f"{v:.2f}" for v in f.search.best[0])
    return [Finding(
        key="dip.attitude", severity="note",
        sentence=f"Air and pools are {now / 1000:.3g} mL in the stated attitude and {could / 1000:.3g} mL with ({up}) up.",
        value=now, limit=could, unit="mm3", source=f"search over {len(f.search.ups)} attitudes", help="Set the attitude to auto, or see the map.",
    )]  # fmt: skip


def _cost(f: Found, at: Attitude) -> float:
    air = sum(p.volume * float(f.weight @ np.array(p.area)) / max(sum(p.area), 1e-12) for p in at.air)
    return air + at.pool_total


def _shut(f: Found) -> list[Finding]:
    if not f.sheet.shut:
        return []
    return [Finding(
        key="dip.shut", severity="note", sentence=f"{len(f.sheet.shut)} holes of the part are narrower than {f.bath.hole_least:g} mm and count as shut.",
        value=float(len(f.sheet.shut)), source="stated: dip.hole_least", help="State a smaller least hole if they let the bath through.",
    )]  # fmt: skip


def _mesh(f: Found) -> list[Finding]:
    """Pockets thinner than the sheet are no more certain than the skin that was meshed."""
    thin = [m for m in (*f.air, *f.pools) if m.pocket.depth < f.thickness]
    if not thin:
        return []
    return [Finding(
        key="dip.mesh", severity="note", sentence=f"{len(thin)} pockets are shallower than the sheet is thick ({f.thickness:g} mm): they depend on the skin that was meshed and on its facets.",
        value=min(m.pocket.depth for m in thin), limit=f.thickness, unit="mm", source="the bath is computed on one skin of the sheet",
        place=Place(points=_points(thin), label="shallow pockets"), help="Mesh the part finer to see whether they stay.",
    )]  # fmt: skip
