"""What a stage is: one pure function from stated inputs and upstream results to a result."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from diewright.errors import FileError
from diewright.geometry.mesh import FieldMesh
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job
from diewright.job.series import FieldSeries
from diewright.watch import Watch

PACKAGE_ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class InputFile:
    """A file of the job that a stage reads: its place on disk, its name in the job, the digest of its bytes."""

    path: Path
    name: str
    digest: str

    @classmethod
    def of(cls, folder: Path, name: str, where: str) -> InputFile:
        """Digest the file ``name`` of the job ``folder``; raises :class:`FileError` if it cannot be read."""
        path = folder / name
        try:
            if not path.resolve().is_relative_to(folder.resolve()):
                raise FileError(f"'{name}' leads outside the job folder.", where=where, help="Copy the file into the job folder.")
            digest = _file_digest(path, path.stat().st_mtime_ns, path.stat().st_size)
        except FileNotFoundError:
            raise FileError(
                f"the file '{name}' is not in the job folder.", where=where, help="Copy it there or correct the name."
            ) from None
        except OSError as error:
            raise FileError(f"the file '{name}' cannot be read ({error.strerror}).", where=where, help="Check its permissions.") from None
        return cls(path, name, digest)


@dataclass(frozen=True)
class Result:
    """What a stage gives.

    ``values``: JSON-ready dictionary. ``figures``: numbers that can be opened. ``meshes``: meshes with fields
    (kept as VTKHDF). ``series``: meshes that move, with fields over time (kept as VTKHDF over time). ``tables``: name -> column -> 1-D array (kept as CSV). ``arrays``: anything else (kept as HDF5).
    ``files``: shop-floor files as bytes (DXF, STEP, STL). ``findings``: what the person should know.
    """

    values: dict[str, Any] = field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    findings: tuple[Finding, ...] = ()
    meshes: dict[str, FieldMesh] = field(default_factory=dict)
    tables: dict[str, dict[str, np.ndarray]] = field(default_factory=dict)
    arrays: dict[str, np.ndarray] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)
    series: dict[str, FieldSeries] = field(default_factory=dict)

    def figure(self, key: str) -> Figure:
        """The figure called ``key``; raises KeyError."""
        for f in self.figures:
            if f.key == key:
                return f
        raise KeyError(key)


@dataclass(frozen=True)
class Stage:
    """A stage of the job.

    ``inputs(job)`` picks the stated fields the stage reads into a frozen pydantic record (only those: they are the key).
    ``files(job)`` names the job's files it reads as ``{field: name}``. ``packages`` are the packages or modules below
    ``diewright`` whose source decides the result (``"sheet"``, ``"part"``); ``version`` is raised by hand when the meaning of the result changes.
    ``slow`` stages take minutes: they are worked when they are named, not with "all". ``plural`` titles are spoken of as "are".
    ``work(inputs, upstream, files, watch)`` is pure: no printing, no clock, no writing elsewhere.
    """

    name: str
    title: str
    version: int
    packages: tuple[str, ...]
    needs: tuple[str, ...]
    inputs: Callable[[Job], BaseModel]
    work: Callable[[Any, Mapping[str, Result], Mapping[str, InputFile], Watch], Result]
    files: Callable[[Job], dict[str, str]] = lambda job: {}
    slow: bool = False
    plural: bool = False

    @property
    def verbs(self) -> tuple[str, str]:
        """ "is" and "was", or "are" and "were", as the title wants them."""
        return ("are", "were") if self.plural else ("is", "was")


@lru_cache(maxsize=64)
def _file_digest(path: Path, stamp: int, size: int) -> str:
    """SHA-256 of a file; read again only when its time stamp or size has changed."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@lru_cache(maxsize=64)
def source_digest(packages: tuple[str, ...]) -> str:
    """SHA-256 over the names and bytes of the source and data files of the packages named, below ``diewright``."""
    total = hashlib.sha256()
    for package in sorted(packages):
        root = PACKAGE_ROOT / package
        paths = [root.with_suffix(".py")] if root.with_suffix(".py").is_file() else sorted(root.rglob("*"))
        if not paths:
            raise ValueError(f"stage package {package} does not exist")
        for path in paths:
            if path.is_file() and path.suffix in {".py", ".toml", ".csv"}:
                total.update(path.relative_to(PACKAGE_ROOT).as_posix().encode())
                total.update(path.read_bytes())
    return total.hexdigest()


def canonical(value: Any) -> str:
    """JSON text of a record, the same for the same content whatever the order of fields."""
    if isinstance(value, BaseModel):
        value = value.model_dump(mode="json")
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)
