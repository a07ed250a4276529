"""The record of a sheet: one TOML file, the same for the library and for a job's own sheets.

Every value carries its unit and its source. A source that says "typical, from memory" is exactly that.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from diewright.errors import DeskError, FileError, InputError
from diewright.sheet.hardening import HardeningLaw, hardening_law
from diewright.sheet.quadratic import Hill48, Mises
from diewright.sheet.surface import YieldSurface
from diewright.sheet.yld2000 import Yld2000
from diewright.sheet.yld2000fit import Measures, fit_yld2000

FROM_MEMORY = "typical, from memory"
FORMAT = 1
FILE_LIMIT = 1_000_000

Family = Literal["steel", "stainless", "aluminium", "brass", "copper"]
Source = Annotated[str, Field(min_length=3, max_length=300)]


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Value(_Record):
    """A number with its unit and source."""

    value: float
    unit: str = ""
    source: Source


# name -> (unit, lowest, highest); the unit is checked, so that a GPa is not taken for a MPa.
RANGES: dict[str, tuple[str, float, float]] = {
    "E": ("MPa", 10_000, 500_000),
    "nu": ("-", 0.0, 0.49),
    "density": ("kg/m3", 500, 25_000),
    "Rp02": ("MPa", 5, 3000),
    "Rm": ("MPa", 5, 4000),
    "A80": ("%", 0.5, 100),
    "n": ("-", 0.005, 0.8),
    "r0": ("-", 0.05, 10),
    "r45": ("-", 0.05, 10),
    "r90": ("-", 0.05, 10),
}


class Values(_Record):
    """The plain figures of a sheet."""

    E: Value
    nu: Value
    density: Value
    Rp02: Value
    Rm: Value
    A80: Value
    n: Value
    r0: Value
    r45: Value
    r90: Value

    @model_validator(mode="after")
    def _in_range(self) -> Values:
        for name, (unit, low, high) in RANGES.items():
            v: Value = getattr(self, name)
            if v.unit != unit:
                raise ValueError(f"{name} has the unit '{v.unit}': expected '{unit}'")
            if not low <= v.value <= high:
                raise ValueError(f"{name} is {v.value:g}: expected {low:g} to {high:g} {unit}".removesuffix(" -"))
        if self.Rm.value <= self.Rp02.value:
            raise ValueError(f"Rm {self.Rm.value:g} MPa is not above Rp02 {self.Rp02.value:g} MPa")
        return self


class Thickness(_Record):
    """The thicknesses the sheet is made in [mm]."""

    min: float = Field(gt=0, le=20)
    max: float = Field(gt=0, le=20)
    unit: Literal["mm"]
    source: Source

    @model_validator(mode="after")
    def _ordered(self) -> Thickness:
        if self.max < self.min:
            raise ValueError(f"the largest thickness {self.max:g} mm is below the smallest {self.min:g} mm")
        return self


class Hardening(_Record):
    """A hardening law with parameters in MPa."""

    law: str
    parameters: dict[str, Any]
    source: Source

    @model_validator(mode="after")
    def _usable(self) -> Hardening:
        _ = self.build()
        return self

    def build(self) -> HardeningLaw:
        """The law itself."""
        return hardening_law(self.law, self.parameters)


class Yld2000Record(_Record):
    """Published Yld2000-2d coefficients."""

    alpha: tuple[float, ...]
    exponent: float
    source: Source

    @model_validator(mode="after")
    def _usable(self) -> Yld2000Record:
        _ = Yld2000(self.alpha, self.exponent)
        return self


class MeasuresRecord(_Record):
    """Yield stresses over one reference, for a fit of Yld2000-2d together with the r-values of the sheet."""

    s0: float = Field(gt=0.3, lt=3)
    s45: float = Field(gt=0.3, lt=3)
    s90: float = Field(gt=0.3, lt=3)
    sb: float = Field(gt=0.3, lt=3)
    rb: float | None = Field(default=None, gt=0, lt=10)
    exponent: float = Field(default=8.0, ge=2, le=40)
    source: Source


class LimitRecord(_Record):
    """What the library knows of the forming limit: points (true strain), or the Keeler-Brazier estimate."""

    kind: Literal["points", "keeler-brazier"]
    thickness: float | None = Field(default=None, gt=0, le=20)
    points: tuple[tuple[float, float], ...] = ()
    source: Source

    @model_validator(mode="after")
    def _complete(self) -> LimitRecord:
        if self.kind == "points":
            minor = [p[0] for p in self.points]
            if len(self.points) < 3 or not min(minor) < 0 < max(minor):
                raise ValueError("a forming limit by points needs 3 or more, with minor strains below and above zero")
            if any(major <= 0 or major < minor for minor, major in self.points):
                raise ValueError("each major strain of the forming limit must be above zero and not below its minor strain")
            if len(set(minor)) != len(minor):
                raise ValueError("two points of the forming limit have the same minor strain")
            if self.thickness is None:
                raise ValueError("a forming limit by points needs the thickness [mm] it was found at")
        return self


class Sheet(_Record):
    """A sheet of the library or of a job."""

    format: int = Field(ge=1, le=FORMAT)
    name: str = Field(min_length=1, max_length=60)
    title: str = Field(default="", max_length=200)
    family: Family
    standard: str = Field(default="", max_length=60)
    number: str = Field(default="", max_length=60)
    thickness: Thickness
    values: Values
    hardening: tuple[Hardening, ...] = Field(min_length=1)
    yld2000: Yld2000Record | None = None
    measures: MeasuresRecord | None = None
    limit: LimitRecord

    @field_validator("hardening")
    @classmethod
    def _once_each(cls, value: tuple[Hardening, ...]) -> tuple[Hardening, ...]:
        laws = [h.law for h in value]
        if len(set(laws)) != len(laws):
            raise ValueError("a hardening law is given twice")
        return value

    def number_of(self, name: str) -> float:
        """The figure ``name`` (``E``, ``Rp02``, ``r90``, ...)."""
        return float(getattr(self.values, name).value)

    @property
    def has_yld2000(self) -> bool:
        """Whether Yld2000-2d can be had: coefficients, or measurements for a fit."""
        return self.yld2000 is not None or self.measures is not None

    def surface(self, kind: str) -> YieldSurface:
        """The yield surface ``mises``, ``hill48`` (from the r-values) or ``yld2000``; raises :class:`InputError` without data for it."""
        if kind == "mises":
            return Mises()
        if kind == "hill48":
            return Hill48.from_r(*(self.number_of(k) for k in ("r0", "r45", "r90")))
        if kind != "yld2000":
            raise InputError(f"'{kind}' is not a yield surface: expected mises, hill48 or yld2000.", where="sheet.yield_surface")
        if self.yld2000 is not None:
            return Yld2000(self.yld2000.alpha, self.yld2000.exponent)
        if self.measures is not None:
            m = self.measures
            r0, r45, r90 = (self.number_of(k) for k in ("r0", "r45", "r90"))
            return fit_yld2000(Measures(m.s0, m.s45, m.s90, m.sb, r0, r45, r90, m.rb), m.exponent)
        raise InputError(
            f"the sheet '{self.name}' has neither Yld2000 coefficients nor measurements for a fit.", where="sheet.yield_surface"
        )

    def from_memory(self) -> list[str]:
        """Names of the values whose source is memory."""
        out = [k for k in RANGES if getattr(self.values, k).source == FROM_MEMORY]
        out += [f"hardening {h.law}" for h in self.hardening if h.source == FROM_MEMORY]
        if self.limit.source == FROM_MEMORY:
            out.append("forming limit")
        return out


def read_sheet(path: Path, shown: str) -> Sheet:
    """Read and check a sheet file; ``shown`` is its name in messages. Raises :class:`FileError` or :class:`InputError`."""
    try:
        if path.stat().st_size > FILE_LIMIT:
            raise FileError(f"the file is larger than {FILE_LIMIT // 1_000_000} MB, which no sheet needs.", where=shown)
        text = path.read_bytes().decode("utf-8")
        data = tomllib.loads(text)
    except FileNotFoundError:
        raise FileError("the file is not there.", where=shown, help="Copy it there or correct the name.") from None
    except OSError as error:
        raise FileError(f"the file cannot be read ({error.strerror}).", where=shown) from None
    except UnicodeDecodeError:
        raise FileError("the file is not text in UTF-8.", where=shown, help="Save it as a UTF-8 text file.") from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FileError(f"the file is not valid TOML: {str(error)[:120]}.", where=shown) from None
    return parse_sheet(data, shown)


def parse_sheet(data: dict[str, Any], shown: str) -> Sheet:
    """Check a plain dictionary as a sheet; one sentence for the first thing that is wrong."""
    made_by = data.get("format")
    if isinstance(made_by, int) and made_by > FORMAT:
        raise InputError(
            f"the sheet was written by a newer diewright (format {made_by}; this one reads {FORMAT}).",
            where=shown,
            help="Update diewright.",
        )
    try:
        return Sheet.model_validate(data)
    except ValidationError as error:
        raise _one_sentence(error, shown) from None
    except DeskError as error:
        raise InputError(error.sentence, where=shown) from None


def _one_sentence(error: ValidationError, shown: str) -> InputError:
    first = error.errors()[0]
    place = ".".join(str(p) for p in first["loc"])
    where = f"{shown}: {place}" if place else shown
    value = repr(first.get("input"))
    value = value if len(value) <= 60 else value[:57] + "..."
    kind = first["type"]
    if kind == "extra_forbidden":
        return InputError("there is no such field in a sheet file.", where=where, help="Take it out or correct its name.")
    if kind == "missing":
        return InputError("the field is missing.", where=where, help="Every value needs value, unit and source.")
    if kind == "value_error":
        return InputError(f"{first['ctx']['error']}.", where=where)
    return InputError(f"{value} cannot be used: {first['msg'][0].lower()}{first['msg'][1:]}.", where=where)
