"""The library of baths: conductivity, kinetics, efficiency and limits of current density, each number with its source."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from diewright.errors import FileError, InputError
from diewright.finish.current.faraday import Efficiency, Metal
from diewright.finish.current.laws import ButlerVolmer

Above = Annotated[float, Field(gt=0, le=1e6)]
AREA = 1e-4
"""A/dm2 in A/mm2."""


class Bath(BaseModel):
    """One bath, as in ``baths.toml``: units in the names; kinetics in A/dm2 and V a decade."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    title: str
    metal: Literal["nickel", "copper", "chromium"]
    molar_g: Above
    electrons: Annotated[int, Field(ge=1, le=8)]
    density_g_cm3: Above
    conductivity_s_m: Above
    cathode_exchange_a_dm2: Above
    cathode_slope_v: Above
    cathode_back_slope_v: Above
    anode_exchange_a_dm2: Above
    anode_slope_v: Above
    equilibrium_v: Annotated[float, Field(ge=-5, le=5)]
    efficiency_a_dm2: tuple[Annotated[float, Field(ge=0)], ...]
    efficiency: tuple[Annotated[float, Field(ge=0, le=1)], ...]
    usual_a_dm2: tuple[Above, Above]
    mean_a_dm2: Above
    burn_a_dm2: Above
    starve_a_dm2: Above
    sources: dict[str, str]

    @model_validator(mode="after")
    def _whole(self) -> Bath:
        rising = all(a < b for a, b in zip(self.efficiency_a_dm2, self.efficiency_a_dm2[1:], strict=False))
        if len(self.efficiency_a_dm2) != len(self.efficiency) or not self.efficiency or not rising:
            raise ValueError("efficiency needs one share for each current density, in rising order")
        wanted = set(type(self).model_fields) - {"title", "metal", "mean_a_dm2", "efficiency_a_dm2", "sources"}
        if missing := wanted - set(self.sources):
            raise ValueError(f"no source is named for {', '.join(sorted(missing))}")
        return self

    @property
    def deposit(self) -> Metal:
        """The metal as Faraday's law wants it."""
        return Metal(self.molar_g, self.electrons, self.density_g_cm3)

    @property
    def curve(self) -> Efficiency:
        """Efficiency over the current density."""
        return Efficiency(self.efficiency_a_dm2, self.efficiency)

    def cathode(self, slope: float | None = None) -> ButlerVolmer:
        """Kinetics of the parts in A/mm2; ``slope`` [V/decade] instead of the bath's own."""
        return ButlerVolmer(self.cathode_exchange_a_dm2 * AREA, slope or self.cathode_slope_v, self.cathode_back_slope_v)

    @property
    def anode(self) -> ButlerVolmer:
        """Kinetics of the anodes in A/mm2."""
        return ButlerVolmer(self.anode_exchange_a_dm2 * AREA, self.anode_slope_v, self.anode_slope_v)


@lru_cache(maxsize=1)
def baths() -> dict[str, Bath]:
    """All baths by name; raises :class:`FileError` for an entry that is not whole."""
    path = Path(__file__).with_name("baths.toml")
    try:
        return {name: Bath.model_validate(entry) for name, entry in tomllib.loads(path.read_text(encoding="utf-8")).items()}
    except (OSError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise FileError(f"the library of baths cannot be read ({str(error).splitlines()[0]}).", where="baths.toml") from None


def bath_called(name: str) -> Bath:
    """One bath; raises :class:`InputError` with the names there are."""
    known = baths()
    if name not in known:
        raise InputError(f"there is no bath called '{name}'.", where="plating.layers.bath", help=f"Baths: {', '.join(known)}.")
    return known[name]
