"""The shell step on a CUDA GPU: element-steps a second in mixed precision, and its answer beside float64 on the CPU.

    python benchmarks/shell_gpu.py [steps, default 500]

Needs numba-cuda; with CuPy the steps are replayed as a CUDA graph. The plate is that of ``benchmarks/shell.py``.
Stated tolerance of the answer: places within 1e-5 mm of float64 after 200 steps of 1e-5 strain on a plate of 250 mm, plastic strain within 1e-5.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from shell import plate


def main() -> None:
    from numba import cuda

    from diewright.mechanics.shell.cuda import CudaShell

    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    try:
        import cupy  # noqa: F401

        graph = 50
    except ImportError:
        graph = 0
    print(
        f"{cuda.get_current_device().name}, {'CUDA graph of 50 steps' if graph else 'plain launches'}, mixed precision, 5 stations, half yielding"
    )
    model = plate(100, np.float64, threads=False)
    speed = model.speeds_now()
    assert speed[-1] == 1.0
    for name, real in (("mixed", np.float32), ("float64", np.float64)):
        gpu = CudaShell(plate(100, real, threads=False))
        gpu.advance(200)
        if name == "mixed":
            model.advance(200, adapt=False)
        form = gpu.back()
        print(
            f"  {name} against float64 on the CPU after 200 steps: places {np.abs(form.x - model.x).max():.1e} mm, "
            f"plastic strain {np.abs(form.state[:, 3::4] - model.state[:, 3::4]).max():.1e}, yielded {np.mean(form.state[:, 3::4] > 0):.0%}"
        )
    for pitches in (100, 224, 707):
        for real in (np.float32, np.float64):
            gpu = CudaShell(plate(pitches, real, threads=False))
            gpu.advance(51, graph=graph)  # compiled and warm
            cuda.synchronize()
            start = time.perf_counter()
            gpu.advance(steps + 1, graph=graph)
            cuda.synchronize()
            wall = time.perf_counter() - start
            print(
                f"  {gpu.ne:8d} triangles {np.dtype(real).name}: {1e6 * wall / (steps + 1):8.1f} us a step, {gpu.ne * (steps + 1) / wall:.2e} element-steps/s"
            )


if __name__ == "__main__":
    main()
