"""CAD made for the tests: shapes with known area and thickness, written as STEP, IGES and STL into one folder a session."""

from __future__ import annotations

import importlib.util
import math
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def maker() -> ModuleType:
    """The examples' own CAD script as a module: lines, arcs, fillets."""
    spec = importlib.util.spec_from_file_location("make_shapes", ROOT / "examples" / "make_shapes.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def cad(tmp_path_factory: pytest.TempPathFactory, maker: ModuleType) -> Any:
    """Builders and writers of test shapes."""
    return Cad(maker, tmp_path_factory.mktemp("cad"))


class Cad:
    def __init__(self, m: ModuleType, folder: Path) -> None:
        from diewright.part.cad import silence

        silence()
        self.m, self.folder = m, folder

    def hat(self, length: float = 120.0, t: float = 1.2) -> Any:
        """Hat channel: flanges 15, webs 20 at right angles, top 40, mid radii 4, even thickness; area of the middle is known."""
        m = self.m
        r = 4.0

        def profile(offset: float) -> list[tuple[float, float]]:
            # corner points and centres of the middle line, offset to the left of travel
            path = []
            centres = [((15 - r, r), -90, 0, 1), ((15 + r, 20 - r), 180, 90, -1), ((55 - r, 20 - r), 90, 0, -1), ((55 + r, r), 180, 270, 1)]
            path.append((0.0, 0.0 + offset))
            for (cx, cy), a0, a1, turn in centres:
                rr = r - turn * offset
                for a in (a0, 0.5 * (a0 + a1), a1):
                    path.append((cx + rr * math.cos(math.radians(a)), cy + rr * math.sin(math.radians(a))))
            path.append((70.0, 0.0 + offset))
            return path

        def edges(p: list[tuple[float, float]]) -> list[Any]:
            q = [(x, 0.0, z) for x, z in p]
            out = [m.line(q[0], q[1])]
            for i in range(4):
                a, b, c = q[1 + 3 * i : 4 + 3 * i]
                out.append(m.arc(a, b, c))
                out.append(m.line(c, q[4 + 3 * i] if i < 3 else q[-1]))
            return out

        low, high = profile(-t / 2), profile(t / 2)
        ring = [*edges(low), m.line((low[-1][0], 0, low[-1][1]), (high[-1][0], 0, high[-1][1]))]
        ring += [*edges(high)[::-1], m.line((high[0][0], 0, high[0][1]), (low[0][0], 0, low[0][1]))]
        from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
        from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
        from OCP.gp import gp_Vec

        return BRepPrimAPI_MakePrism(BRepBuilderAPI_MakeFace(m.wire(ring)).Face(), gp_Vec(0, length, 0)).Shape()

    @staticmethod
    def hat_area(length: float = 120.0) -> float:
        r = 4.0
        return length * (2 * (15 - r) + 2 * (20 - 2 * r) + (40 - 2 * r) + 4 * r * math.pi / 2)

    def bracket(self, t: float = 3.0) -> Any:
        """L-bracket 40 x 30 x 25 with sharp corners inside and out."""
        m = self.m
        p = [(0, 0, 0), (40, 0, 0), (40, 0, t), (t, 0, t), (t, 0, 30), (0, 0, 30)]
        from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
        from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
        from OCP.gp import gp_Vec

        ring = m.wire([m.line(a, b) for a, b in zip(p, p[1:] + p[:1], strict=True)])
        return BRepPrimAPI_MakePrism(BRepBuilderAPI_MakeFace(ring).Face(), gp_Vec(0, 25, 0)).Shape()

    def dome(self) -> Any:
        """Spherical cap of radius 60 and half angle 40 degrees, 0.8 mm thick outside to 59.2, one hole of 12 mm along z at (15, 0)."""
        from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
        from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
        from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeRevol
        from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pnt

        m, a = self.m, math.radians(40)

        def at(r: float, angle: float) -> tuple[float, float, float]:
            return (r * math.sin(angle), 0.0, r * math.cos(angle))

        ring = m.wire([
            m.arc(at(60, 0), at(60, a / 2), at(60, a)), m.line(at(60, a), at(59.2, a)),
            m.arc(at(59.2, a), at(59.2, a / 2), at(59.2, 0)), m.line(at(59.2, 0), at(60, 0)),
        ])  # fmt: skip
        cap = BRepPrimAPI_MakeRevol(BRepBuilderAPI_MakeFace(ring).Face(), gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))).Shape()
        drill = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(15, 0, 0), gp_Dir(0, 0, 1)), 6, 100).Shape()
        return BRepAlgoAPI_Cut(cap, drill).Shape()

    def box(self, x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> Any:
        from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
        from OCP.gp import gp_Pnt

        return BRepPrimAPI_MakeBox(gp_Pnt(*at), x, y, z).Shape()

    def sphere(self, r: float) -> Any:
        from OCP.BRepPrimAPI import BRepPrimAPI_MakeSphere

        return BRepPrimAPI_MakeSphere(r).Shape()

    def together(self, *shapes: Any) -> Any:
        from diewright.part.cad import compound

        return compound(list(shapes))

    def step(self, name: str, shape: Any, unit: str = "MM") -> Path:
        from OCP.Interface import Interface_Static
        from OCP.STEPControl import STEPControl_AsIs, STEPControl_Controller, STEPControl_Writer

        path = self.folder / name
        if not path.exists():
            STEPControl_Controller.Init_s()
            Interface_Static.SetCVal_s("write.step.unit", unit)
            writer = STEPControl_Writer()
            writer.Transfer(shape, STEPControl_AsIs)
            writer.Write(str(path))
            Interface_Static.SetCVal_s("write.step.unit", "MM")
        return path

    def iges(self, name: str, shape: Any, unit: str = "MM", faces_only: bool = True) -> Path:
        from OCP.IGESControl import IGESControl_Controller, IGESControl_Writer

        path = self.folder / name
        if not path.exists():
            IGESControl_Controller.Init_s()
            writer = IGESControl_Writer(unit, 0 if faces_only else 1)
            writer.AddShape(shape)
            writer.ComputeModel()
            writer.Write(str(path), False)
        return path

    def stl(self, name: str, shape: Any, deflection: float = 0.02, text: bool = False) -> Path:
        from OCP.BRepMesh import BRepMesh_IncrementalMesh
        from OCP.StlAPI import StlAPI_Writer

        path = self.folder / name
        if not path.exists():
            BRepMesh_IncrementalMesh(shape, deflection, False, 0.15, False)
            writer = StlAPI_Writer()
            writer.ASCIIMode = text
            writer.Write(shape, str(path))
        return path


def binary_stl(path: Path, corners: np.ndarray, claimed: int | None = None) -> Path:
    """Write ``(m, 3, 3)`` corners as a binary STL that claims ``claimed`` triangles."""
    corners = np.asarray(corners, dtype="<f4")
    record = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    record["c"] = corners
    count = len(corners) if claimed is None else claimed
    path.write_bytes(b"\x00" * 80 + int(count).to_bytes(4, "little") + record.tobytes())
    return path


def grid(n: int = 6, size: float = 30.0, height: float = 0.0) -> np.ndarray:
    """Corners of a flat square of ``2 n^2`` triangles, ``(m, 3, 3)``."""
    x = np.linspace(0, size, n + 1)
    out = []
    for i in range(n):
        for j in range(n):
            a, b, c, d = ((x[i], x[j]), (x[i + 1], x[j]), (x[i + 1], x[j + 1]), (x[i], x[j + 1]))
            out += [[(*a, height), (*b, height), (*c, height)], [(*a, height), (*c, height), (*d, height)]]
    return np.array(out)


@pytest.fixture(scope="session")
def write_stl() -> Any:
    return binary_stl


@pytest.fixture(scope="session")
def flat_grid() -> Any:
    return grid
