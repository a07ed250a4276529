"""What the person should know about a plated rack."""

from __future__ import annotations

import numpy as np

from diewright.finish.plating.report import layer_numbers
from diewright.finish.plating.run import SIDES, Layer, Plated
from diewright.job.findings import Finding, Place

UNEVEN = 3.0
"""Mean over least thickness above which anodes, shields or thieves should be thought over (common practice)."""
WORST = 12
POOR = 0.02
"""Quality of a tetrahedron below which the mesh is spoken of."""


def of_plated(p: Plated, thickness: float) -> list[Finding]:
    """Findings of every deposit and of the mesh; ``thickness`` of the sheet [mm]."""
    out: list[Finding] = []
    for layer in p.layers:
        out += _of_layer(p, layer)
    m = p.mesh
    if m.tries > 1:
        out.append(
            Finding(
                key="plating.mesh",
                severity="note",
                sentence=f"The part had to be meshed finer than asked to be followed: edges of {m.edge:.3g} mm at try {m.tries}.",
                value=m.edge,
                unit="mm",
                source="mesher",
                help="Folds and gaps closer than the edges need them fine.",
            )
        )
    if thickness > 0.5 * m.rim:
        out.append(
            Finding(
                key="plating.thickness",
                severity="note",
                sentence=f"The sheet of {thickness:g} mm is taken as without thickness, and the edges of the mesh at its rim are only {m.rim:.3g} mm: the rim's own face is left out.",
                value=thickness,
                limit=0.5 * m.rim,
                unit="mm",
                source="model: two sides of a surface",
                help="Peaks at the rim are somewhat high.",
            )
        )
    if m.tank.quality_min < POOR:
        out.append(
            Finding(
                key="plating.quality",
                severity="note",
                sentence=f"The worst tetrahedron of the bath has a quality of {m.tank.quality_min:.2g}.",
                value=m.tank.quality_min,
                limit=POOR,
                source="mesher",
                help="State another quality if a spot looks odd.",
            )
        )
    return out


def _of_layer(p: Plated, layer: Layer) -> list[Finding]:
    n, bath, name = layer_numbers(p, layer), layer.bath, layer.name
    out = []
    if n["short_pct"] > 0:
        least = layer.stated.minimum_um
        out.append(Finding(
            key=f"plating.thin.{name}", severity="attend", value=n["min_um"], limit=least, unit="µm", source="plating.layers.minimum_um", place=_place(p, layer, "thin"),
            sentence=f"{name.capitalize()} is {n['min_um']:.3g} µm thick at the thinnest place after {layer.minutes:.3g} min, {least:g} are wanted; {n['short_pct']:.3g} % of the significant surface is short of it.",
            help="More time, a shield where it is thick, anodes nearer to the thin places, or another way to hang the part.",
        ))  # fmt: skip
    if n["burnt_all_pct"] > 0:
        most = max(float(v.max()) for v in layer.density.values())
        out.append(Finding(
            key=f"plating.burn.{name}", severity="attend", value=most, limit=bath.burn_a_dm2, unit="A/dm2", source=f"limit of {layer.stated.bath}: {bath.sources['burn_a_dm2']}", place=_place(p, layer, "burn"),
            sentence=f"{name.capitalize()} may burn: {most:.3g} A/dm2 at the rim, averaged over {p.mesh.rim:.2g} mm, {bath.burn_a_dm2:g} are borne; {n['burnt_all_pct']:.3g} % of both sides lies above.",
            help="A thief along the rim, less current, or the parts closer together.",
        ))  # fmt: skip
    if n["starved_pct"] > 0:
        out.append(Finding(
            key=f"plating.starved.{name}", severity="attend", value=n["min_a_dm2"], limit=bath.starve_a_dm2, unit="A/dm2", source=f"limit of {layer.stated.bath}: {bath.sources['starve_a_dm2']}", place=_place(p, layer, "thin"),
            sentence=f"{name.capitalize()} starves: only {n['min_a_dm2']:.3g} A/dm2 reach the least place, {bath.starve_a_dm2:g} are needed for a sound deposit; {n['starved_pct']:.3g} % of the significant surface lies below.",
            help="Turn the recess to the anodes, an auxiliary anode, more current with a thief at the rim.",
        ))  # fmt: skip
    if n["mean_over_min"] > UNEVEN:
        out.append(Finding(
            key=f"plating.uneven.{name}", severity="attend", value=n["mean_over_min"] if np.isfinite(n["mean_over_min"]) else None, limit=UNEVEN, source="common practice", place=_place(p, layer, "thin"),
            sentence=f"{name.capitalize()} is uneven: the mean is {n['mean_over_min']:.3g} times the least thickness of the significant surface." if np.isfinite(n["mean_over_min"]) else f"{name.capitalize()} leaves places bare.",
            help="Work the stage anodes to look for a better place of the anodes; state shields or thieves.",
        ))  # fmt: skip
    low, high = bath.usual_a_dm2
    if not low <= layer.mean <= high:
        out.append(Finding(
            key=f"plating.current.{name}", severity="attend", value=layer.mean, limit=high if layer.mean > high else low, unit="A/dm2", source=f"{layer.stated.bath}: {bath.sources['usual_a_dm2']}",
            sentence=f"The mean current density of {layer.mean:.3g} A/dm2 lies outside {low:g} to {high:g} A/dm2, usual for {bath.title}.", help="Change current or current density of the deposit.",
        ))  # fmt: skip
    typical = sorted(k for k, v in bath.sources.items() if "from memory" in v)
    if typical:
        out.append(Finding(
            key=f"plating.bath.{name}", severity="note", sentence=f"Of {bath.title} {len(typical)} numbers are typical ones from memory, not measured in your bath (conductivity {layer.conductivity:g} S/m, Tafel slope {1e3 * layer.slope:.3g} mV a decade).",
            value=float(len(typical)), source="library of baths", help="State conductivity and tafel_slope of the deposit from a measurement of your own bath.",
        ))  # fmt: skip
    return out


def _place(p: Plated, layer: Layer, what: str) -> Place:
    """The worst dozen triangles of all parts, in tank coordinates: the thinnest of the significant surface, or those with the most current anywhere."""
    spots: list[tuple[float, tuple[float, float, float], int]] = []
    for (i, side), density in layer.density.items():
        count = p.significant[side] if what == "thin" else np.ones(len(density), dtype=bool)
        at = np.flatnonzero(count)
        order = at[np.argsort(density[at] if what == "thin" else -density[at], kind="stable")[:WORST]]
        for t in order:
            x = p.mesh.parts[i].centroids[t]
            spots.append((float(density[t] if what == "thin" else -density[t]), (float(x[0]), float(x[1]), float(x[2])), i + 1))
    spots.sort(key=lambda s: s[0])
    return Place(points=tuple(s[1] for s in spots[:WORST]), label=f"part {spots[0][2]} of the rack, tank coordinates")


def of_bodies(names: list[str], before: list[dict[str, float]], after: list[dict[str, float]]) -> Finding:
    """What the bodies in the bath change: mean over least thickness of the first deposit, without them and with them."""
    b, a = before[0]["mean_over_min"], after[0]["mean_over_min"]
    return Finding(
        key="plating.bodies", severity="note", value=a if np.isfinite(a) else None, limit=b if np.isfinite(b) else None, source="the same rack solved without them",
        sentence=f"With shields, thieves and bipolar metal the mean of {names[0]} is {a:.3g} times the least thickness, without them {b:.3g} times; the most current density of the significant surface goes from {before[0]['max_a_dm2']:.3g} to {after[0]['max_a_dm2']:.3g} A/dm2.",
        help="" if a < b else "They do not make the deposit evener: move them or leave them out.",
    )  # fmt: skip


__all__ = ["SIDES", "of_bodies", "of_plated"]
