"""A series of frames: what it refuses, that it comes back from the store, and that VTK's own reader sees every instant."""

from pathlib import Path

import h5py
import numpy as np
import pytest
from toys import square

from diewright.errors import InputError
from diewright.job import formats
from diewright.job.series import FieldSeries
from diewright.job.stage import Result
from diewright.job.store import Store

STEPS = 5


def moving(kind=np.float64) -> FieldSeries:
    """A square of two triangles that is lifted by 1.5 mm an instant; each field names its instant and place."""
    flat = square().points
    lift = np.arange(STEPS)[:, None, None] * np.array([0.0, 0.0, 1.5])
    return FieldSeries(
        times=np.arange(STEPS) * 0.25,
        points=(flat[None] + lift).astype(kind),
        triangles=square().triangles,
        point={"height": 10.0 * np.arange(STEPS)[:, None] + np.arange(4)},
        cell={"thickness": 100.0 * np.arange(STEPS)[:, None] + np.arange(2)},
    )


def same(a: FieldSeries, b: FieldSeries) -> None:
    np.testing.assert_array_equal(a.times, b.times)
    np.testing.assert_array_equal(a.points, b.points)
    np.testing.assert_array_equal(a.triangles, b.triangles)
    assert a.points.dtype == b.points.dtype
    for x, y in ((a.point, b.point), (a.cell, b.cell)):
        assert x.keys() == y.keys()
        for name in x:
            np.testing.assert_array_equal(x[name], y[name])


@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_a_series_is_read_back_as_it_was(tmp_path: Path, kind) -> None:
    formats.write_series(tmp_path / "s.vtkhdf", moving(kind))
    same(formats.read_series(tmp_path / "s.vtkhdf"), moving(kind))


def test_fields_are_single_precision_packed_and_chunked_by_instant(tmp_path: Path) -> None:
    formats.write_series(tmp_path / "s.vtkhdf", moving())
    with h5py.File(tmp_path / "s.vtkhdf") as file:
        data = file["VTKHDF/CellData/thickness"]
        assert data.dtype == np.float32
        assert data.chunks == (2,)
        assert data.compression == "gzip"
        assert file["VTKHDF/Points"].chunks == (4, 3)
        assert file["VTKHDF/Connectivity"].shape == (6,)  # the triangles once, not once an instant


def test_vtk_reads_every_instant(tmp_path: Path) -> None:
    vtk = pytest.importorskip("vtkmodules.vtkIOHDF")
    from vtkmodules.util.numpy_support import vtk_to_numpy

    series = moving()
    formats.write_series(tmp_path / "s.vtkhdf", series)
    reader = vtk.vtkHDFReader()
    reader.SetFileName(str(tmp_path / "s.vtkhdf"))
    reader.UpdateInformation()
    assert reader.GetNumberOfSteps() == STEPS
    for step in (*range(STEPS), 1):  # and back again: the reader must not lean on the order
        reader.SetStep(step)
        reader.Update()
        grid = reader.GetOutputDataObject(0)
        assert reader.GetTimeValue() == series.times[step]
        np.testing.assert_array_equal(vtk_to_numpy(grid.GetPoints().GetData()), series.points[step])
        assert grid.GetNumberOfCells() == 2
        assert [grid.GetCell(1).GetPointId(i) for i in range(3)] == series.triangles[1].tolist()
        np.testing.assert_array_equal(vtk_to_numpy(grid.GetPointData().GetArray("height")), series.point["height"][step])
        np.testing.assert_array_equal(vtk_to_numpy(grid.GetCellData().GetArray("thickness")), series.cell["thickness"][step])


def test_one_frame_is_a_mesh_with_its_fields() -> None:
    last = moving().frame(-1)
    assert last.mesh.points[:, 2].tolist() == [6.0] * 4
    assert last.point["height"].tolist() == [40.0, 41.0, 42.0, 43.0]
    assert last.cell["thickness"].tolist() == [400.0, 401.0]


def test_the_arrays_cannot_be_changed_and_are_not_those_of_the_caller() -> None:
    points = np.array(moving().points)
    series = FieldSeries(moving().times, points, square().triangles)
    points[:] = 7.0
    assert series.points.max() == 6.0
    for array in (series.points, series.times, series.triangles, moving().point["height"]):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"times": np.arange(4.0)}, "4 instants and positions for 5"),
        ({"times": np.array([])}, "0 instants"),
        ({"times": np.array([0, 1, 0.5, 2, 3])}, "do not follow each other"),
        ({"times": np.array([0, 1, np.nan, 2, 3])}, "not a finite number"),
        ({"points": np.full((STEPS, 4, 3), np.inf)}, "not a finite number"),
        ({"points": np.zeros((STEPS, 4, 2))}, "(instants, points, 3) is wanted"),
        ({"triangles": np.array([[0, 1, 4]])}, "names a point that does not exist"),
        ({"point": {"height": np.zeros((STEPS, 3))}}, "Point field height"),
        ({"cell": {"thickness": np.zeros((2, STEPS))}}, "Cell field thickness"),
    ],
)
def test_arrays_that_do_not_fit_are_refused(change, said) -> None:
    whole = moving()
    given = {"times": whole.times, "points": whole.points, "triangles": whole.triangles, "point": whole.point, "cell": whole.cell}
    with pytest.raises(InputError) as refused:
        FieldSeries(**{**given, **change})
    assert said in refused.value.sentence


def test_a_field_may_have_gaps(tmp_path: Path) -> None:
    series = FieldSeries(np.zeros(1), square().points[None], square().triangles, cell={"margin_pct": np.array([[np.nan, 1.0]])})
    formats.write_series(tmp_path / "s.vtkhdf", series)
    same(formats.read_series(tmp_path / "s.vtkhdf"), series)


def test_the_store_keeps_a_series_and_a_damaged_one_is_a_miss(tmp_path: Path) -> None:
    entry = Store(tmp_path).put("first", "abc", {}, Result(values={"a": 1}, series={"sheet": moving()}))
    found = Store(tmp_path).get("first", "abc")
    assert found is not None
    assert list(found.series) == ["sheet"]
    assert found.meshes == {}
    same(found.series["sheet"], moving())
    path = entry.folder / "series" / "sheet.vtkhdf"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(data)
    assert Store(tmp_path).get("first", "abc") is None
    assert not entry.folder.exists()
