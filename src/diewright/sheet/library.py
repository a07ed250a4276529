"""The sheet library: one TOML file a sheet, in ``library/``."""

from __future__ import annotations

import difflib
from functools import lru_cache
from pathlib import Path

from diewright.errors import InputError
from diewright.sheet.record import Sheet, read_sheet

FOLDER = Path(__file__).resolve().parent / "library"
OWN_PREFIX = "sheets/"


@lru_cache(maxsize=1)
def _all() -> dict[str, Sheet]:
    sheets = (read_sheet(path, f"library/{path.name}") for path in sorted(FOLDER.glob("*.toml")))
    return {s.name: s for s in sheets}


def names() -> tuple[str, ...]:
    """The sheets of the library, in alphabetical order."""
    return tuple(_all())


def load(name: str) -> Sheet:
    """The sheet ``name``, whatever its capitals; raises :class:`InputError` with near names for an unknown one."""
    by_key = {_key(k): s for k, s in _all().items()}
    found = by_key.get(_key(name))
    if found is None:
        near = difflib.get_close_matches(_key(name), by_key, n=3, cutoff=0.5)
        hint = f"Near: {', '.join(by_key[k].name for k in near)}." if near else f"Known: {', '.join(names())}."
        raise InputError(
            f"there is no sheet called '{name}'.",
            where="sheet.material",
            help=f"{hint} An own sheet is a file '{OWN_PREFIX}<name>.toml' in the job folder.",
        )
    return found


def own_sheet_file(material: str) -> str | None:
    """The job file a material means: ``sheets/x`` and ``sheets/x.toml`` mean ``sheets/x.toml``; a library name means none.

    Raises :class:`InputError` for a name that leads out of the folder ``sheets``.
    """
    if not material.startswith(OWN_PREFIX):
        return None
    tail = material.removeprefix(OWN_PREFIX).removesuffix(".toml")
    if not tail or tail.startswith(".") or any(c in tail for c in '/\\:*?"<>|') or not tail.isprintable():
        raise InputError(f"'{material}' cannot be used: expected '{OWN_PREFIX}' and a plain name.", where="sheet.material")
    return f"{OWN_PREFIX}{tail}.toml"


def _key(name: str) -> str:
    return name.casefold().replace(" ", "").replace("-", "")
