"""What a CAD file is, judged by its first and last bytes as well as by its name."""

from __future__ import annotations

import re
import stat
from pathlib import Path
from typing import Literal

from diewright.errors import FileError

Kind = Literal["step", "iges", "stl"]

_BY_SUFFIX: dict[str, Kind] = {".step": "step", ".stp": "step", ".p21": "step", ".iges": "iges", ".igs": "iges", ".stl": "stl"}
_TITLE = {"step": "STEP", "iges": "IGES", "stl": "STL"}
_OTHER = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"\xd0\xcf\x11\xe0", "an office document"),
    (b"AC10", "a DWG drawing"),
    (b"<?xml", "an XML document"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
)
STL_HEADER, STL_RECORD = 84, 50


def open_checked(path: Path, megabytes: float) -> int:
    """Size of the file in bytes; refuses what is no ordinary readable file, is empty, or is larger than ``megabytes``."""
    name = path.name
    try:
        info = path.stat()
    except FileNotFoundError:
        raise FileError(f"the file '{name}' does not exist.", where="part.file", help="Copy it into the job folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name cannot be used"
        raise FileError(
            f"the file '{name}' cannot be opened ({reason}).", where="part.file", help="Replace it by an ordinary file."
        ) from None
    if stat.S_ISDIR(info.st_mode):
        raise FileError(f"'{name}' is a folder, not a CAD file.", where="part.file", help="Name the file inside it.")
    if not stat.S_ISREG(info.st_mode):
        raise FileError(f"'{name}' is not an ordinary file.", where="part.file", help="Copy the CAD file into the job folder.")
    if info.st_size == 0:
        raise FileError(f"the file '{name}' is empty (0 bytes).", where="part.file", help="Export it again from the CAD system.")
    if info.st_size > megabytes * 1e6:
        raise FileError(
            f"the file '{name}' has {info.st_size / 1e6:.0f} MB; the limit is {megabytes:.0f} MB.",
            where="part.file", help="Export the part alone, without its assembly.",
        )  # fmt: skip
    return info.st_size


def sniff(path: Path, size: int) -> tuple[Kind, str]:
    """The kind of the file and a remark for the audit (empty if name and content agree).

    Raises :class:`FileError` for a file that is none of the three kinds, or that was plainly cut off.
    """
    name = path.name
    try:
        with path.open("rb") as stream:
            head = stream.read(65_536)
            stream.seek(max(0, size - 4096))
            tail = stream.read(4096)
    except OSError as error:
        raise FileError(f"the file '{name}' cannot be read ({error.strerror}).", where="part.file", help="Check its permissions.") from None
    by_name = _BY_SUFFIX.get(path.suffix.lower())
    found = _content(head, size)
    if found is None:
        raise _unknown(name, by_name, head)
    _check_end(found, name, head, tail, size)
    if by_name is None:
        return found, f"the name '{name}' does not tell the format; its content is {_TITLE[found]}"
    if by_name != found:
        return found, f"the name says {_TITLE[by_name]}, the content is {_TITLE[found]}: read as {_TITLE[found]}"
    return found, ""


def _content(head: bytes, size: int) -> Kind | None:
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if text.startswith((b"ISO-10303-21", b"/*")) and b"ISO-10303-21" in head:
        return "step"
    first = head.split(b"\n", 1)[0].rstrip(b"\r")
    if len(first) >= 80 and first[72:73] in b"SBC" and re.fullmatch(rb"[ 0]*1", first[73:80]):
        return "iges"
    if text[:5].lower() == b"solid" and re.search(rb"facet\s+normal", head, re.IGNORECASE):
        return "stl"
    if size >= STL_HEADER and len(head) >= STL_HEADER:
        claimed = int.from_bytes(head[80:84], "little")
        if size == STL_HEADER + STL_RECORD * claimed:
            return "stl"
        if b"\x00" in head[:STL_HEADER] or b"\x00" in head[STL_HEADER : STL_HEADER + 400]:
            # bytes that no text file has: a damaged binary STL is told apart from a renamed text file by _check_end
            return "stl" if not any(head.startswith(mark) for mark, _ in _OTHER) else None
    return None


def _unknown(name: str, by_name: Kind | None, head: bytes) -> FileError:
    seems = next((text for mark, text in _OTHER if head.lstrip().startswith(mark)), "")
    if by_name is None:
        told = f"it seems to be {seems}" if seems else "its content is none of these"
        return FileError(f"'{name}' is no STEP, IGES or STL file: {told}.", where="part.file", help="Export the part as STEP.")
    wants = {
        "step": "it does not start with 'ISO-10303-21'",
        "iges": "its first line is no start section of 80 columns",
        "stl": "it is neither a text STL with facets nor a binary STL of the right length",
    }[by_name]
    told = f"it seems to be {seems}" if seems else wants
    return FileError(
        f"'{name}' is named {_TITLE[by_name]} but is not: {told}.", where="part.file", help="Export the part again from the CAD system."
    )


def _check_end(kind: Kind, name: str, head: bytes, tail: bytes, size: int) -> None:
    cut = "Export or copy it again."
    if kind == "step" and b"END-ISO-10303-21" not in tail:
        raise FileError(
            f"the STEP file '{name}' ends before its closing mark 'END-ISO-10303-21': it was cut off.", where="part.file", help=cut
        )
    if kind == "iges":
        lines = [line for line in tail.replace(b"\r", b"").split(b"\n") if line.strip()]
        if not lines or lines[-1][72:73] != b"T":
            raise FileError(f"the IGES file '{name}' has no terminate section at its end: it was cut off.", where="part.file", help=cut)
    if kind == "stl" and not (head.lstrip()[:5].lower() == b"solid" and b"\x00" not in head[:STL_HEADER]):
        claimed = int.from_bytes(head[80:84], "little")
        needs = STL_HEADER + STL_RECORD * claimed
        if claimed == 0:
            raise FileError(f"the STL file '{name}' holds no triangles.", where="part.file", help=cut)
        if needs != size:
            raise FileError(
                f"the STL file '{name}' claims {claimed} triangles ({needs / 1e6:.1f} MB) but has {size / 1e6:.3g} MB.",
                where="part.file",
                help=cut,
            )
