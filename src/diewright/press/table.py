"""The table of presses: reading it, choosing from it, and what force a press gives at each height."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from diewright.errors import FileError, InputError
from diewright.mechanics.crank import Crank

Floats = NDArray[np.float64]
OWN = "own:"
OWN_FILE = "presses.toml"
LARGEST_FILE = 256 * 1024
MOST_PRESSES = 500

Size = Annotated[float, Field(gt=0, le=1e7)]
Least = Annotated[float, Field(ge=0, le=1e7)]


class Press(BaseModel):
    """One press. Forces kN, lengths mm, energies kJ, rates 1/min, speeds mm/s, as in ``presses.toml``."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
    name: Annotated[str, Field(min_length=1, max_length=60)]
    kind: Literal["crank single", "crank double", "hydraulic"]
    force_kn: Size
    stroke_mm: Size
    strokes_per_minute: tuple[Size, Size]
    bed_mm: tuple[Size, Size]
    shut_height_mm: Size
    shut_height_adjust_mm: Least = 0.0
    cushion_kn: Least = 0.0
    cushion_stroke_mm: Least = 0.0
    rated_angle_deg: Annotated[float, Field(ge=0, le=90)] = 0.0
    rated_distance_mm: Least = 0.0
    rod_mm: Least = 0.0
    energy_kj: Least = 0.0
    energy_continuous_kj: Least = 0.0
    speed_mm_s: Least = 0.0
    source: Annotated[str, Field(max_length=200)] = "generic, common practice"

    @model_validator(mode="after")
    def _whole(self) -> Press:
        if self.strokes_per_minute[0] > self.strokes_per_minute[1]:
            raise ValueError("strokes_per_minute lists the lower rate first")
        if self.kind == "hydraulic":
            if self.speed_mm_s <= 0:
                raise ValueError("a hydraulic press needs speed_mm_s above 0")
            return self
        if (self.rated_angle_deg > 0) == (self.rated_distance_mm > 0):
            raise ValueError("a crank press needs either rated_angle_deg or rated_distance_mm")
        if self.rated_distance_mm > self.stroke_mm / 2:
            raise ValueError("rated_distance_mm lies in the lower half of the stroke")
        if 0 < self.rod_mm <= self.stroke_mm / 2:
            raise ValueError("rod_mm must be more than half the stroke")
        if self.energy_kj <= 0 or self.energy_continuous_kj <= 0:
            raise ValueError("a crank press needs energy_kj and energy_continuous_kj above 0")
        return self

    @property
    def crank(self) -> Crank | None:
        """The crank drive; none for a hydraulic press."""
        return None if self.kind == "hydraulic" else Crank(self.stroke_mm, self.rod_mm if self.rod_mm > 0 else math.inf)

    @property
    def rated_height(self) -> float:
        """Height above bottom [mm] up to which the nominal force is there; the whole stroke for a hydraulic press."""
        crank = self.crank
        if crank is None:
            return self.stroke_mm
        return float(crank.height(crank.rated_angle(angle_deg=self.rated_angle_deg, distance=self.rated_distance_mm)))

    def capacity(self, height: Floats) -> Floats:
        """Slide force [N] at each height above bottom [mm]; zero above the stroke."""
        h = np.asarray(height, dtype=float)
        nominal = 1000.0 * self.force_kn
        crank = self.crank
        inside = (h >= 0.0) & (h <= self.stroke_mm)
        if crank is None:
            return np.where(inside, nominal, 0.0)
        rated = crank.rated_angle(angle_deg=self.rated_angle_deg, distance=self.rated_distance_mm)
        return np.where(inside, crank.force(np.clip(h, 0.0, self.stroke_mm), nominal, rated), 0.0)

    def speed(self, height: float, strokes_per_minute: float) -> float:
        """Slide speed [mm/s] at the height above bottom [mm]; zero above the stroke."""
        if not 0.0 <= height <= self.stroke_mm:
            return 0.0
        crank = self.crank
        return self.speed_mm_s if crank is None else float(crank.speed(height, strokes_per_minute))

    @property
    def slide_pushes_cushion(self) -> bool:
        """True where the slide has to overcome the blankholder's force besides the draw (all but double action)."""
        return self.kind != "crank double"


def parse(text: str, where: str) -> tuple[Press, ...]:
    """The presses of a TOML text; raises :class:`FileError` with one sentence that names the press and the field."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FileError(f"the press table is not valid TOML ({str(error)[:120]}).", where=where, help="Correct the line named.") from None
    entries = data.get("press")
    unknown = set(data) - {"press", "source"}
    if unknown:
        raise FileError(f"there is no field called '{sorted(unknown)[0]}'.", where=where, help="A table has 'source' and a list [[press]].")
    if not isinstance(entries, list) or not entries or not all(isinstance(e, Mapping) for e in entries):
        raise FileError("the press table lists no press.", where=where, help="Each press is a block that starts with [[press]].")
    if len(entries) > MOST_PRESSES:
        raise FileError(
            f"the press table lists {len(entries)} presses: {MOST_PRESSES} at most.", where=where, help="Leave out those not in use."
        )
    source = data.get("source", "stated in the job folder")
    presses = tuple(_press({"source": source, **entry}, i, where) for i, entry in enumerate(entries))
    names = [p.name for p in presses]
    for name in names:
        if names.count(name) > 1:
            raise FileError(f"the press '{name}' is listed twice.", where=where, help="Give each press its own name.")
    return presses


def _press(entry: dict[str, Any], index: int, where: str) -> Press:
    try:
        return Press.model_validate(entry)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(p) for p in first["loc"])
        name = entry.get("name", f"number {index + 1}")
        text = str(first.get("ctx", {}).get("error", first["msg"]))
        raise FileError(
            f"press {str(name)[:60]!r}{f', field {field}' if field else ''}: {text[0].lower() + text[1:]}.",
            where=where,
            help="Correct the press table.",
        ) from None


@lru_cache(maxsize=1)
def generic_presses() -> tuple[Press, ...]:
    """The generic presses that come with the desk, smallest force first."""
    return parse((Path(__file__).parent / "presses.toml").read_text(encoding="utf-8"), "presses.toml")


def own_presses(path: Path, where: str = "press.name") -> tuple[Press, ...]:
    """The presses of the job folder's own ``presses.toml``; raises :class:`FileError` if it cannot be read."""
    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise FileError(
            f"the press table '{path.name}' cannot be read ({error.strerror}).", where=where, help="Check that it is there."
        ) from None
    if len(raw) > LARGEST_FILE:
        raise FileError(f"the press table is larger than {LARGEST_FILE // 1024} kB.", where=where, help="Leave out what is not a press.")
    try:
        return parse(raw.decode("utf-8"), f"{where} ({path.name})")
    except UnicodeDecodeError:
        raise FileError("the press table is not UTF-8 text.", where=where, help="Save it as UTF-8.") from None


def named(presses: tuple[Press, ...], name: str) -> Press:
    """The press of that name; raises :class:`InputError` that lists the known ones."""
    for press in presses:
        if press.name == name:
            return press
    known = ", ".join(f"'{p.name}'" for p in presses[:30])
    raise InputError(f"there is no press called '{name[:60]}'.", where="press.name", help=f"Known: auto, {known}.")
