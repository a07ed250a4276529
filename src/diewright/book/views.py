"""What the book's pages read: the job, the stages and their results as plain JSON and raw arrays."""

from __future__ import annotations

import contextlib
import itertools
from pathlib import Path
from typing import Any

import numpy as np

import diewright
from diewright.desk import Desk
from diewright.errors import DeskError, InputError
from diewright.geometry.mesh import FieldMesh
from diewright.job import file as job_file
from diewright.job.fields import fields
from diewright.job.graph import State
from diewright.job.series import FieldSeries
from diewright.job.stage import Result
from diewright.job.store import Entry

_SERIAL = itertools.count(1)
CAD_ENDINGS = {".step", ".stp", ".iges", ".igs", ".stl"}


def book(desk: Desk, working: dict[str, Any] | None) -> dict[str, Any]:
    """Everything the shell of the book shows: job, fields, stages, findings, choices.

    ``serial`` grows with each call, so that a page can drop an answer that is older than one it has.
    """
    serial = next(_SERIAL)
    states = desk.states()
    undo, redo = job_file.steps(desk.folder)
    return {
        "serial": serial,
        "job": desk.job.model_dump(mode="json"),
        "fields": fields(),
        "stages": [
            {
                "name": n,
                "title": desk.graph.stages[n].title,
                "be": desk.graph.stages[n].verbs[0],
                "state": s.state,
                "because": s.because,
                "key": s.entry.key if s.entry else None,
            }
            for n, s in states.items()
        ],
        "working": working,
        "undo": undo,
        "redo": redo,
        "findings": [j.as_dict() for j in desk.findings()],
        "sheets": _sheets(desk.folder),
        "presses": _presses(desk.folder),
        "files": sorted(p.name for p in desk.folder.iterdir() if p.suffix.lower() in CAD_ENDINGS and p.is_file()),
        "folder": desk.folder.resolve().name,
        "version": diewright.__version__,
    }


def _sheets(folder: Path) -> list[dict[str, str]]:
    from diewright.sheet import library

    own = [
        {"name": f"sheets/{p.name}", "family": "own", "text": "from the job's sheets folder"}
        for p in sorted((folder / "sheets").glob("*.toml"))
    ]
    shipped = [library.load(name) for name in library.names()]
    return own + [
        {"name": s.name, "family": s.family, "text": f"{s.title}; Rp0.2 {s.number_of('Rp02'):.0f}, Rm {s.number_of('Rm'):.0f} MPa"}
        for s in shipped
    ]


def _presses(folder: Path) -> list[dict[str, str]]:
    from diewright.press import table

    presses = list(table.generic_presses())
    own = folder / "presses.toml"
    if own.is_file():
        with contextlib.suppress(DeskError):  # the press stage says what is wrong with it
            presses += [p.model_copy(update={"name": f"own:{p.name}"}) for p in table.own_presses(own)]
    return [
        {"name": "auto", "text": "the smallest that serves"},
        *({"name": p.name, "text": f"{p.force_kn:.0f} kN, stroke {p.stroke_mm:.0f} mm"} for p in presses),
    ]


def result(desk: Desk, stage: str) -> dict[str, Any]:
    """The last result of a stage without its meshes and arrays, which are described only."""
    state, entry, found = _found(desk, stage)
    return {
        "key": entry.key,
        "state": state.state,
        "because": state.because,
        "values": found.values,
        "figures": [f.model_dump(mode="json") for f in found.figures],
        "findings": [f.model_dump(mode="json") for f in found.findings],
        "tables": {name: {c: _plain(v) for c, v in table.items()} for name, table in found.tables.items()},
        "meshes": {name: _described(mesh) for name, mesh in found.meshes.items()},
        "series": {name: _described_series(s) for name, s in found.series.items()},
        "arrays": {name: {"shape": list(a.shape), "dtype": str(a.dtype)} for name, a in found.arrays.items()},
        "files": sorted(found.files),
    }


def _found(desk: Desk, stage: str) -> tuple[State, Entry, Result]:
    state = desk.state(stage)
    found = desk.store.get(stage, state.entry.key) if state.entry else None
    if found is None or state.entry is None:
        raise InputError(f"{desk.graph.stages[stage].title} has not been worked yet.", where=stage, help="Work it first.")
    return state, state.entry, found


def _plain(column: np.ndarray) -> list[Any]:
    return [None if isinstance(v, float) and not np.isfinite(v) else v for v in column.tolist()]


def _span(array: np.ndarray) -> dict[str, float]:
    finite = array[np.isfinite(array)] if array.size else array
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
    return {"min": low, "max": high}


def _described(fields: FieldMesh) -> dict[str, Any]:
    def one(array: np.ndarray) -> dict[str, Any]:
        return {"components": int(np.prod(array.shape[1:])), **_span(array)}

    return {
        "points": len(fields.mesh.points),
        "triangles": len(fields.mesh.triangles),
        "point": {n: one(a) for n, a in fields.point.items()},
        "cell": {n: one(a) for n, a in fields.cell.items()},
    }


def _described_series(series: FieldSeries) -> dict[str, Any]:
    """Sizes, instants, the box [mm] round all positions, and each field's range over all instants: a colour means the same from first to last."""
    return {
        "times": series.times.tolist(),
        "points": series.points.shape[1],
        "triangles": len(series.triangles),
        "box": [series.points.min(axis=(0, 1)).tolist(), series.points.max(axis=(0, 1)).tolist()],
        "point": {n: _span(a) for n, a in series.point.items()},
        "cell": {n: _span(a) for n, a in series.cell.items()},
    }


def keyed(desk: Desk, stage: str, key: str) -> Result:
    """The result under a certain key; raises :class:`InputError` if it is gone."""
    if stage not in desk.graph.stages or not key.isalnum():
        raise InputError("there is no such result.", where=stage)
    found = desk.store.get(stage, key)
    if found is None:
        raise InputError("this result has gone from the store.", where=stage, help="Reload the page.")
    return found


def mesh_bytes(found: Result, mesh: str, what: str) -> bytes:
    """Raw little-endian array of a mesh: ``points``, ``triangles``, ``point.<field>`` or ``cell.<field>``."""
    if mesh not in found.meshes:
        raise InputError(f"there is no mesh called '{mesh}'.")
    fields = found.meshes[mesh]
    if what == "points":
        return fields.mesh.points.astype("<f4").tobytes()
    if what == "triangles":
        return fields.mesh.triangles.astype("<u4").tobytes()
    kind, _, name = what.partition(".")
    table = {"point": fields.point, "cell": fields.cell}.get(kind, {})
    if name not in table:
        raise InputError(f"there is no field called '{what}'.")
    return table[name].astype("<f4").tobytes()


def series_bytes(found: Result, name: str, what: str) -> bytes:
    """Raw little-endian array of a series, all instants one after the other: ``points``, ``triangles``, ``point.<field>`` or ``cell.<field>``."""
    if name not in found.series:
        raise InputError(f"there is no series called '{name}'.")
    series = found.series[name]
    if what == "points":
        return series.points.astype("<f4").tobytes()
    if what == "triangles":
        return series.triangles.astype("<u4").tobytes()
    kind, _, field = what.partition(".")
    table = {"point": series.point, "cell": series.cell}.get(kind, {})
    if field not in table:
        raise InputError(f"there is no field called '{what}'.")
    return table[field].astype("<f4").tobytes()
