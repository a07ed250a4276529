"""Numbers as a handbook prints them: significant digits, thin spaces, a true minus, the unit behind."""

from __future__ import annotations

import math
import re
from typing import Any

THIN = "\u202f"  # the narrow space that does not break
MINUS = "\u2212"
_UNITS = {
    "mm2": "mm²", "mm3": "mm³", "m2": "m²", "m3": "m³", "cm2": "cm²", "cm3": "cm³", "kg/m3": "kg/m³", "g/cm3": "g/cm³", "N/mm2": "N/mm²", "deg": "°",
    "1": "", "-": "", "pct": "%", "percent": "%", "mm/s2": "mm/s²", "kg/m2": "kg/m²", "kg/1000": "kg per 1000", "A/dm2": "A/dm²",
}  # fmt: skip


def unit_text(unit: str) -> str:
    """A unit as it is set: ``mm2`` becomes ``mm²``, ``deg`` becomes ``°``."""
    return _UNITS.get(unit, unit)


def number(value: float | int | None, digits: int = 3, *, trim: bool = False) -> str:
    """``value`` with ``digits`` significant digits, whole numbers in full below 10 000; a dash for None.

    ``trim`` takes zeros off the end, for what was stated: 0.8 is not 0.8000.

    >>> number(12345.6)
    '12\u202f300'
    """
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else ("∞" if value > 0 else f"{MINUS}∞")
    if value == 0:
        return "0"
    if isinstance(value, int) or (float(value).is_integer() and abs(value) < 10_000):
        return _grouped(str(int(value)))
    size = math.floor(math.log10(abs(value)))
    rounded = round(value, digits - 1 - size)
    size = math.floor(math.log10(abs(rounded)))
    if size < -4 or size > 9:
        return f"{rounded / 10**size:.{digits - 1}f}{THIN}×{THIN}10^{size}".replace("-", MINUS)
    text = f"{rounded:.{max(digits - 1 - size, 0)}f}"
    return _grouped(text.rstrip("0").rstrip(".") if trim and "." in text else text)


def _grouped(text: str) -> str:
    sign, text = (MINUS, text[1:]) if text.startswith("-") else ("", text)
    whole, dot, part = text.partition(".")
    if len(whole) > 4:
        whole = re.sub(r"(?<=\d)(?=(\d{3})+$)", THIN, whole)
    return f"{sign}{whole}{dot}{part}"


def quantity(value: float | int | None, unit: str = "", digits: int = 3, *, trim: bool = False) -> str:
    """A number with its unit, not to be torn apart at a line's end."""
    text, unit = number(value, digits, trim=trim), unit_text(unit)
    if not unit or value is None:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text}{THIN}{unit}" if len(unit) <= 6 else f"{text} {unit}"


def said(value: Any, unit: str = "", digits: int = 4) -> str:
    """Any stated or found value in words or digits, with its unit."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return quantity(value, unit, digits, trim=True)
    if value is None or value == "":
        return "–"
    if isinstance(value, (list, tuple)):
        parts = [said(v, "", digits) for v in value]
        return ", ".join(parts) + (f" {unit_text(unit)}" if unit and parts else "") if parts else "none"
    if isinstance(value, dict):
        return "; ".join(f"{k} {said(v, '', digits)}" for k, v in value.items())
    return str(value)
