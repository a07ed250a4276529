"""What the stage hands on: meshes with fields, tables, values and figures of a plated rack."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.finish.current.formulas import haring_blum, throwing_power, wagner_tafel
from diewright.finish.plating.baths import AREA
from diewright.finish.plating.run import SIDES, Layer, Plated
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.findings import Figure

Floats = NDArray[np.float64]
KINDS = {"wall": 0, "anode": 1, "shield": 2, "thief": 3, "bipolar": 4}
THINNEST = 0.01
"""Share of the area whose mean is the robust measure of the thinnest place."""
CELL_NEAR, CELL_FAR = 40.0, 200.0
"""Distances of the two cathodes of a Haring-Blum cell of ratio 5 [mm]."""


def ratio(values: Floats, areas: Floats) -> float:
    """Mean over least; infinite where the least is nothing."""
    least, mean = float(values.min()), float(values @ areas / areas.sum())
    return mean / least if least > 0 else float("inf")


def thinnest(values: Floats, areas: Floats, share: float = THINNEST) -> float:
    """Mean of the thinnest ``share`` of the area: less at the mercy of a single triangle than the least."""
    order = np.argsort(values, kind="stable")
    room = np.cumsum(areas[order])
    weight = np.clip(share * room[-1] - (room - areas[order]), 0.0, areas[order])
    return float(values[order] @ weight / weight.sum())


def part_meshes(p: Plated) -> dict[str, FieldMesh]:
    """Each part in tank coordinates with current density and thickness of every deposit on either side."""
    out = {}
    for i, mesh in enumerate(p.mesh.parts):
        cell: dict[str, np.ndarray] = {f"significant_{s}": p.significant[s].astype(np.int8) for s in SIDES}
        for layer in p.layers:
            for s in SIDES:
                cell[f"{layer.name}_current_density_{s}"] = layer.density[i, s]
                cell[f"{layer.name}_um_{s}"] = layer.thickness[i, s]
        out[f"part_{i + 1}"] = FieldMesh(mesh, {}, cell)
    return out


def tank_mesh(p: Plated) -> FieldMesh:
    """Walls, anodes and bodies as one surface: ``kind`` by :data:`KINDS` and the current density into the metal by deposit [A/dm2]."""
    triangles, kind, fields = [], [], {layer.name: [] for layer in p.layers}  # type: ignore[var-annotated]
    anodes = {a.name for a in p.mesh.rack.anodes}
    names = [n for n in p.mesh.tank.faces if not n.startswith("part_")]
    offset = 0
    for name in [*[n for n in names if n in anodes], *[n for n in names if n not in anodes]]:
        t = p.mesh.tank.faces[name]
        role = "anode" if name in anodes else p.mesh.roles.get(name.split(":")[0], "wall")
        triangles.append(t)
        kind.append(np.full(len(t), KINDS[role], dtype=np.int8))
        for layer in p.layers:
            carried = layer.solution.carried
            if role == "anode":
                fields[layer.name].append(carried["anodes"].of_triangles[offset : offset + len(t)] / AREA)
            elif role in ("thief", "bipolar"):
                at = _begin(p, name)
                fields[layer.name].append(carried[name.split(":")[0]].of_triangles[at : at + len(t)] / AREA)
            else:
                fields[layer.name].append(np.zeros(len(t)))
        offset += len(t) if role == "anode" else 0
    all_triangles = np.concatenate(triangles)
    nodes, inner = np.unique(all_triangles, return_inverse=True)
    cell: dict[str, np.ndarray] = {"kind": np.concatenate(kind)}
    cell |= {f"{name}_current_density": np.concatenate(v) for name, v in fields.items()}
    return FieldMesh(TriMesh(p.mesh.tank.points[nodes], inner.reshape(-1, 3).astype(np.int32)), {}, cell)


def _begin(p: Plated, name: str) -> int:
    """Where the triangles of ``name`` begin among those of its body: a plate has two sides."""
    body = name.split(":")[0]
    before = 0
    for other, t in p.mesh.tank.faces.items():
        if other == name:
            break
        before += len(t) if other.split(":")[0] == body else 0
    return before


def share_pct(which: NDArray[np.bool_], areas: Floats) -> float:
    """Share of the area [%]."""
    return 100.0 * float(areas[which].sum() / areas.sum())


def tables(p: Plated) -> dict[str, dict[str, np.ndarray]]:
    """``parts``: one row a deposit, part and side; ``layers``: one row a deposit."""
    rows: list[dict[str, float]] = []
    a = p.mesh.skin.areas
    for k, layer in enumerate(p.layers, start=1):
        for (i, side), um in layer.thickness.items():
            d = layer.density[i, side]
            rows.append({
                "layer": k, "part": i + 1, "side": SIDES.index(side), "min_um": float(um.min()), "mean_um": float(um @ a / a.sum()), "max_um": float(um.max()), "mean_over_min": ratio(um, a),
                "min_a_dm2": float(d.min()), "mean_a_dm2": float(d @ a / a.sum()), "max_a_dm2": float(d.max()), "burnt_pct": share_pct(d > layer.bath.burn_a_dm2, a), "starved_pct": share_pct(d < layer.bath.starve_a_dm2, a),
            })  # fmt: skip
    summary = [{"layer": float(k), **layer_numbers(p, layer)} for k, layer in enumerate(p.layers, start=1)]
    return {
        name: {c: np.array([r[c] for r in all_rows], dtype=np.float64) for c in all_rows[0]}
        for name, all_rows in (("parts", rows), ("layers", summary))
    }


def layer_numbers(p: Plated, layer: Layer) -> dict[str, float]:
    """The numbers of one deposit; thickness, burning and starving on the significant surface, ``burnt_all_pct`` on both sides."""
    um, areas = p.on_significant(layer.thickness)
    d, _ = p.on_significant(layer.density)
    everywhere = np.concatenate(list(layer.density.values()))
    skin = np.tile(p.mesh.skin.areas, len(layer.density))
    return {
        "minutes": layer.minutes, "current_A": layer.current, "mean_a_dm2": layer.mean, "voltage_V": layer.voltage, "energy_kWh": layer.energy_kwh, "metal_parts_g": layer.metal_parts, "metal_thieves_g": layer.metal_thieves,
        "thieves_pct": 100.0 * layer.shares["thieves"] / layer.current, "bipolar_A": layer.shares["bipolar"],
        "min_um": float(um.min()), "thinnest_um": thinnest(um, areas), "mean_um": float(um @ areas / areas.sum()), "max_um": float(um.max()), "mean_over_min": ratio(um, areas),
        "min_a_dm2": float(d.min()), "max_a_dm2": float(d.max()), "burnt_pct": share_pct(d > layer.bath.burn_a_dm2, areas), "starved_pct": share_pct(d < layer.bath.starve_a_dm2, areas), "burnt_all_pct": share_pct(everywhere > layer.bath.burn_a_dm2, skin),
        "short_pct": share_pct(um < layer.stated.minimum_um * (1.0 - 1e-9), areas), "wagner": wagner(p, layer), "imbalance": layer.solution.imbalance, "steps": float(layer.solution.steps),
    }  # fmt: skip


def wagner(p: Plated, layer: Layer) -> float:
    """Wagner number of the bath at the mean current density, over the larger side of a part."""
    return wagner_tafel(1e-3 * layer.conductivity, layer.slope, layer.mean * AREA, float(p.mesh.rack.size.max()))


def values(p: Plated) -> dict[str, Any]:
    """The values of the stage; infinite ratios become null."""
    rack, tank = p.mesh.rack, p.mesh.tank
    layers = []
    for layer in p.layers:
        numbers = {k: (v if np.isfinite(v) else None) for k, v in layer_numbers(p, layer).items()}
        layers.append(
            {
                "name": layer.name,
                "bath": layer.stated.bath,
                "title": layer.bath.title,
                "minimum_um": layer.stated.minimum_um,
                "timed": layer.timed,
                "conductivity_s_m": layer.conductivity,
                "tafel_slope_mv": 1e3 * layer.slope,
                **numbers,
            }
        )
    return {
        "parts": len(p.mesh.parts), "significant_side": "both" if all(p.significant[s].any() for s in SIDES) else next(s for s in SIDES if p.significant[s].any()), "outer_side": rack.outer,
        "significant_area_dm2": sum(float(p.mesh.skin.areas[p.significant[s]].sum()) for s in SIDES) * len(p.mesh.parts) * AREA, "area_dm2": 2.0 * p.mesh.skin.area * len(p.mesh.parts) * AREA,
        "rotation": rack.rotation.tolist(), "shifts": rack.shifts.tolist(), "bath": [list(rack.low), list(rack.high)], "anodes": [[list(a.low), list(a.high)] for a in rack.anodes], "layers": layers,
        "mesh": {
            "tetrahedra": len(tank.tetrahedra), "points": len(tank.points), "triangles_part": len(p.mesh.skin.triangles), "edge": p.mesh.edge, "rim_edge": p.mesh.rim, "quality_min": tank.quality_min, "tries": p.mesh.tries,
        },
    }  # fmt: skip


def figures(p: Plated) -> list[Figure]:
    """Figures with formula, inputs and source, one set a deposit."""
    out = []
    for layer in p.layers:
        n, bath, key = layer_numbers(p, layer), layer.bath, f"plating.{layer.name}"
        metal = bath.deposit
        per = (metal.micron_per_ah, "µm dm2/Ah")
        out += [
            Figure(
                key=f"{key}.minutes", label=f"Time for {layer.name}", value=layer.minutes, unit="min", formula="t = d_min / (k i_min eta(i_min))" if layer.timed else "as stated, or for the mean where the least place gets nothing",
                inputs={"d_min": (layer.stated.minimum_um, "µm"), "k": per, "i_min": (n["min_a_dm2"], "A/dm2"), "eta": (float(bath.curve.at(n["min_a_dm2"])), "")},
                source=f"Faraday's law; efficiency: {bath.sources['efficiency']}", confidence="current constant over the time; least over triangles of the mesh",
            ),
            Figure(key=f"{key}.mean_over_min", label=f"Mean over least thickness, {layer.name}", value=n["mean_over_min"] if np.isfinite(n["mean_over_min"]) else None, formula="mean / min on the significant surface", source="computed current distribution"),
            Figure(
                key=f"{key}.voltage", label=f"Voltage at the electrodes, {layer.name}", value=layer.voltage, unit="V", formula="V_anode - V_cathode, of electrolyte, kinetics and equilibrium",
                inputs={"kappa": (layer.conductivity, "S/m"), "b": (1e3 * layer.slope, "mV/decade"), "E": (bath.equilibrium_v, "V")}, source=f"conductivity: {bath.sources['conductivity_s_m']}", confidence="without leads and contacts",
            ),
            Figure(key=f"{key}.energy", label=f"Energy, {layer.name}", value=layer.energy_kwh, unit="kWh", formula="W = V I t", inputs={"V": (layer.voltage, "V"), "I": (layer.current, "A"), "t": (layer.minutes, "min")}),
            Figure(
                key=f"{key}.metal", label=f"{layer.name.capitalize()} on the parts", value=layer.metal_parts, unit="g", formula="m = rho * sum of d A", inputs={"rho": (bath.density_g_cm3, "g/cm3")}, source=f"Faraday's law; M: {bath.sources['molar_g']}",
            ),
            Figure(
                key=f"{key}.wagner", label=f"Wagner number, {layer.name}", value=n["wagner"], formula="Wa = kappa b / (2.303 L i)",
                inputs={"kappa": (layer.conductivity, "S/m"), "b": (layer.slope, "V/decade"), "L": (float(p.mesh.rack.size.max()), "mm"), "i": (layer.mean, "A/dm2")}, source="C. Wagner, J. Electrochem. Soc. 98 (1951) 116, from memory", confidence="small: the shape decides, not the bath",
            ),
            throwing_figure(layer),
        ]  # fmt: skip
    return out


def throwing_figure(layer: Layer) -> Figure:
    """Throwing power of the bath in a cell of distance ratio 5, its Tafel law made straight at the mean current density."""
    resistance = layer.slope / np.log(10.0) / (layer.mean * AREA)
    kappa = 1e-3 * layer.conductivity
    split = haring_blum(CELL_NEAR, CELL_FAR, kappa, resistance)
    near = 2.0 * layer.mean * split / (1.0 + split)
    far = 2.0 * layer.mean / (1.0 + split)
    eta = layer.bath.curve.at(np.array([near, far]))
    metal = float(split * eta[0] / eta[1]) if eta[1] > 0 else float("inf")
    power = throwing_power(CELL_FAR / CELL_NEAR, metal)["haring-blum"] if np.isfinite(metal) else None
    return Figure(
        key=f"plating.{layer.name}.throwing_power", label=f"Throwing power, {layer.name}", value=power, unit="%", formula="T = 100 (K - M) / K, M = eta_n i_n / (eta_f i_f), i_n / i_f = (L_f + kappa b') / (L_n + kappa b'), b' = b / (2.303 i)",
        inputs={"K": (CELL_FAR / CELL_NEAR, ""), "L_n": (CELL_NEAR, "mm"), "L_f": (CELL_FAR, "mm"), "kappa": (layer.conductivity, "S/m"), "b": (layer.slope, "V/decade"), "i": (layer.mean, "A/dm2")},
        source="G. Soderberg, Plating, March 1952, for T; linear polarisation", confidence="for comparing baths",
    )  # fmt: skip
