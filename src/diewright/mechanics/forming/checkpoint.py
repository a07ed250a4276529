"""Checkpoints: everything a run needs to go on from a chunk's end and give the same answer.

One NumPy archive without pickle, written beside its final name and renamed. It carries a digest of mesh, sheet, tools and operations; one of another run is left alone.
"""

from __future__ import annotations

import hashlib
import os
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from diewright.mechanics.forming.frames import Frame

if TYPE_CHECKING:
    from diewright.mechanics.forming.run import Run

MODEL = (
    "x",
    "slope",
    "state",
    "stretch",
    "velocity",
    "slope_velocity",
    "support",
    "external",
    "work",
    "bc",
    "bc_scale",
    "_times",
    "_values",
)
FRAME = (
    "travel",
    "x",
    "membrane",
    "stretch",
    "plastic",
    "plastic_max",
    "stress",
    "pressure",
    "slide",
    "rub",
    "curvature",
    "layers",
    "layers_plastic",
)


def digest(run: Run) -> str:
    """What makes two runs the same run; taken before the first step, as it holds the state that the run starts from."""
    m = run.model
    h = hashlib.sha256()
    for a in (
        m.patches.points,
        m.patches.conn,
        m.patches.coef,
        m.material.mat,
        m.material.table,
        m.stations,
        m.masses.node,
        m.tools.samples,
        m.tools.place,
        m.tools.state,
        m.tools.bead_at,
        m.tools.bead,
        m.x,
        m.slope,
        m.state,
        m.stretch,
        m.velocity,
        m.bc,
        m.bc_scale,
        m._times,
        m._values,
    ):
        h.update(np.ascontiguousarray(a).tobytes())
    h.update(repr((run.operations, m.tools.names, m.safety, m.side_damping, str(m.real))).encode())
    h.update(m.tools.numbers[:, 4:10].tobytes() + m.tools.numbers[:, 13:].tobytes())
    return h.hexdigest()


def save(path: Path, run: Run, number: int, began: float, shown: int) -> None:
    """Write the run as it is now."""
    m = run.model
    inertia = m.side_inertia() if m._inertia is None else m._inertia
    out: dict[str, np.ndarray] = {f"m_{n.strip('_')}": getattr(m, n) for n in MODEL}
    out |= {f"t_{k}": v for k, v in m.tools.memory().items()}
    out |= {"t_numbers": m.tools.numbers, "t_sizes": m.tools.sizes, "inertia": inertia, "rows": np.array(run.curve.rows)}
    out["scalars"] = np.array([m.time, m.dt, m._start_energy, m._pressure_row, number, began, shown, run.steps, *run.forces.values()])
    for name in FRAME:
        out[f"f_{name}"] = np.array([getattr(f, name) for f in run.frames])
    out["f_when"] = np.array([(f.operation, f.time) for f in run.frames], dtype=np.float64)
    out["marks"] = np.array([(a, b, c) for _, a, b, c in run.marks], dtype=np.float64).reshape(-1, 3)
    out["from"] = np.array([run._from.get(name, np.nan) for name in m.tools.names])
    out["digest"] = np.array(run.digest)
    temporary = path.with_name(path.name + ".new")
    with temporary.open("wb") as stream:
        np.savez(stream, **out)  # type: ignore[arg-type]
        stream.flush()
        os.fsync(stream.fileno())
    temporary.replace(path)


def load(path: Path, run: Run) -> tuple[int, float, int] | None:
    """Put a run back to its checkpoint; ``(operation, its start, frames shown)``, or None where there is none of this run."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            a = {name: kept[name] for name in kept.files}
    except (OSError, ValueError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError):
        return None
    if str(a.get("digest")) != run.digest:
        return None
    m = run.model
    for n in MODEL:
        setattr(m, n, a[f"m_{n.strip('_')}"])
    m.tools.put_back({k: a[f"t_{k}"] for k in ("state", "push", "slide", "rub", "squeeze", "steps")})
    m.tools.numbers[:], m.tools.sizes[:] = a["t_numbers"], a["t_sizes"]
    m._inertia = a["inertia"]
    s = a["scalars"]
    m.time, m.dt, m._start_energy, m._pressure_row = float(s[0]), float(s[1]), float(s[2]), int(s[3])
    run.forces = dict(zip(run.forces, (float(v) for v in s[8:]), strict=True))
    run._from = {n: float(v) for n, v in zip(m.tools.names, a["from"], strict=True) if np.isfinite(v)}
    run.curve.rows = a["rows"].tolist()
    run.frames = [Frame(operation=int(w[0]), time=float(w[1]), **{n: a[f"f_{n}"][k] for n in FRAME}) for k, w in enumerate(a["f_when"])]
    run.marks = [(run.operations[k].name, float(w[0]), float(w[1]), int(w[2])) for k, w in enumerate(a["marks"])]
    run.steps = int(s[7])
    return int(s[4]), float(s[5]), int(s[6])
