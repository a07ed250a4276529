"""The printed book: the pages of the job set as numbered sheets in one PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diewright.book.paper.printing import make

__all__ = ["make"]


def __getattr__(name: str) -> object:
    """Load the typesetter only when a print is asked for."""
    if name == "make":
        from diewright.book.paper.printing import make

        return make
    raise AttributeError(name)
