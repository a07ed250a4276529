"""The stages ``part`` and ``tipping`` on the example jobs: every name of the contract, and figures that are known otherwise."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from diewright.errors import InputError
from diewright.job.schema import Job, parse
from diewright.job.stage import InputFile, Result, canonical
from diewright.part.stage import STAGE, TIPPING, in_part_coordinates
from diewright.watch import Watch

EXAMPLES = Path(__file__).resolve().parents[2] / "src" / "diewright" / "examples"


def job_of(name: str, **part: Any) -> Job:
    data = tomllib.loads((EXAMPLES / name / "job.toml").read_text())
    data["part"].update(part)
    return parse(data)


def work(name: str, **part: Any) -> tuple[Result, Result]:
    job = job_of(name, **part)
    files = {key: InputFile.of(EXAMPLES / name, file, key) for key, file in STAGE.files(job).items()}
    first = STAGE.work(STAGE.inputs(job), {}, files, Watch())
    return first, TIPPING.work(TIPPING.inputs(job), {"part": first}, {}, Watch())


@pytest.fixture(scope="module")
def fascia() -> tuple[Result, Result]:
    return work("fascia")


@pytest.fixture(scope="module")
def cup() -> tuple[Result, Result]:
    return work("cup")


def test_fascia_part(fascia: tuple[Result, Result]) -> None:
    v = fascia[0].values
    assert (v["format"], v["unit"], v["unit_source"], v["kind"], v["bodies"], v["faces"]) == ("step", "mm", "file", "solid sheet", 1, 66)
    assert v["thickness_found"] == pytest.approx(0.8, abs=1e-3)
    assert 8_000 < v["mesh"]["triangles"] < 20_000
    assert v["mesh"]["quality_min"] > 0.3
    round_ones = sorted(h["diameter"] for h in v["holes"] if h["round"])
    assert round_ones == pytest.approx([8.0, 54.0], abs=2e-3)
    assert sum(not h["round"] for h in v["holes"]) == 1
    # the volume of the CAD solid over its thickness is the area of the middle (the script prints 58109 mm3)
    assert fascia[0].meshes["part"].mesh.area == pytest.approx(58_109 / 0.8, rel=1e-3)
    assert not [f for f in fascia[0].findings if f.severity != "note"]


def test_fascia_tipping(fascia: tuple[Result, Result]) -> None:
    part, tip = fascia
    v = tip.values
    assert v["direction"] == pytest.approx([0, 0, 1], abs=1e-6)
    assert v["chosen"] == "auto"
    assert v["undercut_area"] == 0.0
    assert v["draft_min_deg"] == pytest.approx(7.0, abs=1e-3)
    assert v["depth"] == pytest.approx(40.0, abs=0.01)
    assert v["radius_convex_min"] == pytest.approx(6.4, abs=1e-3)
    # the solid's crown radius of 9 less half the thickness where it rolls along the straight walls
    assert v["radius_concave_min"] == pytest.approx(8.6, abs=0.05)
    assert v["mass_kg"] == pytest.approx(58_109 * 7.85e-6, rel=2e-3)
    assert not v["round"]["is_round"]
    assert not [f for f in tip.findings if f.severity != "note"]
    mesh = tip.meshes["part"]
    assert mesh.mesh.doubled_normals.sum(axis=0)[2] > 0
    assert in_part_coordinates(mesh.mesh, v) == pytest.approx(part.meshes["part"].mesh.points, abs=1e-9)
    assert set(mesh.point) >= {"depth", "radius"}
    assert set(mesh.cell) >= {"draft_deg", "undercut", "face"}
    assert mesh.point["depth"].min() == pytest.approx(0.0, abs=1e-9)
    assert {f"hole_{h['id']}" for h in v["holes"]} < set(tip.arrays)


def test_cup_is_round_with_the_handbooks_blank(cup: tuple[Result, Result]) -> None:
    v = cup[1].values
    d, h, r = 60.0, 94.5, 6.0
    blank = math.sqrt(d**2 + 4 * d * h - (8 - 2 * math.pi) * d * r - (4 * math.pi - 12) * r**2)
    assert v["round"]["is_round"]
    assert v["round"]["diameter"] == pytest.approx(d, abs=1e-3)
    assert v["draw_ratio"] == pytest.approx(blank / d, rel=1e-3)
    assert v["undercut_area"] == 0.0
    assert v["radius_concave_min"] == pytest.approx(6.0, abs=1e-6)
    assert v["radius_convex_min"] is None
    assert [f.key for f in cup[1].findings] == ["tipping.draft"]


def test_contract_names_and_json(fascia: tuple[Result, Result]) -> None:
    part, tip = fascia
    json.dumps(part.values, allow_nan=False)
    json.dumps(tip.values, allow_nan=False)
    assert {"format", "unit", "unit_source", "kind", "skin", "thickness_found", "bodies", "faces", "bbox", "audit", "holes", "mesh"} <= set(
        part.values
    )
    assert {
        "direction", "rotation", "shift", "chosen", "candidates", "depth", "plan_bbox", "developed_area", "undercut_area", "undercut_regions",
        "draft_min_deg", "radius_concave_min", "radius_convex_min", "volume", "mass_kg", "round", "draw_ratio",
    } <= set(tip.values)  # fmt: skip
    for entry in part.values["audit"]:
        assert set(entry) == {"what", "severity", "count", "where"}
    assert part.arrays["feature_edges"].shape[1:] == (2, 3)
    edges = np.asarray(tip.arrays["feature_edges"]) - tip.values["shift"]
    assert edges @ np.array(tip.values["rotation"]) == pytest.approx(part.arrays["feature_edges"], abs=1e-9)


def test_stated_direction_is_measured_again(cup: tuple[Result, Result]) -> None:
    job = job_of("cup", press_direction=[0.0, 0.5, -1.0])
    tip = TIPPING.work(TIPPING.inputs(job), {"part": cup[0]}, {}, Watch())
    v = tip.values
    assert v["chosen"] == "stated"
    assert v["direction"] == pytest.approx(np.array([0, 0.5, -1]) / math.sqrt(1.25))
    assert v["undercut_area"] > 0.2 * v["developed_area"]
    assert v["draft_min_deg"] == pytest.approx(-math.degrees(math.atan(0.5)), abs=1.0)
    assert v["candidates"][0]["direction"] == pytest.approx([0, 0, -1], abs=1e-6)
    found = next(f for f in tip.findings if f.key == "tipping.undercut")
    assert found.severity == "stop"
    assert found.place.points


def test_thickness_that_differs_is_told(cup: tuple[Result, Result]) -> None:
    from diewright.part.findings import of_part

    fields = cup[0].meshes["part"]
    found = {f.key: f for f in of_part(cup[0].values, fields.mesh, np.ones(len(fields.mesh.triangles)), 0.8)}
    assert found["part.thickness"].severity == "attend"
    assert found["part.thickness"].value == pytest.approx(1.0, abs=1e-3)
    assert found["part.thickness"].limit == 0.8


def test_sharp_edges_and_poor_triangles_are_told(cup: tuple[Result, Result]) -> None:
    from diewright.job.findings import Place
    from diewright.part.findings import of_part, of_tipping

    fields = cup[0].meshes["part"]
    quality = np.ones(len(fields.mesh.triangles))
    quality[7] = 0.05
    keys = {f.key for f in of_part(cup[0].values, fields.mesh, quality, 1.0)}
    assert keys == {"part.mesh"}
    v = {**cup[1].values, "radius_concave_min": 0.0, "radius_convex_min": 0.7, "radius_convex_place": [0.0, 0.0, 0.0]}
    mesh = cup[1].meshes["part"].mesh
    found = {f.key: f for f in of_tipping(v, cup[0].values, mesh, np.zeros(len(mesh.triangles), dtype=bool), 1.0, Place)}
    assert "sharp concave edge" in found["tipping.radius_concave"].sentence
    assert found["tipping.radius_convex"].value == pytest.approx(0.2)


def test_keys_hold_only_what_decides() -> None:
    """A change of direction does not read the file again, unless the skin hangs on it."""
    assert canonical(STAGE.inputs(job_of("cup"))) == canonical(STAGE.inputs(job_of("cup", press_direction=[0, 0, -1])))
    upper = job_of("cup", skin="upper")
    turned = job_of("cup", skin="upper", press_direction=[0, 0, -1])
    assert canonical(STAGE.inputs(upper)) != canonical(STAGE.inputs(turned))
    assert canonical(TIPPING.inputs(job_of("cup"))) != canonical(TIPPING.inputs(turned))


def test_no_file_is_one_sentence() -> None:
    job = parse({})
    with pytest.raises(InputError, match="no CAD file is stated"):
        STAGE.work(STAGE.inputs(job), {}, STAGE.files(job), Watch())


def test_the_script_makes_the_shipped_files(maker: Any, tmp_path: Path) -> None:
    """The cup's STEP is what the script writes today, byte for byte but for numbers' last digits."""
    maker.write_step(maker.cup(), tmp_path / "cup.step", "deep cup")
    assert len((tmp_path / "cup.step").read_text()) == pytest.approx(len((EXAMPLES / "cup" / "cup.step").read_text()), rel=0.02)
    assert maker.volume(maker.cup()) == pytest.approx(20_139.36, abs=0.5)
    for name in ("fascia/fascia.step", "fascia/fascia_surface.step", "cup/cup.step", "panel/panel.step"):
        assert 1_000 < (EXAMPLES / name).stat().st_size < 1_500_000
