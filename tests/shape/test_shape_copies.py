"""Two parts in one draw: placements, the bridge's tangents and outline, the maps back to the part, what downstream counts, and every refusal."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shape_parts import prismatic, shaped, tipping_of

from diewright.blank.nest import NEST
from diewright.blank.stage import SOLUTION
from diewright.blank.stage import STAGE as BLANK
from diewright.die import cad
from diewright.die.crossing import crossing
from diewright.die.stage import STAGE as FACES
from diewright.errors import InputError, SolveError
from diewright.geometry.mesh import TriMesh
from diewright.job.schema import parse
from diewright.press.stage import STAGE as PRESS
from diewright.sheet.stage import STAGE as SHEET
from diewright.tryout import compensation
from diewright.tryout.stage import joined_parts
from diewright.watch import Watch


def pan(step=5.0, rim=20.0, corner=0.0, tilt=0.0):
    """A pan 120 x 90 mm, 24 deep, with a flange, on a grid in plan; ``corner`` rounds the flange's outline, ``tilt`` [deg] lets it slope down outwards along x."""
    half, edge = np.array([60.0, 45.0]), np.array([60.0 + rim, 45.0 + rim])
    x, y = (np.linspace(-e, e, int(2 * e / step) + 1) for e in edge)
    xy = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    i = (np.arange(len(y) - 1)[:, None] * len(x) + np.arange(len(x) - 1)).ravel()
    cells = np.concatenate([np.stack([i, i + 1, i + len(x) + 1], axis=1), np.stack([i, i + len(x) + 1, i + len(x)], axis=1)])
    if corner:  # squares of the outline onto one with round corners, along rays
        inner = edge - corner
        q = np.abs(xy) - inner
        far = (q > 0).all(axis=1)
        size = np.hypot(*q[far].T)
        xy[far] = np.sign(xy[far]) * (inner + q[far] * (q[far].max(axis=1) / np.maximum(size, 1e-12))[:, None])

    def height(p):
        q = np.maximum(np.abs(p) - (half - 25.0), 0.0)
        s = np.clip((25.0 - np.hypot(*q.T)) / 18.0, 0.0, 1.0)
        return -24.0 * s**3 * (10 - 15 * s + 6 * s * s) - np.tan(np.radians(tilt)) * np.maximum(np.abs(p[:, 0]) - 60.0, 0.0)

    h = 1e-4
    dx, dy = ((height(xy + d) - height(xy - d)) / (2 * h) for d in (np.array([h, 0.0]), np.array([0.0, h])))
    normal = np.column_stack([-dx, -dy, np.ones(len(xy))])
    return TriMesh(np.column_stack([xy, height(xy)]), cells), normal / np.linalg.norm(normal, axis=1, keepdims=True)


def tip_of(**more):
    mesh, normal = pan(**more)
    hole = np.array([int(np.argmin(np.hypot(*(mesh.points[:, :2] - p).T))) for p in ((0, 0), (5, 0), (5, 5), (0, 5))])
    return tipping_of(mesh, normal, np.full(len(mesh.triangles), 4), {1: hole})


@pytest.mark.parametrize("copies", ["mirrored", "turned", "shifted"])
@pytest.mark.parametrize("side", [0.0, 90.0, -90.0, 180.0])
def test_two_pans_lie_spaced_and_joined_in_one_piece(copies, side):
    tip = tip_of()
    own = tip.meshes["part"].mesh
    r = shaped(tip, copies=copies, side=side, spacing=30.0)
    shape, places = r.meshes["part"], r.arrays["copies"]
    u = np.array([np.cos(np.radians(side)), np.sin(np.radians(side)), 0.0])
    for k in (0, 1):
        mine = shape.cell["copy"] == k
        assert (shape.cell["of"][mine] == np.arange(len(own.triangles))).all()
        assert (shape.cell["face"][mine] == 4).all()
        # every triangle of a copy is the one it says, placed as it says, its normal on the same side of the sheet
        want = own.points[own.triangles].mean(axis=1) @ places[k, :3, :3].T + places[k, :3, 3]
        assert shape.mesh.centroids[mine] == pytest.approx(want, abs=1e-9)
        assert shape.mesh.normals[mine] == pytest.approx(own.normals @ places[k, :3, :3].T, abs=1e-9)
        assert np.abs(np.linalg.det(places[k, :3, :3])) == pytest.approx(1.0)
        assert places[k, :3, 2] == pytest.approx([0, 0, 1])
    assert np.linalg.det(places[1, :3, :3]) == pytest.approx(-1.0 if copies == "mirrored" else 1.0)
    along = [shape.mesh.points[np.unique(shape.mesh.triangles[shape.cell["copy"] == k])] @ u for k in (0, 1)]
    assert along[1].min() - along[0].max() == pytest.approx(30.0, abs=1e-9)
    joint = shape.cell["copy"] == -1
    assert (shape.cell["of"][joint] == -1).all()
    assert shape.mesh.components.max() == 0
    assert len(shape.mesh.boundary_loops) == 1
    across = 130.0 if side in (0.0, 180.0) else 160.0
    assert shape.mesh.areas[joint].sum() == pytest.approx(30.0 * across, rel=1e-9)
    assert r.values["developed_area"] == pytest.approx(2 * own.area + 30.0 * across, rel=1e-9)
    assert r.values["parts"] == 2
    assert r.values["part_area"] == own.area
    assert shape.mesh.normals[joint] == pytest.approx(np.tile([0.0, 0.0, 1.0], (joint.sum(), 1)), abs=1e-9)
    first, second = r.values["holes"]
    assert (first["id"], second["id"], second["copy"], second["of"]) == (1, 2, 1, 1)
    assert second["centre"] == pytest.approx((places[1, :3, :3] @ np.array(first["centre"]) + places[1, :3, 3]).tolist(), abs=1e-9)
    ring = shape.mesh.points[r.arrays["hole_2"]]
    assert ring.mean(axis=0) == pytest.approx(second["centre"], abs=1e-9)
    for k in (0, 1):
        line = shape.mesh.points[r.arrays[f"edge_{k}"]]
        assert shapely.Polygon(line[:, :2]).area == pytest.approx(160.0 * 130.0)


def test_the_outline_goes_on_without_a_corner_round_the_bridges_ends():
    r = shaped(tip_of(corner=15.0), copies="mirrored", spacing=25.0)
    mesh = r.meshes["part"].mesh
    line = mesh.points[mesh.boundary_loops[0]][:, :2]
    step = np.roll(line, -1, axis=0) - line
    back = np.roll(step, 1, axis=0)
    turn = np.degrees(np.arctan2(back[:, 0] * step[:, 1] - back[:, 1] * step[:, 0], np.einsum("ij,ij->i", back, step)))
    one = shaped(tip_of(corner=15.0)).meshes["part"].mesh
    own = one.points[one.boundary_loops[0]][:, :2]
    before = np.roll(own, -1, axis=0) - own
    usual = np.degrees(
        np.arccos(
            np.clip(
                np.einsum("ij,ij->i", before, np.roll(before, 1, axis=0)) / np.hypot(*before.T) / np.hypot(*np.roll(before, 1, axis=0).T),
                -1,
                1,
            )
        )
    ).max()
    assert np.abs(turn).max() <= usual + 0.5  # no turn sharper than those of the part's own round corners
    assert r.values["bridge"]["corner_deg"] < 12.5


def test_sides_that_run_together_go_on_into_the_neck():
    """A trapezium whose sides lean by 14 degrees towards the neck: where they meet the bridge the outline turns by no more than one row of its cubic."""
    facing = [(80.0, y) for y in (-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0)]
    r = shaped(plate([(0.0, 50.0), (0.0, -50.0), *facing]), copies="mirrored", spacing=30.0)
    mesh = r.meshes["part"].mesh
    line = mesh.points[mesh.boundary_loops[0]][:, :2]
    step = np.roll(line, -1, axis=0) - line
    angle = np.degrees(np.arctan2(step[:, 1], step[:, 0]))
    turn = np.abs((angle - np.roll(angle, 1) + 180.0) % 360.0 - 180.0)
    at = [int(np.argmin(np.hypot(*(line - p).T))) for p in ((80.0, -30.0), (80.0, 30.0), (110.0, -30.0), (110.0, 30.0))]
    assert turn[at].max() < 5.0
    assert r.values["bridge"]["corner_deg"] < 1e-6
    lowest = line[(line[:, 0] > 80.0) & (line[:, 1] < 0.0)][:, 1]
    assert lowest.max() > -29.0  # the neck is waisted, as the sides ask


def test_the_bridge_is_tangent_to_sloping_flanges():
    """Flanges that fall 20 degrees outwards: the bridge leaves at that slope and its middle hangs c tan(20)/4 below, a cubic's sag."""
    tilt, c = 20.0, 40.0
    r = shaped(tip_of(tilt=tilt), copies="mirrored", spacing=c)
    shape = r.meshes["part"]
    joint = shape.cell["copy"] == -1
    x = shape.mesh.points[:, 0]
    middle = np.abs(x - (80.0 + 0.5 * c)) < 1e-6
    edge_z = -20.0 * np.tan(np.radians(tilt))
    assert shape.mesh.points[middle, 2] == pytest.approx(np.full(middle.sum(), edge_z - 2 * 0.125 * c * np.sin(np.radians(tilt))), abs=0.02)
    near = joint & (shape.mesh.centroids[:, 0] < 80.0 + 0.08 * c) & (np.abs(shape.mesh.centroids[:, 1]) < 30.0)
    slope = np.degrees(np.arctan2(-shape.mesh.normals[near, 0], shape.mesh.normals[near, 2]))
    assert (slope < -tilt * 0.7).all()
    assert (slope > -tilt - 0.5).all()
    assert (shape.point["radius"][len(x) - 5 :] > 0).all()  # hollow from above: over the punch
    assert r.values["depth"] == pytest.approx(np.ptp(shape.mesh.points[:, 2]))
    assert (shape.point["depth"] >= 0).all()


def test_copies_that_reach_past_each_other_are_let_or_refused_by_their_shadows():
    with pytest.raises(InputError, match="the copies overlap by") as e:
        shaped(tip_of(), copies="shifted", spacing=-5.0)
    assert e.value.where == "shape.spacing"
    assert (
        "(77" in e.value.sentence or "(78" in e.value.sentence or "(79" in e.value.sentence or "(80" in e.value.sentence
    )  # the band x = 75 to 80


def test_an_edge_that_looks_down_is_refused_with_its_place():
    mesh, normal, face = prismatic([("line", 60.0), ("arc", 4.0, -120.0), ("line", 15.0)])
    with pytest.raises(InputError, match="the bridge would lie over copy 1 at") as e:
        shaped(tipping_of(mesh, normal, face), copies="mirrored", spacing=3.0)
    assert "spacing" in e.value.help


def plate(line):
    """A flat plate within a closed plan line, its points joined from the middle of its left side."""
    ring = np.array(line, dtype=float)
    cells = [shapely.get_coordinates(g)[:3] for g in shapely.constrained_delaunay_triangles(shapely.Polygon(ring)).geoms]
    number = [[int(np.argmin(np.hypot(*(ring - p).T))) for p in c] for c in cells]
    mesh = TriMesh(np.column_stack([ring, np.zeros(len(ring))]), np.array(number))
    mesh = mesh if mesh.doubled_normals[:, 2].sum() > 0 else mesh.reversed()
    return tipping_of(mesh, np.tile([0.0, 0.0, 1.0], (len(ring), 1)), np.zeros(len(mesh.triangles), dtype=int))


def test_a_notch_of_the_facing_edge_is_filled_and_a_swallow_tail_refused():
    left = [(0.0, y) for y in range(100, -1, -10)]
    for copies in ("shifted", "mirrored", "turned"):
        notch = [
            (80.0, 0.0),
            (80.0, 20.0),
            (80.0, 40.0),
            (60.0, 42.0),
            (60.0, 50.0),
            (60.0, 58.0),
            (80.0, 60.0),
            (80.0, 80.0),
            (80.0, 100.0),
        ]
        r = shaped(plate(left + notch), copies=copies, spacing=20.0)
        joint = r.meshes["part"].cell["copy"] == -1
        notches = 1 if copies == "shifted" else 2
        assert r.meshes["part"].mesh.areas[joint].sum() == pytest.approx(20.0 * 100.0 + notches * 18.0 * 20.0, rel=1e-9)
    tail = [(80.0, 0.0), (80.0, 20.0), (80.0, 45.0), (50.0, 25.0), (40.0, 50.0), (50.0, 75.0), (80.0, 55.0), (80.0, 80.0), (80.0, 100.0)]
    with pytest.raises((InputError, SolveError), match="turn under at|lie over copy") as e:
        shaped(plate(left + tail), copies="shifted", spacing=20.0)
    assert "(" in e.value.what


def test_steep_walls_are_joined_over_an_arch():
    """Walls at 80 degrees: the bridge leaves upwards at 80 degrees and rises over the rims by a quarter of the gap times sin 80, as the cubic does."""
    steps = [("line", 60.0), ("arc", 6.0, 80.0), ("line", 30.0)]
    mesh, normal, face = prismatic(steps)
    tip = tipping_of(mesh, normal, face)
    r = shaped(tip, thickness=0.5, copies="mirrored", spacing=40.0)
    joint = r.meshes["part"].mesh.points[len(mesh.points) * 2 :]
    assert joint[:, 2].max() - mesh.points[:, 2].max() == pytest.approx(0.25 * 40.0 * np.sin(np.radians(80.0)), abs=0.05)
    bend = r.meshes["part"].point["radius"][len(mesh.points) * 2 :]
    assert (bend < 0).all()
    assert {f.key for f in r.findings} == {"shape.copies"}
    tight = shaped(tip, thickness=2.0, copies="mirrored", spacing=20.0)
    finding = next(f for f in tight.findings if f.key == "shape.bridge")
    assert (finding.severity, finding.limit) == ("attend", 10.0)
    assert finding.value == pytest.approx(tight.values["bridge"]["tightest_radius"])
    assert finding.value < 10.0


def test_spacing_and_side_do_not_count_for_one_part():
    from diewright.shape.stage import STAGE

    assert STAGE.inputs(parse({"shape": {"spacing": 12.0, "side": 30.0}})) == STAGE.inputs(parse({}))


@pytest.fixture(scope="module")
def worked():
    """The stages of one part and of two, up to the faces."""
    out = {}
    for copies in ("one", "turned"):
        job = parse(
            {
                "sheet": {"thickness": 1.0},
                "shape": {"copies": copies, "side": 90.0},
                "blank": {"trim_allowance": 4.0},
                "nest": {"layout": "one-up", "sheet_length": 2000.0},
            }
        )
        tip = tip_of(rim=25.0)
        tip.arrays.pop("hole_1")
        tip.values["holes"].clear()
        up = {"shape": shaped(tip, copies=copies, side=90.0), "sheet": SHEET.work(SHEET.inputs(job), {}, {}, Watch())}
        for stage in (SOLUTION, BLANK, NEST, PRESS, FACES):
            up[stage.name] = stage.work(stage.inputs(job), up, {}, Watch())
        out[copies] = up
    return out


def test_figures_a_part_stay_a_parts(worked):
    one, two = worked["one"], worked["turned"]
    b1, b2 = one["blank"].values, two["blank"].values
    assert (b1["parts"], b2["parts"]) == (1, 2)
    assert b1["part_mass_kg"] == b1["mass_kg"]
    assert 2 * b2["part_mass_kg"] == pytest.approx(b2["mass_kg"])
    assert b2["part_mass_kg"] == pytest.approx(b1["part_mass_kg"], rel=0.15)  # the bridge adds about a tenth
    n1, n2 = one["nest"].values["layouts"][0], two["nest"].values["layouts"][0]
    assert (n1["parts_per_pitch"], n1["blanks_per_pitch"], n2["parts_per_pitch"], n2["blanks_per_pitch"]) == (1, 1, 2, 1)
    density = float(two["sheet"].values["density"])
    for n in (n1, n2):
        assert n["coil_kg_per_1000"] == pytest.approx(
            n["pitch"] * n["strip_width"] * density * 1e-9 * 1000 / n["parts_per_pitch"], rel=1e-9
        )
        assert n["sheet_kg_per_1000"] * n["parts_per_sheet"] == pytest.approx(2000.0 * 1500.0 * density * 1e-6)
    assert n2["parts_per_sheet"] % 2 == 0
    assert n2["sheet_utilisation_pct"] < 100
    assert n2["coil_kg_per_1000"] == pytest.approx(n1["coil_kg_per_1000"], rel=0.2)
    assert {f.key for f in two["blank"].figures} - {f.key for f in one["blank"].figures} == {"blank.part_mass"}


def test_both_pockets_are_punched_and_no_face_runs_through_itself(worked):
    one, two = worked["one"]["faces"], worked["turned"]["faces"]
    punch = two.meshes["punch"].mesh
    assert punch.components.max() == 1
    assert one.meshes["punch"].mesh.components.max() == 0
    assert punch.area == pytest.approx(2 * one.meshes["punch"].mesh.area, rel=1e-6)
    for name in ("die", "punch", "blankholder"):
        assert not len(crossing(two.meshes[name].mesh)), name
    line = shapely.Polygon(two.arrays["opening"])
    assert line.is_valid
    assert shapely.contains_xy(line, [0.0, 0.0], [0.0, 180.0]).all()
    single = one.values["opening_area"]
    assert 2 * single < two.values["opening_area"] < 2 * single + 60.0 * 120.0 + 1.0
    assert two.values["stroke"] == pytest.approx(one.values["stroke"], abs=1e-6)
    draw = {k: next(f.value for f in worked[k]["press"].figures if f.key == "blanking_force") for k in worked}
    assert draw["turned"] > 1.5 * draw["one"]


def test_what_would_be_wrong_for_two_parts_is_refused_or_said(worked):
    up = worked["turned"]
    job = parse({"sheet": {"thickness": 1.0}, "shape": {"copies": "turned"}})
    with pytest.raises(InputError, match="2 parts are drawn in one stroke"):
        compensation.work(compensation.STAGE.inputs(job), up, {}, Watch())
    opened = replace(up["shape"], values={**up["shape"].values, "flanges": [{"angle": 0.0}]})
    with pytest.raises(InputError, match="flanges drawn open are no CAD faces of the part"):
        cad.work(cad.STAGE.inputs(job), {**up, "shape": opened}, {}, Watch())
    said = joined_parts(up["shape"])
    assert said is not None
    assert said.severity == "attend"
    assert said.key == "tryout.joined"
    assert joined_parts(worked["one"]["shape"]) is None
