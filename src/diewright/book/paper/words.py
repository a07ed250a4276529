"""Words of the sheets: safe text from the job, and the names and units of the values that stages give."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from pydantic import BaseModel

from diewright.book.paper.digits import said

# Control characters, lone surrogates and marks that turn the reading direction: none of them belongs on paper.
_DROP = {"Cc", "Cs", "Cn", "Co"}
_TURN = {chr(c) for c in (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0xFEFF)}
_ZERO = re.compile(r"\b0 (chooses|takes|for) (\w+)")
_RUN = re.compile(r"\S{25,}")


def plain(text: object, *, soft: bool = True) -> str:
    """Text that can be set: one line, no control characters; ``soft`` lets very long words break."""
    kept = "".join(c if unicodedata.category(c) not in _DROP else " " for c in str(text) if c not in _TURN)
    kept = re.sub(r"[ \t\r\n\u2028\u2029]+", " ", kept).strip()
    if not soft:
        return kept
    return _RUN.sub(lambda m: "\u200b".join(m.group()[i : i + 12] for i in range(0, len(m.group()), 12)), kept)


# name of the value: (what it is called on paper, its unit)
NAMES: dict[str, tuple[str, str]] = {
    "format": ("Format of the file", ""), "unit": ("Unit of the file", ""), "unit_source": ("Unit taken from", ""), "kind": ("Kind of shape", ""),
    "skin": ("Skin that is meshed", ""), "thickness_found": ("Thickness found in the shape", "mm"), "bodies": ("Bodies", ""), "faces": ("Faces", ""),
    "chosen": ("Press direction", ""), "depth": ("Depth of draw", "mm"), "developed_area": ("Area of the skin", "mm2"), "undercut_area": ("Area under the press direction", "mm2"),
    "draft_min_deg": ("Least draft", "deg"), "radius_concave_min": ("Least hollow radius", "mm"), "radius_convex_min": ("Least outer radius", "mm"),
    "volume": ("Volume of metal", "mm3"), "mass_kg": ("Mass", "kg"), "draw_ratio": ("Draw ratio", ""),
    "area": ("Area of the blank", "mm2"), "perimeter": ("Length of the outline", "mm"), "flange_area": ("Area under the blankholder", "mm2"),
    "blankholder_force": ("Blankholder force used", "N"), "converged": ("Solution settled", ""), "margin_min_pct": ("Least margin to necking", "%"),
    "thinning_max_pct": ("Most thinning", "%"), "thickening_max_pct": ("Most thickening", "%"), "wrinkle_index_max": ("Highest tendency to wrinkle", ""),
    "E": ("Modulus of elasticity", "MPa"), "nu": ("Poisson's ratio", ""), "density": ("Density", "kg/m3"), "Rp02": ("Yield strength Rp0.2", "MPa"), "Rm": ("Tensile strength Rm", "MPa"),
    "n": ("Hardening exponent n", ""), "A80": ("Elongation A80", "%"), "Ag": ("Uniform elongation Ag", "%"), "family": ("Metal", ""), "r0": ("r at 0°", ""), "r45": ("r at 45°", ""),
    "r90": ("r at 90°", ""), "rbar": ("Mean r", ""), "delta_r": ("Planar anisotropy Δr", ""), "flc0": ("Limit in plane strain", ""),
    "utilisation_pct": ("Metal used", "%"), "pitch": ("Pitch", "mm"), "strip_width": ("Strip width", "mm"), "angle_deg": ("Turned by", "deg"), "web": ("Web", "mm"),
    "edge_web": ("Edge web", "mm"), "parts_per_pitch": ("Parts a pitch", ""), "coil_kg_per_1000": ("Coil for 1000 parts", "kg"), "parts_per_sheet": ("Parts a sheet", ""),
    "draw": ("Draw", ""), "diameter": ("Diameter", "mm"), "height": ("Height", "mm"), "ratio": ("Ratio", ""), "punch_radius": ("Punch radius", "mm"), "die_radius": ("Die radius", "mm"),
    "force_kn": ("Nominal force", "kN"), "energy_kj": ("Work, single stroke", "kJ"), "energy_continuous_kj": ("Work, running on", "kJ"), "bed_mm": ("Bed", "mm"),
    "rated_angle_deg": ("Rated at, before bottom", "deg"), "rated_distance_mm": ("Rated at, above bottom", "mm"), "cushion_kn": ("Cushion force", "kN"),
}  # fmt: skip

SPOKEN = {
    "swift": "Swift", "hollomon": "Hollomon", "ludwik": "Ludwik", "voce": "Voce", "hockett-sherby": "Hockett–Sherby", "swift-voce": "Swift–Voce", "table": "Measured curve",
    "mises": "v. Mises", "hill48": "Hill 1948", "yld2000": "Yld2000-2d", "keeler-brazier": "Keeler–Brazier", "swift-hill": "Swift–Hill",
    "marciniak-kuczynski": "Marciniak–Kuczyński", "measured": "Measured points",
}  # fmt: skip


def spoken(word: object) -> str:
    """A law or surface as it is written in print."""
    return SPOKEN.get(str(word), str(word))


_SUFFIX = {
    "_mm": "mm", "_mm2": "mm2", "_mm3": "mm3", "_kn": "kN", "_kN": "kN", "_N": "N", "_kj": "kJ", "_J": "J", "_kg": "kg", "_deg": "deg", "_pct": "%", "_mpa": "MPa", "_MPa": "MPa",
    "_mm_s": "mm/s", "_per_minute": "1/min", "_s": "s",
}  # fmt: skip


def label(key: str) -> tuple[str, str]:
    """What the value ``key`` is called on paper, and its unit."""
    if key in NAMES:
        return NAMES[key]
    for suffix, unit in sorted(_SUFFIX.items(), key=lambda s: -len(s[0])):
        if key.endswith(suffix):
            words = key if suffix == "_per_minute" else key[: -len(suffix)]
            return words.replace("_", " ").strip().capitalize(), unit
    return key.replace("_", " ").strip().capitalize(), ""


def rows_of(values: dict[str, Any], keys: list[str] | tuple[str, ...] | None = None, digits: int = 4) -> list[list[str]]:
    """Rows (name, value with unit) for ``keys`` that are there, all simple ones if no keys are named."""
    names = [k for k in (keys if keys is not None else values) if k in values]
    rows = []
    for key in names:
        value = values[key]
        if isinstance(value, (dict, list)) and (keys is None and not _simple(value)):
            continue
        name, unit = label(key)
        rows.append([name, said(value, unit, digits)])
    return rows


def _simple(value: Any) -> bool:
    return isinstance(value, list) and len(value) <= 4 and all(isinstance(v, (int, float, str)) for v in value)


def stated(record: BaseModel, skip: tuple[str, ...] = ()) -> list[list[str]]:
    """Rows (field, value with unit, what it means) of a stated record, straight from the schema."""
    rows = []
    for name, info in type(record).model_fields.items():
        if name in skip:
            continue
        value = getattr(record, name)
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        unit = str(extra.get("unit", "")) if not isinstance(value, str) else ""
        words = name.removesuffix("_kn").replace("_", " ").capitalize()
        text = spoken(said(value, unit)) if value not in ((), "") else "none stated"
        zero = _ZERO.search(info.description or "") if value == 0 else None
        if zero is not None:  # the schema says what 0 stands for
            text = zero.group(2) if zero.group(1) == "for" else "auto"
        rows.append([words, text, info.description or ""])
    return rows
