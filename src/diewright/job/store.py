"""The store of results: entries by provenance, whole or not there at all.

One entry is a folder ``results/<stage>/<key>`` with ``result.json``, the meshes, series, tables, arrays and files, and a
``manifest.json`` with the digest of each. It is made under a temporary name on the same disk and renamed into place, so a
process killed at any moment leaves either nothing or a whole entry. An entry that does not match its manifest is a miss.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
import uuid
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diewright.errors import StoreError
from diewright.job import formats
from diewright.job.disk import fsync_folder, refusal, write_whole
from diewright.job.findings import Figure, Finding
from diewright.job.stage import Result

LIMIT_BYTES = 2_000_000_000
LIMIT_DAYS = 90.0
RESULTS_IN_MEMORY = 16
SERIES_IN_MEMORY = 1_000_000_000  # bytes of series kept in memory, over all results; the newest stays in any case


@dataclass(frozen=True)
class Entry:
    """A finished result on disk: its stage, key, what it was made from, and its folder."""

    stage: str
    key: str
    provenance: dict[str, Any]
    folder: Path


class Store:
    """Results of one job, below ``folder/results``."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "results"
        self._read_before: OrderedDict[Path, tuple[object, Result]] = OrderedDict()

    def _place(self, stage: str, key: str) -> Path:
        return self.root / stage / key

    def put(self, stage: str, key: str, provenance: dict[str, Any], result: Result) -> Entry:
        """Keep a result; raises :class:`StoreError` if the disk refuses, and then nothing is left behind."""
        final = self._place(stage, key)
        temporary = self.root / "unfinished" / f"{stage}-{uuid.uuid4().hex[:12]}"
        try:
            temporary.mkdir(parents=True)
            _write(temporary, result)
            manifest = {
                "stage": stage,
                "key": key,
                "provenance": provenance,
                "files": {p.relative_to(temporary).as_posix(): _digest(p) for p in sorted(temporary.rglob("*")) if p.is_file()},
            }
            _keep(temporary / "manifest.json", json.dumps(manifest, indent=1).encode())
            fsync_folder(temporary)
            final.parent.mkdir(parents=True, exist_ok=True)
            if final.exists():
                shutil.rmtree(final)
            os.rename(temporary, final)
            fsync_folder(final.parent)
        except OSError as error:
            raise refusal(error, self.root) from None
        finally:
            shutil.rmtree(temporary, ignore_errors=True)
        write_whole(self.root / stage / "latest", key.encode())
        return Entry(stage, key, provenance, final)

    def find(self, stage: str, key: str) -> Entry | None:
        """The entry for ``key`` if it is there with all its files at their sizes; does not read the arrays."""
        folder = self._place(stage, key)
        try:
            manifest = json.loads((folder / "manifest.json").read_bytes())
            whole = all((folder / name).stat().st_size == size for name, (size, _) in manifest["files"].items())
            if not whole or manifest["key"] != key:
                return None
            return Entry(stage, key, manifest["provenance"], folder)
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def latest(self, stage: str) -> Entry | None:
        """The entry finished last for the stage, current or not."""
        try:
            key = (self.root / stage / "latest").read_text().strip()
        except (OSError, UnicodeDecodeError):
            return None
        return self.find(stage, key) if key.isalnum() else None

    def get(self, stage: str, key: str) -> Result | None:
        """The result for ``key``, every byte checked; None if it is not there or damaged (then it is set aside)."""
        entry = self.find(stage, key)
        if entry is None:
            return None
        try:
            manifest = json.loads((entry.folder / "manifest.json").read_bytes())
            stamps = tuple((entry.folder / name).stat().st_mtime_ns for name in manifest["files"])
            stamp, result = self._read_before.get(entry.folder, (None, Result()))
            if stamp == stamps:  # read and checked before, and untouched since
                return result
            for name, (_, digest) in manifest["files"].items():
                if _digest(entry.folder / name)[1] != digest:
                    raise ValueError(name)
            result = _read(entry.folder)
            self._read_before[entry.folder] = (stamps, result)
            while len(self._read_before) > RESULTS_IN_MEMORY or (len(self._read_before) > 1 and self._series_bytes() > SERIES_IN_MEMORY):
                self._read_before.popitem(last=False)
            return result
        except (OSError, ValueError, KeyError):
            shutil.rmtree(entry.folder, ignore_errors=True)
            return None

    def _series_bytes(self) -> int:
        return sum(series.nbytes for _, result in self._read_before.values() for series in result.series.values())

    def note_failure(self, stage: str, key: str, error: dict[str, str]) -> None:
        """Remember that the stage with this key was refused, so that it can be said without working it again."""
        write_whole(self.root / stage / "refused.json", json.dumps({"key": key, **error}).encode())

    def failure(self, stage: str, key: str) -> dict[str, str] | None:
        """What :meth:`note_failure` kept for this very key, or None."""
        try:
            kept = json.loads((self.root / stage / "refused.json").read_bytes())
        except (OSError, ValueError):
            return None
        return kept if isinstance(kept, dict) and kept.get("key") == key else None

    def sweep(
        self, keep: Collection[str] = (), limit_bytes: int = LIMIT_BYTES, limit_days: float = LIMIT_DAYS, now: float | None = None
    ) -> int:
        """Remove unfinished leftovers, then entries too old or (oldest first) over the size limit; returns bytes freed.

        Entries whose key is in ``keep`` and each stage's latest stay. Call it only while holding the job's lock.
        """
        freed = _size(self.root / "unfinished")
        shutil.rmtree(self.root / "unfinished", ignore_errors=True)
        entries = []
        for manifest in self.root.glob("*/*/manifest.json"):
            folder = manifest.parent
            latest = folder.parent / "latest"
            named = latest.read_text().strip() if latest.is_file() else ""
            entries.append((folder.stat().st_mtime, _size(folder), folder, folder.name in keep or folder.name == named))
        total = sum(size for _, size, _, _ in entries)
        now = time.time() if now is None else now
        for age, size, folder, kept in sorted(entries, key=lambda e: e[0]):
            if not kept and (total > limit_bytes or now - age > limit_days * 86400):
                shutil.rmtree(folder, ignore_errors=True)
                total -= size
                freed += size
        return freed


def _digest(path: Path) -> tuple[int, str]:
    with path.open("rb") as stream:
        return path.stat().st_size, hashlib.file_digest(stream, "sha256").hexdigest()


def _size(folder: Path) -> int:
    return sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())


def _keep(path: Path, data: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _write(folder: Path, result: Result) -> None:
    text = {
        "values": result.values,
        "figures": [f.model_dump(mode="json") for f in result.figures],
        "findings": [f.model_dump(mode="json") for f in result.findings],
    }
    try:
        data = json.dumps(text, indent=1, allow_nan=False).encode()
    except ValueError:
        raise StoreError(
            "The stage gave a value that is not a finite number; its result was not kept.", help="Please report this with the job folder."
        ) from None
    _keep(folder / "result.json", data)
    for name, mesh in result.meshes.items():
        formats.write_mesh(folder / f"{name}.vtkhdf", mesh)
    for name, series in result.series.items():
        (folder / "series").mkdir(exist_ok=True)
        formats.write_series(folder / "series" / f"{name}.vtkhdf", series)
    if result.arrays:
        formats.write_arrays(folder / "arrays.h5", result.arrays)
    for name, table in result.tables.items():
        _keep(folder / f"{name}.csv", formats.table_text(table).encode())
    for name, content in result.files.items():
        (folder / "files").mkdir(exist_ok=True)
        _keep(folder / "files" / name, content)


def _read(folder: Path) -> Result:
    text = json.loads((folder / "result.json").read_bytes())
    arrays = folder / "arrays.h5"
    return Result(
        values=text["values"],
        figures=tuple(Figure.model_validate(f) for f in text["figures"]),
        findings=tuple(Finding.model_validate(f) for f in text["findings"]),
        meshes={p.stem: formats.read_mesh(p) for p in sorted(folder.glob("*.vtkhdf"))},
        series={p.stem: formats.read_series(p) for p in sorted((folder / "series").glob("*.vtkhdf"))},
        tables={p.stem: formats.table_of(p.read_text()) for p in sorted(folder.glob("*.csv"))},
        arrays=formats.read_arrays(arrays) if arrays.exists() else {},
        files={p.name: p.read_bytes() for p in sorted((folder / "files").glob("*"))},
    )
