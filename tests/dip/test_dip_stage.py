"""The stage on parts it was not made for, on refusals and on cancel."""

from __future__ import annotations

import math

import numpy as np
import pytest
from flood_shapes import box, cup, joined, moved, tilted, turned

from diewright.errors import Cancelled, InputError, SolveError
from diewright.finish.dip import live
from diewright.finish.dip.stage import STAGE
from diewright.geometry.flood_space import Opening
from diewright.geometry.mesh import FieldMesh, TriMesh
from diewright.job.schema import parse
from diewright.job.stage import Result
from diewright.watch import Watch


def dipped(mesh: TriMesh, holes: tuple = (), watch: Watch | None = None, **stated) -> Result:
    job = parse({"sheet": {"thickness": 0.8}, "dip": {"directions": 200, **stated}})
    arrays = {f"hole_{h['id']}": loop for h, loop in holes}
    upstream = {
        "part": Result(values={"holes": [h for h, _ in holes], "skin": "middle"}, meshes={"part": FieldMesh(mesh)}, arrays=arrays),
        "tipping": Result(values={"direction": [0.0, 0.0, -1.0]}),
        "sheet": Result(values={"density": 7850.0}),
    }
    return STAGE.work(STAGE.inputs(job), upstream, {}, watch or Watch())


@pytest.fixture(scope="module")
def upset_cup() -> Result:
    return dipped(cup(count=48), attitude=tuple(-tilted(20.0)))


def keys(r: Result) -> dict[str, str]:
    return {f.key: f.severity for f in r.findings}


def test_a_tilted_cup_mouth_down(upset_cup: Result) -> None:
    v, pockets = upset_cup.values, upset_cup.tables["pockets"]
    facets = 48 * math.sin(2 * math.pi / 48) / (2 * math.pi)
    assert v["air_mm3"] == pytest.approx(facets * math.pi * 50**2 * (40 - 50 * math.tan(math.radians(20))), rel=2e-3)
    assert v["pool_mm3"] == 0.0
    assert pockets["kind"].tolist() == [0.0]
    assert pockets["after_mm3"][0] < 0.02 * pockets["mm3"][0]
    assert v["with_holes"]["air_mm3"] == pytest.approx(pockets["after_mm3"][0])
    assert pockets["width_mm"][0] == pytest.approx(100.0, rel=5e-3)
    assert pockets["kept_share"][0] < 1.0
    far = np.array([pockets[f"far_{c}_mm"][0] for c in "xyz"])
    assert far @ v["up"] == pytest.approx(max(upset_cup.meshes["part"].mesh.points @ v["up"]), abs=1e-6)
    assert keys(upset_cup)["dip.air.1"] == "attend"
    assert keys(upset_cup)["dip.attitude"] == "note"
    assert upset_cup.findings[0].place.points[0] == pytest.approx(tuple(far))


def test_the_picture_of_it(upset_cup: Result) -> None:
    part, surface = upset_cup.meshes["part"], upset_cup.meshes["surface_air"]
    assert (part.cell["air_front"] >= 0).any()
    assert (part.cell["air_back"] == -1).all()
    assert part.point["air_depth"].max() == pytest.approx(upset_cup.tables["pockets"]["depth_mm"][0])
    assert part.point["pool_depth"].max() == 0.0
    assert "surface_pool" not in upset_cup.meshes
    assert (surface.cell["pocket"] == 0).all()
    assert len(upset_cup.arrays["map_up"]) == len(upset_cup.arrays["map_air"]) == len(upset_cup.arrays["map_pool"]) == 200


def test_live_gives_what_the_stage_gave_and_holes_work_there(upset_cup: Result) -> None:
    space = live.space_of(upset_cup.arrays)
    now = live.pockets(space, [], upset_cup.values["up"])
    assert now["air_mm3"] == pytest.approx(upset_cup.values["air_mm3"], rel=1e-12)
    assert now["air"][0]["far"] == pytest.approx([upset_cup.tables["pockets"][f"far_{c}_mm"][0] for c in "xyz"])
    vented = live.pockets(space, [Opening(np.array(now["air"][0]["far"]), 6.0)], upset_cup.values["up"])
    assert vented["air_mm3"] < 0.02 * now["air_mm3"]


def test_auto_finds_an_attitude_in_which_a_tray_empties() -> None:
    auto = dipped(box(60, 80, 10))
    worst = dipped(box(60, 80, 10), attitude=(0, 0, 1))
    assert worst.values["pool_mm3"] == pytest.approx(48000.0)
    assert auto.values["air_mm3"] + auto.values["pool_mm3"] < 0.01 * 48000.0
    best = auto.tables["attitudes"]
    ups = np.stack([best[f"up_{c}"] for c in "xyz"], axis=1)
    assert len(ups) == 3
    assert (ups @ ups.T - 2 * np.eye(3)).max() < math.cos(math.radians(20))
    assert keys(worst)["dip.pool.1"] == "attend"
    assert worst.values["drag_out"]["part_mL"] == pytest.approx(48.0 + worst.values["drag_out"]["drained_mL"])


def test_the_best_attitudes_lie_apart_and_the_one_with_most_room_comes_first() -> None:
    best = dipped(cup(count=24), significant="lower").tables[
        "attitudes"
    ]  # air inside does no harm: any attitude with the mouth down is free
    ups = np.stack([best[f"up_{c}"] for c in "xyz"], axis=1)
    assert (ups @ ups.T - 2 * np.eye(3)).max() < math.cos(math.radians(30))
    assert ups[0, 2] < -math.cos(math.radians(10))
    assert best["room_deg"][0] == best["room_deg"].max()
    assert best["pool_mm3"].max() == 0.0


def test_significance_decides_whether_air_is_harm() -> None:
    up = (0, 0, -1)
    inside = dipped(cup(count=24), attitude=up, significant="upper")  # the inside of this cup lies against the press direction
    outside = dipped(cup(count=24), attitude=up, significant="lower")
    assert inside.values["front_is_upper"] is True
    assert keys(inside)["dip.air.1"] == "attend"
    assert keys(outside)["dip.air.1"] == "note"
    assert outside.tables["pockets"]["significant_mm2"][0] == 0.0
    assert outside.arrays["map_air_significant"].max() == pytest.approx(0.0)
    assert outside.arrays["map_air"].max() > 1e5


def test_a_narrow_groove_is_said_to_be_capillarys() -> None:
    groove = dipped(box(3, 60, 8), attitude=(0, 0, 1))
    assert keys(groove)["dip.capillary"] == "attend"
    assert groove.tables["pockets"]["width_mm"][0] == pytest.approx(3.0, rel=0.05)
    assert "dip.capillary" not in keys(dipped(box(30, 60, 8), attitude=(0, 0, 1)))


def test_a_shallow_dish_is_left_to_the_mesh() -> None:
    dish = dipped(turned([(0, 0), (20, 0.05), (40, 0.3)], 32), attitude=(0, 0, 1))
    assert keys(dish)["dip.mesh"] == "note"
    assert dish.tables["pockets"]["holds"][0] == 1.0


def test_air_that_outweighs_the_part_is_told() -> None:
    assert keys(dipped(cup(count=24), attitude=(0, 0, -1)))["dip.lift"] == "attend"


def test_narrow_holes_count_as_shut() -> None:
    mesh = cup(count=48)
    near = np.hypot(mesh.centroids[:, 0], mesh.centroids[:, 1]) < 12.0
    cut = TriMesh(mesh.points, mesh.triangles[~(near & (mesh.centroids[:, 2] < 1))])
    used = np.unique(cut.triangles)
    cut = TriMesh(cut.points[used], np.searchsorted(used, cut.triangles).astype(np.int32))
    loop = cut.boundary_loops[1]
    hole = {"id": 1, "diameter": 25.0, "perimeter": 78.0, "area": 490.0}
    through = dipped(cut, ((hole, loop),), attitude=(0, 0, 1))
    shut = dipped(cut, ((hole, loop),), attitude=(0, 0, 1), hole_least=30.0)
    assert through.values["pool_mm3"] == 0.0
    assert shut.values["holes_shut"] == [1]
    assert shut.values["pool_mm3"] == pytest.approx(dipped(mesh, attitude=(0, 0, 1)).values["pool_mm3"], rel=1e-9)
    assert keys(shut)["dip.shut"] == "note"


def test_refusals() -> None:
    with pytest.raises(InputError, match="2 loose pieces"):
        dipped(joined(box(6, 8, 4), moved(box(6, 8, 4), (20, 0, 0))))
    with pytest.raises(SolveError, match="closes .* off from outside"):
        dipped(turned([(0, -10), (8, -6), (10, 0), (8, 6), (0, 10)], 24))
    for bad, says in (((0, 0, 0), "length above zero"), ((math.nan, 0, 1), "number"), ("sideways", "auto")):
        with pytest.raises(InputError, match=says):
            parse({"dip": {"attitude": bad}})


def test_it_can_be_stopped() -> None:
    steps: list[str] = []
    with pytest.raises(Cancelled):
        dipped(box(60, 80, 10), watch=Watch(lambda p: steps.append(p.phase), lambda: "trying attitudes" in steps))
    assert steps[-1] == "trying attitudes"
