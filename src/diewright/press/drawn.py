"""What is drawn, reduced to the few lengths that handbook formulas ask for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shapely import MultiPoint

from diewright.errors import InputError
from diewright.geometry.need import finite, not_negative, positive
from diewright.job.stage import Result
from diewright.press.drawing import equivalent_diameter
from diewright.press.section import Outline, box_outline, section_outline

LEVEL = 1.0 / 3.0
"""Where the punch's outline is taken, in parts of the depth below the top: below the flange's radius, above what a domed bottom narrows."""


@dataclass(frozen=True)
class Drawn:
    """The draw in short; lengths mm, areas mm2.

    ``is_round``; ``flat`` (nothing to draw); ``depth``; ``thickness``; ``diameter`` of the cup and ``blank_diameter``, for a part that is not round those of
    the circles of equal area; ``wall_length`` round the punch; ``outline``; ``rim_diameter`` of the circle as large as the finished part in plan (0: not
    known); ``blank_area``, ``blank_perimeter``, ``blank_box`` of the developed blank.
    """

    is_round: bool
    flat: bool
    depth: float
    thickness: float
    diameter: float
    blank_diameter: float
    wall_length: float
    outline: Outline
    rim_diameter: float
    blank_area: float
    blank_perimeter: float
    blank_box: tuple[float, float]

    @property
    def ratio(self) -> float:
        """Draw ratio, or the equivalent one [-]; 1 at least."""
        return max(1.0, self.blank_diameter / self.diameter)

    @property
    def how(self) -> str:
        """How the diameters were found, for the confidence of a figure."""
        if self.is_round:
            return f"round part; cup diameter from the {self.outline.how}" if self.outline.polygon is not None else "round part"
        return f"not round: circles of equal area stand for blank and punch (punch: {self.outline.how}); taken as within 40 %, on the high side for straight sides"


def value_of(values: Mapping[str, Any], key: str, where: str) -> Any:
    """An upstream value; raises :class:`InputError` that names what is missing."""
    if values.get(key) is None:
        raise InputError(f"the stage '{where}' gives no '{key}'.", where=f"{where}.{key}", help=f"Run the stage '{where}' again.")
    return values[key]


def read_drawn(shape: Result, blank: Result, thickness: float) -> Drawn:
    """Gather the draw from the results of ``shape`` and ``blank`` and the sheet's thickness [mm]; raises :class:`InputError` if something is missing."""
    s = positive(thickness, "the sheet thickness", "mm")
    depth = not_negative(value_of(shape.values, "depth", "shape"), "the draw depth", "mm")
    area = positive(value_of(blank.values, "area", "blank"), "the blank area", "mm2")
    perimeter = positive(value_of(blank.values, "perimeter", "blank"), "the blank perimeter", "mm")
    box = value_of(blank.values, "bbox", "blank")
    if not isinstance(box, list | tuple) or len(box) != 2:
        raise InputError("the blank's box must be two lengths.", where="blank.bbox", help="Run the stage 'blank' again.")
    width, height = positive(box[0], "the blank's box", "mm"), positive(box[1], "the blank's box", "mm")
    stated = shape.values.get("round") or {}
    is_round = bool(stated.get("is_round"))
    outline = _outline(shape, depth) or _fallback(shape, stated, is_round, (width, height))
    diameter = equivalent_diameter(outline.area)
    return Drawn(
        is_round=is_round, flat=depth < 0.5 * s, depth=depth, thickness=s, diameter=diameter,
        blank_diameter=max(equivalent_diameter(area), diameter * (1.0 + 1e-9)),
        wall_length=math.pi * diameter if is_round else outline.length, outline=outline, rim_diameter=_rim(shape),
        blank_area=area, blank_perimeter=perimeter, blank_box=(width, height),
    )  # fmt: skip


def _outline(shape: Result, depth: float) -> Outline | None:
    part = shape.meshes.get("part")
    if part is None or depth <= 0.0:
        return None
    return section_outline(part.mesh, float(part.mesh.points[:, 2].max()) - LEVEL * depth)


def _rim(shape: Result) -> float:
    part = shape.meshes.get("part")
    if part is None:
        return 0.0
    area = MultiPoint(part.mesh.points[:, :2]).convex_hull.area
    return equivalent_diameter(area) if area > 0.0 else 0.0


def _fallback(shape: Result, stated: Mapping[str, Any], is_round: bool, blank_box: tuple[float, float]) -> Outline:
    if is_round and stated.get("diameter"):
        d = positive(stated["diameter"], "the part's diameter", "mm")
        return Outline(math.pi * d, math.pi / 4.0 * d**2, "the part's own diameter")
    box = shape.values.get("plan_bbox")
    if not box:
        return box_outline(*blank_box)
    if isinstance(box[0], list | tuple):  # two opposite corners
        sizes = tuple(finite(box[1][i], "the part's plan box") - finite(box[0][i], "the part's plan box") for i in range(2))
    else:
        sizes = (box[0], box[1])
    return box_outline(positive(sizes[0], "the part's plan box", "mm"), positive(sizes[1], "the part's plan box", "mm"))
