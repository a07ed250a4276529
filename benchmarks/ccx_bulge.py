"""A second opinion on the bulge by CalculiX (ccx, Debian ``calculix-ccx``): writes the deck, runs it if ccx is there, prints pole height and thickness.

    python benchmarks/ccx_bulge.py [folder for the deck]

Clamped steel disc, radius 50, thickness 1 mm, 550 (0.005 + e)^0.22 MPa, blown up by 6 MPa, as axisymmetric solids (CAX8R, 60 x 2) with finite
strain; held in the middle of its edge, so it may turn as in the
tryout; the last ring is elastic, as one node cannot hold a plastic solid. Rows "ccx-bulge" of ``reference/tryout.csv``.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

RADIUS, THICKNESS, PRESSURE = 50.0, 1.0, 6.0
LAW = (550.0, 0.005, 0.22)
ALONG, THROUGH = 60, 2


def deck() -> str:
    """The input file; axisymmetric solids with the axis along y."""
    xs, ys = np.linspace(0.0, RADIUS, 2 * ALONG + 1), np.linspace(-0.5 * THICKNESS, 0.5 * THICKNESS, 2 * THROUGH + 1)
    number: dict[tuple[int, int], int] = {}
    lines = ["*NODE, NSET=ALL"]
    for i, x in enumerate(xs):
        for j, y in enumerate(ys):
            if i % 2 == 0 or j % 2 == 0:
                number[i, j] = len(number) + 1
                lines.append(f"{number[i, j]}, {x:.9g}, {y:.9g}, 0.")
    lines.append("*ELEMENT, TYPE=CAX8R, ELSET=SHEET")
    lower = []
    for i in range(ALONG):
        for j in range(THROUGH):
            e = i * THROUGH + j + 1
            at = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1)]
            lines.append(", ".join(str(v) for v in (e, *(number[2 * i + a, 2 * j + b] for a, b in at))))
            if j == 0:
                lower.append(e)
    axis = [number[0, j] for j in range(2 * THROUGH + 1)]
    held = [number[2 * ALONG, THROUGH]]
    last = (ALONG - 1) * THROUGH + 1
    strains = np.concatenate([[0.0], np.geomspace(1e-4, 1.5, 60)])
    lines += [
        "*NSET, NSET=AXIS",
        *(f"{k}," for k in axis),
        "*NSET, NSET=POLE",
        f"{axis[0]}, {axis[-1]}",
        "*NSET, NSET=EDGE",
        *(f"{k}," for k in held),
    ]
    lines += [
        "*ELSET, ELSET=LOWER",
        *(f"{e}," for e in lower),
        f"*ELSET, ELSET=RING, GENERATE\n{last}, {ALONG * THROUGH}",
        f"*ELSET, ELSET=REST, GENERATE\n1, {last - 1}",
        "*MATERIAL, NAME=HARD",
        "*ELASTIC",
        "206000., 0.3",
        "*MATERIAL, NAME=STEEL",
        "*ELASTIC",
        "206000., 0.3",
        "*PLASTIC",
    ]
    lines += [f"{LAW[0] * (LAW[1] + s) ** LAW[2]:.6f}, {s:.9g}" for s in strains]
    lines += [
        "*SOLID SECTION, ELSET=REST, MATERIAL=STEEL",
        "*SOLID SECTION, ELSET=RING, MATERIAL=HARD",
        "*BOUNDARY",
        "AXIS, 1",
        "EDGE, 1, 2",
    ]
    lines += ["*STEP, NLGEOM, INC=2000", "*STATIC", "0.005, 1., 1e-8, 0.01", "*DLOAD"]
    lines += [f"LOWER, P1, {PRESSURE}", "*NODE PRINT, NSET=POLE, FREQUENCY=10000", "U", "*END STEP"]
    return "\n".join(lines) + "\n"


def run(folder: Path) -> dict[str, float]:
    """Pole height and thickness share from ccx."""
    (folder / "bulge.inp").write_text(deck())
    subprocess.run(["ccx", "-i", "bulge"], cwd=folder, check=True, capture_output=True, timeout=900)
    text = (folder / "bulge.dat").read_text()
    rows = [[float(v) for v in line.split()] for line in text.splitlines() if re.match(r"\s+\d+\s+-?\d", line)]
    low, high = sorted(rows[-2:])
    return {"pole height": 0.5 * (low[2] + high[2]), "pole thickness": (THICKNESS + high[2] - low[2]) / THICKNESS}


def main() -> None:
    """Write, run, print."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp(prefix="ccx-"))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "bulge.inp").write_text(deck())
    if shutil.which("ccx") is None:
        sys.stdout.write(f"ccx is not here (apt-get install calculix-ccx); the deck is in {folder}\n")
        return
    version = subprocess.run(["ccx", "-v"], capture_output=True, text=True, check=False).stdout.strip()
    sys.stdout.write(f"{version}\n" + "".join(f"{k}: {v:.5f}\n" for k, v in run(folder).items()))


if __name__ == "__main__":
    main()
