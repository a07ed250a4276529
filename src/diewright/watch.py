"""Progress, live frames and cancel, the only things a running stage says to the outside.

A stage receives a :class:`Watch`. It calls ``watch.step("unfolding", 3, 40)`` as it goes; the call raises
:class:`~diewright.errors.Cancelled` if the person has stopped the work. Where there is something to see it calls
``watch.show("sheet", arrays, values)`` now and then. Printing, bars and sockets belong to whoever listens.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

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


@dataclass(frozen=True)
class Frame:
    """How the thing that is worked on looks at this moment.

    ``kind`` says what it is. For ``"sheet"``: ``arrays`` hold ``points`` (n, 3) [mm], ``triangles`` (m, 3), ``thinning_pct`` (m,) and ``curve``
    (k, 3), the stroke [mm] with the forces of punch and blankholder [kN] so far; ``values`` hold ``operation`` (its name), ``stroke_mm``,
    ``stroke_end_mm``, ``punch_kN`` and ``blankholder_kN``.
    """

    kind: str
    arrays: Mapping[str, np.ndarray]
    values: Mapping[str, Any]


class Watch:
    """The listener a stage talks to; the default one hears nothing and never cancels."""

    def __init__(
        self,
        listen: Callable[[Progress], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
        look: Callable[[Frame], None] | None = None,
    ) -> None:
        self._listen = listen
        self._cancelled = cancelled
        self._look = look

    def step(self, phase: str, done: float = 0.0, total: float = 1.0) -> None:
        """Report progress; raises :class:`Cancelled` if the person has asked to stop."""
        self.check()
        if self._listen is not None:
            self._listen(Progress(phase, done, total))

    def check(self) -> None:
        """Raise :class:`Cancelled` if the person has asked to stop."""
        if self._cancelled is not None and self._cancelled():
            raise Cancelled()

    def show(self, kind: str, arrays: Mapping[str, np.ndarray], values: Mapping[str, Any]) -> None:
        """Show a live frame (see :class:`Frame`); raises :class:`Cancelled` if the person has asked to stop.

        The arrays may be used and changed again once the call has returned.
        """
        self.check()
        if self._look is not None:
            self._look(Frame(kind, arrays, values))

    @property
    def looked_at(self) -> bool:
        """Whether anybody looks: if not, a stage may spare the trouble of making frames."""
        return self._look is not None
