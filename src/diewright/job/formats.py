"""Arrays in open formats: meshes as VTKHDF (any VTK viewer opens them), tables as CSV, the rest as HDF5."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import h5py
import numpy as np

from diewright.geometry.mesh import FieldMesh, TriMesh

VTK_TRIANGLE = 5


def write_mesh(path: Path, fields: FieldMesh) -> None:
    """Write a triangle mesh with its fields as a VTKHDF UnstructuredGrid (format version 2.0)."""
    mesh = fields.mesh
    with h5py.File(path, "w") as file:
        root = file.create_group("VTKHDF", track_order=True)
        root.attrs["Version"] = np.array([2, 0], dtype="i8")
        root.attrs.create("Type", b"UnstructuredGrid", dtype=h5py.string_dtype("ascii", len(b"UnstructuredGrid")))
        root["NumberOfPoints"] = np.array([len(mesh.points)], dtype="i8")
        root["NumberOfCells"] = np.array([len(mesh.triangles)], dtype="i8")
        root["NumberOfConnectivityIds"] = np.array([mesh.triangles.size], dtype="i8")
        root["Points"] = mesh.points
        root["Connectivity"] = mesh.triangles.ravel().astype("i8")
        root["Offsets"] = np.arange(0, mesh.triangles.size + 1, 3, dtype="i8")
        root["Types"] = np.full(len(mesh.triangles), VTK_TRIANGLE, dtype="u1")
        for name, data in (("PointData", fields.point), ("CellData", fields.cell)):
            group = root.create_group(name)
            for key, array in data.items():
                group[key] = array


def read_mesh(path: Path) -> FieldMesh:
    """Read what :func:`write_mesh` wrote; the arrays are read-only."""
    with h5py.File(path, "r") as file:
        root = file["VTKHDF"]
        mesh = TriMesh(root["Points"][:], root["Connectivity"][:].reshape(-1, 3).astype(np.int32))
        point = {k: _readonly(v[:]) for k, v in root["PointData"].items()}
        cell = {k: _readonly(v[:]) for k, v in root["CellData"].items()}
    return FieldMesh(mesh, point, cell)


def write_arrays(path: Path, arrays: dict[str, np.ndarray]) -> None:
    """Write named arrays as HDF5 datasets."""
    with h5py.File(path, "w") as file:
        for name, array in arrays.items():
            file[name] = array


def read_arrays(path: Path) -> dict[str, np.ndarray]:
    """Read what :func:`write_arrays` wrote; the arrays are read-only."""
    with h5py.File(path, "r") as file:
        return {name: _readonly(np.asarray(data[()])) for name, data in file.items()}


def table_text(table: dict[str, np.ndarray]) -> str:
    """A table as CSV text; floats keep every digit."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table)
    columns = [[repr(v) if isinstance(v, float) else v for v in np.asarray(column).tolist()] for column in table.values()]
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def table_of(text: str) -> dict[str, np.ndarray]:
    """Read what :func:`table_text` wrote: numbers as float64, anything else as text."""
    rows = list(csv.reader(io.StringIO(text)))
    table: dict[str, np.ndarray] = {}
    for i, name in enumerate(rows[0]):
        column = [row[i] for row in rows[1:]]
        try:
            table[name] = _readonly(np.array([float(v) for v in column]))
        except ValueError:
            table[name] = _readonly(np.array(column))
    return table


def _readonly(array: np.ndarray) -> np.ndarray:
    array.flags.writeable = False
    return array
