"""Wrinkles: the tendency to them, and their height.

**Tendency** is the share of compression in the stress of the middle (see ``sheet.limit_margin``): it says where the sheet is pressed together in its plane.

**Height** is measured on the shape. A wrinkle is a wave *along the direction in which the sheet is pressed together*, 4 to 30 thicknesses long; what is curved
across that direction (die radius, punch radius, wall) is the part. So, in the flat blank as the map of the sheet:

1. round each node, a strip that follows the pressed direction ``s``: a polynomial (1, s, s2, r, r2, r3, sr, s2r, sr2) is fitted to the places of the nodes by least squares with
   Gaussian weights, ``longest / 2`` wide along ``s`` and nearly an edge wide across (``r``). It follows waves that are much longer than ``longest`` and any
   curvature across; a wave of length L is taken out to ``1 - exp(-x)(1 + x)``, ``x = (pi longest / L)^2 / 2``: 96 % at ``longest``, all of it below two thirds.
2. the node's distance from that fit along the sheet's normal is its deviation;
3. the **height** is crest over valley: largest less least deviation within half of ``longest`` to both sides along the strip. A sheet between flat die and holder
   that touches both has the height *gap - thickness*.

A tight corner of the part is curved along ``s`` too. There the sheet is measured against the tools: ``offsets`` holds the distance of each node to a smooth tool face
(one row a tool, nan where that face is not opposite). A wave of the sheet is in its place and in its distances alike, the curvature of the tool is only in its place; the
least of the heights counts. Without such rows a corner of radius R shows up where R is below about ``2 longest``.

Measured on clean cups with a die radius of 5.5 t: 0.05 t at edges of 2 t, 0.1 t at 3 t, 0.2 t at 4 t: refine for tight radii. Waves need five edges a length to be seen; ``resolved`` says how short a wave the mesh can show.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from diewright.errors import InputError
from diewright.sheet.limit_margin import wrinkle_tendency
from diewright.tryout.strains import principal
from diewright.tryout.strip import neighbours

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]

LONGEST = 30.0
"""Longest wave that counts as a wrinkle, in thicknesses."""
SHARE = 0.5
"""Width of the fit's Gaussian over the longest wave."""
REACH = 2.3
"""Gaussian widths at which the fit ends."""
TURNED = 0.5
"""Least cosine between the directions at both ends of a strip: beyond 60 degrees they are no longer one direction."""
EDGES = 5.0
"""Edges a wave needs."""
_CHUNK = 5000
BLIND = 0.03
"""False height of a clean die radius over edge squared and thickness, with a factor of two to spare (0.05 t at edges of 2.2 t, 0.23 t at 4 t)."""


def tendency(stress: Floats, plastic_strain: Floats) -> Floats:
    """0 to 1 from the mean stress ``(m, 3)`` (11, 22, 12) [MPa] through the thickness and the plastic strain ``(m,)``."""
    s1, s2, _ = principal(stress * np.array([1.0, 1.0, 2.0]))
    return wrinkle_tendency(np.column_stack([s1, s2]), plastic_strain)


def resolved(triangles: Ints, flat: Floats) -> float:
    """The shortest wave [mm] that the mesh can show: five median edges."""
    sides = flat[triangles] - flat[np.roll(triangles, 1, axis=1)]
    return EDGES * float(np.median(np.linalg.norm(sides, axis=-1)))


def pressed_axes(strain: Floats, triangles: Ints, areas: Floats, flat: Floats, reach: float) -> Floats:
    """Direction of least strain ``(n, 2)`` at the nodes, in the axes of ``strain`` ``(m, 3)`` (11, 22, engineering 12).

    Directions have no sign, so the strains less their mean are averaged, over the triangles within ``reach`` [mm] of each node: weighted with their area and with how
    different the two strains are. Where there is no difference the direction is arbitrary.
    """
    centre = flat[triangles].mean(axis=1)
    half = 0.5 * (strain[:, 0] - strain[:, 1])
    tree, nodes = cKDTree(centre), cKDTree(flat)
    pairs = nodes.sparse_distance_matrix(tree, reach, output_type="coo_matrix").tocsr()
    pairs.data = np.exp(-2.0 * (pairs.data / reach) ** 2)
    cos2, sin2 = pairs @ (areas * half), pairs @ (areas * 0.5 * strain[:, 2])
    angle = 0.5 * np.arctan2(sin2, cos2) + 0.5 * np.pi
    return np.column_stack([np.cos(angle), np.sin(angle)])


class WrinkleMeter:
    """Height of wrinkles on one mesh, frame by frame.

    Parameters
    ----------
    flat: (n, 2) nodes of the flat blank [mm]. triangles: (m, 3). axes: (n, 2) direction in the flat blank along which the sheet is pressed together.
    thickness: [mm]. longest: longest wave in thicknesses.

    The fits are laid once (they depend on the flat blank only); a frame then costs some milliseconds. Raises :class:`InputError` for arrays that do not fit together.
    """

    def __init__(self, flat: Floats, triangles: Ints, axes: Floats, thickness: float, *, longest: float = LONGEST) -> None:
        if flat.shape != (len(flat), 2) or axes.shape != flat.shape or not thickness > 0:
            raise InputError(
                f"nodes {flat.shape}, directions {axes.shape} and thickness {thickness:g} do not belong together.", where="tryout wrinkle"
            )
        self._triangles, self._n = np.asarray(triangles), len(flat)
        sides = flat[self._triangles] - flat[np.roll(self._triangles, 1, axis=1)]
        length = np.linalg.norm(sides, axis=-1)
        edge = _spread(length.mean(axis=1), self._triangles, self._n)
        self._wave = longest * thickness
        self._blind = BLIND * edge**2 / thickness
        self._smooth, self._near = self._lay(
            flat, axes / np.linalg.norm(axes, axis=1, keepdims=True), edge, _node_areas(flat, self._triangles)
        )

    def _lay(self, flat: Floats, axes: Floats, edge: Floats, areas: Floats) -> tuple[csr_matrix, NDArray[np.intp]]:
        sigma, across = SHARE * self._wave, 0.9 * edge
        order = np.argsort(flat[:, 0], kind="stable")
        own = np.zeros(self._n, dtype=np.int64)
        rows, cols, weights, near = [], [], [], []
        for first in range(0, self._n, _CHUNK):
            last = min(first + _CHUNK, self._n)
            own[order[first:last]] = np.arange(last - first)
            i, j, s, r = neighbours(order, flat, axes, first, last, REACH * sigma, 2.0 * across, TURNED)
            s, r = s / sigma, r / across[i]
            w = areas[j] * np.exp(-0.5 * (s * s + r * r))
            rows.append(i)
            cols.append(j)
            weights.append(_fit_weights(own[i], s, r, w, last - first))
            close = (np.abs(s) * sigma <= 0.5 * self._wave) & (np.abs(r) <= 0.6)
            near.append(np.column_stack([i[close], j[close]]))
        smooth = csr_matrix((np.concatenate(weights), (np.concatenate(rows), np.concatenate(cols))), shape=(self._n, self._n))
        return smooth, _table(np.concatenate(near), self._n)

    def heights(self, points: Floats, offsets: Floats | None = None) -> Floats:
        """Crest over valley ``(n,)`` [mm] of the sheet at ``points (n, 3)``; ``offsets (tools, n)`` distances to smooth tool faces, nan where there is none."""
        normals = _node_normals(points, self._triangles)
        found = self._range(((points - self._smooth @ points) * normals).sum(axis=1))
        for row in () if offsets is None else np.asarray(offsets, dtype=np.float64):
            seen = np.isfinite(row)
            field = np.where(seen, row, 0.0)
            # only where the whole neighbourhood faces the tool is its distance one smooth field
            whole = np.asarray(abs(self._smooth).sign() @ (~seen).astype(np.float64)) == 0.0
            found = np.where(whole, np.minimum(found, self._range(field - self._smooth @ field)), found)
        return found

    def told(self, points: Floats, offsets: Floats | None = None) -> Floats:
        """:meth:`heights`, nothing where they are no more than what the mesh makes of a smooth radius: ``BLIND edge^2/t``."""
        found = self.heights(points, offsets)
        return np.where(found > self._blind, found, 0.0)

    def _range(self, deviation: Floats) -> Floats:
        around = deviation[self._near]
        return around.max(axis=1) - around.min(axis=1)


def _fit_weights(i: NDArray[np.intp], s: Floats, r: Floats, w: Floats, n: int) -> Floats:
    """Weights of the neighbours in the fit's value at the node: first row of ``(A^T W A)^-1 A^T W``; ``i`` numbers the node of each pair."""
    a = np.column_stack([np.ones_like(s), s, s * s, r, r * r, r**3, s * r, s * s * r, s * r * r])
    k = a.shape[1]
    moments = np.zeros((n, k, k))
    for p in range(k):
        for q in range(p, k):
            moments[:, p, q] = moments[:, q, p] = np.bincount(i, weights=w * a[:, p] * a[:, q], minlength=n)
    scale = np.trace(moments, axis1=1, axis2=2)[:, None, None] / k
    # at the blank's edge a strip may have too few rows across: the touch of stiffness picks the flattest fit
    first = np.linalg.solve(moments + 1e-11 * scale * np.eye(k), np.eye(k)[:, :1])[:, :, 0]
    found = w * (a * first[i]).sum(axis=1)
    return found / np.bincount(i, weights=found, minlength=n)[i]


def _table(pairs: NDArray[np.intp], n: int) -> NDArray[np.intp]:
    """Neighbours of each node as a rectangular table, short rows filled with the node itself."""
    order = np.argsort(pairs[:, 0], kind="stable")
    i, j = pairs[order, 0], pairs[order, 1]
    count = np.bincount(i, minlength=n)
    out = np.repeat(np.arange(n, dtype=np.intp)[:, None], int(count.max()), axis=1)
    out[i, np.arange(len(i)) - np.repeat(np.cumsum(count) - count, count)] = j
    return out


def _spread(cell: Floats, triangles: Ints, n: int) -> Floats:
    corners = triangles.ravel()
    total, count = np.bincount(corners, weights=np.repeat(cell, 3), minlength=n), np.bincount(corners, minlength=n)
    return np.divide(total, count, out=np.full(n, float(cell.mean())), where=count > 0)


def _node_areas(flat: Floats, triangles: Ints) -> Floats:
    a, b, c = (flat[triangles[:, i]] for i in range(3))
    area = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    return np.bincount(triangles.ravel(), weights=np.repeat(area / 3.0, 3), minlength=len(flat)).astype(np.float64)


def _node_normals(points: Floats, triangles: Ints) -> Floats:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    total = np.zeros_like(points)
    for d in range(3):
        total[:, d] = np.bincount(triangles.ravel(), weights=np.repeat(cross[:, d], 3), minlength=len(points))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    return np.divide(total, length, out=np.zeros_like(total), where=length > 0)
