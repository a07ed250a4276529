"""Progress and cancel, the only things a running stage says to the outside.

A stage receives a :class:`Watch`. It calls ``watch.step("unfolding", 3, 40)`` as it goes; the call raises
:class:`~diewright.errors.Cancelled` if the person has stopped the work. Printing, bars and sockets belong to
whoever listens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from diewright.errors import Cancelled


@dataclass(frozen=True)
class Progress:
    """How far the work is: ``done`` of ``total`` units in the phase called ``phase``."""

    phase: str
    done: float
    total: float

    @property
    def share(self) -> float:
        """Fraction of the phase that is done, 0 to 1."""
        return min(max(self.done / self.total, 0.0), 1.0) if self.total > 0 else 0.0


class Watch:
    """The listener a stage talks to; the default one hears nothing and never cancels."""

    def __init__(
        self,
        listen: Callable[[Progress], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> None:
        self._listen = listen
        self._cancelled = cancelled

    def step(self, phase: str, done: float = 0.0, total: float = 1.0) -> None:
        """Report progress; raises :class:`Cancelled` if the person has asked to stop."""
        self.check()
        if self._listen is not None:
            self._listen(Progress(phase, done, total))

    def check(self) -> None:
        """Raise :class:`Cancelled` if the person has asked to stop."""
        if self._cancelled is not None and self._cancelled():
            raise Cancelled()
