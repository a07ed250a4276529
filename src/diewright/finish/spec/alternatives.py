"""Other ways to a finish with what each costs and loses: choices, not advice."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from diewright.errors import FileError
from diewright.job.schema import FinishStated

Above = Annotated[float, Field(gt=0, le=1000)]


class Choice(BaseModel):
    """One way: relative cost a square metre (band), hardest service condition it usually serves, families of sheet, what it loses, where the job allows it."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    key: str
    title: str
    relative_cost: tuple[Above, Above]
    serves: Annotated[int, Field(ge=1, le=5)]
    families: tuple[str, ...]
    loses: str
    allows: str


@lru_cache(maxsize=1)
def choices() -> tuple[Choice, ...]:
    """All choices, the usual one first; raises :class:`FileError` for an entry that is not whole."""
    path = Path(__file__).with_name("alternatives.toml")
    try:
        return tuple(Choice.model_validate(c) for c in tomllib.loads(path.read_text(encoding="utf-8"))["choice"])
    except (OSError, KeyError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise FileError(f"the list of choices cannot be read ({str(error).splitlines()[0]}).", where="alternatives.toml") from None


@dataclass(frozen=True)
class Priced:
    """A choice for this part: whether it serves the service condition and the sheet; cost against the usual one (band; None where rates are stated for one of the two only)
    and, where a rate is stated, the cost of a part in the rate's own money."""

    choice: Choice
    serves: bool
    relative: tuple[float, float] | None
    part: float | None
    stated: bool


def priced(stated: FinishStated, family: str, service: int, area: float) -> list[Priced]:
    """Each choice for a part of ``area`` [m2], both sides. Stated rates replace the bands of ours."""
    rates = {k: getattr(stated, f"cost_{k}") for k in ("chromium_vi", "chromium_iii", "zinc_nickel", "powder", "stainless")}
    usual = rates["chromium_vi"]
    out = []
    for c in choices():
        rate = rates[c.key]
        band: tuple[float, float] | None = c.relative_cost
        if not isinstance(rate, str):
            band = None if isinstance(usual, str) else (rate / usual, rate / usual)
        out.append(
            Priced(
                c,
                c.serves >= service and family in c.families,
                band,
                None if isinstance(rate, str) else rate * area,
                not isinstance(rate, str),
            )
        )
    return out
