"""The process that draws the 3-D pictures; it knows nothing of jobs and stands apart because a broken OpenGL kills its process.

It is run as ``python render.py FOLDER``. ``FOLDER/request.json`` lists pictures, ``FOLDER/arrays.npz`` holds their arrays; each picture becomes
``FOLDER/<name>.png`` (by rename, so that what is there is whole) and a line ``drawn <name>`` on standard output.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np

INK = (0.11, 0.14, 0.19)
STEEL = (0.80, 0.81, 0.82)


def draw(picture: dict[str, Any], arrays: Any, folder: Path) -> None:
    """Draw one picture off the screen and keep it as PNG."""
    import pyvista as pv

    points, triangles = arrays[picture["points"]], arrays[picture["triangles"]]
    faces = np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
    mesh = pv.PolyData(points, faces)
    plotter = pv.Plotter(off_screen=True, window_size=picture["pixels"], lighting="none")
    try:
        plotter.set_background("white")
        for direction, strength in ((picture["light"], 0.62), (picture["fill"], 0.30)):
            lamp = pv.Light(position=direction, focal_point=(0, 0, 0), intensity=strength, light_type="scene light")
            lamp.positional = False
            plotter.add_light(lamp)
        common: dict[str, Any] = {"ambient": 0.42, "diffuse": 0.62, "specular": 0.0, "show_scalar_bar": False, "smooth_shading": False}
        cells = bool(picture["field"]) and len(arrays[picture["field"]]) == len(triangles)
        if picture["field"] and cells:
            mesh.cell_data["field"] = arrays[picture["field"]]
        elif picture["field"]:
            mesh.point_data["field"] = arrays[picture["field"]]
        smooth = mesh.compute_normals(cell_normals=False, split_vertices=True, feature_angle=32.0, auto_orient_normals=False, consistent_normals=False)
        if picture["field"]:
            plotter.add_mesh(smooth, scalars="field", cmap=picture["colours"], clim=picture["range"], interpolate_before_map=True, **common)
            if picture["levels"] and not cells:
                lines = mesh.contour(picture["levels"], scalars="field")
                if lines.n_points:
                    plotter.add_mesh(lines, color=INK, opacity=0.55, line_width=1.3, lighting=False, show_scalar_bar=False)
        else:
            plotter.add_mesh(smooth, color=STEEL, **common)
        segments = arrays[picture["edges"]] if picture["edges"] else np.zeros((0, 2, 3))
        if len(segments):
            ends = segments.reshape(-1, 3) + np.asarray(picture["towards"]) * picture["lift"]
            links = np.column_stack([np.full(len(segments), 2), np.arange(2 * len(segments)).reshape(-1, 2)]).ravel()
            plotter.add_mesh(pv.PolyData(ends, lines=links), color=INK, line_width=1.8, lighting=False)
        camera = plotter.camera
        camera.parallel_projection = True
        camera.focal_point = picture["centre"]
        camera.position = (np.asarray(picture["centre"]) + np.asarray(picture["towards"]) * picture["distance"]).tolist()
        camera.up = picture["up"]
        camera.parallel_scale = picture["half_height"]
        plotter.reset_camera_clipping_range()
        plotter.enable_anti_aliasing("msaa", multi_samples=8)
        image = plotter.screenshot(None, return_img=True)
    finally:
        plotter.close()
    from PIL import Image

    temporary = folder / f".{picture['name']}.png"
    Image.fromarray(image[..., :3]).save(temporary, compress_level=6)
    os.replace(temporary, folder / f"{picture['name']}.png")


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
