"""A job for the page Finish: a channel by formula, on which the stages ``surface`` and ``finish`` really work."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "finish"))
sys.path.insert(0, str(Path(__file__).parent))
from finish_pages import _none, _rack, _stage, work_plating
from finish_parts import channel, faces_of, upstream

from diewright.desk import Desk
from diewright.finish.stage import STAGE as FINISH
from diewright.finish.surface import STAGE as SURFACE
from diewright.geometry import FieldMesh
from diewright.job import file as job_file
from diewright.job.graph import Graph
from diewright.job.stage import Result

WIDTH, DEPTH, FLANGE, LENGTH = 60.0, 30.0, 40.0, 120.0
MESH = channel(WIDTH, DEPTH, FLANGE, LENGTH, 6.0)
BEFORE = upstream(MESH, strain=0.2)
BOTTOM, WALLS, FLANGES = 1, 2, 3
READINGS = "place,method,um,layer\nS1,coulometric,40,nickel\nS2,coulometric,20.5,nickel\nS3,xrf,10,nickel\nS1,coulometric,0.5,chromium\n"
BOOK = "date,bath,Ah,m2,nickel_kg,brightener_L,chromic_kg\n2026-10-01,nickel,100000,800,0,0,\n2026-10-02,chromium,90000,800,,,500\n"


def work_part(inputs, upstream, files, watch):
    return Result(values={**BEFORE["part"].values, "holes": [], "skin": "middle"}, meshes={"part": FieldMesh(MESH)})


def work_tipping(inputs, upstream, files, watch):
    return Result(values={"direction": [0.0, 0.0, -1.0]}, meshes={"part": FieldMesh(MESH, cell={"face": faces_of(MESH).astype(np.int32)})})


def work_shape(inputs, upstream, files, watch):
    return BEFORE["shape"]


def work_sheet(inputs, upstream, files, watch):
    return BEFORE["sheet"]


def work_solution(inputs, upstream, files, watch):
    return BEFORE["solution"]


GRAPH = Graph([
    _stage("part", "Part", (), _none, work_part), _stage("tipping", "Tipping", ("part",), _none, work_tipping), _stage("shape", "Draw shape", ("tipping",), _none, work_shape),
    _stage("sheet", "Sheet", (), _none, work_sheet), _stage("solution", "Solution", ("shape", "sheet"), _none, work_solution), SURFACE, FINISH,
    _stage("plating", "Plating", ("tipping", "surface"), _rack, work_plating, slow=True),
])  # fmt: skip


def finish_job(folder: Path, *, records: bool = False, worked: bool = True, **finish) -> Path:
    """The job folder, worked; with ``records`` it has readings and a baths' book."""
    job = folder / "channel"
    job.mkdir(parents=True)
    if records:
        (job / "r.csv").write_text(READINGS, encoding="utf-8")
        (job / "b.csv").write_text(BOOK, encoding="utf-8")
        finish |= {"readings_file": "r.csv", "bath_log_file": "b.csv"}
    stated = {"job": {"title": "Channel by formula", "number": "T-50"}, "sheet": {"thickness": 1.0}, "finish": {"side": "upper", **finish}}
    (job / "job.toml").write_text(job_file.text_of(stated), encoding="utf-8")
    if worked:
        Desk(job, GRAPH).work("finish")
    return job
