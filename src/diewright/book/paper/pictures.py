"""3-D pictures with their rulers, flags and scale bars: drawn in a child process, dressed here."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from diewright.book.paper.colours import GREY, HAIR, INK, hexed, stops, table
from diewright.book.paper.digits import number, quantity, unit_text
from diewright.book.paper.svg import Svg, width_of
from diewright.book.paper.svgplot import SMALL, nice_step, tick_text, ticks
from diewright.book.paper.view import View, look
from diewright.geometry.mesh import FieldMesh, Floats

DOTS_PER_MM = 8.0  # 203 dots an inch, about twice what a screen shows
RULER = 14.0  # height [mm] of the ruler under a picture


@dataclass(frozen=True)
class Picture:
    """What is to be drawn: a mesh in press coordinates, one of its fields, and what is written on it.

    ``values`` are the field's true values (a number a triangle or a point), ``smooth`` what is coloured. ``limit`` is ``(value, name)``.
    ``low`` and ``high`` are what the ends of the field are called at their flags; empty leaves the flag out. ``down`` names the arrow along -z, empty leaves it out. ``lines`` draws contour lines at the ruler's round values.
    """

    name: str
    fields: FieldMesh
    edges: Floats
    width: float
    tallest: float
    title: str
    unit: str = ""
    values: Floats = field(default_factory=lambda: np.zeros(0))
    scale: str = "batlow"
    reverse: bool = False
    span: tuple[float, float] | None = None
    about_zero: bool = False
    limit: tuple[float, str] | None = None
    low: str = ""
    high: str = ""
    flat: bool = False
    lines: bool = True
    down: str = "press direction"

    @property
    def has_field(self) -> bool:
        """Whether a field is coloured."""
        return len(self.values) > 0

    def view(self) -> View:
        """Where the eye stands."""
        return look(
            self.fields.mesh.points, self.width, self.tallest, flat=self.flat, top=11.0 if self.low or self.high else 4.0, bottom=8.0
        )

    def range(self) -> tuple[float, float]:
        """Ends of the colour scale."""
        lo, hi = self.span or (float(np.nanmin(self.values)), float(np.nanmax(self.values)))
        if self.about_zero:
            hi = max(abs(lo), abs(hi), 1e-9)
            lo = -hi
        return (lo, hi) if hi - lo > 1e-12 else (lo - 0.5, hi + 0.5)

    def smooth(self) -> Floats:
        """The field as it is coloured: averaged to the points by area where it is a number a triangle, unless it jumps by nature."""
        mesh = self.fields.mesh
        if len(self.values) == len(mesh.points):
            return self.values
        weight, total = np.zeros(len(mesh.points)), np.zeros(len(mesh.points))
        for i in range(3):
            np.add.at(weight, mesh.triangles[:, i], mesh.areas)
            np.add.at(total, mesh.triangles[:, i], mesh.areas * self.values)
        return np.divide(total, weight, out=np.zeros_like(total), where=weight > 0)

    def place_of(self, index: int) -> Floats:
        """Where the value ``index`` of the field lies."""
        mesh = self.fields.mesh
        return mesh.points[index] if len(self.values) == len(mesh.points) else mesh.centroids[index]


def request(pictures: list[Picture]) -> tuple[list[dict[str, object]], dict[str, np.ndarray]]:
    """What the drawing process is told: its list of pictures and their arrays."""
    told: list[dict[str, object]] = []
    arrays: dict[str, np.ndarray] = {}

    def keep(array: np.ndarray) -> str:
        for name, other in arrays.items():
            if other is array:
                return name
        name = f"a{len(arrays)}"
        arrays[name] = array
        return name

    for p in pictures:
        v, mesh = p.view(), p.fields.mesh
        size = float(np.linalg.norm(np.ptp(mesh.points, axis=0))) or 1.0
        told.append(
            {
                "name": p.name, "points": keep(mesh.points), "triangles": keep(mesh.triangles), "field": keep(p.smooth()) if p.has_field else "",
                "colours": [hexed(c) for c in table(p.scale, p.reverse)], "range": list(p.range()) if p.has_field else [0, 1], "levels": _levels(p) if p.has_field and p.lines else [],
                "edges": keep(p.edges) if len(p.edges) else "", "towards": v.towards.tolist(), "up": v.up.tolist(), "centre": v.centre.tolist(),
                "distance": 4 * size, "lift": 0.004 * size, "half_height": v.height / v.per_mm / 2,
                "pixels": [round(v.width * DOTS_PER_MM), round(v.height * DOTS_PER_MM)],
                "light": (v.towards * 0.7 + v.up * 0.9 - v.right * 0.8).tolist(), "fill": (v.towards + v.right * 0.5).tolist(),
            }
        )  # fmt: skip
    return told, arrays


def _levels(p: Picture) -> list[float]:
    lo, hi = p.range()
    return [v for v in ticks(lo, hi, 8) if lo < v < hi]


def overlay(p: Picture) -> Svg:
    """What is written over and under the picture: flags, scale bar, press arrow, ruler."""
    v = p.view()
    svg = Svg(v.width, v.height + (RULER if p.has_field else 0.0))
    _scale_bar(svg, v)
    if p.down:
        _down_arrow(svg, v, p.flat, p.down)
    if p.has_field:
        _flags(svg, p, v)
        _ruler(svg, p, v)
    return svg


def _scale_bar(svg: Svg, v: View) -> None:
    length = nice_step(v.width / v.per_mm / 5, 1)
    if length * v.per_mm > v.width / 3:
        length = nice_step(length / 2.01, 1)
    x, y, long = v.width - 2.0 - length * v.per_mm, v.height - 2.2, length * v.per_mm
    svg.rect(x, y, long / 2, 0.9, fill=INK, colour=INK, width=0.12)
    svg.rect(x + long / 2, y, long / 2, 0.9, fill="#ffffff", colour=INK, width=0.12)
    svg.text(x + long, y - 0.9, quantity(length, "mm"), anchor="end", size=SMALL)


def _down_arrow(svg: Svg, v: View, flat: bool, name: str) -> None:
    if flat:
        svg.circle(3.2, v.height - 3.2, 1.6, fill="#ffffff")
        for sign in (1, -1):
            svg.line(3.2 - 1.13, v.height - 3.2 - 1.13 * sign, 3.2 + 1.13, v.height - 3.2 + 1.13 * sign, width=0.25)
        svg.text(5.8, v.height - 2.3, f"{name}, into the paper", size=SMALL, colour=GREY)
        return
    d = v.direction(np.array([0.0, 0.0, -1.0]))
    d = d / max(float(np.hypot(*d)), 1e-9)
    x, y = 3.0, v.height - 11.0
    svg.arrow(x, y, x + 9 * d[0], y + 9 * d[1], width=0.35, head=2.6)
    svg.text(x + 2.2, y + 8.2, name, size=SMALL, colour=GREY)


def _flags(svg: Svg, p: Picture, v: View) -> None:
    """Names of the extreme values on the free strip at the top, each with a leader to its place."""
    wanted = [(p.low, int(np.nanargmin(p.values))), (p.high, int(np.nanargmax(p.values)))]
    flags = [(word, i, v.place(p.place_of(i))[0]) for word, i in wanted if word]
    flags.sort(key=lambda flag: flag[2][0])
    taken = 0.5
    for n, (word, i, at) in enumerate(flags):
        text = f"{word} {quantity(float(p.values[i]), p.unit, 3)}" + (", behind" if v.hidden(p.place_of(i), p.fields.mesh) else "")
        wide = 1.07 * width_of(text) + 1  # half-bold runs wider
        room = v.width - 1.0 - wide * (len(flags) - n) - 3.0 * (len(flags) - n - 1)
        x = min(max(at[0] - wide / 2, taken), max(room, taken))
        y = 3.4
        foot = min(max(at[0], x), x + wide)
        svg.line(x, y + 1.0, x + wide, y + 1.0, width=0.18)
        behind = v.hidden(p.place_of(i), p.fields.mesh)
        svg.line(foot, y + 1.0, at[0], at[1], width=0.18, dash="1 0.7" if behind else "")
        svg.circle(at[0], at[1], 0.75, fill="none" if behind else "#ffffff", width=0.25)
        svg.text(x + 0.5, y, text, weight=600)
        taken = x + wide + 3.0


def _ruler(svg: Svg, p: Picture, v: View) -> None:
    lo, hi = p.range()
    unit = unit_text(p.unit)
    name = p.title + (f", {unit}" if unit else "")
    beside = width_of(name) + 6 < 0.36 * v.width
    x0 = width_of(name) + 5 if beside else 4.0
    x1, y = v.width - 5.0, v.height + (4.2 if beside else 7.4)
    svg.text(0.5, y + 2.2 if beside else v.height + 2.6, name)
    svg.rect(x0, y, x1 - x0, 2.4, fill=svg.gradient(stops(p.scale, reverse=p.reverse)), colour=INK, width=0.1)

    def at(value: float) -> float:
        return x0 + (min(max(value, lo), hi) - lo) / (hi - lo) * (x1 - x0)

    marked = at(p.limit[0]) if p.limit and lo <= p.limit[0] <= hi else None
    count = max(int((x1 - x0) / 16), 2)
    step = nice_step(hi - lo, count)
    for value in ticks(lo, hi, count):
        svg.line(at(value), y + 2.4, at(value), y + 3.2, width=0.18)
        text = tick_text(value, step)
        if p.span and value == hi and np.nanmax(p.values) > hi + 1e-9:
            text += " and more"
        if p.span and value == lo and np.nanmin(p.values) < lo - 1e-9:
            text += " and less"
        half = width_of(text, SMALL) / 2
        svg.text(min(max(at(value), half + 0.3), v.width - half - 0.3), y + 5.8, text, anchor="middle", size=SMALL, colour=GREY)
    if p.limit and marked is not None:
        svg.line(marked, y - 0.9, marked, y + 3.4, width=0.5)
        text = f"{p.limit[1]} {number(p.limit[0])}"
        half = width_of(text, SMALL) / 2
        svg.text(min(max(marked, half + 0.3), v.width - half - 0.3), y - 1.4, text, anchor="middle", size=SMALL, weight=600, halo=True)
    elif p.limit:
        end = "to the right" if p.limit[0] > hi else "to the left"
        svg.text(x1, y - 0.9, f"{p.limit[1]} {number(p.limit[0])} lies {end} of the scale", anchor="end", size=SMALL, colour=GREY)
    svg.line(x0, y + 2.4, x1, y + 2.4, width=0.1, colour=HAIR)


def segments_of(fields: FieldMesh, feature: Floats | None) -> Floats:
    """What is drawn as thin lines ``(k, 2, 3)``: the edges of the shape and the rims of the mesh."""
    rims = fields.mesh.points[fields.mesh.boundary_edges]
    if feature is None or feature.ndim != 3 or feature.shape[1:] != (2, 3):
        return rims
    return np.concatenate([np.asarray(feature, dtype=float), rims])


def write(pictures: list[Picture], folder: Path) -> None:
    """Lay the overlays of ``pictures`` down as SVG files."""
    for p in pictures:
        (folder / f"{p.name}.svg").write_text(overlay(p).text_of(), encoding="utf-8")
