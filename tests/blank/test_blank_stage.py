"""The stage ``blank`` from upstream results to outline, fields, findings and files; solved for real."""

import io

import ezdxf
import numpy as np
import pytest
from blank_parts import pan, plate, sheet, tipping, with_hole

from diewright.blank.stage import NEST, SOLUTION, STAGE
from diewright.errors import Cancelled, InputError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.watch import Watch


def run(mesh, metal=None, watch=None, thickness=0.8, **blank):
    job = parse({"format": 1, "blank": blank, "sheet": {"thickness": thickness}})
    upstream = {"shape": tipping(mesh), "sheet": metal or sheet()}
    solution = SOLUTION.work(SOLUTION.inputs(job), upstream, {}, watch or Watch())
    return STAGE.work(STAGE.inputs(job), {**upstream, "solution": solution}, {}, watch or Watch())


def keys(result):
    return {f.key: f for f in result.findings}


@pytest.fixture(scope="module")
def drawn():
    return run(pan(step=8.0))


@pytest.fixture(scope="module")
def pierced_part():
    return with_hole(pan(step=8.0), np.array([20.0, 0.0]), 18.0)


def test_values_are_those_of_the_contract(drawn):
    v = drawn.values
    want = {
        "area", "perimeter", "bbox", "mass_kg", "flange_area", "blankholder_force", "iterations", "converged", "margin_min_pct",
        "thinning_max_pct", "thickening_max_pct", "wrinkle_index_max", "cut",
    }  # fmt: skip
    assert want <= set(v)
    assert {"lines", "arcs", "splines", "deviation"} <= set(v["cut"])
    assert "seconds" not in v
    assert all({"iteration", "residual", "step"} == set(s) for s in v["iterations"])
    for mesh in ("part", "flat"):
        assert {"major", "minor", "thickness", "thinning_pct", "margin_pct", "plastic_strain", "wrinkle", "angle"} <= set(
            drawn.meshes[mesh].cell
        )
        assert {"thickness", "margin_pct", "major", "minor"} <= set(drawn.meshes[mesh].point)
    import json

    json.dumps(v, allow_nan=False)


def test_the_blank_keeps_the_volume(drawn):
    part, flat = drawn.meshes["part"], drawn.meshes["flat"]
    assert np.ptp(flat.mesh.points[:, 2]) == 0.0
    np.testing.assert_array_equal(part.mesh.triangles, flat.mesh.triangles)
    volume = (part.mesh.areas * part.cell["thickness"]).sum()
    assert flat.mesh.area * 0.8 == pytest.approx(volume, rel=1e-6)
    assert drawn.values["area"] == pytest.approx(flat.mesh.area, rel=2e-3)
    assert drawn.values["mass_kg"] == pytest.approx(drawn.values["area"] * 0.8 * 7850e-9, rel=1e-12)
    assert flat.mesh.normals[:, 2].min() > 0  # no triangle is folded over


def test_fields_follow_from_the_strains(drawn):
    c = drawn.meshes["part"].cell
    np.testing.assert_allclose(c["thinning_pct"], 100 * (1 - c["thickness"] / 0.8), atol=1e-9)
    np.testing.assert_allclose(np.log(c["thickness"] / 0.8), -(c["major"] + c["minor"]), atol=1e-6)
    limit = 0.35 + np.where(c["minor"] < 0, -c["minor"], 0.5 * c["minor"])
    np.testing.assert_allclose(c["margin_pct"], 100 * (np.exp(limit) - np.exp(c["major"])), atol=0.05)
    assert (c["major"] >= c["minor"]).all()
    assert (c["wrinkle"] >= 0).all()
    assert (c["wrinkle"] <= 1).all()
    assert drawn.values["margin_min_pct"] == c["margin_pct"].min()


def test_the_flange_is_found_and_held(drawn):
    part = drawn.meshes["part"].mesh
    flange = drawn.meshes["part"].cell["flange"].astype(bool)
    assert part.centroids[flange, 2].min() > -4.0
    assert flange[(part.points[part.triangles, 2] > -1e-9).all(axis=1)].all()
    assert part.areas[flange].sum() == pytest.approx(drawn.values["flange_area"])
    assert drawn.values["blankholder_force"] == pytest.approx(drawn.values["blankholder_pressure"] * drawn.values["blankholder_area"])
    beta, d = drawn.values["draw_ratio"], drawn.figure("blank.blankholder").inputs["d"][0]
    assert drawn.values["blankholder_pressure"] == pytest.approx(((beta - 1) ** 2 + d / (200 * 0.8)) * 300 / 400)


def test_margin_findings_follow_the_limit():
    part = pan(step=10.0)
    good, bad = run(part), run(part, sheet(limit=0.02))
    assert "blank.margin" not in keys(good)
    stop = keys(bad)["blank.margin"]
    assert stop.severity == "stop"
    assert stop.value < 0 == stop.limit
    assert stop.place.points
    assert any(word in stop.place.label for word in ("corner", "side", "centre"))
    least = good.values["margin_min_pct"]
    wanting = keys(run(part, margin_wanted=min(least + 1.0, 50.0)))
    assert wanting["blank.margin"].severity == "attend"
    assert wanting["blank.margin"].value == pytest.approx(least)


def test_thinning_finding_names_the_place():
    found = run(pan(step=10.0), thinning_limit=0.5)
    f = keys(found)["blank.thinning"]
    assert f.value == pytest.approx(found.values["thinning_max_pct"])
    at = np.array(f.place.points[0])
    part = found.meshes["part"]
    worst = part.mesh.centroids[np.argmax(part.cell["thinning_pct"])]
    np.testing.assert_allclose(at, worst, atol=1e-5)


def test_every_finding_is_complete_and_honest(drawn):
    for f in drawn.findings:
        assert f.key.startswith("blank.")
        assert f.sentence.endswith(".")
        assert f.source
    assert "blank.deep" in keys(drawn)
    assert len({f.key for f in drawn.findings}) == len(drawn.findings)


def test_holes_are_filled_or_kept(pierced_part):
    filled, kept = run(pierced_part), run(pierced_part, holes="keep")
    assert filled.meshes["part"].cell["filled"].any()
    assert not kept.meshes["part"].cell["filled"].any()
    assert not any(name.startswith("hole_") for name in filled.arrays)
    assert kept.arrays["hole_1"].shape[1] == 2
    (hole,) = kept.values["holes"]
    assert hole["id"] == "1"
    x, y = pierced_part.points[pierced_part.boundary_loops[1], :2].T
    assert hole["area"] == pytest.approx(abs(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))), rel=0.03)
    np.testing.assert_allclose(hole["centre"], [20.0, 0.0], atol=4.0)
    assert kept.values["area"] == pytest.approx(kept.values["outline_area"] - hole["area"], rel=1e-9)
    assert kept.values["outline_area"] == pytest.approx(filled.values["outline_area"], rel=5e-3)
    layers = {e.dxf.layer for e in ezdxf.read(io.StringIO(kept.files["blank.dxf"].decode())).modelspace()}
    assert {"BLANK_OUTLINE", "HOLES", "CENTRE", "ROLLING_DIRECTION"} <= layers


def test_trim_allowance_grows_the_outline_by_its_own_width(drawn):
    grown = run(pan(step=8.0), trim_allowance=6.0)
    net = drawn.values
    # Steiner: a convex outline gains d times its length and a disc.
    assert grown.values["area"] == pytest.approx(net["area"] + 6.0 * net["perimeter"] + 36 * np.pi, rel=1e-3)
    assert grown.values["net_area"] == pytest.approx(net["area"], rel=1e-9)
    layers = {e.dxf.layer for e in ezdxf.read(io.StringIO(grown.files["blank.dxf"].decode())).modelspace()}
    assert "NET_OUTLINE" in layers


def test_a_flat_plate_comes_out_as_itself():
    found = run(plate())
    assert np.abs(found.meshes["part"].cell["major"]).max() < 1e-6
    assert found.values["cut"]["lines"] == 4
    assert found.values["area"] == pytest.approx(1e4, rel=1e-6)
    assert found.values["blankholder_force"] is None
    assert "no wall" in keys(found)["blank.flange"].sentence
    assert found.values["margin_min_pct"] == pytest.approx(100 * (np.exp(0.35) - 1), abs=1e-3)


def test_a_stated_force_without_a_flange_is_said_to_be_left_out():
    found = run(plate(), blankholder_force_kn=20.0)
    assert found.values["blankholder_force"] == 20_000.0
    assert "left out" in keys(found)["blank.flange"].sentence


def test_more_friction_and_force_take_margin(drawn):
    free = run(pan(step=8.0), friction=0.0)
    hard = run(pan(step=8.0), friction=0.3, blankholder_force_kn=60.0)
    assert hard.values["blankholder_force"] == 60_000.0
    assert hard.values["thinning_max_pct"] > free.values["thinning_max_pct"]
    assert hard.values["outline_area"] < free.values["outline_area"]


def test_a_closed_skin_and_two_pieces_are_refused():
    box = TriMesh(np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]]), np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]))
    with pytest.raises(InputError, match="closed body"):
        run(box)
    p = plate()
    two = TriMesh(np.concatenate([p.points, p.points + np.array([200, 0, 0])]), np.concatenate([p.triangles, p.triangles + len(p.points)]))
    with pytest.raises(InputError, match="separate pieces"):
        run(two)


def test_the_work_can_be_stopped():
    phases = []
    with pytest.raises(Cancelled):
        run(pan(step=10.0), watch=Watch(listen=lambda p: phases.append(p.phase), cancelled=lambda: len(phases) > 3))


def test_the_stage_repeats_itself_exactly():
    a, b = run(pan(step=12.0)), run(pan(step=12.0))
    assert a.values == b.values
    assert a.files == b.files


# --- nest -----------------------------------------------------------------------------------------------------------------------


def nest(blank, metal=None, **stated):
    job = parse({"format": 1, "nest": stated, "sheet": {"thickness": 0.8}})
    return NEST.work(NEST.inputs(job), {"blank": blank, "sheet": metal or sheet()}, {}, Watch())


def test_nest_gives_all_layouts_least_metal_first(drawn):
    found = nest(drawn)
    rows = found.values["layouts"]
    assert {r["layout"] for r in rows} == {"one-up", "two-up", "head-to-tail"}
    assert found.values["chosen"] == 0
    kg = [r["coil_kg_per_1000"] for r in rows]
    assert kg == sorted(kg)
    for i, r in enumerate(rows):
        metal = r["pitch"] * r["strip_width"] / r["parts_per_pitch"]
        assert r["coil_kg_per_1000"] == pytest.approx(metal * 0.8 * 7850e-9 * 1000)
        assert r["utilisation_pct"] == pytest.approx(100 * drawn.values["outline_area"] / metal)
        assert found.arrays[f"placed_{i}"].shape[0] == 3 * r["parts_per_pitch"]
        assert -90.0 <= r["angle_deg"] <= 90.0
        assert r["parts_per_sheet"] is None
    assert "common practice" in found.values["web_rule"]
    doc = ezdxf.read(io.StringIO(found.files["nest.dxf"].decode()))
    assert not doc.audit().has_errors
    assert {"STRIP_EDGE", "BLANK_OUTLINE", "PITCH"} <= {e.dxf.layer for e in doc.modelspace()}


def test_nest_true_outlines_keep_the_web(drawn):
    import shapely

    from diewright.geometry.outline_files import moved
    from diewright.geometry.record import from_record

    found = nest(drawn, layout="one-up", web=2.0, edge_web=3.0)
    row = found.values["layouts"][0]
    true = from_record(drawn.values["pieces"])
    first = found.arrays["placed_0"][0]
    turn = -np.deg2rad(row["angle_deg"])
    fine = moved(true, turn, (0.0, 0.0)).points(1e-4)
    fine = fine + (first.min(axis=0) - moved(true, turn, (0.0, 0.0)).points(0.02).min(axis=0))
    a = shapely.Polygon(fine)
    b = shapely.transform(a, lambda p: p + np.array([row["pitch"], 0]))
    assert 2.0 - 1e-3 <= shapely.distance(a, b) <= 2.0 + 0.05


def test_nest_on_sheets_counts_whole_blanks(drawn):
    found = nest(drawn, sheet_length=2000.0, strip_width_max=1000.0)
    for r in found.values["layouts"]:
        assert r["parts_per_sheet"] > 0
        assert r["strips_per_sheet"] == int(1000.0 // r["strip_width"])
        assert r["sheet_utilisation_pct"] == pytest.approx(100 * drawn.values["outline_area"] * r["parts_per_sheet"] / 2e6)
        assert r["sheet_kg_per_1000"] > r["coil_kg_per_1000"]


def test_nest_says_when_the_strip_is_too_narrow(drawn):
    found = nest(drawn, strip_width_max=100.0)
    f = keys(found)["nest.strip_width"]
    assert f.severity == "stop"
    assert f.value > 100.0
    assert f.help
    assert found.values["layouts"] == []
    assert found.values["chosen"] is None


def test_nest_names_a_thin_web_and_a_short_sheet(drawn):
    assert keys(nest(drawn, web=0.2, layout="one-up"))["nest.web"].limit == pytest.approx(1.4, abs=0.3)
    assert keys(nest(drawn, sheet_length=50.0, layout="one-up"))["nest.sheet_length"].severity == "stop"
    assert "nest.web" not in keys(nest(drawn, layout="one-up"))


def test_nest_keeps_to_the_grain(drawn):
    for r in nest(drawn, grain_tolerance=5.0).values["layouts"]:
        assert abs(r["angle_deg"]) <= 5.0 + 1e-9
    for r in nest(drawn, grain_tolerance=0.0).values["layouts"]:
        assert r["angle_deg"] == pytest.approx(0.0, abs=1e-9)
