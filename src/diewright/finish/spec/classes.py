"""Classes of nickel and chromium by service condition, each row with its source and how it is known."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from diewright.errors import FileError, InputError
from diewright.job.schema import FinishStated

Known = Literal["read", "memory", "memory-uncertain"]
Share = Annotated[float, Field(ge=0, le=1000)]
BASES = {"steel": "steel", "stainless": "steel", "aluminium": "aluminium", "brass": "copper", "copper": "copper"}
"""Base metal of the classes for each family of sheets."""
SYMBOL = {"steel": "Fe", "copper": "Cu", "zinc": "Zn", "aluminium": "Al"}
MEANING = {
    1: "mild: indoors, warm and dry", 2: "moderate: indoors where dew may fall, as in kitchens and bathrooms", 3: "severe: outdoors, occasionally or often wet",
    4: "very severe: outdoors in a harsh climate", 5: "extended very severe: outdoors in a harsh climate, for long",
}  # fmt: skip
USUAL = 2
"""Service condition taken where none is stated."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Class(_Row):
    """One row: least local thickness [µm] for a base metal in a service condition."""

    base: Literal["steel", "copper", "zinc", "aluminium"]
    service: Annotated[int, Field(ge=1, le=5)]
    nickel_um: Share
    kind: Literal["b", "d", "p"]
    chromium: Literal["r", "mc", "mp"]
    chromium_um: Share
    copper_um: Share
    source: str
    known_by: Known

    @property
    def name(self) -> str:
        """The classification number, as ``Fe/Ni30d Cr r``."""
        copper = f"Cu{self.copper_um:g}/" if self.copper_um else ""
        return f"{SYMBOL[self.base]}/{copper}Ni{self.nickel_um:g}{self.kind} Cr {self.chromium}"


class Corrosion(_Row):
    """Corrosion test of a service condition: method of ISO 9227 and hours."""

    service: int
    method: Literal["AASS", "CASS"]
    hours: float
    source: str
    known_by: Known


@lru_cache(maxsize=1)
def table() -> tuple[tuple[Class, ...], tuple[Corrosion, ...]]:
    """All classes and corrosion tests; raises :class:`FileError` for a row that is not whole."""
    path = Path(__file__).with_name("classes.toml")
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        return tuple(Class.model_validate(r) for r in data["class"]), tuple(Corrosion.model_validate(r) for r in data["corrosion"])
    except (OSError, KeyError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise FileError(f"the table of classes cannot be read ({str(error).splitlines()[0]}).", where="classes.toml") from None


def look_up(base: str, service: int, chromium: str = "auto") -> Class:
    """The row for a base metal and service condition: ``auto`` takes regular chromium where there is such a row, which needs no further bath; of these the least nickel.

    Raises :class:`InputError` where the table has no such row.
    """
    rows = [r for r in table()[0] if r.base == base and r.service == service]
    fit = [r for r in rows if chromium in ("auto", r.chromium)]
    if not fit:
        there = ", ".join(dict.fromkeys(r.chromium for r in rows))
        raise InputError(
            f"there is no class with chromium '{chromium}' for {base} in service condition {service}.", where="finish.chromium" if rows else "finish.service",
            help=f"It has: {there}." if rows else "State another service condition, or the micrometres themselves.",
        )  # fmt: skip
    return min(fit, key=lambda r: (("r", "mp", "mc").index(r.chromium), r.nickel_um, "bdp".index(r.kind)))


def corrosion(service: int) -> Corrosion:
    """The corrosion test that a service condition asks for."""
    return next(c for c in table()[1] if c.service == service)


def served(base: str, nickel: float, chromium_um: float, kind: str) -> int:
    """The hardest service condition whose least thicknesses [µm] a deposit has, whatever its layers; 0 if none. ``kind`` of chromium, ``auto`` for any."""
    return max(
        (r.service for r in table()[0] if r.base == base and r.nickel_um <= nickel and r.chromium_um <= chromium_um and kind in ("auto", r.chromium)),
        default=0,
    )  # fmt: skip


@dataclass(frozen=True)
class Wanted:
    """The finish asked for: ``row`` of the class (None where the micrometres are stated), thicknesses [µm], whether the service condition was left open."""

    base: str
    service: int
    row: Class | None
    nickel: float
    chromium: float
    copper: float
    open: bool

    @property
    def name(self) -> str:
        """Classification number, or the micrometres."""
        return self.row.name if self.row else f"{SYMBOL[self.base]}/Ni {self.nickel:g} µm Cr {self.chromium:g} µm"


def wanted(stated: FinishStated, family: str) -> Wanted:
    """What a person asked for, in micrometres. Raises :class:`InputError` for a sheet without a base metal in the table, or a class that is not there."""
    base = stated.base if stated.base != "auto" else BASES.get(family, "")
    if not base:
        raise InputError(
            f"the classes know no base metal for a sheet of the family '{family}'.",
            where="finish.base",
            help="State steel, copper, zinc or aluminium.",
        )
    both = not isinstance(stated.nickel_um, str) and not isinstance(stated.chromium_um, str)
    service = USUAL if isinstance(stated.service, str) else stated.service
    row = None if both else look_up(base, service, stated.chromium)
    nickel = stated.nickel_um if not isinstance(stated.nickel_um, str) else row.nickel_um if row else 0.0
    chromium = stated.chromium_um if not isinstance(stated.chromium_um, str) else row.chromium_um if row else 0.0
    if row and (nickel != row.nickel_um or chromium != row.chromium_um):
        row = None
    return Wanted(base, service, row, nickel, chromium, row.copper_um if row else 0.0, isinstance(stated.service, str) and not both)
