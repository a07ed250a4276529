"""Nanoseconds per element-step of the shell, beside the same step by hand in C++ (scalar, and in lanes); memory per element; scaling with size.

    python benchmarks/shell.py [pitches a side, default 100 (20 000 triangles)]

A plate of Hill 1948 + Swift, 5 stations; one half is stretched into yielding before and through the run, the other stays elastic.
Wall time is the best of four parts, CPU time the mean over cores: on a busy machine the two tell what the other work took.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numba
import numpy as np

from diewright.mechanics.shell.form import ShellForm, at_rest
from diewright.mechanics.shell.layout import C_SQUEEZE, M_E, M_E0, M_FIRST, M_HILL, M_K, M_N, M_NU
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.mechanics.shell.step import side_inertia
from diewright.prove.shell import grid

STEEL = plastic(2.1e5, 0.3, 7.85e-9, hill_from_r(1.8, 1.2, 2.1), {"K": 550.0, "e0": 0.005, "n": 0.2})
AT = through_thickness(5)
RATE = 60.0  # 1/s: about 1e-5 of strain a step, as in a drawing run


def plate(pitches: int, real: type, *, threads: bool) -> ShellModel:
    """The plate, half of it just past yield."""
    size = 2.5 * pitches
    points, triangles, _ = grid(size, size, pitches, pitches, shake=0.15)
    patches = build_patches(points, triangles, 1.0)
    form = at_rest(patches, AT, kinematic=False)
    away = np.maximum(form.x[:, 0] - 0.5 * size, 0.0)
    form.x[:, 0] += 0.004 * away
    model = ShellModel(patches, STEEL, AT, form=form, real=real, threads=threads)
    rest = model.history([0.0, 1.0], [1.0, 1.0])
    model.bc[:, :2] = rest
    model.bc_scale[:, 0] = RATE * away
    return model


def measure(pitches: int, real: type, steps: int, *, threads: bool = True) -> tuple[float, float, ShellModel]:
    """``(wall, CPU)`` nanoseconds per element-step."""
    model = plate(pitches, real, threads=threads)
    model.advance(1, adapt=False)  # compiles
    model = plate(pitches, real, threads=threads)
    best, cpu = np.inf, 0.0
    for _ in range(4):
        wall, used = time.perf_counter(), time.process_time()
        model.advance(steps // 4, adapt=False)
        best = min(best, time.perf_counter() - wall)
        cpu += time.process_time() - used
    per = 1e9 / (steps // 4 * len(model.patches.conn))
    return best * per, cpu * per / 4, model


def export(model: ShellModel, folder: Path) -> None:
    """Arrays for the C++ program."""
    p, m = model.patches, model.material.mat
    form = ShellForm(model.x, model.slope, model.state, model.stretch)
    arrays = {
        "x": model.x, "conn": p.conn, "start": p.start, "slots": p.slots, "side_slots": p.side_slots, "bc": model.bc, "coef": p.coef[:, :C_SQUEEZE],
        "state": model.state, "stretch": model.stretch, "stations": AT, "v": model.velocity, "mass": model._mass,
        "inertia": side_inertia(p, STEEL, form, model.dt), "scale": model.bc_scale,
        "law": np.array([m[M_E], m[M_NU], *m[M_HILL : M_HILL + 4], m[M_K], m[M_E0], m[M_N], m[M_FIRST]]),
    }  # fmt: skip
    for name, a in arrays.items():
        np.ascontiguousarray(a, dtype=np.int32 if a.dtype.kind == "i" else np.float64).tofile(folder / name)


def by_hand(pitches: int, steps: int, threads: int) -> dict[tuple[str, str], tuple[float, float, np.ndarray]]:
    """The C++ figures by precision and kind (``one`` element at a time, in ``lanes``); empty without a compiler."""
    compiler = shutil.which("g++")
    if compiler is None:
        return {}
    out: dict[tuple[str, str], tuple[float, float, np.ndarray]] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        program = folder / "shell_reference"
        source = Path(__file__).with_name("shell_reference.cpp")
        options = [
            "-std=c++20",
            "-O3",
            "-march=native",
            "-mprefer-vector-width=512",
            "-ffp-contract=fast",
            "-fno-math-errno",
            "-fno-trapping-math",
            "-fopenmp",
        ]
        subprocess.run([compiler, *options, str(source), "-o", str(program)], check=True)
        model = plate(pitches, np.float64, threads=True)
        export(model, folder)
        drag = model.side_damping * 1.6 / model.dt
        for real in ("double", "float"):
            for kind in ("one", "lanes"):
                line = subprocess.run(
                    [str(program), name, real, str(steps), repr(model.dt), repr(drag), str(threads), kind],
                    check=True,
                    capture_output=True,
                    text=True,
                ).stdout
                wall, cpu, bad, _ = line.split()
                if int(bad):
                    print(f"C++ {real} {kind}: {bad} elements failed")
                out[real, kind] = float(wall), float(cpu), np.fromfile(folder / f"x_{real}").reshape(-1, 3)
    return out


def compare(pitches: int, steps: int, threads: int) -> None:
    """One line for each precision: ours, and both programs in C++."""
    numba.set_num_threads(threads)
    hand = by_hand(pitches, steps, threads)
    for label, real, name in (("float64", np.float64, "double"), ("mixed", np.float32, "float")):
        wall, cpu, model = measure(pitches, real, steps, threads=threads > 1)
        line = f"  {threads} threads {label:8s} Numba {wall:5.0f} {cpu:5.0f}"
        for kind, title in (("one", "C++ scalar"), ("lanes", "C++ in lanes")):
            if (name, kind) in hand:
                w, c, x = hand[name, kind]
                line += f"   {title} {w:5.0f} {c:5.0f}, ours over it {wall / w:.2f} {cpu / c:.2f}, places differ by {np.abs(x - model.x).max():.0e} mm"
        print(line)


def memory(pitches: int) -> None:
    """Bytes an element, and how much of the plate has yielded."""
    for real in (np.float64, np.float32):
        model = plate(pitches, real, threads=False)
        model.advance(50, adapt=False)
        count = len(model.patches.conn)
        own = (model.patches.conn, model._coef, model.state, model.stretch, model._force)
        rest = (model.x, model.velocity, model.support, model.external, model._mass, model.slope, model.slope_velocity)
        yielded = np.mean(model.state.reshape(count, -1, 4)[:, :, 3] > 0)
        print(
            f"  {np.dtype(real).name}: {sum(a.nbytes for a in own) / count:.0f} bytes an element, "
            f"{sum(a.nbytes for a in rest) / count:.0f} more for its share of nodes and sides; {yielded:.0%} of the points have yielded"
        )


def main() -> None:
    pitches = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{2 * pitches * pitches} triangles, 5 stations, Hill 1948 + Swift; ns per element-step (wall, CPU)")
    for threads in sorted({1, min(os.cpu_count() or 1, 2)}):
        compare(pitches, 200, threads)
    memory(pitches)
    print("  by size (float64, CPU ns per element-step):", end="")
    for k in (10, 30, 100, 200):
        print(f"  {2 * k * k}: {measure(k, np.float64, 40)[1]:.0f}", end="")
    print()


if __name__ == "__main__":
    main()
