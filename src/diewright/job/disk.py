"""Writing that either happens wholly or not at all, and one writer at a time."""

from __future__ import annotations

import errno
import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from diewright.errors import StoreError

try:
    import fcntl
except ImportError:  # Windows has no fcntl; msvcrt locks serve there
    fcntl = None  # type: ignore[assignment]


def refusal(error: OSError, path: Path) -> StoreError:
    """The one sentence for a disk that says no."""
    if error.errno == errno.ENOSPC:
        return StoreError(
            f"The disk that holds '{path}' is full; nothing that was finished is lost.", help="Free some space and work again."
        )
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return StoreError(f"'{path}' cannot be written.", help="Give yourself write permission or move the job to another folder.")
    return StoreError(f"'{path}' cannot be used ({error.strerror or error}).", help="Check the disk and the folder.")


def write_whole(path: Path, data: bytes) -> None:
    """Write a file by temporary name and rename, so that a reader sees the old one or the new one, never a half."""
    temporary = path.with_name(f".{path.name}.{uuid.uuid4().hex[:8]}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with temporary.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise refusal(error, path) from None


def fsync_folder(path: Path) -> None:
    """Make the names in a folder lasting (a no-op where the system has no such call)."""
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def only_writer(path: Path, busy: str) -> Iterator[None]:
    """Hold the lock file ``path`` while the block runs; raises :class:`StoreError` with the sentence ``busy`` if another process holds it.

    The lock belongs to the open file, so it falls by itself when its holder is killed.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        stream = path.open("a+b")
    except OSError as error:
        raise refusal(error, path) from None
    try:
        try:
            if fcntl is not None:
                fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
            else:
                import msvcrt

                stream.seek(0)
                msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            raise StoreError(busy, help="Wait for it to finish or stop it there.") from None
        yield
    finally:
        stream.close()
