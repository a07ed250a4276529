"""The process that draws the 3-D pictures; it knows nothing of jobs and stands apart because a broken OpenGL kills its process.

It is run as ``python render.py FOLDER``. ``FOLDER/request.json`` lists pictures, ``FOLDER/arrays.npz`` holds their arrays; each picture becomes
``FOLDER/<name>.png`` (by rename, so that what is there is whole) and a line ``drawn <name>`` on standard output. Plain VTK modules: they load in
a quarter of the time of a plotting library.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np
import vtkmodules.vtkRenderingOpenGL2  # noqa: F401 - registers the OpenGL implementations
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
from vtkmodules.vtkCommonCore import vtkLookupTable, vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
from vtkmodules.vtkFiltersCore import vtkContourFilter, vtkPolyDataNormals
from vtkmodules.vtkIOImage import vtkPNGWriter
from vtkmodules.vtkRenderingCore import vtkActor, vtkLight, vtkPolyDataMapper, vtkRenderer, vtkRenderWindow, vtkWindowToImageFilter

INK = (0.11, 0.14, 0.19)
STEEL = (0.80, 0.81, 0.82)
SHARP = 32.0  # an edge sharper than this [deg] is shaded as an edge


def poly_data(points: np.ndarray, cells: np.ndarray, lines: bool = False) -> vtkPolyData:
    """Triangles ``(m, 3)`` or segments ``(m, 2)`` over points ``(n, 3)``."""
    data, spots, array = vtkPolyData(), vtkPoints(), vtkCellArray()
    spots.SetData(numpy_to_vtk(np.ascontiguousarray(points, dtype=np.float32), deep=True))
    array.SetData(
        numpy_to_vtkIdTypeArray(np.arange(0, cells.size + 1, cells.shape[1], dtype=np.int64), deep=True),
        numpy_to_vtkIdTypeArray(np.ascontiguousarray(cells, dtype=np.int64).ravel(), deep=True),
    )
    data.SetPoints(spots)
    (data.SetLines if lines else data.SetPolys)(array)
    return data


def line_actor(source: Any, width: float, opacity: float = 1.0) -> vtkActor:
    """Thin unlit lines."""
    mapper, actor = vtkPolyDataMapper(), vtkActor()
    mapper.SetInputData(source)
    mapper.ScalarVisibilityOff()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*INK)
    look.SetLineWidth(width)
    look.SetOpacity(opacity)
    look.LightingOff()
    return actor


def skin_actor(picture: dict[str, Any], data: vtkPolyData) -> vtkActor:
    """The skin in matt grey or in the colours of its field, under soft light."""
    normals = vtkPolyDataNormals()
    normals.SetInputData(data)
    normals.SetFeatureAngle(SHARP)
    normals.SplittingOn()
    normals.ConsistencyOff()
    normals.AutoOrientNormalsOff()
    mapper, actor = vtkPolyDataMapper(), vtkActor()
    mapper.SetInputConnection(normals.GetOutputPort())
    look = actor.GetProperty()
    if picture["field"]:
        table = vtkLookupTable()
        table.SetNumberOfTableValues(len(picture["colours"]))
        for i, colour in enumerate(picture["colours"]):
            table.SetTableValue(i, [*(int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)), 1.0])
        table.SetTableRange(*picture["range"])
        mapper.SetLookupTable(table)
        mapper.SetScalarRange(*picture["range"])
        mapper.InterpolateScalarsBeforeMappingOn()
    else:
        mapper.ScalarVisibilityOff()
        look.SetColor(*STEEL)
    look.SetInterpolationToGouraud()
    look.SetAmbient(0.42)
    look.SetDiffuse(0.62)
    look.SetSpecular(0.0)
    actor.SetMapper(mapper)
    return actor


def draw(picture: dict[str, Any], arrays: Any, folder: Path) -> None:
    """Draw one picture off the screen and keep it as PNG."""
    renderer, window = vtkRenderer(), vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(8)
    window.SetSize(*picture["pixels"])
    window.AddRenderer(renderer)
    renderer.SetBackground(1.0, 1.0, 1.0)
    renderer.AutomaticLightCreationOff()
    for direction, strength in ((picture["light"], 0.62), (picture["fill"], 0.30)):
        lamp = vtkLight()
        lamp.SetLightTypeToSceneLight()
        lamp.PositionalOff()
        lamp.SetPosition(*direction)
        lamp.SetFocalPoint(0.0, 0.0, 0.0)
        lamp.SetIntensity(strength)
        renderer.AddLight(lamp)
    data = poly_data(arrays[picture["points"]], arrays[picture["triangles"]])
    if picture["field"]:
        data.GetPointData().SetScalars(numpy_to_vtk(np.ascontiguousarray(arrays[picture["field"]], dtype=np.float64), deep=True))
    renderer.AddActor(skin_actor(picture, data))
    towards = (
        np.asarray(picture["towards"]) * picture["lift"]
    )  # lines stand a hair in front of the skin: moved along the view they keep their place
    if picture["field"] and picture["levels"]:
        cut = vtkContourFilter()
        cut.SetInputData(data)
        for i, level in enumerate(picture["levels"]):
            cut.SetValue(i, level)
        renderer.AddActor(line_actor_moved(cut, towards))
    if picture["edges"]:
        segments = arrays[picture["edges"]]
        links = np.arange(2 * len(segments)).reshape(-1, 2)
        renderer.AddActor(line_actor(poly_data(segments.reshape(-1, 3) + towards, links, lines=True), 1.8))
    camera, centre = renderer.GetActiveCamera(), np.asarray(picture["centre"])
    camera.ParallelProjectionOn()
    camera.SetFocalPoint(*centre)
    camera.SetPosition(*(centre + np.asarray(picture["towards"]) * picture["distance"]))
    camera.SetViewUp(*picture["up"])
    camera.SetParallelScale(picture["half_height"])
    renderer.ResetCameraClippingRange()
    window.Render()
    keep(window, folder, picture["name"])


def line_actor_moved(cut: vtkContourFilter, towards: np.ndarray) -> vtkActor:
    """Contour lines, fainter than edges."""
    cut.ComputeScalarsOff()
    cut.Update()
    actor = line_actor(cut.GetOutput(), 1.2, 0.5)
    actor.SetPosition(*towards)
    return actor


def keep(window: vtkRenderWindow, folder: Path, name: str) -> None:
    """Write the window's picture under its name, whole or not at all."""
    grab, writer = vtkWindowToImageFilter(), vtkPNGWriter()
    grab.SetInput(window)
    grab.SetInputBufferTypeToRGB()
    grab.ReadFrontBufferOff()
    grab.ShouldRerenderOff()
    temporary = folder / f".{name}.png"
    writer.SetInputConnection(grab.GetOutputPort())
    writer.SetFileName(str(temporary))
    writer.SetCompressionLevel(3)
    writer.Write()
    os.replace(temporary, folder / f"{name}.png")


def main(folder: Path) -> None:
    """Draw every picture of the request."""
    pictures = json.loads((folder / "request.json").read_text())
    with np.load(folder / "arrays.npz", allow_pickle=False) as arrays:
        for picture in pictures:
            draw(picture, arrays, folder)
            sys.stdout.write(f"drawn {picture['name']}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
