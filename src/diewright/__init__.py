"""diewright: a desk for press toolmakers, from a shape, a sheet and a quantity to a proven set of press tools."""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from diewright.desk import Desk, open_job

__all__ = ["Desk", "__version__", "open_job"]


def __getattr__(name: str) -> object:
    """Load the desk only when it is asked for, so that small imports stay quick."""
    if name in ("Desk", "open_job"):
        from diewright import desk

        return getattr(desk, name)
    raise AttributeError(name)
