"""Arrays in open formats: meshes as VTKHDF (any VTK viewer opens them), tables as CSV, the rest as HDF5."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import h5py
import numpy as np

from diewright.errors import InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.series import FieldSeries

VTK_TRIANGLE = 5


def write_mesh(path: Path, fields: FieldMesh) -> None:
    """Write a triangle mesh with its fields as a VTKHDF UnstructuredGrid (format version 2.0)."""
    mesh = fields.mesh
    with h5py.File(path, "w") as file:
        root = _grid(file, len(mesh.points), mesh.triangles)
        root["Points"] = mesh.points
        for name, data in (("PointData", fields.point), ("CellData", fields.cell)):
            group = root.create_group(name)
            for key, array in data.items():
                group[key] = array


def _grid(file: h5py.File, points: int, triangles: np.ndarray) -> h5py.Group:
    """The root group of an UnstructuredGrid of triangles, without positions and fields."""
    root = file.create_group("VTKHDF", track_order=True)
    root.attrs["Version"] = np.array([2, 0], dtype="i8")
    root.attrs.create("Type", b"UnstructuredGrid", dtype=h5py.string_dtype("ascii", len(b"UnstructuredGrid")))
    root["NumberOfPoints"] = np.array([points], dtype="i8")
    root["NumberOfCells"] = np.array([len(triangles)], dtype="i8")
    root["NumberOfConnectivityIds"] = np.array([triangles.size], dtype="i8")
    root["Connectivity"] = triangles.ravel().astype("i8")
    root["Offsets"] = np.arange(0, triangles.size + 1, 3, dtype="i8")
    root["Types"] = np.full(len(triangles), VTK_TRIANGLE, dtype="u1")
    return root


def read_mesh(path: Path) -> FieldMesh:
    """Read what :func:`write_mesh` wrote; the arrays are read-only."""
    with h5py.File(path, "r") as file:
        root = file["VTKHDF"]
        mesh = TriMesh(root["Points"][:], root["Connectivity"][:].reshape(-1, 3).astype(np.int32))
        point = {k: _readonly(v[:]) for k, v in root["PointData"].items()}
        cell = {k: _readonly(v[:]) for k, v in root["CellData"].items()}
    return FieldMesh(mesh, point, cell)


def write_series(path: Path, series: FieldSeries) -> None:
    """Write a series as a VTKHDF UnstructuredGrid over time: the triangles once, positions and fields instant by instant.

    The instants of an array stand one after the other in one dataset, a chunk each, and ``Steps`` holds where each begins.
    """
    steps, n, m = len(series), series.points.shape[1], len(series.triangles)
    with h5py.File(path, "w") as file:
        root = _grid(file, n, series.triangles)
        time = root.create_group("Steps")
        time.attrs["NSteps"] = np.int64(steps)
        time["Values"] = series.times
        time["NumberOfParts"] = np.ones(steps, dtype="i8")
        nought = np.zeros((steps, 1), dtype="i8")
        time["PartOffsets"] = nought[:, 0]
        time["CellOffsets"] = nought
        time["ConnectivityIdOffsets"] = nought
        time["PointOffsets"] = np.arange(steps, dtype="i8") * n
        _packed(root, "Points", series.points.reshape(-1, 3), n)
        for name, data, size in (("Point", series.point, n), ("Cell", series.cell, m)):
            group, offsets = root.create_group(f"{name}Data"), time.create_group(f"{name}DataOffsets")
            for key, array in data.items():
                _packed(group, key, array.ravel(), size)
                offsets[key] = np.arange(steps, dtype="i8") * size


def _packed(group: h5py.Group, name: str, array: np.ndarray, chunk: int) -> None:
    if array.size:
        group.create_dataset(name, data=array, chunks=(chunk, *array.shape[1:]), compression="gzip", compression_opts=1, shuffle=True)
    else:
        group[name] = array


def read_series(path: Path) -> FieldSeries:
    """Read what :func:`write_series` wrote; the arrays are read-only. Raises KeyError, OSError or ValueError if it is not such a file."""
    with h5py.File(path, "r") as file:
        root = file["VTKHDF"]
        times = root["Steps/Values"][:]
        shape = (len(times), -1)
        triangles = root["Connectivity"][:].reshape(-1, 3)
        points = root["Points"][:].reshape(len(times), int(root["NumberOfPoints"][0]), 3)
        point = {k: v[:].reshape(shape) for k, v in root["PointData"].items()}
        cell = {k: v[:].reshape(shape) for k, v in root["CellData"].items()}
    try:
        return FieldSeries(times, points, triangles, point, cell)
    except InputError as error:
        raise ValueError(error.what) from None


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
