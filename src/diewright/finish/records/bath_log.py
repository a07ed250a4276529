"""The baths' book: what current and drag-out take, what was added, what is to be added.

Nickel: the anodes dissolve with an efficiency near 1 and the parts take the cathode's share, so the bath gains ``(1 - eta) k Q`` of nickel and loses ``c V`` with the drag-out.
Chromium: lead anodes give nothing, so the bath loses the chromium that is plated, as CrO3, and ``c V``. Brightener: a supplier's figure for each ampere-hour, and ``c V``.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from diewright.errors import FileError
from diewright.finish.current.faraday import Metal
from diewright.finish.records.csv_rows import number, rows

WHERE = "finish.bath_log_file"
NEEDED = ("date", "bath", "ah", "m2")
ADDED = ("nickel_kg", "brightener_l", "chromic_kg")
CRO3 = 99.993 / 51.9961
"""Mass of chromic acid for one of chromium (molar masses)."""


@dataclass(frozen=True)
class Entry:
    """A line of the book: day, bath, charge [Ah], area plated, both sides [m2], additions."""

    date: datetime.date
    bath: str
    ah: float
    m2: float
    nickel_kg: float
    brightener_l: float
    chromic_kg: float


@dataclass(frozen=True)
class Balance:
    """Of one substance over the book, all in ``unit``: lost to the current (negative: gained), lost with drag-out, added, and what is to be added now; what this rests on."""

    what: str
    unit: str
    current: float
    drag_out: float
    added: float
    rests_on: str

    @property
    def to_add(self) -> float:
        """What would bring the bath back to where the book began; negative: the bath is above it."""
        return self.current + self.drag_out - self.added


def read(path: Path) -> list[Entry]:
    """Lines of the book in their order: columns date (2026-11-27), bath (nickel or chromium), Ah, m2 and, if wanted, nickel_kg, brightener_L, chromic_kg. Raises :class:`FileError`."""
    out: list[Entry] = []
    for line, row in rows(path, NEEDED, (*NEEDED, *ADDED), WHERE):
        try:
            date = datetime.date.fromisoformat(row["date"])
        except ValueError:
            raise FileError(
                f"line {line} of '{path.name}': the date is {row['date']!r}.", where=WHERE, help="Write year-month-day, as 2026-11-27."
            ) from None
        if out and date < out[-1].date:
            raise FileError(
                f"line {line} of '{path.name}' is dated before the line above it.",
                where=WHERE,
                help="Write the lines in the order of their days.",
            )
        bath = row["bath"].lower()
        if bath not in ("nickel", "chromium"):
            raise FileError(
                f"line {line} of '{path.name}': the bath {row['bath']!r} is not known.", where=WHERE, help="Known: nickel, chromium."
            )
        ah, m2, *added = (number(row.get(c, ""), c, line, path.name, WHERE) for c in ("ah", "m2", *ADDED))
        out.append(Entry(date, bath, ah, m2, *added))
    return out


@dataclass(frozen=True)
class Chemistry:
    """Metals with their cathode efficiencies, what the baths hold [g/L, mL/L], brightener used up [mL/kAh], drag-out [mL/m2 of both sides' area]."""

    nickel: Metal
    nickel_efficiency: float
    chromium: Metal
    chromium_efficiency: float
    nickel_g_l: float
    chromic_g_l: float
    brightener_ml_kah: float
    brightener_ml_l: float
    drag_out: float


def balance(book: list[Entry], c: Chemistry) -> list[Balance]:
    """Nickel, brightener and chromic acid over the whole book, those whose bath is in it."""
    out = []
    drag = f"drag-out {c.drag_out:.3g} mL/m2"
    ni, cr = ([e for e in book if e.bath == name] for name in ("nickel", "chromium"))
    if ni:
        ah, litres = sum(e.ah for e in ni), 1e-3 * c.drag_out * sum(e.m2 for e in ni)
        gained = 1e-3 * c.nickel.grams_per_ah * ah * (1.0 - c.nickel_efficiency)
        out.append(Balance(
            "nickel", "kg", -gained, 1e-3 * c.nickel_g_l * litres, sum(e.nickel_kg for e in ni),
            f"Faraday with {100 * c.nickel_efficiency:.3g} % at the parts and 100 % at the anodes; {drag} at {c.nickel_g_l:g} g/L of nickel metal",
        ))  # fmt: skip
        out.append(Balance(
            "brightener", "L", 1e-6 * c.brightener_ml_kah * ah, 1e-3 * c.brightener_ml_l * litres, sum(e.brightener_l for e in ni),
            f"{c.brightener_ml_kah:g} mL/kAh as stated or from memory: take the supplier's figure; {drag}. A Hull cell test decides",
        ))  # fmt: skip
    if cr:
        ah, litres = sum(e.ah for e in cr), 1e-3 * c.drag_out * sum(e.m2 for e in cr)
        plated = 1e-3 * c.chromium.grams_per_ah * ah * c.chromium_efficiency
        out.append(Balance(
            "chromic acid", "kg", CRO3 * plated, 1e-3 * c.chromic_g_l * litres, sum(e.chromic_kg for e in cr),
            f"Faraday with {100 * c.chromium_efficiency:.3g} % at the parts, lead anodes; {drag} at {c.chromic_g_l:g} g/L of CrO3. An analysis decides",
        ))  # fmt: skip
    return out


def anode_kg(book: list[Entry], nickel: Metal) -> float:
    """Nickel anodes dissolved by the current [kg], at an efficiency of 1."""
    return 1e-3 * nickel.grams_per_ah * sum(e.ah for e in book if e.bath == "nickel")
