"""Reading a tensile test from a CSV text; the format is described in ``docs/tensile-csv.md``.

Nothing is guessed: a column without a unit, a missing thickness or an unclear sign is one clear sentence.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from diewright.errors import FileError
from diewright.sheet.surface import Floats

SIZE_LIMIT = 20_000_000
ROW_LIMIT = 500_000
ROWS_MIN = 20
ANGLES = (0.0, 45.0, 90.0)

# column or key name -> quantity
_NAMES = {
    "force": "force", "load": "force",
    "extension": "extension", "elongation": "extension",
    "stress": "stress", "engineering stress": "stress",
    "strain": "strain", "engineering strain": "strain",
    "width strain": "width strain", "transverse strain": "width strain",
    "width change": "width change",
    "width": "width", "initial width": "width",
    "thickness": "thickness", "initial thickness": "thickness",
    "gauge length": "gauge length", "gage length": "gauge length",
    "angle": "angle",
}  # fmt: skip
_UNITS = {
    "force": {"n": 1.0, "kn": 1000.0},
    "extension": {"mm": 1.0},
    "stress": {"mpa": 1.0, "n/mm2": 1.0, "n/mm²": 1.0},
    "strain": {"-": 1.0, "1": 1.0, "mm/mm": 1.0, "%": 0.01},
    "width strain": {"-": 1.0, "1": 1.0, "mm/mm": 1.0, "%": 0.01},
    "width change": {"mm": 1.0},
    "width": {"mm": 1.0},
    "thickness": {"mm": 1.0},
    "gauge length": {"mm": 1.0},
    "angle": {"deg": 1.0, "°": 1.0, "degrees": 1.0},
}
_REFUSED = {"true stress", "true strain"}
_COLUMN = re.compile(r"^\s*(?P<name>[^\[\](]+?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])])?\s*$")
_KEY = re.compile(r"^\s*(?P<key>[A-Za-z ]+?)\s*[:=]\s*(?P<value>[-+0-9.,eE]+)\s*(?P<unit>\S*)\s*$")


@dataclass(frozen=True)
class TensileRecord:
    """Engineering values of one test, in the order of the file.

    ``strain`` and ``stress`` ``(n,)`` [-], [MPa]; ``width_strain`` ``(n,)`` [-], negative as the specimen gets narrower, or None.
    """

    name: str
    angle: float
    strain: Floats
    stress: Floats
    width_strain: Floats | None
    ignored: tuple[str, ...] = field(default=())


def read_tensile(path: Path, shown: str) -> TensileRecord:
    """Read the file; ``shown`` is its name in messages. Raises :class:`FileError`."""
    try:
        if path.stat().st_size > SIZE_LIMIT:
            raise FileError(f"the file is larger than {SIZE_LIMIT // 1_000_000} MB.", where=shown, help="Thin out the rows.")
        raw = path.read_bytes()
    except OSError as error:
        raise FileError(f"the file cannot be read ({error.strerror}).", where=shown) from None
    if b"\x00" in raw:
        raise FileError("the file is not a text file.", where=shown, help="Export the test as CSV text in UTF-8.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileError("the file is not text in UTF-8.", where=shown, help="Export the test as CSV text in UTF-8.") from None
    return parse_tensile(text, shown)


def parse_tensile(text: str, shown: str) -> TensileRecord:
    """Parse the text of a test. Raises :class:`FileError` with the line number of the first thing that is wrong."""
    stated: dict[str, float] = {}
    rows: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.lstrip().startswith("#"):
            _take_key(line, number, shown, stated)
        elif line.strip():
            rows.append((number, line))
    if len(rows) > ROW_LIMIT:
        raise FileError(f"the file has {len(rows)} rows: expected {ROW_LIMIT} at most.", where=shown, help="Thin out the rows.")
    if not rows:
        raise FileError("the file has no rows.", where=shown)
    header_line, header = rows[0]
    cut = next((c for c in ("\t", ";", ",") if c in header), None)
    if cut is None:
        raise FileError(
            "the column header has a single column: expected comma, semicolon or tab between columns.", where=f"{shown} line {header_line}"
        )
    columns, ignored = _columns(header.split(cut), f"{shown} line {header_line}")
    if len(rows) - 1 < ROWS_MIN:
        raise FileError(f"the file has {len(rows) - 1} rows of numbers: expected at least {ROWS_MIN}.", where=shown)
    data = _numbers(rows[1:], cut, len(header.split(cut)), columns, shown)
    return _assemble(data, stated, ignored, shown)


def _take_key(line: str, number: int, shown: str, stated: dict[str, float]) -> None:
    """A comment line such as ``# thickness: 0.80 mm``; other comments are left alone."""
    match = _KEY.match(line.lstrip().lstrip("#"))
    key = _NAMES.get(" ".join(match["key"].lower().split())) if match else None
    if match is None or key not in ("angle", "thickness", "width", "gauge length"):
        return
    where = f"{shown} line {number}"
    factor = _UNITS[key].get(match["unit"].lower())
    if factor is None:
        raise FileError(f"{key} has the unit '{match['unit']}': expected {' or '.join(_UNITS[key])}.", where=where)
    if key in stated:
        raise FileError(f"{key} is given twice.", where=where)
    value = _number(match["value"], where) * factor
    if key != "angle" and value <= 0:
        raise FileError(f"{key} is {value:g}: expected more than 0 mm.", where=where)
    stated[key] = value


def _columns(cells: list[str], where: str) -> tuple[dict[str, tuple[int, float]], tuple[str, ...]]:
    """Quantity -> (index, factor), and the names of columns that are not used."""
    out: dict[str, tuple[int, float]] = {}
    ignored: list[str] = []
    for i, cell in enumerate(cells):
        match = _COLUMN.match(cell.strip().strip('"'))
        name = " ".join(match["name"].lower().split()) if match else cell.strip().lower()
        if name in _REFUSED:
            raise FileError(
                f"the column '{name}' cannot be used: expected engineering values.",
                where=where,
                help="Give stress on the first section and strain on the first length.",
            )
        quantity = _NAMES.get(name)
        if quantity is None or match is None:
            ignored.append(cell.strip())
            continue
        unit = match["unit"]
        if unit is None:
            raise FileError(
                f"the column '{name}' has no unit: expected '{name} [{next(iter(_UNITS[quantity])).upper() if quantity == 'force' else next(iter(_UNITS[quantity]))}]' or the like.",
                where=where,
            )
        factor = _UNITS[quantity].get(unit.lower().replace(" ", ""))
        if factor is None:
            raise FileError(f"the column '{name}' has the unit '{unit}': expected {' or '.join(_UNITS[quantity])}.", where=where)
        if quantity in out:
            raise FileError(f"there are two columns for {quantity}.", where=where)
        out[quantity] = (i, factor)
    return out, tuple(ignored)


def _number(text: str, where: str) -> float:
    cell = text.strip().strip('"')
    if "," in cell and "." in cell:
        raise FileError(f"'{cell[:30]}' has both a comma and a point.", where=where, help="Take the thousands separators out.")
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        raise FileError(f"'{cell[:30]}' is not a number.", where=where) from None
    if not math.isfinite(value):
        raise FileError(f"'{cell[:30]}' is not a finite number.", where=where)
    return value


def _numbers(rows: list[tuple[int, str]], cut: str, width: int, columns: dict[str, tuple[int, float]], shown: str) -> dict[str, Floats]:
    data: dict[str, list[float]] = {q: [] for q in columns}
    for number, line in rows:
        cells = line.split(cut)
        if len(cells) != width:
            raise FileError(
                f"the row has {len(cells)} columns and the header {width}.", where=f"{shown} line {number}",
                help="With a decimal comma, use a semicolon or a tab between columns." if cut == "," else "",
            )  # fmt: skip
        for q, (i, factor) in columns.items():
            data[q].append(_number(cells[i], f"{shown} line {number}") * factor)
    return {q: np.array(v) for q, v in data.items()}


def _assemble(data: dict[str, Floats], stated: dict[str, float], ignored: tuple[str, ...], shown: str) -> TensileRecord:
    def constant(key: str) -> float:
        if key in stated:
            return stated[key]
        if key in data:
            column = data[key]
            if key != "width" and np.ptp(column) > 0:
                raise FileError(f"the column {key} changes from row to row.", where=shown)
            if key == "angle" or column[0] > 0:
                return float(column[0])
        unit = "deg" if key == "angle" else "mm"
        raise FileError(f"the {key} is not given.", where=shown, help=f"Add the line '# {key}: ... {unit}' at the top.")

    angle = constant("angle")
    if angle not in ANGLES:
        raise FileError(f"the angle is {angle:g} deg: expected 0, 45 or 90 to the rolling direction.", where=shown)
    if "stress" in data:
        stress = data["stress"]
    elif "force" in data:
        stress = data["force"] / (constant("width") * constant("thickness"))
    else:
        raise FileError("there is no column 'force' or 'stress'.", where=shown)
    if "strain" in data:
        strain = data["strain"]
    elif "extension" in data:
        strain = data["extension"] / constant("gauge length")
    else:
        raise FileError("there is no column 'extension' or 'strain'.", where=shown)
    width_strain = None
    if "width strain" in data:
        width_strain = data["width strain"]
    elif "width change" in data:
        width_strain = data["width change"] / constant("width")
    elif "width" in data and np.ptp(data["width"]) > 0:
        width_strain = data["width"] / constant("width") - 1.0
    _plausible(strain, stress, width_strain, shown)
    return TensileRecord(shown, angle, strain, stress, width_strain, ignored)


def _plausible(strain: Floats, stress: Floats, width: Floats | None, shown: str) -> None:
    if stress.max() <= 0:
        raise FileError("no stress is above zero.", where=shown)
    if not 3.0 < stress.max() < 5000.0:
        raise FileError(
            f"the largest stress is {stress.max():.3g} MPa: expected 3 to 5000.",
            where=shown,
            help="Check the units, the width and the thickness.",
        )
    if not 0.005 < strain.max() < 3.0:
        raise FileError(
            f"the largest strain is {strain.max():.3g}: expected 0.005 to 3.", where=shown, help="Check the units and the gauge length."
        )
    if width is not None and width.min() <= -0.95:
        raise FileError(f"the width strain falls to {width.min():.3g}.", where=shown, help="Check the unit of the width.")
    if width is not None and width[np.argmax(stress)] >= 0:
        raise FileError(
            "the width strain is not below zero at maximum load.",
            where=shown,
            help="Getting narrower is negative: turn the sign of the column.",
        )
