"""The shell triangle: patch tests, rigid motion, tangent, precision, convergence, mirrors, trimming."""

from __future__ import annotations

import numpy as np
import pytest

from diewright.errors import InputError, SolveError
from diewright.mechanics.shell.carry import carry
from diewright.mechanics.shell.element import bending, gradients
from diewright.mechanics.shell.form import at_rest, collect, place
from diewright.mechanics.shell.layout import C_AREA
from diewright.mechanics.shell.loops import forces
from diewright.mechanics.shell.material import elastic, hill_from_r, plastic
from diewright.mechanics.shell.patch import Mirror, build_patches
from diewright.mechanics.shell.recover import recover
from diewright.mechanics.shell.static import StaticShell
from diewright.mechanics.shell.stations import through_thickness
from diewright.prove.shell import bent_strip, grid, plate, sides

STATIONS = through_thickness(3)
STEEL = elastic(2.1e5, 0.3)


def turn(seed: int = 3) -> np.ndarray:
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.linalg.det(q))


def distorted(n: int = 8, t: float = 0.8):
    points, triangles, ids = grid(10.0, 8.0, n, n, shake=0.25)
    return build_patches(points, triangles, t), points, triangles, ids


def inner_nodes(ids: np.ndarray, rim: int) -> np.ndarray:
    return ids[rim:-rim, rim:-rim].ravel()


def test_membrane_patch_test_is_exact_on_a_distorted_mesh_at_finite_stretch_and_any_orientation():
    patches, _, _, ids = distorted()
    stretch = turn() @ np.array([[1.12, 0.07, 0.0], [-0.03, 0.94, 0.0], [0.0, 0.0, 1.0]])
    solver = StaticShell(patches, STEEL, STATIONS)
    form = at_rest(patches, STATIONS, kinematic=False)
    form.x = patches.points @ stretch.T
    force, moment, _ = solver.internal(form)
    reach = np.abs(force).max()
    assert np.abs(force[inner_nodes(ids, 1)]).max() < 1e-10 * reach
    assert np.abs(moment).max() < 1e-10 * reach
    stress = recover(patches, STEEL, STATIONS, form).stress
    assert np.ptp(stress, axis=(0, 1)).max() < 1e-10 * np.abs(stress).max()


def rim_slopes(patches, points, z, wanted):
    """The sides' own unknowns at which the slope at every side is that of the quadratic surface ``z`` with second derivatives ``wanted``."""
    out = np.zeros(len(patches.side_free))
    for side, (slot, _) in enumerate(patches.side_slots):
        e, s = divmod(int(slot), 3)
        row = patches.conn[e]
        i, j = row[(s + 1) % 3], row[(s + 2) % 3]
        far = row[3 + s]
        # the patch's own slope: from the two diagonals, or from the triangle on the rim
        d = points[[far, i]] - points[[row[s], j]]
        patch_slope = np.linalg.solve(d[:, :2], z[[far, i]] - z[[row[s], j]])
        mid = 0.5 * (points[i] + points[j])
        exact = np.array([wanted[0] * mid[0] + wanted[2] * mid[1], wanted[1] * mid[1] + wanted[2] * mid[0]])
        along = points[j] - points[i]
        out[side] = (exact - patch_slope) @ np.array([along[1], -along[0]]) / np.hypot(along[0], along[1])
    return out


def curvature_operator(patches):
    """(ne, 3, 9): curvature 11, 22, 12 of each triangle from heights at its six nodes and slopes of its three sides, flat sheet."""
    out = np.zeros((len(patches.conn), 3, 9))
    c = patches.coef
    la = np.column_stack([-c[:, 12] - c[:, 13], c[:, 12], c[:, 13]])
    lb = np.column_stack([-c[:, 14] - c[:, 15], c[:, 14], c[:, 15]])
    for e, row in enumerate(patches.conn):
        for k in np.unique(row[:6]):
            x = patches.points.copy()
            x[k, 2] = 1.0
            vectors = bending(*gradients(x, patches.conn, c, e)[:6], c, e)
            out[e, :, np.flatnonzero(row[:6] == k)[0]] = [v[2] for v in vectors]
        for s in range(3):
            out[e, :, 6 + s] = c[e, 21 + s] * np.array([la[e, s] ** 2, lb[e, s] ** 2, la[e, s] * lb[e, s]])
    return out


def test_bending_patch_test_is_exact_on_a_distorted_mesh():
    """Any quadratic surface gives its curvature in every triangle, and even moments leave every inner node and side in balance."""
    patches, points, _, ids = distorted()
    wanted = np.array([0.02, -0.01, 0.015])
    z = 0.5 * wanted[0] * points[:, 0] ** 2 + 0.5 * wanted[1] * points[:, 1] ** 2 + wanted[2] * points[:, 0] * points[:, 1]
    slopes = rim_slopes(patches, points, z, wanted)
    operator = curvature_operator(patches)
    u = np.hstack([z[patches.conn[:, :6]], slopes[patches.conn[:, 6:]]])
    curvature = np.einsum("eak,ek->ea", operator, u)
    assert np.abs(curvature + wanted).max() < 1e-10 * np.abs(wanted).max()
    moments = np.array([1.3, -0.4, 2.0 * 0.7])
    work = patches.coef[:, C_AREA, None] * np.einsum("eak,a->ek", operator, moments)
    node = np.bincount(patches.conn[:, :6].ravel(), weights=work[:, :6].ravel())
    side = np.bincount(patches.conn[:, 6:].ravel(), weights=work[:, 6:].ravel())
    # a rim side's moment also acts on its own triangle, whose slope the side starts from
    assert np.abs(node[inner_nodes(ids, 2)]).max() < 1e-10 * np.abs(node).max()
    assert np.abs(side[patches.side_slots[:, 1] >= 0]).max() < 1e-10 * np.abs(side).max()


def test_bent_plate_finds_the_quadratic_surface():
    """The same through the whole kernel and Newton: two rows of the rim given, inside found; the height is small, second order stays below 1e-6."""
    patches, points, _, ids = distorted()
    rim = np.setdiff1d(ids, inner_nodes(ids, 2))
    wanted = np.array([2e-5, -1e-5, 1.5e-5])
    z = 0.5 * wanted[0] * points[:, 0] ** 2 + 0.5 * wanted[1] * points[:, 1] ** 2 + wanted[2] * points[:, 0] * points[:, 1]
    solver, form = StaticShell(patches, STEEL, STATIONS), at_rest(patches, STATIONS, kinematic=False)
    free = np.zeros((patches.n, 3), dtype=bool)
    free[:, 2] = True
    free[rim] = False
    move = np.zeros((patches.n, 3))
    move[rim, 2] = z[rim]
    on_rim = patches.side_slots[:, 1] < 0
    form.slope[on_rim] = rim_slopes(patches, points, z, wanted)[on_rim]
    patches.side_free[on_rim] = False
    zero = np.zeros((patches.n, 3))
    answer = solver.solve(form, free=free, load=zero, load_before=zero, move=move)
    assert np.abs(answer.form.x[:, 2] - z).max() < 1e-5 * np.abs(z).max()
    curvature = recover(patches, STEEL, STATIONS, answer.form).curvature
    assert np.abs(curvature + wanted).max() < 1e-4 * np.abs(wanted).max()


def test_without_the_sides_own_slope_bending_does_not_converge_on_a_distorted_mesh():
    """Why there is one more unknown a side: held at zero, the plate stays a third too stiff at any mesh width."""
    found = []
    for n in (8, 16):
        points, triangles, ids = grid(5.0, 5.0, n, n)
        patches = build_patches(points, triangles, 0.1, mirrors=(Mirror(sides(ids[0]), [1, 0, 0]), Mirror(sides(ids[:, 0]), [0, 1, 0])))
        patches.side_free[:] = False
        material = elastic(2e5, 0.3)
        solver, form = StaticShell(patches, material, STATIONS), at_rest(patches, STATIONS, kinematic=False)
        free = np.zeros((patches.n, 3), dtype=bool)
        free[:, 2] = True
        free[ids[-1]] = free[ids[:, -1]] = False
        load = np.zeros((patches.n, 3))
        np.add.at(load[:, 2], triangles.ravel(), np.repeat(1e-8 * patches.coef[:, C_AREA] / 3, 3))
        w = solver.solve(form, free=free, load=load, load_before=0 * load).form.x[0, 2]
        found.append(w * 2e5 * 0.1**3 / 12 / 0.91 / (1e-8 * 1e4) / 0.00406235)
    assert found[0] < 0.65
    assert found[1] < 0.65


def test_plates_converge_with_second_order_on_distorted_meshes():
    errors = [abs(plate(n, clamped=False, point=False, shake=0.2) / 0.00406235 - 1) for n in (4, 8, 16)]
    assert errors[2] < 0.005
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert rates.min() > 1.7


def test_rigid_motion_of_a_stressed_sheet_leaves_stress_and_turns_forces():
    patches, _, _, _ = distorted()
    rng = np.random.default_rng(5)
    material = plastic(2.1e5, 0.3, 7.85e-9, hill_from_r(1.8, 1.2, 2.1), {"K": 550.0, "e0": 0.005, "n": 0.2})
    form = at_rest(patches, STATIONS, kinematic=False)
    form.x = form.x + 0.1 * rng.normal(size=form.x.shape)
    form.slope[:] = 0.05 * rng.normal(size=len(form.slope))
    solver = StaticShell(patches, material, STATIONS)
    force, _, new = solver.internal(form)
    assert new.state[:, 3::4].max() > 0.01
    q = turn(9)
    moved = new.copy()
    moved.x = new.x @ q.T + [30.0, -20.0, 50.0]
    again, _, after = solver.internal(moved)
    still, _, unmoved = solver.internal(new)
    stress = recover(patches, material, STATIONS, unmoved).stress
    assert np.abs(recover(patches, material, STATIONS, after).stress - stress).max() < 1e-10 * 2.1e5
    assert np.abs(again - still @ q.T).max() < 1e-10 * np.abs(force).max() * 100
    # no net force, no net moment
    assert np.abs(force.sum(0)).max() < 1e-9 * np.abs(force).max()
    assert np.abs(np.cross(form.x, force).sum(0)).max() < 1e-9 * np.abs(force).max() * 10


def test_forces_are_the_gradient_of_the_elastic_energy():
    """The tangent of an elastic sheet in any shape is symmetric, and work done equals energy stored (small thickness change held)."""
    patches, _, _, _ = distorted(3)
    rng = np.random.default_rng(2)
    form = at_rest(patches, STATIONS, kinematic=False)
    form.x = form.x + 0.15 * rng.normal(size=form.x.shape)
    form.slope[:] = 0.05 * rng.normal(size=len(form.slope))
    material = elastic(2.1e5, 0.3)
    du, dq = rng.normal(size=form.x.shape), rng.normal(size=len(form.slope))
    solver = StaticShell(patches, material, STATIONS)
    force, moment, _ = solver.internal(form)
    energy = []
    for step in (-1e-5, 1e-5):
        f = form.copy()
        f.x = form.x + step * du
        f.slope = form.slope + step * dq
        energy.append(recover(patches, material, STATIONS, f).elastic_energy)
    power = (energy[1] - energy[0]) / 2e-5
    assert power == pytest.approx((force * du).sum() + moment @ dq, rel=1e-7)


def test_precision_tripwire_far_from_the_origin():
    """In single precision an offset of 1e6 mm (exact in double) changes nothing: edges are subtracted in double precision."""
    points, triangles, _ = grid(8.0, 8.0, 4, 4)  # whole numbers: exact at any offset
    patches = build_patches(points, triangles, 1.0)
    far = build_patches(points + np.array([1e6, -1e6, 1e6]), triangles, 1.0)
    out = []
    for p in (patches, far):
        form = at_rest(p, STATIONS, kinematic=False)
        bump = np.zeros_like(p.points)
        bump[:, 0] = np.round(p.points[:, 0] - p.points[0, 0]) * 2.0**-8
        bump[12, 2] = 2.0**-4
        force = np.zeros((len(triangles), 21), dtype=np.float32)
        r = np.float32
        forces(
            form.x + bump,
            form.slope.astype(r),
            p.conn,
            p.coef.astype(r),
            form.state.astype(r),
            form.stretch.astype(r),
            STATIONS.astype(r),
            STEEL.mat.astype(r),
            STEEL.table.astype(r),
            False,
            force,
        )
        out.append(force)
    assert np.array_equal(out[0], out[1])
    double = np.zeros((len(triangles), 21))
    form = at_rest(patches, STATIONS, kinematic=False)
    bump = np.zeros_like(patches.points)
    bump[:, 0] = points[:, 0] * 2.0**-8
    bump[12, 2] = 2.0**-4
    forces(form.x + bump, form.slope, patches.conn, patches.coef, form.state, form.stretch, STATIONS, STEEL.mat, STEEL.table, False, double)
    assert np.abs(out[0] - double).max() < 2e-5 * np.abs(double).max()


def test_mirror_gives_the_half_of_the_whole():
    points, triangles, ids = grid(8.0, 4.0, 8, 4, crossed=False, shake=0.2)
    right = points[:, 0] >= 0
    assert right.all()
    # the whole: this half and its image
    image = points * [-1, 1, 1]
    on_axis = ids[0]
    number = np.arange(len(points)) + len(points)
    number[on_axis] = on_axis
    keep = np.setdiff1d(np.arange(len(points)), on_axis)
    renumber = np.full(2 * len(points), -1)
    renumber[: len(points)] = np.arange(len(points))
    renumber[len(points) + keep] = len(points) + np.arange(len(keep))
    whole_points = np.vstack([points, image[keep]])
    whole_triangles = np.vstack([triangles, renumber[number[triangles]][:, [0, 2, 1]]])
    whole = build_patches(whole_points, whole_triangles, 1.0)
    half = build_patches(points, triangles, 1.0, mirrors=(Mirror(sides(on_axis), [1, 0, 0]),))
    rng = np.random.default_rng(8)
    u = 0.05 * rng.normal(size=points.shape)
    u[on_axis, 0] = 0
    results = []
    for patches, x in ((half, place(half, points + u)), (whole, whole_points + np.vstack([u, (u * [-1, 1, 1])[keep]]))):
        form = at_rest(patches, STATIONS, kinematic=False)
        form.x = x
        force = np.zeros((len(patches.conn), 21))
        forces(form.x, form.slope, patches.conn, patches.coef, form.state, form.stretch, STATIONS, STEEL.mat, STEEL.table, False, force)
        results.append(collect(patches, force)[0])
    free = np.setdiff1d(np.arange(len(points)), on_axis)
    scale = np.abs(results[0]).max()
    assert np.abs(results[0][free] - results[1][: len(points)][free]).max() < 1e-10 * scale
    assert np.abs(2 * results[0][on_axis][:, 1:] - results[1][on_axis][:, 1:]).max() < 1e-10 * scale


def test_trimming_carries_strain_and_stress_exactly():
    patches, points, triangles, _ = distorted()
    rng = np.random.default_rng(4)
    form = at_rest(patches, STATIONS, kinematic=False)
    form.x = form.x + 0.05 * rng.normal(size=form.x.shape)
    form.slope[:] = 0.02 * rng.normal(size=len(form.slope))
    kept = np.flatnonzero(points[triangles].mean(1)[:, 0] < 6.0)
    nodes, local = np.unique(triangles[kept], return_inverse=True)
    cut = build_patches(points[nodes], local.reshape(-1, 3), 0.8)
    after = carry(patches, cut, form, kept, nodes)
    a, b = recover(patches, STEEL, STATIONS, form), recover(cut, STEEL, STATIONS, after)
    assert np.abs(a.curvature[kept] - b.curvature).max() < 1e-12
    inside = np.array([(cut.conn[e, 3:6] != np.roll(cut.conn[e, :3], -1)).all() for e in range(len(kept))])
    assert np.abs(a.stress[kept][inside] - b.stress[inside]).max() < 1e-8
    with pytest.raises(InputError, match="do not correspond"):
        carry(patches, cut, form, kept[:-1], nodes)


def test_bent_strip_moment_and_springback_match_the_closed_form():
    got = bent_strip(100.0)
    x = 100.0 * 400.0 / 2e5
    assert got["moment over full plastic moment"] == pytest.approx(1 - (2 * x) ** 2 / 3, rel=0.02)
    assert got["radius ratio"] == pytest.approx(4 * x**3 - 3 * x + 1, rel=0.02)


def test_free_springback_leaves_nothing_on_its_springs_and_ignores_where_they_are():
    points, triangles, ids = grid(10.0, 6.0, 5, 3, shake=0.1)
    patches = build_patches(points, triangles, 0.5)
    material = plastic(7e4, 0.3, 2.7e-9, hill_from_r(0.7, 0.5, 0.6), {"K": 400.0, "e0": 0.005, "n": 0.2})
    solver = StaticShell(patches, material, through_thickness(5))
    form = at_rest(patches, through_thickness(5), kinematic=False)
    free = np.ones((patches.n, 3), dtype=bool)
    free[ids[0]] = free[ids[-1]] = False
    move = np.zeros((patches.n, 3))
    move[ids[-1]] = [0.3, 0.0, 1.5]
    zero = np.zeros((patches.n, 3))
    drawn = solver.solve(form, free=free, load=zero, load_before=zero, move=move, first=0.1).form
    assert drawn.state[:, 3::4].max() > 0.005
    back = solver.springback(drawn, first=0.5)
    force, moment, _ = solver.internal(back.form)
    assert np.abs(force).max() < 1e-4
    assert np.abs(moment).max() < 1e-4
    assert back.spring_force < 1e-4
    q = turn(1)
    moved = drawn.copy()
    moved.x = drawn.x @ q.T + [5.0, 6.0, 7.0]
    other = solver.springback(moved, first=0.5).form.x @ q
    a, b = back.form.x - back.form.x.mean(0), other - other.mean(0)
    u, _, vt = np.linalg.svd(a.T @ b)
    assert np.abs(a @ (u @ vt) - b).max() < 1e-5


def test_unbalanced_loads_on_a_free_body_are_refused():
    patches, _, _, _ = distorted(3)
    solver = StaticShell(patches, STEEL, STATIONS)
    load = np.zeros((patches.n, 3))
    load[:, 0] = 1.0
    with pytest.raises(SolveError, match="do not balance|no equilibrium"):
        solver.solve(
            at_rest(patches, STATIONS, kinematic=False),
            free=np.ones((patches.n, 3), dtype=bool),
            load=load,
            load_before=0 * load,
            rigid=True,
        )


@pytest.mark.parametrize(
    ("points", "triangles", "says"),
    [
        ([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], "no area"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], [[0, 1, 2], [1, 2, 3]], "opposite ways"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 5]], "not there"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]], [[0, 1, 2], [1, 0, 3], [0, 1, 4]], "more than two"),
    ],
)
def test_meshes_that_are_no_sheet_are_refused(points, triangles, says):
    with pytest.raises(InputError, match=says):
        build_patches(points, triangles, 1.0)


def test_stations_integrate_what_they_should():
    for count in (3, 5, 7, 9):
        for rule, degree in (("gauss", 2 * count - 1), ("lobatto", 2 * count - 3)):
            s = through_thickness(count, rule)
            for d in range(degree + 1):
                assert (s[:, 1] * s[:, 0] ** d).sum() == pytest.approx(0.0 if d % 2 else 0.5**d / (d + 1), abs=1e-13)
