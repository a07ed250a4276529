"""Plots for paper: axes with quiet ticks, curves with their names written beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diewright.book.paper.colours import GREY, HAIR, INK
from diewright.book.paper.digits import number
from diewright.book.paper.svg import BODY, Svg, width_of
from diewright.geometry.mesh import Floats

SMALL = 2.5


def nice_step(span: float, wanted: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that gives about ``wanted`` steps over ``span``."""
    raw = max(span, 1e-12) / max(wanted, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    return min((m * power for m in (1.0, 2.0, 5.0, 10.0)), key=lambda step: abs(math.log(step / raw)))


def ticks(lo: float, hi: float, wanted: int = 5) -> list[float]:
    """Round values from ``lo`` to ``hi``."""
    step = nice_step(hi - lo, wanted)
    first = math.ceil(lo / step - 1e-9)
    return [round(i * step, 12) for i in range(first, math.floor(hi / step + 1e-9) + 1)]


def tick_text(value: float, step: float) -> str:
    """A tick's number with just the decimals its step needs."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return "0"
    return ("\u2212" if value < 0 else "") + (number(int(text)) if decimals == 0 and len(text) > 4 else text)


class Plot:
    """Axes over ``x`` and ``y`` ranges on a sheet of ``width`` by ``height`` mm.

    ``x_name`` and ``y_name`` carry the unit. With ``cross`` the axes cross at zero.
    """

    def __init__(
        self, width: float, height: float, x: tuple[float, float], y: tuple[float, float], x_name: str, y_name: str, *, cross: bool = False,
        square: bool = False,
    ) -> None:  # fmt: skip
        self.svg = Svg(width, height)
        self.x, self.y, self.cross = _opened(x), _opened(y), cross
        step_y = nice_step(self.y[1] - self.y[0], max(int(height / 13), 2))
        widest = max(width_of(tick_text(v, step_y), SMALL) for v in ticks(*self.y, max(int(height / 13), 2)))
        self.left, self.right = (2.0 if cross else widest + 3.0), width - 3.0
        self.top, self.bottom = 6.5, height - 9.5
        if square:
            self._squared()
        self.clip = self.svg.window(self.left, self.top, self.right - self.left, self.bottom - self.top)
        self._axes(x_name, y_name, max(int(width / 16), 2), max(int(height / 13), 2))

    def _squared(self) -> None:
        """Widen the range of one axis so that a millimetre means the same on both."""
        per = max((self.x[1] - self.x[0]) / (self.right - self.left), (self.y[1] - self.y[0]) / (self.bottom - self.top))
        for name, room in (("x", self.right - self.left), ("y", self.bottom - self.top)):
            lo, hi = getattr(self, name)
            more = (per * room - (hi - lo)) / 2
            setattr(self, name, (lo - more, hi + more))

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Place on the sheet [mm] of a point of the plot."""
        return (
            self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left),
            self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top),
        )

    def places(self, x: Sequence[float] | Floats, y: Sequence[float] | Floats) -> Floats:
        """Places on the sheet ``(n, 2)`` [mm]."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        px = self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left)
        py = self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top)
        return np.column_stack([px, py])

    def _axes(self, x_name: str, y_name: str, nx: int, ny: int) -> None:
        svg = self.svg
        x0 = self.at(0.0, 0.0)[0] if self.cross and self.x[0] < 0 < self.x[1] else self.left
        y0 = self.at(0.0, 0.0)[1] if self.cross and self.y[0] < 0 < self.y[1] else self.bottom
        step_y = nice_step(self.y[1] - self.y[0], ny)
        for v in ticks(*self.y, ny):
            y = self.at(0, v)[1]
            svg.line(self.left, y, self.right, y, width=0.08, colour=HAIR)
            if not (self.cross and v == 0):
                svg.text(x0 - 1.2, y + 0.32 * SMALL, tick_text(v, step_y), anchor="end", size=SMALL, colour=GREY, halo=self.cross)
            svg.line(x0 - 0.8, y, x0, y, width=0.18)
        self._x_marks(y0, nx)
        svg.line(self.left, y0, self.right, y0, width=0.25)
        svg.line(x0, self.top, x0, self.bottom, width=0.25)
        svg.text(self.right, self.bottom + 7.4, x_name, anchor="end", size=BODY)
        svg.text(0.2, 3.4, y_name, size=BODY)

    def _x_marks(self, y0: float, nx: int) -> None:
        """The marks of the x axis, which lies at ``y0`` [mm of paper]; about ``nx`` of them."""
        step = nice_step(self.x[1] - self.x[0], nx)
        for v in ticks(*self.x, nx):
            x = self.at(v, 0)[0]
            self.svg.line(x, self.top, x, self.bottom, width=0.08, colour=HAIR)
            if not (self.cross and v == 0):
                self.svg.text(x, y0 + 3.4, tick_text(v, step), anchor="middle", size=SMALL, colour=GREY, halo=self.cross)
            self.svg.line(x, y0, x, y0 + 0.8, width=0.18)

    def curve(
        self, x: Floats, y: Floats, label: str = "", *, where: float = 0.8, above: bool = True, width: float = 0.45, colour: str = INK, dash: str = "",
    ) -> None:  # fmt: skip
        """A curve; its name stands at the share ``where`` of its visible length, above or below it."""
        points = self.places(x, y)
        self.svg.path(points, width=width, colour=colour, dash=dash, clip=self.clip)
        if not label:
            return
        seen = points[np.isfinite(points).all(axis=1)]
        inside = (seen[:, 0] >= self.left) & (seen[:, 0] <= self.right) & (seen[:, 1] >= self.top) & (seen[:, 1] <= self.bottom)
        seen = seen[inside]
        if len(seen) == 0:
            return
        px, py = seen[min(int(where * len(seen)), len(seen) - 1)]
        half = width_of(label, BODY) / 2
        px = min(max(px, self.left + half + 1), self.right - half - 1)
        near = np.abs(seen[:, 0] - px) <= half  # stay clear of the curve over the whole width of the name
        span = seen[near, 1] if near.any() else np.array([py])
        py = span.min() - 1.3 if above else span.max() + 3.2
        py = min(max(py, self.top + 2.4), self.bottom - 1.0)
        self.svg.text(px, py, label, anchor="middle", colour=colour, halo=True)

    def dots(self, x: Floats, y: Floats, *, size: float = 0.55, colour: str = INK, opacity: float = 1.0, grid: float = 0.45) -> None:
        """A cloud of points, thinned to one a cell of ``grid`` mm so that a fine mesh does not swell the file."""
        points = self.places(x, y)
        points = points[np.isfinite(points).all(axis=1)]
        cells = np.unique(np.round(points / grid).astype(np.int64), axis=0)
        self.svg.dots(np.asarray(cells * grid, dtype=np.float64), size=size, colour=colour, opacity=opacity, clip=self.clip)

    def mark(self, x: float, y: float, label: str, *, side: str = "right", colour: str = INK) -> None:
        """A ringed point with its name."""
        px, py = self.at(x, y)
        self.svg.circle(px, py, 0.9, fill="#ffffff", colour=colour)
        dx = {"right": 1.8, "left": -1.8}[side]
        self.svg.text(px + dx, py + 0.9, label, anchor="start" if side == "right" else "end", colour=colour, halo=True)

    def upright(self, x: float, label: str, *, colour: str = GREY) -> None:
        """A dashed upright at ``x`` with its name at the top."""
        px = self.at(x, 0)[0]
        self.svg.line(px, self.top, px, self.bottom, width=0.2, colour=colour, dash="1.2 0.8")
        end = px + 1.2 + width_of(label) > self.right
        self.svg.text(px + (-0.8 if end else 0.8), self.top + 2.6, label, anchor="end" if end else "start", colour=colour, halo=True)

    def text_of(self) -> str:
        """The whole SVG file."""
        return self.svg.text_of()


class Falling(Plot):
    """Axes whose x runs down to zero at the right: it is drawn over -x and written without the sign."""

    def _axes(self, x_name: str, y_name: str, nx: int, ny: int) -> None:
        kept = self.svg.text
        self.svg.text = lambda x, y, words, **how: kept(x, y, words.lstrip("\u2212") if how.get("anchor") == "middle" else words, **how)  # type: ignore[method-assign]
        try:
            super()._axes(x_name, y_name, nx, ny)
        finally:
            del self.svg.text


def _opened(limits: tuple[float, float]) -> tuple[float, float]:
    lo, hi = float(limits[0]), float(limits[1])
    if not (math.isfinite(lo) and math.isfinite(hi)) or hi - lo < 1e-12:
        lo = lo if math.isfinite(lo) else 0.0
        return lo - 0.5, lo + 0.5
    return lo, hi


def end_of(values: Floats, share: float = 1.08) -> float:
    """Upper end of an axis: the largest finite value and a little more; 1 for an empty column."""
    kept = np.asarray(values, dtype=float)
    kept = kept[np.isfinite(kept)]
    return float(kept.max()) * share if kept.size and kept.max() > 0 else 1.0
