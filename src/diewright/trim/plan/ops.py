"""The operations of a part and the force of each over the stroke, from the stages before."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from diewright.errors import InputError
from diewright.geometry.need import finite, not_negative, positive
from diewright.job.stage import Result
from diewright.trim.loads.found import CAM_GAIN
from diewright.trim.loads.law import ShearLaw

Floats = NDArray[np.float64]
CUTS = {"first trim": "", "second trim": "second ", "cam": "cam "}
"""What stands before "trim" and "pierce" in the name of an operation, by the name that the stage ``trim`` gives."""
POINTS = 81


@dataclass(frozen=True, eq=False)
class Piece:
    """What meets the sheet as one: force (n,) [N] over ``stroke`` (n,) [mm] from its own first touch, ``entry`` way left to the bottom after it [mm]; ``movable``: it may be stepped."""

    id: str
    stroke: Floats
    force: Floats
    entry: float = 0.0
    movable: bool = False

    @property
    def touch(self) -> float:
        """Height above bottom at first touch [mm]."""
        return float(self.stroke[-1]) + self.entry

    @property
    def peak(self) -> float:
        """Largest force [N]."""
        return float(self.force.max(initial=0.0))

    def at(self, stroke: Floats) -> Floats:
        """Force [N] at strokes from its first touch [mm]."""
        inside: Floats = np.interp(stroke, self.stroke, self.force, left=0.0, right=0.0)
        return inside


@dataclass(frozen=True, eq=False)
class Operation:
    """An operation: ``kind``, its ``pieces``; ``holder`` force that is held through the draw [N], ``pads`` (stroke from touch, force) of its strippers; ``begin`` height above bottom at which it
    begins [mm], ``depth`` of a draw [mm], ``feed`` height that the open press needs over bottom, less the clearance [mm]; ``how`` the force was found."""

    name: str
    kind: Literal["blank", "draw", "cut", "bend"]
    pieces: tuple[Piece, ...]
    how: str
    begin: float
    feed: float
    holder: float = 0.0
    depth: float = 0.0
    pads: tuple[tuple[Floats, Floats], ...] = ()

    @property
    def flat(self) -> float:
        """Largest force of the operation with nothing stepped [N]."""
        stroke = np.unique(np.concatenate([p.stroke for p in self.pieces]))
        return float(np.sum([p.at(stroke) for p in self.pieces], axis=0).max())


def operations(upstream: Mapping[str, Result], thickness: float, entry: float, pad_lead: float, holder_lead: float) -> list[Operation]:
    """All operations in the order in which they can be done. Raises :class:`InputError` where a stage gives no force that it must give."""
    press = upstream["press"].values
    flat = press.get("operation") == "cutting"
    depth = 0.0 if flat else not_negative(finite(upstream["shape"].values.get("depth", math.nan), "the draw depth"), "the draw depth", "mm")
    out = [_blank(upstream, thickness, entry)]
    if not flat:
        out += _draws(upstream, thickness, depth, holder_lead)
    return out + _cuts(upstream["cutting"], depth, pad_lead, entry) + _bends(upstream["bends"], depth)


def _blank(upstream: Mapping[str, Result], s: float, entry: float) -> Operation:
    metal = upstream["cutting"].values.get("metal") or {}
    shear, wear = (
        positive(metal.get("shear_MPa", math.nan), "the shear strength", "MPa"),
        positive(metal.get("wear", math.nan), "the wear factor"),
    )
    length = positive(finite(upstream["blank"].values.get("perimeter", math.nan), "the blank's perimeter"), "the blank's perimeter", "mm")
    law = ShearLaw.of(finite(metal.get("penetration", math.nan), "the penetration"))
    u = np.linspace(0.0, 1.0, POINTS)
    piece = Piece("blank", u * s, law.share(u) * shear * wear * length * s, entry)
    return Operation("blank", "blank", (piece,), "tau L t over the penetration, worn edges", piece.touch, s)


def _draws(upstream: Mapping[str, Result], s: float, depth: float, lead: float) -> list[Operation]:
    table = upstream["press"].tables.get("force_stroke")
    if table is None:
        raise InputError("the stage 'press' gives no force curve.", where="press", help="Work the stage 'press' again.")
    height, draw = np.asarray(table["height_above_bottom_mm"], dtype=np.float64), 1000.0 * np.asarray(table["draw_kN"], dtype=np.float64)
    holder = 1000.0 * float(np.max(table["blankholder_kN"]))
    rows: list[Mapping[str, Any]] = list(upstream["draws"].values.get("draws") or [])
    stroke = finite(upstream["faces"].values.get("stroke") or height.max(), "the stroke of the draw")
    if len(rows) > 1:
        stroke = finite(rows[0]["stroke"], "the stroke of the draw")
    begin = max(stroke, float(height.max()))
    first = Piece("draw 1", begin - height, draw)
    if float(first.stroke[0]) > 0.0:  # the punch touches before the force curve of the handbook begins
        first = replace(first, stroke=np.concatenate([[0.0], first.stroke]), force=np.concatenate([[0.0], draw]))
    first = (
        replace(first, stroke=np.concatenate([[0.0], first.stroke + lead]), force=np.concatenate([[0.0], first.force]))
        if lead > 0
        else first
    )
    own = depth if len(rows) < 2 else finite(rows[0]["height"], "the height of the draw")
    out = [Operation("draw 1", "draw", (first,), "force curve of the stage press", begin, begin + lead + own, holder, own)]
    rm = float(upstream["sheet"].values.get("Rm", math.nan))
    for k, row in enumerate(rows[1:]):
        d, way, high = (
            positive(finite(row[n], f"the {n} of a draw"), f"the {n} of a draw", "mm") for n in ("diameter", "stroke", "height")
        )
        force = math.pi * d * s * positive(rm, "Rm", "MPa")
        piece = Piece(f"draw {k + 2}", np.array([0.0, 0.1 * way, way]), np.array([0.0, force, force]))
        out.append(
            Operation(
                piece.id,
                "draw",
                (piece,),
                "what the wall bears before the bottom tears off, pi d s Rm: an upper bound",
                way,
                way + high,
                float(row.get("holder_force") or 0.0),
                high,
            )
        )
    return out


def _cuts(cutting: Result, depth: float, pad_lead: float, entry: float) -> list[Operation]:
    """Trims and piercing apart, so that they can be told to different dies."""
    out = []
    kinds = {c["id"]: c["kind"] for c in cutting.values.get("cuts") or []}
    for k, o in enumerate(cutting.values.get("operations") or []):
        if o["name"] not in CUTS:
            raise InputError(
                f"the stage 'cutting' has an operation '{o['name']}' that is not known here.",
                where="cutting",
                help="Work the stages 'trim' and 'cutting' again.",
            )
        whole = _table(cutting, f"force_operation_{k + 1}")
        gain = CAM_GAIN if o["name"] == "cam" else 1.0
        pieces = [_cut(cutting, c, gain, entry, o["name"] != "cam") for c in o["cuts"]]
        total = sum(p.peak for p in pieces)
        for kind in ("trim", "pierce"):
            mine = tuple(p for p in pieces if kinds[p.id] == kind)
            if mine:
                share = sum(p.peak for p in mine) / max(total, 1e-9)
                pads = ((np.asarray(whole["stroke_mm"], dtype=np.float64), share * 1000.0 * np.asarray(whole["pad_kN"], dtype=np.float64)),)
                touch = max(p.touch for p in mine)
                out.append(
                    Operation(
                        CUTS[o["name"]] + kind,
                        "cut",
                        mine,
                        "force curves of the stage cutting",
                        touch,
                        max(2.0 * depth, touch + pad_lead),
                        depth=0.0,
                        pads=pads,
                    )
                )
    return out


def _cut(cutting: Result, name: str, gain: float, entry: float, movable: bool) -> Piece:
    """A cut's own curve, without the stagger that the stage cutting may have given it."""
    t = _table(cutting, f"force_{name}")
    stroke, force = np.asarray(t["stroke_mm"], dtype=np.float64), 1000.0 * gain * np.asarray(t["sheared_kN"], dtype=np.float64)
    if not (np.isfinite(stroke).all() and np.isfinite(force).all() and len(stroke) > 1):
        raise InputError(f"the force of the cut '{name}' is no number.", where="cutting", help="Work the stage 'cutting' again.")
    first = max(int(np.argmax(force > 0.0)) - 1, 0)
    return Piece(name, stroke[first:] - stroke[first], force[first:], entry, movable)


def _bends(bends: Result, depth: float) -> list[Operation]:
    out = []
    for k, o in enumerate(bends.values.get("operations") or []):
        t = _table(bends, f"force_operation_{k + 1}")
        piece = Piece(o["name"], np.asarray(t["stroke_mm"], dtype=np.float64), 1000.0 * np.asarray(t["force_kN"], dtype=np.float64))
        out.append(Operation(o["name"], "bend", (piece,), "force curve of the stage bends", piece.touch, max(2.0 * depth, piece.touch)))
    return out


def _table(result: Result, name: str) -> Mapping[str, Floats]:
    table = result.tables.get(name)
    if table is None:
        raise InputError(f"there is no force curve '{name}'.", where="cutting", help="Work the stages 'cutting' and 'bends' again.")
    return table
