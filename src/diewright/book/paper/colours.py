"""Colour scales for paper: perceptually even tables, the same ones that the screen uses.

Source: F. Crameri, Scientific colour maps, version 8 (2023), MIT licence, beside the tables.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from diewright.geometry.mesh import Floats

FOLDER = Path(__file__).resolve().parent.parent / "static" / "colour"

INK = "#1c2430"
GREY = "#6b7480"
HAIR = "#b9bfc6"
STEEL = "#c9ccd0"
WATER = "#2f5d8a"


@lru_cache(maxsize=16)
def table(name: str, reverse: bool = False) -> Floats:
    """The scale ``name`` as ``(256, 3)`` sRGB values from 0 to 1, read-only; dark or low end first unless ``reverse``."""
    rgb = np.loadtxt(FOLDER / f"{name}.csv", delimiter=",", skiprows=1) / 255.0
    rgb = np.ascontiguousarray(rgb[::-1] if reverse else rgb)
    rgb.flags.writeable = False
    return rgb


def hexed(rgb: Floats) -> str:
    """One colour of three values from 0 to 1 as ``#rrggbb``."""
    return "#" + "".join(f"{round(float(c) * 255):02x}" for c in rgb)


def stops(name: str, count: int = 33, reverse: bool = False) -> list[tuple[float, str]]:
    """``count`` places from 0 to 1 along the scale with their colours, for a gradient."""
    rgb = table(name, reverse)
    at = np.linspace(0, len(rgb) - 1, count)
    return [(float(a) / (len(rgb) - 1), hexed(rgb[round(float(a))])) for a in at]
