"""Thickness readings against the class, with the decision rule of ISO 14253-1.

ISO 14253-1: conformity is proved where the value minus its expanded uncertainty U still meets the limit, non-conformity where the value plus U does not; between them neither is proved.
The local thickness of a place is the mean of its readings (ISO 2064). The expanded uncertainty (k = 2) of that mean: U = sqrt(u^2 + (2 s / sqrt n)^2), u the method's own share of the mean, which is common
to all readings of one instrument and does not average out, s the standard deviation of n readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diewright.errors import FileError
from diewright.finish.records.csv_rows import number, rows

WHERE = "finish.readings_file"
NEEDED = ("place", "method", "um")
METHODS = {"coulometric": "ISO 2177", "xrf": "ISO 3497"}
LAYERS = ("nickel", "chromium")
XRF_MOST = 75.0
"""Thickest coat that X-rays tell, depending on the system [µm] (ASTM B568, read)."""


@dataclass(frozen=True)
class Reading:
    """One reading [µm] of a layer at a place."""

    place: str
    method: str
    layer: str
    um: float


@dataclass(frozen=True)
class Local:
    """Local thickness of one layer at one place: mean of its ``count`` readings, expanded uncertainty, limit [µm], verdict ``conforms``, ``not proven`` or ``does not``."""

    place: str
    layer: str
    method: str
    count: int
    mean: float
    uncertainty: float
    limit: float
    verdict: str


def read(path: Path) -> list[Reading]:
    """Readings of a CSV file with the columns place, method, um and, if wanted, layer (nickel where it is not said). Raises :class:`FileError`."""
    out = []
    for line, row in rows(path, NEEDED, (*NEEDED, "layer"), WHERE):
        method, layer = row["method"].lower(), row.get("layer", "").lower() or "nickel"
        for value, known, what in ((method, tuple(METHODS), "method"), (layer, LAYERS, "layer")):
            if value not in known:
                raise FileError(
                    f"line {line} of '{path.name}': the {what} {value!r} is not known.", where=WHERE, help=f"Known: {', '.join(known)}."
                )
        if not row["place"]:
            raise FileError(f"line {line} of '{path.name}' names no place.", where=WHERE, help="Name places as in the plan, or your own.")
        um = number(row["um"], "um", line, path.name, WHERE, above_zero=True, most=5000.0)
        if method == "xrf" and um > XRF_MOST:
            raise FileError(
                f"line {line} of '{path.name}': X-rays tell no thickness beyond {XRF_MOST:g} µm, and {um:g} is given.",
                where=WHERE,
                help="Measure it coulometrically or in a section.",
            )
        out.append(Reading(row["place"], method, layer, um))
    return out


def verdict(value: float, uncertainty: float, least: float) -> str:
    """``conforms``, ``not proven`` or ``does not`` for a lower limit (ISO 14253-1)."""
    if value - uncertainty >= least:
        return "conforms"
    return "does not" if value + uncertainty < least else "not proven"


def judge(readings: list[Reading], limits: dict[str, float], shares: dict[str, float]) -> list[Local]:
    """Each place and layer against its limit; ``shares`` of the mean that is the expanded uncertainty of each method (0.1 for 10 %). Two methods at a place are two places."""
    out = []
    for place, layer, method in dict.fromkeys((r.place, r.layer, r.method) for r in readings):
        um = np.array([r.um for r in readings if (r.place, r.layer, r.method) == (place, layer, method)])
        mean = float(um.mean())
        spread = 2.0 * float(um.std(ddof=1)) / math.sqrt(len(um)) if len(um) > 1 else 0.0
        u = math.hypot(shares[method] * mean, spread)
        out.append(Local(place, layer, method, len(um), mean, u, limits[layer], verdict(mean, u, limits[layer])))
    return out


def overall(locals_: list[Local]) -> str:
    """Verdict of all places of a layer: the worst one."""
    return max((x.verdict for x in locals_), key=("conforms", "not proven", "does not").index)
