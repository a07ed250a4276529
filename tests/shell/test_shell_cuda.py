"""The GPU kernels, in the simulator: the same functions, the same answer."""

from __future__ import annotations

import os
import subprocess
import sys

SCRIPT = """
import numpy as np
from diewright.mechanics.shell import cuda as module
from diewright.mechanics.shell.cuda import CudaShell
from diewright.mechanics.shell.material import hill_from_r, plastic
from diewright.mechanics.shell.model import ShellModel
from diewright.mechanics.shell.patch import build_patches
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import grid

points, triangles, ids = grid(6.0, 4.0, 2, 2)
steel = plastic(2.1e5, 0.3, 7.85e-9, hill_from_r(1.8, 1.2, 2.1), {"K": 550.0, "e0": 0.005, "n": 0.2})
models = []
for _ in range(2):
    model = ShellModel(build_patches(points, triangles, 1.0), steel, through_thickness(3), threads=False)
    h = model.history([0.0, 1.0], [2e4, 2e4])
    model.prescribe(ids[0], "x")
    model.prescribe(ids[-1], "x", h)
    model.prescribe(ids[-1], "z", h, 0.1)
    models.append(model)
module.THREADS = 16
gpu = CudaShell(models[1])
models[0].dt = models[1].dt
models[0].advance(30, adapt=False)
gpu.advance(30)
form = gpu.back()
assert models[0].state[:, 3::4].max() > 1e-3
assert np.abs(form.x - models[0].x).max() < 1e-12, np.abs(form.x - models[0].x).max()
assert np.abs(form.state - models[0].state).max() < 1e-12
assert np.allclose(gpu.work_done(), models[0].work.sum(0), rtol=1e-9, atol=1e-9)
print("same")
"""


def test_gpu_kernels_answer_as_the_cpu_loops_in_the_simulator():
    run = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        env={**os.environ, "NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    assert run.stdout.strip() == "same"
