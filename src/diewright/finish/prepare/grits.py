"""The library of grits and buffs: the Ra that each leaves, as a band."""

from __future__ import annotations

import math
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from diewright.errors import FileError, InputError

Above = Annotated[float, Field(gt=0, le=1000)]
WHEEL_SPEED = 38.1
"""Coated-wheel polishing: 7500 ft/min in m/s (ASM Handbook vol 5, read)."""
CLASSES = {f"N{i}": ra for i, ra in enumerate((0.025, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.3, 12.5, 25.0, 50.0), start=1)}
"""Roughness classes and the Ra [µm] that each allows (ISO 1302, from memory; replaced by ISO 21920-1)."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Grit(_Row):
    """``ra_um`` band that a grit of this number leaves."""

    number: Annotated[int, Field(ge=1)]
    ra_um: tuple[Above, Above]
    source: str


class Buff(_Row):
    """``ra_um`` band that a buff leaves, and its rim speed [m/s]."""

    name: str
    ra_um: tuple[Above, Above]
    speed_m_s: Above
    source: str


class Rolled(_Row):
    """Ra of rolled sheet [µm]."""

    ra_um: Above
    source: str


@lru_cache(maxsize=1)
def library() -> tuple[tuple[Grit, ...], dict[str, Buff], dict[str, Rolled]]:
    """Grits from coarse to fine, buffs and rolled sheets by name; raises :class:`FileError` for an entry that is not whole."""
    path = Path(__file__).with_name("grits.toml")
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        grits = sorted((Grit.model_validate(g) for g in data["grit"]), key=lambda g: g.number)
        buffs = {b["name"]: Buff.model_validate(b) for b in data["buff"]}
        return tuple(grits), buffs, {k: Rolled.model_validate(v) for k, v in data["rolled"].items()}
    except (OSError, KeyError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise FileError(f"the library of grits cannot be read ({str(error).splitlines()[0]}).", where="grits.toml") from None


def grit_called(number: int) -> Grit:
    """The grit of this number; between two of the library the band goes over in the logarithms of number and Ra.

    Raises :class:`InputError` for a number beyond the library's.
    """
    grits = library()[0]
    if not grits[0].number <= number <= grits[-1].number:
        raise InputError(
            f"no chart tells what grit {number} leaves.",
            where="finish.grits",
            help=f"State grits from {grits[0].number} to {grits[-1].number}.",
        )
    fine = next(g for g in grits if g.number >= number)
    if fine.number == number:
        return fine
    coarse = grits[grits.index(fine) - 1]
    w = math.log(number / coarse.number) / math.log(fine.number / coarse.number)
    low, high = (math.exp((1 - w) * math.log(a) + w * math.log(b)) for a, b in zip(coarse.ra_um, fine.ra_um, strict=True))
    return Grit(number=number, ra_um=(low, high), source=f"between {coarse.number} and {fine.number}, by us")


def roughness_class(ra: float) -> str:
    """The finest class N1 to N12 whose Ra is not below ``ra`` [µm]; raises :class:`InputError` beyond N12 or at 0 and below."""
    if not 0 < ra <= CLASSES["N12"]:
        raise InputError(f"an Ra of {ra:g} µm lies in no roughness class.", help="Classes go up to 50 µm.")
    return next(name for name, most in CLASSES.items() if ra <= most * (1 + 1e-9))
