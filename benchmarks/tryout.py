"""Studies of the tryout on the square cup of 1993 (a quarter): mesh, mass scaling, speed; and the time it takes.

    python benchmarks/tryout.py [mesh] [mass] [speed] [time]

Without words it does all but ``time``. Prints draw-in, largest punch force, least thickness, largest kinetic share after a tenth of the stroke, steps, seconds.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from diewright.prove.tryout_cups import draw_in, square

HEAD = f"{'':28s} {'triangles':>9s} {'DX':>7s} {'DY':>7s} {'DD':>7s} {'force kN':>8s} {'thinnest':>8s} {'kinetic':>8s} {'added':>7s} {'steps':>7s} {'s':>6s}\n"


def line(what: str, **how: object) -> str:
    """One run as a line of the table."""
    began = time.perf_counter()
    got = square(**how)  # type: ignore[arg-type]
    seconds = time.perf_counter() - began
    d, m = draw_in(got), got.model
    steps = sum(mark[3] for mark in got.out.marks)
    return (
        f"{what:28s} {len(m.stretch):9d} {d['draw-in DX']:7.2f} {d['draw-in DY']:7.2f} {d['draw-in DD']:7.2f} {got.force().max() / 1e3:8.2f} "
        f"{float(np.asarray(m.stretch).min()):8.4f} {got.kinetic():8.4f} {100 * m.masses.share:6.2f}% {steps:7d} {seconds:6.1f}\n"
    )


def main() -> None:
    """Print what was asked for."""
    wanted = set(sys.argv[1:]) or {"mesh", "mass", "speed"}
    out = sys.stdout.write
    out(HEAD)
    if "mesh" in wanted:
        for edge in (6.0, 5.0, 4.0, 3.0, 2.5):
            out(line(f"edge {edge:g} mm", edge=edge))
            sys.stdout.flush()
    if "mass" in wanted:
        natural = float(square(edge=4.0).out.curve["dt"][0])
        for factor in (1.0, 1.5, 2.0, 3.0):
            out(line(f"edge 4 mm, step x {factor:g}", edge=4.0, step=None if factor == 1.0 else factor * natural))
            sys.stdout.flush()
    if "speed" in wanted:
        for speed in (10000.0, 5000.0, 2500.0, 1250.0):
            out(line(f"edge 4 mm, punch {speed / 1e3:g} m/s", edge=4.0, speed=speed))
            sys.stdout.flush()
    if "time" in wanted:
        out(line("quarter, edge 2.5 mm", edge=2.5))
        out(line("whole, edge 2.5 mm", edge=2.5, quarter=False))


if __name__ == "__main__":
    main()
