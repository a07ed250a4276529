"""The stage on parts that it was not made for: a bent plate, a pan; refusals, bodies, the search, cancel."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diewright import prove
from diewright.errors import Cancelled, InputError
from diewright.finish.plating.rack import body_pieces, lay_out
from diewright.finish.plating.report import thinnest
from diewright.finish.plating.run import make_mesh, significant_cells, surface_cells
from diewright.finish.plating.stage import ANODES, STAGE
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.geometry.sides import outer_side
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch

DOCS = Path(__file__).resolve().parents[2] / "docs" / "design"


def pan(n=24, depth=25.0, size=(120.0, 80.0)):
    """An open pan that hangs down from z = 0, normals up: its outer side is the lower one."""
    a = np.linspace(-0.5, 0.5, n + 1)
    u, v = np.meshgrid(a, a, indexing="ij")
    edge = np.minimum(0.5 - np.abs(u), 0.5 - np.abs(v))
    z = -depth * np.clip(edge / 0.12, 0, 1)
    i = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    p, q, r, s = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    points = np.column_stack([size[0] * u.ravel(), size[1] * v.ravel(), z.ravel()])
    return TriMesh(points, np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])]))


def upstream(mesh):
    low = (mesh.centroids[:, 2] < -20).astype(float)
    counts = FieldMesh(mesh, cell={"significant_upper": np.zeros(len(low)), "significant_lower": low})
    return {"tipping": Result(meshes={"part": FieldMesh(mesh)}), "surface": Result(meshes={"part": counts})}


def work(mesh, watch=None, stage=STAGE, thickness=0.8, **plating):
    job = parse({"plating": {"columns": 1, "rows": 1, "quality": "coarse", **plating}, "sheet": {"thickness": thickness}})
    return stage.work(stage.inputs(job), upstream(mesh), {}, watch or Watch())


@pytest.fixture(scope="module")
def two():
    return work(pan(), columns=2)


def test_charge_metal_and_thickness_add_up(two) -> None:
    for k, layer in enumerate(two.values["layers"]):
        name = layer["name"]
        current, metal = 0.0, 0.0
        for part in ("part_1", "part_2"):
            m = two.meshes[part]
            for side in ("upper", "lower"):
                current += float(m.cell[f"{name}_current_density_{side}"] @ m.mesh.areas) * 1e-4
                metal += float(m.cell[f"{name}_um_{side}"] @ m.mesh.areas) * 1e-6 * (8.9 if name == "nickel" else 7.19)
        assert current == pytest.approx(layer["current_A"], rel=1e-6)
        assert metal == pytest.approx(layer["metal_parts_g"], rel=1e-9)
        assert two.tables["layers"]["imbalance"][k] < 1e-6
    nickel = two.values["layers"][0]
    # all of it within what Faraday's law gives at the efficiencies of the bath
    ideal = nickel["current_A"] * nickel["minutes"] / 60.0 * 1.09497
    assert 0.90 * ideal < nickel["metal_parts_g"] < 0.955 * ideal
    anodes = two.meshes["tank"]
    of = anodes.cell["kind"] == 1
    assert float((anodes.cell["nickel_current_density"] * anodes.mesh.areas)[of].sum()) * 1e-4 == pytest.approx(
        -nickel["current_A"], rel=1e-6
    )


def test_the_time_is_that_of_the_thinnest_significant_place(two) -> None:
    assert two.values["outer_side"] == "lower"
    assert two.values["significant_side"] == "lower"
    least = min(float(two.meshes[p].cell["nickel_um_lower"].min()) for p in ("part_1", "part_2"))
    assert least == pytest.approx(10.0, rel=1e-9)
    assert two.values["layers"][0]["min_um"] == pytest.approx(10.0, rel=1e-9)
    assert two.values["layers"][0]["short_pct"] == 0.0


def test_the_inside_of_a_pan_gets_less_and_rims_most(two) -> None:
    t = two.tables["parts"]
    mine = (t["layer"] == 1) & (t["part"] == 1)
    inside, outside = t["mean_a_dm2"][mine & (t["side"] == 0)][0], t["mean_a_dm2"][mine & (t["side"] == 1)][0]
    assert inside < outside
    m = two.meshes["part_1"]
    i = m.cell["nickel_current_density_lower"]
    rim = np.isin(m.mesh.triangles, np.unique(m.mesh.boundary_edges)).any(axis=1)
    assert i[rim].mean() > 1.2 * i[~rim].mean()


def test_two_parts_side_by_side_are_each_others_mirror(two) -> None:
    t = two.tables["parts"]
    first, second = (t["mean_um"][(t["layer"] == 1) & (t["part"] == p)] for p in (1, 2))
    assert first == pytest.approx(second, rel=0.03)


def test_findings_have_value_source_and_help(two) -> None:
    keys = {f.key for f in two.findings}
    assert {"plating.bath.nickel", "plating.bath.chromium"} <= keys
    for f in two.findings:
        assert f.source
        assert f.help
        assert f.value is not None
    assert {f.key.rsplit(".", 1)[1] for f in two.figures} == {
        "minutes",
        "mean_over_min",
        "voltage",
        "energy",
        "metal",
        "wagner",
        "throwing_power",
    }


def test_a_stated_time_leaves_it_thin_and_says_so() -> None:
    r = work(pan(), layers=[{"bath": "watts-nickel", "minutes": 3.0, "current_density": 1.0}], significant="both", thickness=9.0)
    found = {f.key: f for f in r.findings}
    thin = found["plating.thin.nickel"]
    assert thin.value < thin.limit == 10.0
    assert thin.place.points
    assert found["plating.current.nickel"].value == pytest.approx(1.0, rel=1e-9)
    assert found["plating.starved.nickel"].value < 0.5
    assert found["plating.thickness"].value == 9.0
    assert r.values["layers"][0]["short_pct"] == pytest.approx(100.0)


def test_too_much_current_burns() -> None:
    r = work(pan(), layers=[{"bath": "watts-nickel", "current_density": 7.0, "conductivity": 12.0, "tafel_slope": 80.0}])
    burn = next(f for f in r.findings if f.key == "plating.burn.nickel")
    assert burn.value > burn.limit == 12.0
    layer, m = r.values["layers"][0], r.meshes["part_1"]
    assert layer["conductivity_s_m"] == 12.0
    hot = m.mesh.areas @ (m.cell["nickel_current_density_lower"] > 12.0)
    assert layer["burnt_pct"] == pytest.approx(100.0 * hot / m.mesh.area, rel=1e-9)


def test_a_thief_round_the_rim_evens_the_deposit_and_the_difference_is_shown() -> None:
    bars = [{"role": "thief", "kind": "rod", "at": [0.0, 0.0, s * 52.0], "size": [140.0, 8.0, 8.0]} for s in (-1.0, 1.0)]
    shield = {"role": "shield", "kind": "plate", "at": [90.0, 0.0, 0.0], "size": [0.0, 60.0, 80.0]}
    floats = {"role": "bipolar", "kind": "box", "at": [-90.0, 0.0, 0.0], "size": [10.0, 60.0, 80.0]}
    r = work(pan(), bodies=[*bars, shield, floats], layers=[{}])
    t = r.tables["bodies"]
    assert t["max_a_dm2_with"][0] < t["max_a_dm2_without"][0]
    assert 5.0 < t["thieves_pct_with"][0] < 60.0
    assert t["thieves_pct_without"][0] == 0.0
    tank = r.meshes["tank"]
    flow = tank.cell["nickel_current_density"] * tank.mesh.areas * 1e-4
    kinds = tank.cell["kind"]
    assert {int(k) for k in np.unique(kinds)} == {0, 1, 2, 3, 4}
    assert abs(flow[kinds == 4].sum()) < 1e-5
    assert np.abs(flow[kinds == 4]).sum() > 1e-3
    assert flow[kinds == 3].sum() * 100.0 / r.values["layers"][0]["current_A"] == pytest.approx(t["thieves_pct_with"][0], rel=1e-6)
    assert any(f.key == "plating.bodies" for f in r.findings)


def test_the_search_lowers_the_ratio_or_says_that_it_cannot() -> None:
    r = work(pan(), stage=ANODES, tries=5, anode_distance=150.0, anode_length=300.0)
    t = r.tables["tried"]
    assert len(t["ratio"]) == 5
    assert (t["distance"][0], t["length"][0]) == (150.0, 300.0)
    best = r.values["best"]
    assert r.values["after"] == t["ratio"].min() == t["ratio"][best]
    if best:
        fields = r.values["take_over"]["fields"]
        assert fields["plating.anode_distance"] == t["distance"][best]
        job = parse({"plating": {k.split(".")[1]: v for k, v in fields.items()}})
        assert job.plating.anode_length == t["length"][best]
    assert r.findings[0].key in ("anodes.better", "anodes.none")


def test_outer_side_attitude_and_places() -> None:
    mesh = pan()
    assert outer_side(mesh)[0] == "lower"
    assert outer_side(mesh.reversed())[0] == "upper"
    stated = parse({"plating": {"columns": 3, "rows": 2}}).plating
    rack = lay_out(mesh, stated, 30.0)
    assert np.linalg.det(rack.rotation) == pytest.approx(1.0)
    placed = [mesh.points @ rack.rotation.T + s for s in rack.shifts]
    assert np.concatenate(placed).mean(axis=0) == pytest.approx(0.0, abs=8.0)
    assert rack.size == pytest.approx([120.0, 25.0, 80.0])
    assert np.ptp(placed[0][:, 0]) == pytest.approx(120.0)
    gap = placed[1][:, 0].min() - placed[0][:, 0].max()
    assert gap == pytest.approx(40.0)
    # the outer (lower) side looks at the front anodes
    assert (mesh.reversed().normals @ rack.rotation.T)[:, 1].max() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("plating", "says"),
    [
        ({"columns": 20, "rows": 20}, "400 parts on one rack"),
        ({"anode_distance": 10.0}, "reach to them at 10 mm"),
        ({"up": (0.0, 0.0, 1.0), "facing": (0.0, 0.0, 2.0)}, "nearly the same"),
        ({"up": (0.0, 0.0, 0.0)}, "length above zero"),
        ({"anode_count": 50}, "do not fit side by side"),
        ({"tank": (100.0, 100.0, 100.0)}, "does not lie within the bath|lies outside the bath"),
        ({"layers": [{"bath": "gold"}]}, "no bath called 'gold'"),
        ({"bodies": [{"role": "shield", "kind": "box", "at": (0.0, 0.0, 0.0), "size": (200.0, 60.0, 120.0)}]}, "lie in each other"),
    ],
)  # fmt: skip
def test_refusals(plating, says) -> None:
    with pytest.raises(InputError, match=says):
        work(pan(), **plating)


@pytest.mark.parametrize("body", [{"kind": "plate", "size": [10.0, 10.0, 10.0]}, {"kind": "box", "size": [0.0, 10.0, 10.0]}])
def test_bodies_must_have_the_sides_of_their_kind(body) -> None:
    with pytest.raises(InputError, match="a plate has one side of 0"):
        parse({"plating": {"bodies": [{"at": [0.0, 0.0, 0.0], **body}]}})


def test_a_rod_has_one_diameter() -> None:
    stated = parse({"plating": {"bodies": [{"kind": "rod", "at": [0, 0, 0], "size": [100, 8, 9]}]}}).plating
    with pytest.raises(InputError, match="two different sides"):
        body_pieces(stated.bodies, 10.0)


def test_nothing_deposited_is_refused() -> None:
    with pytest.raises(InputError, match="No chromium is deposited anywhere"):
        work(pan(), layers=[{"bath": "chromium-vi", "current_density": 0.2}])


def test_cells_that_count_are_carried_to_the_coarse_part() -> None:
    mesh = pan()
    stated = parse({"plating": {"columns": 1, "rows": 1, "quality": "coarse"}}).plating
    made = make_mesh(mesh, stated, (), "coarse", Watch())
    half = mesh.centroids[:, 0] > 0
    chosen = significant_cells(made, mesh, "upper", half)
    assert not chosen["lower"].any()
    assert ((made.skin.centroids[:, 0] > 0) == chosen["upper"]).mean() > 0.95
    with pytest.raises(InputError, match="No triangle of the part is called significant"):
        significant_cells(made, mesh, "upper", np.zeros(len(mesh.triangles), dtype=bool))


def test_the_surface_that_the_finish_picks_counts_side_by_side() -> None:
    mesh = pan()
    made = make_mesh(mesh, parse({"plating": {"columns": 1, "rows": 1, "quality": "coarse"}}).plating, (), "coarse", Watch())
    surface = upstream(mesh)["surface"].meshes["part"]
    chosen = surface_cells(made, mesh, "finish", surface)
    assert not chosen["upper"].any()
    assert ((made.skin.centroids[:, 2] < -20) == chosen["lower"]).mean() > 0.95
    assert surface_cells(made, mesh, "upper", surface)["upper"].all()
    done = work(mesh, significant="finish", layers=[{"minimum_um": 5.0}])
    bottom = done.values["significant_area_dm2"] * 1e4
    assert bottom == pytest.approx(mesh.areas[mesh.centroids[:, 2] < -20].sum(), rel=0.1)
    assert done.values["significant_side"] == "lower"


def test_thinnest_is_the_mean_of_the_least_area() -> None:
    values, areas = np.array([3.0, 1.0, 2.0]), np.array([98.0, 1.0, 1.0])
    assert thinnest(values, areas, 0.01) == pytest.approx(1.0)
    assert thinnest(values, areas, 0.02) == pytest.approx(1.5)
    assert thinnest(values, areas, 0.04) == pytest.approx((1.0 + 2.0 + 2 * 3.0) / 4)


def test_it_can_be_stopped() -> None:
    with pytest.raises(Cancelled):
        work(pan(), watch=Watch(cancelled=lambda: True))


def test_values_meshes_and_findings_are_described() -> None:
    text = (DOCS / "stages.md").read_text(encoding="utf-8")
    section = text.split("## plating")[1].split("\n## ")[0]
    for word in (
        "nickel_um_upper",
        "bodies",
        "take_over",
        "plating.thin",
        "plating.burn",
        "plating.starved",
        "plating.current",
        "plating.mesh",
        "anodes.better",
    ):
        assert word in section, word


QUICK = ("nickel-minutes", "faraday-rates", "textbook-plate", "chromium-minutes", "concentric-cylinders", "concentric-spheres", "kinetic-cylinders", "groove-bottom", "haring-cell", "wavy-cathode", "disk-in-plane", "throwing-power")  # fmt: skip


@pytest.mark.parametrize("case", QUICK)
def test_reference_rows_meet_their_tolerance(case) -> None:
    assert {r.verdict for r in prove.run([case])} == {"meets"}
