"""Time of the one-step inverse solution on about 30,000 triangles, with the share of each phase.

Run: ``python benchmarks/inverse.py``. The kernels are compiled (or read from the cache) on a small part first; that time is printed apart.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "mechanics"))
import meshes as M

from diewright.errors import DeskError
from diewright.mechanics.inverse import solve
from diewright.mechanics.plasticity import Hill

STRAIN = np.linspace(0.0, 2.0, 1000)
SHEET = dict(thickness=0.8, hardening=(STRAIN, 550.0 * (0.008 + STRAIN) ** 0.22), anisotropy=Hill.from_r(1.8, 1.4, 2.1))

CASES = {
    "square cup 80 x 80 x 80, open rim": lambda: M.square_cup(80.0, 80.0, 12.0, 8.0, h=1.4),
    "square cup 80 x 80 x 20, flange 15": lambda: M.square_cup(80.0, 20.0, 15.0, 8.0, 6.0, 15.0, h=1.1),
    "square cup 80 x 80 x 40, flange 15 (beyond uniform strain)": lambda: M.square_cup(80.0, 40.0, 15.0, 8.0, 6.0, 15.0, h=1.29),
    "round cup 59 x 94, open rim, gap 1.0 and 100 N/mm": lambda: M.round_cup(29.5, 94.5, 6.0, h=1.2),
    "shallow panel 400 x 80 x 6": lambda: M.panel(h=1.45),
}


EXTRA = {"round cup 59 x 94, open rim, gap 1.0 and 100 N/mm": dict(thickness_limit=1.0, bead_restraint=100.0)}


def main() -> None:
    start = time.perf_counter()
    solve(*M.round_cup(h=6.0), **SHEET)
    print(f"kernels compiled or read from the cache: {time.perf_counter() - start:.1f} s")
    for name, make in CASES.items():
        points, triangles = make()
        wall, cpu = time.perf_counter(), time.process_time()
        try:
            result = solve(points, triangles, **SHEET, **EXTRA.get(name, {}))
        except DeskError as error:
            print(f"{name}: {error.sentence}")
            continue
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        total = sum(result.seconds.values())
        shares = ", ".join(f"{k} {100 * v / total:.0f} %" for k, v in result.seconds.items())
        print(
            f"{name}: {len(triangles)} triangles, {wall:.1f} s wall, {cpu:.1f} s CPU, {len(result.iterations)} iterations, residual {result.residual:.0e}, growth {result.growth}"
        )
        print(f"    {shares}")


if __name__ == "__main__":
    main()
