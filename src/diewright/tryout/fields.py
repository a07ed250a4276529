"""From the frames of a run to fields over time: strains, thickness, margin with path, wrinkles, pressure, sliding, marks, wear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.job.series import FieldSeries
from diewright.job.stage import Result
from diewright.mechanics.contact.lookup import look_up
from diewright.mechanics.contact.tools import ToolSet
from diewright.mechanics.forming.frames import Frame
from diewright.sheet.surface import YieldSurface
from diewright.tryout.margin import PathMargin
from diewright.tryout.strains import principal, strains_of
from diewright.tryout.surface import Skid, SkidTracker, Wear
from diewright.tryout.wrinkle import WrinkleMeter, pressed_axes, tendency

Floats = NDArray[np.float64]
TOUCH = 0.02  # MPa: a mean pressure above this is contact


@dataclass(frozen=True, eq=False)
class Fields:
    """Fields over time and what was followed along the way.

    Attributes
    ----------
    series: as the stage keeps it. straight: (m,) margin of the straight rule at the end. bent_share: of the area.
    skid: marks of the die radius at the end. wear: face name -> its wear. sliding, pressure of the last frame inside the series.
    """

    series: FieldSeries
    straight: Floats
    bent_share: float
    skid: Skid
    wear: dict[str, Wear]


@njit(cache=True, error_model="numpy")
def _offsets(points, shift, numbers, sizes, k, place, samples, out):
    for i in range(points.shape[0]):
        d = look_up(
            points[i, 0] - shift * numbers[k, 7],
            points[i, 1] - shift * numbers[k, 8],
            points[i, 2] - shift * numbers[k, 9],
            numbers,
            sizes,
            k,
            place,
            samples,
        )[0]
        out[i] = d if d < 1e8 else np.nan


def tool_offsets(tools: ToolSet, points: Floats, travel: Floats) -> Floats:
    """Distance of points (n, 3) to each tool at its travel (K, n) [mm], nan outside the grids' band."""
    out = np.full((len(tools), len(points)), np.nan)
    for k in range(len(tools)):
        _offsets(points, float(travel[k]), tools.numbers, tools.sizes, k, tools.place, tools.samples, out[k])
    return out


def fields_over_time(
    flat: TriMesh,
    frames: list[Frame],
    tools: ToolSet,
    thickness: float,
    surface: YieldSurface,
    limit: dict[str, Floats],
    faces: Result,
    rolling: tuple[float, float, float],
    visible: NDArray[np.bool_],
) -> Fields:
    """All fields of the stage ``tryout``; ``visible`` (n,) nodes that end in the part."""
    n, m = len(flat.points), len(flat.triangles)
    cell: dict[str, list[Floats]] = {
        k: [] for k in ("thickness", "thinning_pct", "major", "minor", "plastic_strain", "stress", "margin_pct", "wrinkle")
    }
    point: dict[str, list[Floats]] = {k: [] for k in ("pressure", "sliding", "wrinkle_height")}
    margin = PathMargin(surface, limit["minor"], limit["major"])
    die = tools.number("die")
    skid = SkidTracker(n, thickness)
    touched: dict[str, list[tuple[Floats, Floats, Floats]]] = {name: [] for name in tools.names}
    meter = _meter(flat, frames[-1], thickness, rolling)
    before_rub, before_slide = np.zeros((n, len(tools))), np.zeros(n)
    straight = np.zeros(m)
    for f in frames:
        s = strains_of(flat.points, flat.triangles, f.x, thickness, rolling=rolling, membrane=f.membrane, stretch=f.stretch)
        found = margin.add_tensor(f.layers, f.layers_plastic)
        straight = found.straight
        values = {
            "thickness": s.thickness, "thinning_pct": s.thinning_pct, "major": s.major, "minor": s.minor, "plastic_strain": f.plastic,
            "stress": surface.equivalent(f.stress),
            "margin_pct": found.margin_pct, "wrinkle": tendency(f.stress, f.plastic),
        }  # fmt: skip
        for name, v in values.items():
            cell[name].append(v)
        point["pressure"].append(f.pressure.max(axis=1, initial=0.0))
        point["sliding"].append(f.slide)
        point["wrinkle_height"].append(meter.told(f.x, tool_offsets(tools, f.x, f.travel)))
        most, least, _ = principal(f.curvature * np.array([1.0, 1.0, 2.0]))
        bend = _to_points(np.maximum(np.abs(most), np.abs(least)), flat.triangles, n)
        skid.add(f.pressure[:, die] > TOUCH, bend, f.slide - before_slide)
        for k, name in enumerate(tools.names):
            gained = f.rub[:, k] - before_rub[:, k]
            at = np.flatnonzero((gained > 0) | (f.pressure[:, k] > TOUCH))
            shift = float(f.travel[k]) * tools.numbers[k, 7:10]
            touched[name].append((f.x[at] - shift, gained[at], f.pressure[at, k]))
        before_rub, before_slide = f.rub, f.slide
    wear = {}
    for name, parts in touched.items():
        wear[name] = Wear(faces.meshes[name].mesh)
        wear[name].add(np.vstack([p[0] for p in parts]), np.concatenate([p[1] for p in parts]), np.concatenate([p[2] for p in parts]))
    drawn = TriMesh(frames[-1].x, flat.triangles)
    series = FieldSeries(
        np.array([f.time for f in frames]), np.array([f.x for f in frames], dtype=np.float32), flat.triangles,
        {k: np.array(v, dtype=np.float32) for k, v in point.items()}, {k: np.array(v, dtype=np.float32) for k, v in cell.items()},
    )  # fmt: skip
    return Fields(series, straight, margin.bent_share(flat.areas), skid.at_end(drawn, visible), wear)


def _meter(flat: TriMesh, last: Frame, thickness: float, rolling: tuple[float, float, float]) -> WrinkleMeter:
    """Wrinkles are looked for along the direction in which the sheet ends up pressed together most."""
    axes = pressed_axes(last.membrane, flat.triangles, flat.areas, flat.points[:, :2], 8.0 * thickness)
    c, s = rolling[0] / np.hypot(*rolling[:2]), rolling[1] / np.hypot(*rolling[:2])
    turned = np.column_stack([c * axes[:, 0] - s * axes[:, 1], s * axes[:, 0] + c * axes[:, 1]])
    return WrinkleMeter(flat.points[:, :2], flat.triangles, turned, thickness)


def _to_points(cell: Floats, triangles: NDArray[np.integer], n: int) -> Floats:
    count = np.bincount(triangles.ravel(), minlength=n)
    return np.bincount(triangles.ravel(), weights=np.repeat(cell, 3), minlength=n) / np.maximum(count, 1)
