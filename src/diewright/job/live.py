"""The newest picture of a stage that is still at work: one small file beside the results, replaced whole each time.

Layout: four bytes with the length of the head (little endian), the head as JSON, then the arrays one after the other, 4 bytes a number,
little endian. The head is ``{"kind", "values", "arrays": [{"name", "shape", "type": "f4" | "u4"}]}``, padded with spaces so that arrays
begin at a multiple of 4. A page reads it without unpacking, so it is handed on as it is.
"""

from __future__ import annotations

import contextlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from diewright.job.disk import write_whole
from diewright.watch import Frame


def pack(frame: Frame) -> bytes:
    """The bytes of a frame: whole numbers as u4, all others as f4; a value that is not finite becomes null."""
    arrays = {name: np.ascontiguousarray(a, dtype="<u4" if np.asarray(a).dtype.kind in "iu" else "<f4") for name, a in frame.arrays.items()}
    head = json.dumps({
        "kind": frame.kind,
        "values": {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in frame.values.items()},
        "arrays": [{"name": n, "shape": list(a.shape), "type": a.dtype.str[1:]} for n, a in arrays.items()],
    }).encode()  # fmt: skip
    head += b" " * (-len(head) % 4)
    return len(head).to_bytes(4, "little") + head + b"".join(a.tobytes() for a in arrays.values())


def unpack(data: bytes) -> Frame:
    """The frame that :func:`pack` made these bytes of."""
    end = 4 + int.from_bytes(data[:4], "little")
    head: dict[str, Any] = json.loads(data[4:end])
    arrays: dict[str, np.ndarray] = {}
    for one in head["arrays"]:
        count = math.prod(one["shape"])
        arrays[one["name"]] = np.frombuffer(data, dtype=f"<{one['type']}", count=count, offset=end).reshape(one["shape"])
        end += 4 * count
    return Frame(head["kind"], arrays, head["values"])


def place(folder: Path, stage: str) -> Path:
    """Where the newest frame of ``stage`` lies for the job in ``folder``."""
    return folder / "results" / "live" / f"{stage}.frame"


def keep(folder: Path, stage: str, frame: Frame) -> None:
    """Put ``frame`` in the place of the one before; raises :class:`~diewright.errors.StoreError` if the disk refuses."""
    write_whole(place(folder, stage), pack(frame))


def read(folder: Path, stage: str) -> bytes | None:
    """The newest frame as bytes, or None."""
    try:
        return place(folder, stage).read_bytes()
    except OSError:
        return None


def forget(folder: Path, stage: str) -> None:
    """Take the frame away; its stage is at work no more."""
    with contextlib.suppress(OSError):
        place(folder, stage).unlink()
