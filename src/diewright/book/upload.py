"""Taking in a CAD file that a person drops on the book."""

from __future__ import annotations

import hashlib
import re
import shutil
import uuid
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from diewright.book.views import CAD_ENDINGS
from diewright.errors import FileError
from diewright.job.disk import refusal


def keep_upload(folder: Path, name: str, stream: BinaryIO) -> str:
    """Copy an uploaded CAD file into the job folder and return its name there.

    The name is reduced to its last part without control or path characters; an existing file of the same name and other content is
    never overwritten (the new one gets a number). Raises :class:`FileError` for another kind of file or an empty one.
    """
    clean = clean_name(name)
    if Path(clean).suffix.lower() not in CAD_ENDINGS:
        raise FileError(f"'{clean}' is not a CAD file that can be read here.", where="part.file", help="Give a STEP, IGES or STL file.")
    temporary = folder / f".upload-{uuid.uuid4().hex[:8]}"
    try:
        with temporary.open("wb") as out:
            shutil.copyfileobj(stream, out, 1 << 20)
        if temporary.stat().st_size == 0:
            raise FileError(f"'{clean}' is empty.", where="part.file", help="Export the part again.")
        target = _free(folder, clean, _sha(temporary))
        if target.exists():
            return target.name
        temporary.rename(target)
        return target.name
    except OSError as error:
        raise refusal(error, folder) from None
    finally:
        temporary.unlink(missing_ok=True)


def clean_name(name: str) -> str:
    """The last part of a path with odd characters replaced: safe as a file name in the job folder."""
    last = PurePosixPath(name.replace("\\", "/")).name
    last = re.sub(r"[\x00-\x1f\x7f<>:\"|?*]", "-", last).strip(" .")
    stem, dot, ending = last.rpartition(".")
    return f"{stem[:100]}{dot}{ending[:10]}" if dot and stem else (last[:100] or "part")


def _free(folder: Path, name: str, digest: str) -> Path:
    stem, ending = Path(name).stem, Path(name).suffix
    candidate, number = folder / name, 2
    while candidate.exists() and (not candidate.is_file() or _sha(candidate) != digest):
        candidate = folder / f"{stem} ({number}){ending}"
        number += 1
    return candidate


def _sha(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
