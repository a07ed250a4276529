"""Time of the current distribution: a tank of about 100,000 tetrahedra with Butler-Volmer kinetics, and the demo rack of four parts.

Run: ``python benchmarks/plating.py``. Beside the multigrid stands a sparse direct solution of the same matrix, and how long reading
the matrix once from memory takes: conjugate gradients can take no less for each iteration.
"""

from __future__ import annotations

import os
import tempfile
import time
from importlib import resources
from pathlib import Path

import numpy as np
from scipy.sparse import diags
from scipy.sparse.linalg import splu

from diewright import open_job
from diewright.finish.current.cell import Electrode
from diewright.finish.current.krylov import Solver
from diewright.finish.current.laws import ButlerVolmer
from diewright.finish.current.newton import solve
from diewright.finish.current.tank import Block, mesh_tank
from diewright.finish.current.tetra import conductance
from diewright.finish.plating.report import thinnest
from diewright.finish.plating.run import make_mesh, plate, significant_cells
from diewright.job.schema import PlatingStated
from diewright.watch import Watch

KAPPA = 0.008


def tank() -> None:
    """Two blocks in a box."""
    start, used = time.perf_counter(), cpu()
    blocks = [
        Block("cathode", (-150.0, -100.0, -200.0), (150.0, -90.0, 150.0), 9.0),
        Block("anode", (-200.0, 150.0, -200.0), (200.0, 180.0, 200.0), 10.0),
    ]
    mesh = mesh_tank((-400.0, -300.0, -350.0), (400.0, 300.0, 250.0), blocks, [], growth=0.2, most_edge=40.0)
    meshed = time.perf_counter()
    cathode, anode = ButlerVolmer(4e-7, 0.1, 0.1), ButlerVolmer(1e-5, 0.06, 0.06)
    electrodes = [
        Electrode("anode", mesh.faces["anode"], anode, current=-80.0),
        Electrode("cathode", mesh.faces["cathode"], cathode, potential=0.0),
    ]
    s = solve(mesh.points, mesh.tetrahedra, KAPPA, electrodes)
    solved = time.perf_counter()
    print(
        f"tank: {len(mesh.tetrahedra)} tetrahedra, {len(mesh.points)} points: mesh {meshed - start:.1f} s, solution {solved - meshed:.1f} s ({s.steps} Newton steps, {s.iterations} iterations in all), all {solved - start:.1f} s wall, {cpu() - used:.1f} s CPU"
    )
    print(f"    voltage {s.voltage('anode', 'cathode'):.3f} V, sum of currents {s.imbalance:.0e} of the current")
    k = conductance(mesh.points, mesh.tetrahedra, KAPPA)
    a = (k + diags(np.full(k.shape[0], 1e-9 * k.diagonal().mean()) + _mass(mesh.points, mesh.faces["cathode"], k.shape[0]))).tocsr()
    b = np.ones(k.shape[0])
    for multigrid in (True, False):
        solver = Solver(multigrid=multigrid)
        begin = time.perf_counter()
        solver.solve(a, b)
        print(
            f"    one linear system, {'multigrid' if multigrid else 'diagonal'}: {time.perf_counter() - begin:.2f} s, {solver.iterations} iterations"
        )
    begin = time.perf_counter()
    splu(a.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}).solve(b)
    print(f"    one linear system, sparse direct: {time.perf_counter() - begin:.2f} s")
    begin = time.perf_counter()
    for _ in range(20):
        a @ b
    each = (time.perf_counter() - begin) / 20
    print(f"    the matrix times a vector: {1e3 * each:.2f} ms, {12e-9 * a.nnz / each:.1f} GB/s of the matrix read")


def cpu() -> float:
    """CPU seconds of this process and of the meshers it ran: what the times would be on a machine with nothing else to do."""
    t = os.times()
    return t.user + t.system + t.children_user + t.children_system


def _mass(points: np.ndarray, triangles: np.ndarray, n: int) -> np.ndarray:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return np.bincount(triangles.ravel(), weights=np.repeat(area / 3 * 1e-2, 3), minlength=n)


def rack() -> None:
    """Four parts of the demo, nickel and chromium."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "fascia"
        folder.mkdir()
        for item in (resources.files("diewright") / "examples" / "fascia").iterdir():
            (folder / item.name).write_bytes(item.read_bytes())
        part = open_job(folder).work("tipping").meshes["part"].mesh
    for quality in ("coarse", "normal", "fine"):
        stated = PlatingStated(quality=quality)
        start, used = time.perf_counter(), cpu()
        mesh = make_mesh(part, stated, (), quality, Watch())
        meshed = time.perf_counter()
        done = plate(mesh, stated, significant_cells(mesh, part, "auto"), Watch())
        solved = time.perf_counter()
        um, areas = done.on_significant(done.layers[0].thickness)
        mean = um @ areas / areas.sum()
        print(
            f"rack, {quality}: {len(mesh.tank.tetrahedra)} tetrahedra, mesh {meshed - start:.1f} s, two baths {solved - meshed:.1f} s, all {solved - start:.1f} s wall, {cpu() - used:.1f} s CPU; nickel: {done.layers[0].minutes:.1f} min, mean over least {mean / um.min():.2f}, over thinnest hundredth {mean / thinnest(um, areas):.2f}, {done.layers[0].voltage:.2f} V"
        )


if __name__ == "__main__":
    tank()
    rack()
