"""A small writer of SVG drawings in millimetres: one user unit is one millimetre on paper, text stays text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from diewright.book.paper.colours import INK
from diewright.book.paper.words import plain
from diewright.geometry.mesh import Floats

FACE = "Source Serif 4"
BODY = 2.75  # text height of drawings [mm], 7.8 pt
_WIDE, _NARROW = set("MWmw@%—"), set("ijl.,:;'|!()[] \u202f\u2009")


def width_of(text: str, size: float = BODY) -> float:
    """Estimated width [mm] of ``text`` set ``size`` mm high; digits are exact, letters by three classes."""
    share = sum(0.53 if c.isdigit() else 0.84 if c in _WIDE else 0.28 if c in _NARROW else 0.66 if c.isupper() else 0.51 for c in text)
    return size * share


def f(value: float) -> str:
    """A coordinate with a thousandth of a millimetre, without a negative zero."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _some(**attributes: object) -> str:
    """Attributes that have a value, ready to stand in a tag; ``_`` in a name stands for ``-``."""
    return "".join(f" {name.replace('_', '-')}={quoteattr(str(value))}" for name, value in attributes.items() if value)


class Svg:
    """A drawing of ``width`` by ``height`` mm, y down from the top left."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._parts: list[str] = []
        self._defs: list[str] = []
        self._count = 0

    def text_of(self) -> str:
        """The whole SVG file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{f(self.width)}mm" height="{f(self.height)}mm" '
            f'viewBox="0 0 {f(self.width)} {f(self.height)}" font-family="{FACE}" font-size="{BODY}" fill="{INK}">'
        )
        defs = f"<defs>{''.join(self._defs)}</defs>" if self._defs else ""
        return head + defs + "\n".join(self._parts) + "</svg>\n"

    def _fresh(self, kind: str) -> str:
        self._count += 1
        return f"{kind}{self._count}"

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, width: float = 0.18, colour: str = INK, dash: str = "", name: str = ""
    ) -> None:
        """A straight stroke; ``name`` becomes its id."""
        extra = _some(id=name, stroke_dasharray=dash)
        self._parts.append(
            f'<line x1="{f(x1)}" y1="{f(y1)}" x2="{f(x2)}" y2="{f(y2)}" stroke="{colour}" stroke-width="{f(width)}"{extra}/>'
        )

    def path(
        self, points: Floats | Sequence[Sequence[float]], *, width: float = 0.35, colour: str = INK, fill: str = "none", dash: str = "", closed: bool = False,
        name: str = "", clip: str = "", opacity: float = 1.0,
    ) -> None:  # fmt: skip
        """A polyline through ``(n, 2)`` points; a row that is not finite lifts the pen."""
        array = np.asarray(points, dtype=float).reshape(-1, 2)
        words, pen = [], "M"
        for x, y in array:
            if not (np.isfinite(x) and np.isfinite(y)):
                pen = "M"
                continue
            words.append(f"{pen}{f(x)} {f(y)}")
            pen = "L"
        if not words:
            return
        extra = _some(id=name, stroke_dasharray=dash, clip_path=f"url(#{clip})" if clip else "", opacity=f(opacity) if opacity < 1 else "")
        self._parts.append(
            f'<path d="{"".join(words)}{"Z" if closed else ""}" fill="{fill}" fill-rule="evenodd" stroke="{colour}" stroke-width="{f(width)}" '
            f'stroke-linejoin="round" stroke-linecap="round"{extra}/>'
        )

    def dots(self, points: Floats, *, size: float = 0.6, colour: str = INK, opacity: float = 1.0, clip: str = "") -> None:
        """Round dots at ``(n, 2)`` points, as one path."""
        words = "".join(f"M{f(x)} {f(y)}h0" for x, y in np.asarray(points, dtype=float).reshape(-1, 2))
        if words:
            tail = f' clip-path="url(#{clip})"' if clip else ""
            self._parts.append(
                f'<path d="{words}" stroke="{colour}" stroke-width="{f(size)}" stroke-linecap="round" stroke-opacity="{f(opacity)}" fill="none"{tail}/>'
            )

    def rect(
        self, x: float, y: float, w: float, h: float, *, fill: str = "none", colour: str = "none", width: float = 0.18, name: str = ""
    ) -> None:
        """A rectangle."""
        box = f'x="{f(x)}" y="{f(y)}" width="{f(w)}" height="{f(h)}"'
        self._parts.append(f'<rect {box} fill="{fill}" stroke="{colour}" stroke-width="{f(width)}"{_some(id=name)}/>')

    def circle(self, x: float, y: float, r: float, *, fill: str = "none", colour: str = INK, width: float = 0.25) -> None:
        """A circle."""
        self._parts.append(f'<circle cx="{f(x)}" cy="{f(y)}" r="{f(r)}" fill="{fill}" stroke="{colour}" stroke-width="{f(width)}"/>')

    def text(
        self, x: float, y: float, words: str, *, anchor: str = "start", size: float = BODY, colour: str = INK, turn: float = 0.0, weight: int = 400,
        italic: bool = False, halo: bool = False,
    ) -> None:  # fmt: skip
        """Text on its base line; ``halo`` sets a white rim under it so that lines do not run through."""
        words = escape(plain(words, soft=False))
        style = ' font-style="italic"' if italic else ""
        style += f' font-weight="{weight}"' if weight != 400 else ""
        style += f' transform="rotate({f(turn)} {f(x)} {f(y)})"' if turn else ""
        common = f'x="{f(x)}" y="{f(y)}" text-anchor="{anchor}" font-size="{f(size)}"{style}'
        if halo:  # a plate behind, not a stroked copy: the text must stand once in the file
            w = width_of(words, size)
            left = x - {"start": 0.0, "middle": w / 2, "end": w}[anchor] - 0.4
            turned = f' transform="rotate({f(turn)} {f(x)} {f(y)})"' if turn else ""
            self._parts.append(
                f'<rect x="{f(left)}" y="{f(y - 0.78 * size)}" width="{f(w + 0.8)}" height="{f(size * 1.02)}" fill="#ffffff" fill-opacity="0.82"{turned}/>'
            )
        self._parts.append(f'<text {common} fill="{colour}">{words}</text>')

    def arrow(
        self, x1: float, y1: float, x2: float, y2: float, *, width: float = 0.25, colour: str = INK, head: float = 2.2, both: bool = False
    ) -> None:
        """A stroke with slender filled heads after ISO 129-1 (length about ten line widths, 15 degrees)."""
        self.line(x1, y1, x2, y2, width=width, colour=colour)
        for tip, tail in [((x2, y2), (x1, y1)), ((x1, y1), (x2, y2))][: 2 if both else 1]:
            d = np.array(tip) - np.array(tail)
            length = float(np.hypot(*d))
            if length < 1e-9:
                continue
            d, n = d / length, np.array([-d[1], d[0]]) / length
            base = np.array(tip) - head * d
            self.path([tip, base + 0.17 * head * n, base - 0.17 * head * n], width=0.05, colour=colour, fill=colour, closed=True)

    def gradient(self, stops: Iterable[tuple[float, str]]) -> str:
        """Define a left-to-right gradient; returns the fill to use."""
        name = self._fresh("g")
        body = "".join(f'<stop offset="{f(at)}" stop-color="{colour}"/>' for at, colour in stops)
        self._defs.append(f'<linearGradient id="{name}" x1="0" y1="0" x2="1" y2="0">{body}</linearGradient>')
        return f"url(#{name})"

    def window(self, x: float, y: float, w: float, h: float) -> str:
        """Define a clipping rectangle; returns its name for ``clip``."""
        name = self._fresh("c")
        self._defs.append(f'<clipPath id="{name}"><rect x="{f(x)}" y="{f(y)}" width="{f(w)}" height="{f(h)}"/></clipPath>')
        return name

    def hatch(self, gap: float = 1.6, angle: float = 45.0, colour: str = INK, width: float = 0.12) -> str:
        """Define a hatching of thin parallel strokes; returns the fill to use."""
        name = self._fresh("h")
        self._defs.append(
            f'<pattern id="{name}" width="{f(gap)}" height="{f(gap)}" patternUnits="userSpaceOnUse" patternTransform="rotate({f(angle)})">'
            f'<line x1="0" y1="0" x2="0" y2="{f(gap)}" stroke="{colour}" stroke-width="{f(width * 2)}"/></pattern>'
        )
        return f"url(#{name})"


def stroke_hatch(svg: Svg, outline: Floats, gap: float = 1.6, colour: str = INK, width: float = 0.1) -> None:
    """Hatch a closed region with true 45 degree strokes cut at its outline (no pattern: every printer draws lines alike)."""
    ring = np.asarray(outline, dtype=float)
    a, b = ring, np.roll(ring, -1, axis=0)
    ka, kb = a.sum(axis=1), b.sum(axis=1)
    pen: list[tuple[float, float]] = []
    for k in np.arange(np.ceil(ka.min() / gap) * gap, ka.max(), gap):
        hit = (ka <= k) != (kb <= k)
        t = (k - ka[hit]) / (kb[hit] - ka[hit])
        x = np.sort(a[hit, 0] + t * (b[hit, 0] - a[hit, 0]))
        for left, right in zip(x[::2], x[1::2], strict=False):
            pen += [(left, k - left), (right, k - right), (np.nan, np.nan)]
    if pen:
        svg.path(pen, width=width, colour=colour)
