"""The stage on a flanged cup, a deep cup, a pan, a dome and a flat piece."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

from diewright.errors import Cancelled, InputError
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import InputFile, Result
from diewright.press.section import section_outline
from diewright.press.stage import STAGE
from diewright.watch import Watch

DOCS = Path(__file__).resolve().parents[2] / "docs" / "press-figures.md"
CONTRACT = [
    "blankholder_pressure", "blankholder_force", "draw_force", "draw_work", "bottom_tear_force", "blanking_force", "stripping_force",
    "cutting_clearance", "draw_clearance", "die_radius", "punch_radius", "draw_ratio", "draw_ratio_limit", "draws",
]  # fmt: skip


def lofted(profile, corners=None, rounds=96):
    """Mesh of a profile [(r, z), ...] turned round z, or lofted over a rectangle's half sides ``corners`` (r then is the offset)."""
    a = np.linspace(0, 2 * math.pi, rounds, endpoint=False)
    rings = []
    for r, z in profile:
        if corners is None:
            ring = np.column_stack([r * np.cos(a), r * np.sin(a)])
        else:
            half = np.array(corners) + r
            u = np.column_stack([np.cos(a), np.sin(a)])
            ring = u / np.max(np.abs(u) / half, axis=1)[:, None]
        rings.append(np.column_stack([ring, np.full(rounds, z)]))
    points = np.concatenate([*rings, [[0.0, 0.0, profile[0][1]]]])
    k = np.arange(rounds)
    n = (k + 1) % rounds
    tri = [np.column_stack([np.full(rounds, len(points) - 1), k, n])]
    for i in range(len(profile) - 1):
        lo, hi = i * rounds, (i + 1) * rounds
        tri += [np.column_stack([lo + k, hi + k, hi + n]), np.column_stack([lo + k, hi + n, lo + n])]
    return TriMesh(points, np.concatenate(tri))


def sheet(**more):
    e = np.linspace(0, 2, 400)
    values = {"Rm": 310.0, "Rp02": 165.0, "rbar": 1.7, "n": 0.22, "family": "steel"} | more
    return Result(values=values, tables={"hardening": {"strain": e, "stress": 530 * (0.007 + e) ** 0.22}})


def tipping(mesh, depth, is_round, **more):
    lo, hi = mesh.points.min(axis=0), mesh.points.max(axis=0)
    values = {
        "depth": depth, "plan_bbox": [[*lo[:2]], [*hi[:2]]], "radius_concave_min": 6.0, "radius_convex_min": 6.0,
        "round": {"is_round": is_round, "diameter": float(hi[0] - lo[0]) if is_round else None, "axis": None},
    } | more  # fmt: skip
    return Result(values=values, meshes={"part": FieldMesh(mesh)})


def blank(area, box, perimeter=None, **more):
    values = {"area": area, "perimeter": perimeter or 2 * sum(box), "bbox": list(box)} | more
    return Result(values=values)


def work(tip, bl, sh=None, job=None, files=None, watch=None):
    job = parse(job or {})
    return STAGE.work(STAGE.inputs(job), {"shape": tip, "sheet": sh or sheet(), "blank": bl}, files or {}, watch or Watch())


def cup(d=90.0, h=45.0, flange=0.0):
    profile = [(d / 2, -h), (d / 2, 0.0)] + ([(d / 2 + flange, 0.0)] if flange else [])
    big = math.sqrt((d + 2 * flange) ** 2 + 4 * d * h)
    return tipping(lofted(profile), h, True), blank(math.pi / 4 * big**2, (big, big), math.pi * big)


def pan(depth=40.0, **more):
    mesh = lofted([(0.0, -depth), (0.0, 0.0), (10.0, 0.0)], corners=(150.0, 80.0), rounds=160)
    return tipping(mesh, depth, False), blank(400.0 * 260.0, (400.0, 260.0), 1250.0, **more)


def keys(result):
    return {f.key for f in result.findings}


def check_whole(result):
    """Laws that hold for every result of the stage."""
    json.dumps(result.values, allow_nan=False)
    t = result.tables["force_stroke"]
    assert set(t) >= {"stroke_mm", "height_above_bottom_mm", "draw_kN", "blankholder_kN", "capacity_kN"}
    for column in t.values():
        assert np.isfinite(column).all()
    assert np.allclose(t["stroke_mm"] + t["height_above_bottom_mm"], t["stroke_mm"][-1])
    assert result.values["curve_work_J"] == pytest.approx(np.trapezoid(t["draw_kN"], t["stroke_mm"]), rel=1e-9)
    for f in result.figures:
        assert f.formula, f.key
        assert f.source, f.key
        assert f.confidence, f.key
        assert f.value is None or math.isfinite(f.value)
    for f in result.findings:
        assert f.key.startswith("press.")
        assert f.source
    assert len(keys(result)) == len(result.findings)
    assert len({f.key for f in result.figures}) == len(result.figures)
    assert len(result.values["cautions"]) >= 5
    chosen = result.values["press"]["name"]
    assert [c for c in result.values["candidates"] if c["name"] == chosen]


def test_flanged_cup():
    r = work(*cup(90.0, 30.0, 15.0))
    check_whole(r)
    assert {f.key for f in r.figures} >= set(CONTRACT)
    d = 90.0
    big = math.sqrt(120.0**2 + 4 * 90 * 30)
    assert r.figure("draw_ratio").value == pytest.approx(big / d, rel=2e-3)  # the mesh is a 96-gon
    assert r.figure("draws").value == 1
    assert r.figure("draw_force").value == pytest.approx(math.pi * d * 0.8 * 310 * (big / d - 0.7), rel=2e-3)
    inner = 90.0 - 0.8 + 2 * r.figure("draw_clearance").value + 2 * r.figure("die_radius").value
    assert r.figure("holder_area").value == pytest.approx(math.pi / 4 * (big**2 - inner**2), rel=5e-3)
    assert r.figure("blankholder_force").value == pytest.approx(r.figure("blankholder_pressure").value * r.figure("holder_area").value)
    t = r.tables["force_stroke"]
    assert t["draw_kN"].max() * 1000 == pytest.approx(r.figure("draw_force").value)
    assert t["draw_kN"][-1] > 0.6 * t["draw_kN"].max()  # a flange is left: the force has not faded
    assert next(c for c in r.values["candidates"] if c["fits"])["name"] == r.values["press"]["name"]


def test_cup_without_flange_ends_near_nothing():
    t = work(*cup(90.0, 45.0)).tables["force_stroke"]
    assert t["draw_kN"][-1] < 0.4 * t["draw_kN"].max()


def test_deep_cup_needs_redraws():
    r = work(*cup(60.0, 150.0))
    check_whole(r)
    assert "press.draw_ratio" in keys(r)
    assert "press.redraws" in keys(r)
    sequence = r.values["draw_sequence"]
    assert len(sequence) == r.figure("draws").value >= 3
    assert sequence[-1]["diameter"] == pytest.approx(60.0, rel=1e-3)
    assert sequence[-1]["height"] == pytest.approx(150.0)
    assert math.prod(d["ratio"] for d in sequence) == pytest.approx(r.figure("draw_ratio").value)
    assert all(d["die_radius"] > 0 and d["punch_radius"] > 0 for d in sequence)
    assert r.values["press"]["stroke_mm"] >= 300.0


def test_pan_uses_its_outline():
    r = work(*pan(flange_area=20000.0, blankholder_force=40_000.0, draw_force=90_000.0))
    check_whole(r)
    assert r.values["equivalent"]
    assert r.values["draw_sequence"] == []
    assert r.values["punch_outline"]["length"] == pytest.approx(2 * (300 + 160), rel=0.02)
    assert r.values["punch_outline"]["area"] == pytest.approx(300 * 160, rel=0.02)
    assert "press.equivalent" in keys(r)
    assert "not round" in r.figure("draw_ratio").confidence
    assert r.figure("draw_force").value >= r.figure("draw_force_inverse").value
    strong = work(*pan(draw_force=400_000.0))
    assert strong.figure("draw_force").value == pytest.approx(400_000.0)
    assert "press.force_spread" in keys(strong)


def test_dome_keeps_its_force_to_the_end():
    a = np.linspace(0.01, math.pi / 2, 40)
    mesh = lofted([(50 * math.sin(x), -50 * math.cos(x)) for x in a])
    d = 50 * 2 * math.sqrt(2)
    r = work(tipping(mesh, 50.0, True), blank(math.pi / 4 * d**2 * 1.1, (d, d)))
    check_whole(r)
    t = r.tables["force_stroke"]
    assert (t["draw_kN"][len(t["draw_kN"]) // 2 : -2] > 0).all()


def test_flat_piece_is_cut():
    mesh = lofted([(50.0, 0.0), (60.0, 0.0)])
    r = work(tipping(mesh, 0.0, True), blank(math.pi * 3600, (120.0, 120.0), math.pi * 120))
    check_whole(r)
    assert "press.flat" in keys(r)
    assert r.values["operation"] == "cutting"
    assert r.figure("blanking_force").value == pytest.approx(0.8 * 310 * math.pi * 120 * 0.8)
    assert r.tables["force_stroke"]["draw_kN"].max() == pytest.approx(r.figure("blanking_force").value / 1000)


def test_holes_in_the_blank_are_pierced():
    tip, bl = cup(90.0, 30.0, 15.0)
    a = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    bl = Result(values=bl.values, arrays={"hole_1": np.column_stack([5 * np.cos(a), 5 * np.sin(a)])})
    assert work(tip, bl).figure("piercing_force").value == pytest.approx(0.8 * 310 * math.pi * 10 * 0.8, rel=1e-4)


def test_small_press_is_refused_in_words():
    tip, bl = pan()
    r = work(tip, bl, job={"press": {"name": "Crank 250 kN"}})
    check_whole(r)
    stops = {f.key for f in r.findings if f.severity == "stop"}
    assert {"press.force", "press.energy", "press.bed"} <= stops
    force = next(f for f in r.findings if f.key == "press.force")
    assert force.value > force.limit
    assert force.help


def test_deep_part_in_a_short_stroke():
    r = work(*cup(60.0, 150.0), job={"press": {"name": "Crank 1000 kN"}})
    check_whole(r)
    assert "press.stroke" in {f.key for f in r.findings if f.severity == "stop"}
    assert "press.cushion_stroke" in keys(r)


def test_weak_cushion_and_wrong_rate():
    tip, bl = cup(90.0, 30.0, 15.0)
    values = dict(bl.values) | {"blankholder_force": 60_000.0}
    r = work(tip, Result(values=values), job={"press": {"name": "Crank 400 kN", "strokes_per_minute": 300}})
    assert {"press.cushion", "press.rate", "press.speed", "press.blankholder"} <= keys(r)


def test_slide_pushes_the_cushion_but_not_an_outer_slide():
    tip, bl = cup(90.0, 30.0, 15.0)
    single = work(tip, bl, job={"press": {"name": "Crank 1000 kN"}})
    double = work(tip, bl, job={"press": {"name": "Double action 1000 / 630 kN"}})
    assert (single.tables["force_stroke"]["slide_kN"] > double.tables["force_stroke"]["slide_kN"]).all()
    assert single.figure("slide_work").value > double.figure("slide_work").value
    assert single.figure("draw_work").inputs["x"][0] == 0.80
    assert double.figure("draw_work").inputs["x"][0] == 0.63


def test_nothing_serves_a_giant():
    mesh = lofted([(0.0, -900.0), (0.0, 0.0), (10.0, 0.0)], corners=(2500.0, 1500.0), rounds=160)
    r = work(tipping(mesh, 900.0, False), blank(5600.0 * 3600.0, (5600.0, 3600.0)))
    check_whole(r)
    assert not any(c["fits"] for c in r.values["candidates"])
    assert any(f.severity == "stop" for f in r.findings)


def test_thin_and_thick_sheet_leave_the_table():
    deep = work(*cup(200.0, 700.0), job={"sheet": {"thickness": 0.3}})
    assert "press.draw_table" in keys(deep)
    check_whole(deep)


def test_thick_short_cup_needs_no_holder():
    r = work(*cup(40.0, 5.0), job={"sheet": {"thickness": 3.0}})
    assert "press.no_holder" in keys(r)
    assert r.figure("blankholder_force_used").value == 0.0
    check_whole(r)


def test_tight_radii_are_said():
    tip, bl = cup(90.0, 30.0, 15.0)
    tip = Result(values=dict(tip.values) | {"radius_concave_min": 1.0, "radius_convex_min": 3.0}, meshes=tip.meshes)
    r = work(tip, bl)
    found = {f.key: f.severity for f in r.findings}
    assert found["press.radius_concave"] == "attend"
    assert found["press.radius_convex"] == "note"


def test_tearing_is_said():
    tip, bl = cup(90.0, 45.0)
    r = work(tip, bl, job={"blank": {"friction": 0.4}})
    assert "press.bottom_tear" in keys(r)


def test_forces_grow_with_the_thickness():
    forces = [work(*cup(90.0, 30.0, 15.0), job={"sheet": {"thickness": s}}) for s in (0.6, 0.8, 1.0, 1.5)]
    for key in ("draw_force", "draw_force_slab", "bottom_tear_force", "blanking_force", "draw_work", "cutting_clearance", "draw_clearance"):
        values = [r.figure(key).value for r in forces]
        assert values == sorted(values), key
        assert len(set(values)) == 4, key


def test_own_presses(tmp_path):
    (tmp_path / "presses.toml").write_text(
        '[[press]]\nname = "Old Bess"\nkind = "hydraulic"\nforce_kn = 900\nstroke_mm = 300\nstrokes_per_minute = [2, 8]\nspeed_mm_s = 20\n'
        "bed_mm = [900, 700]\nshut_height_mm = 250\ncushion_kn = 200\ncushion_stroke_mm = 100\n",
        encoding="utf-8",
    )
    for name in ("own:Old Bess", "own:auto", "own:"):
        job = parse({"press": {"name": name}})
        assert STAGE.files(job) == {"press.name": "presses.toml"}
        files = {k: InputFile.of(tmp_path, v, k) for k, v in STAGE.files(job).items()}
        r = work(*cup(90.0, 30.0, 15.0), job={"press": {"name": name}}, files=files)
        assert r.values["press"]["name"] == "Old Bess"
        assert r.values["press"]["source"] == "stated in the job folder"
        check_whole(r)
    assert STAGE.files(parse({})) == {}
    with pytest.raises(InputError, match="Young Bess"):
        work(*cup(), job={"press": {"name": "own:Young Bess"}}, files=files)


@pytest.mark.parametrize(
    ("where", "key", "value", "word"),
    [
        ("shape", "depth", None, "depth"),
        ("shape", "depth", math.nan, "depth"),
        ("shape", "depth", -1.0, "depth"),
        ("blank", "area", 0.0, "area"),
        ("blank", "area", None, "area"),
        ("blank", "perimeter", -5.0, "perimeter"),
        ("blank", "bbox", [1.0], "box"),
        ("blank", "draw_force", math.inf, "draw force"),
        ("blank", "blankholder_force", -1.0, "blankholder"),
        ("sheet", "Rm", None, "Rm"),
        ("sheet", "Rm", 0.0, "Rm"),
        ("sheet", "rbar", None, "rbar"),
        ("sheet", "n", -0.1, "hardening"),
        ("sheet", "family", "unobtainium", "unobtainium"),
    ],
)
def test_bad_upstream_is_refused_in_one_sentence(where, key, value, word):
    tip, bl = cup(90.0, 30.0, 15.0)
    up = {"shape": tip, "blank": bl, "sheet": sheet()}
    old = up[where]
    up[where] = Result(values=dict(old.values) | {key: value}, meshes=old.meshes, tables=old.tables)
    with pytest.raises(InputError) as caught:
        work(up["shape"], up["blank"], up["sheet"])
    assert word in caught.value.sentence
    assert "\n" not in caught.value.sentence


def test_without_hardening_table():
    tip, bl = cup(90.0, 30.0, 15.0)
    with pytest.raises(InputError, match="hardening"):
        work(tip, bl, Result(values=sheet().values))


def test_cancel():
    with pytest.raises(Cancelled):
        work(*cup(), watch=Watch(cancelled=lambda: True))


def test_section_of_a_cylinder_and_of_a_plane():
    mesh = lofted([(30.0, -20.0), (30.0, 0.0), (45.0, 0.0)], rounds=360)
    outline = section_outline(mesh, -7.0)
    assert outline.length == pytest.approx(2 * math.pi * 30, rel=1e-3)
    assert outline.area == pytest.approx(math.pi * 900, rel=1e-3)
    assert outline.grown_area(5.0) == pytest.approx(math.pi * 35**2, rel=2e-3)
    assert section_outline(mesh, 5.0) is None


def test_section_of_a_channel_spans_its_walls():
    profile = np.array([[-60, 0], [-30, 0], [-30, -20], [30, -20], [30, 0], [60, 0]], float)
    points = np.array([[px, y, pz] for y in (0.0, 200.0) for px, pz in profile])
    tri = [t for i in range(5) for t in ([i, i + 1, i + 7], [i, i + 7, i + 6])]
    outline = section_outline(TriMesh(points, np.array(tri)), -10.0)
    assert outline.area == pytest.approx(60 * 200, rel=1e-6)
    assert outline.length == pytest.approx(520, rel=1e-6)


def test_every_figure_and_finding_is_documented():
    text = DOCS.read_text(encoding="utf-8")
    tip, bl = pan(draw_force=90_000.0)
    bl = Result(values=bl.values, arrays={"hole_1": np.array([[0.0, 0], [9, 0], [9, 9]])})
    shown = {f.key for f in work(tip, bl).figures}
    assert shown >= set(CONTRACT)
    missing = [k for k in sorted(shown) if f"`{k}`" not in text]
    source = Path(__file__).resolve().parents[2] / "src" / "diewright" / "press"
    found = set(re.findall(r'key="(press\.[a-z_]+)"', (source / "judge.py").read_text(encoding="utf-8")))
    found |= {f"press.{k}" for k in re.findall(r'Check\(\s*"([a-z_]+)"', (source / "fit.py").read_text(encoding="utf-8"))}
    assert len(found) > 15
    missing += [k for k in sorted(found) if f"`{k}`" not in text]
    assert missing == []
