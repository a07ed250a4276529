"""Triangles of even shape over a triangulated surface: split, collapse, flip, smooth, and back onto the surface.

The known scheme of Botsch and Kobbelt (2004): split edges longer than 4/3 of the wanted length, collapse those shorter than 0.7 of it, flip
towards Delaunay, move points within the tangent plane and project them onto the given triangles. Each pass changes a set of edges
that do not touch each other, so that it runs on whole arrays. Rims and creases stay where they are: their points move only along them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

LONG, SHORT = 4.0 / 3.0, 0.7
Wanted = Callable[[np.ndarray], np.ndarray]


class Edges:
    """Edges of a triangle mesh: ``ends (k, 2)`` sorted, ``sides (k, 2)`` triangles (-1: none), ``apex (k, 2)`` opposite points,
    ``of (m, 3)`` the edge opposite each corner's next pair (corner i to i+1)."""

    def __init__(self, t: np.ndarray) -> None:
        m = len(t)
        directed = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
        far = np.concatenate([t[:, 2], t[:, 0], t[:, 1]])
        n = int(t.max()) + 1
        key, inverse = np.unique(_keys(directed, n), return_inverse=True)
        ends = np.c_[key // n, key % n]
        self.ends = ends
        self.of = inverse.reshape(3, m).T
        owner = np.tile(np.arange(m), 3)
        self.sides = np.full((len(ends), 2), -1, dtype=np.int64)
        self.apex = np.full((len(ends), 2), -1, dtype=np.int64)
        order = np.argsort(inverse, kind="stable")
        first = np.searchsorted(inverse[order], np.arange(len(ends)))
        self.sides[:, 0], self.apex[:, 0] = owner[order[first]], far[order[first]]
        second = first + 1
        has = (second < len(order)) & (inverse[order[np.minimum(second, len(order) - 1)]] == np.arange(len(ends)))
        self.sides[has, 1], self.apex[has, 1] = owner[order[second[has]]], far[order[second[has]]]


def _keys(pairs: np.ndarray, n: int) -> np.ndarray:
    pairs = np.sort(pairs, axis=1).astype(np.int64)
    return pairs[:, 0] * n + pairs[:, 1]


def _normals(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    d = np.cross(p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]])
    return d / np.maximum(np.linalg.norm(d, axis=1, keepdims=True), 1e-300)


def remesh(
    points: np.ndarray, triangles: np.ndarray, lines: np.ndarray, wanted: Wanted, chord: float, rounds: int = 6
) -> tuple[np.ndarray, np.ndarray]:
    """New points and triangles; ``lines (k, 2)`` are rim and crease edges, ``wanted(points)`` the edge lengths, ``chord`` [mm] how far a line may be cut short."""
    from igl import AABB

    tree = AABB()
    source_t = np.ascontiguousarray(triangles, dtype=np.int64)
    tree.init(points, source_t)
    p, t, f = points.copy(), triangles.astype(np.int64), np.sort(lines, axis=1).astype(np.int64)
    corner = _corners(p, f)
    rng = np.random.default_rng(11)
    for i in range(rounds):
        for _ in range(25 if i == 0 else 8):
            before = len(t)
            p, t, f, corner, _ = _collapse(p, t, f, corner, wanted, chord, rng)
            if before - len(t) < 0.004 * before:
                break
        for _ in range(8 if i == 0 else 3):
            p, t, f, corner, changed = _split(p, t, f, corner, wanted)
            if not changed:
                break
        for _ in range(4):
            t, changed = _flip(p, t, f)
            if not changed:
                break
        for _ in range(2):
            p = _smooth(p, t, f)
            inner = np.ones(len(p), dtype=bool)
            inner[f.ravel()] = False
            _, _, near = tree.squared_distance(points, source_t, np.ascontiguousarray(p[inner]))
            p[inner] = near
    return p, t


def _corners(p: np.ndarray, f: np.ndarray) -> np.ndarray:
    """Points that stay: where lines end, meet, or turn by more than 35 degrees."""
    n = len(p)
    degree = np.bincount(f.ravel(), minlength=n)
    total = np.zeros((n, 3))
    away = p[f[:, 1]] - p[f[:, 0]]
    away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-300)
    np.add.at(total, f[:, 0], away)
    np.add.at(total, f[:, 1], -away)
    # two unit vectors leaving a point at an angle of pi - a add up to 2 sin(a / 2)
    return (degree > 0) & ((degree != 2) | (np.linalg.norm(total, axis=1) > 2 * np.sin(np.radians(35) / 2)))


def _split(
    p: np.ndarray, t: np.ndarray, f: np.ndarray, corner: np.ndarray, wanted: Wanted
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, bool]:
    e = Edges(t)
    middle = 0.5 * (p[e.ends[:, 0]] + p[e.ends[:, 1]])
    ratio = np.linalg.norm(p[e.ends[:, 0]] - p[e.ends[:, 1]], axis=1) / wanted(middle)
    ratio = np.where(ratio > LONG, ratio, 0.0)
    best = e.of[np.arange(len(t)), np.argmax(ratio[e.of], axis=1)]
    pick = ratio > 0
    for side in (0, 1):
        has = e.sides[:, side] >= 0
        pick[has] &= best[e.sides[has, side]] == np.flatnonzero(has)
    chosen = np.flatnonzero(pick)
    if len(chosen) == 0:
        return p, t, f, corner, False
    n = len(p)
    number = np.full(len(e.ends), -1)
    number[chosen] = n + np.arange(len(chosen))
    mid = number[e.of]
    hit = mid.max(axis=1) >= 0
    which = np.argmax(mid, axis=1)
    old = t[hit]
    k = which[hit]
    rows = np.arange(len(old))
    a, b, c = old[rows, k], old[rows, (k + 1) % 3], old[rows, (k + 2) % 3]
    m = mid[hit].max(axis=1)
    t = np.concatenate([t[~hit], np.c_[a, m, c], np.c_[m, b, c]])
    key, mine = _keys(e.ends[chosen], n), _keys(f, n)
    order = np.argsort(mine)
    at = order[np.minimum(np.searchsorted(mine[order], key), max(len(mine) - 1, 0))] if len(f) else np.zeros(len(key), dtype=int)
    on_line = mine[at] == key if len(f) else np.zeros(len(key), dtype=bool)
    new = number[chosen][on_line]
    f = np.concatenate([np.delete(f, at[on_line], axis=0), np.c_[f[at[on_line], 0], new], np.c_[f[at[on_line], 1], new]])
    return np.concatenate([p, middle[chosen]]), t, f, np.concatenate([corner, np.zeros(len(chosen), dtype=bool)]), True


def _collapse(
    p: np.ndarray, t: np.ndarray, f: np.ndarray, corner: np.ndarray, wanted: Wanted, chord: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, bool]:
    from scipy.sparse import coo_matrix

    n, e = len(p), Edges(t)
    h = wanted(p)
    length = np.linalg.norm(p[e.ends[:, 0]] - p[e.ends[:, 1]], axis=1)
    on_line = np.isin(_keys(e.ends, n), _keys(f, n))
    lined = np.zeros(n, dtype=bool)
    lined[f.ravel()] = True
    adjacent = coo_matrix((np.ones(2 * len(e.ends)), (e.ends.ravel(), e.ends[:, ::-1].ravel())), shape=(n, n)).tocsr()
    both = np.asarray((adjacent @ adjacent)[e.ends[:, 0], e.ends[:, 1]]).ravel()
    sound = both == (e.sides >= 0).sum(axis=1)
    short = sound & (length < SHORT * np.minimum(h[e.ends[:, 0]], h[e.ends[:, 1]]))
    drop, keep = _direction(e.ends, short, on_line, lined, corner)
    used = drop >= 0
    if not used.any():
        return p, t, f, corner, False
    drop, keep = drop[used], keep[used]
    fine = _lines_stay(p, f, drop, keep, lined, chord)
    drop, keep = drop[fine], keep[fine]
    if len(drop) == 0:
        return p, t, f, corner, False
    start, list_t = _around(t, n)
    # no triangle may turn over or become flat, and no edge too long
    owner, tri = _expand(drop, start, list_t)
    old = t[tri]
    moved = np.where(old == drop[owner, None], keep[owner, None], old)
    gone = (old == keep[owner, None]).any(axis=1)
    turned = (_normals(p, old) * _normals(p, moved)).sum(axis=1) < 0.5
    flat = _shape(p, moved) < 0.1 * np.minimum(1.0, 10 * _shape(p, old))
    longest = np.max([np.linalg.norm(p[moved[:, i]] - p[moved[:, (i + 1) % 3]], axis=1) for i in range(3)], axis=0)
    fine = np.ones(len(drop), dtype=bool)
    fine[owner[~gone & (turned | flat | (longest > 1.5 * h[keep[owner]]))]] = False
    drop, keep = drop[fine], keep[fine]
    # of those whose surroundings touch, the first of a shuffled order is done
    rank = rng.permutation(len(drop))
    owner_d, tri_d = _expand(drop, start, list_t)
    owner_k, tri_k = _expand(keep, start, list_t)
    owner, tri = np.concatenate([owner_d, owner_k]), np.concatenate([tri_d, tri_k])
    least = np.full(len(t), np.iinfo(np.int64).max)
    np.minimum.at(least, tri, rank[owner])
    ok = np.ones(len(drop), dtype=bool)
    ok[owner[least[tri] != rank[owner]]] = False
    if not ok.any():
        return p, t, f, corner, False
    to = np.arange(n)
    to[drop[ok]] = keep[ok]
    t, f = to[t], to[f]
    t = t[~(t == t[:, [1, 2, 0]]).any(axis=1)]
    f = np.unique(np.sort(f[f[:, 0] != f[:, 1]], axis=1), axis=0)
    alive = np.zeros(n, dtype=bool)
    alive[t.ravel()] = True
    new = np.cumsum(alive) - 1
    return p[alive], new[t], new[f], corner[alive], True


def _direction(
    ends: np.ndarray, short: np.ndarray, on_line: np.ndarray, lined: np.ndarray, corner: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """For each edge the point that may go and the one that stays (-1: none)."""
    drop, keep = np.full(len(ends), -1), np.full(len(ends), -1)
    for a, b in ((0, 1), (1, 0)):
        v, u = ends[:, a], ends[:, b]
        may = short & (drop < 0) & ~corner[v] & (~lined[v] | (on_line & lined[u]))
        drop[may], keep[may] = v[may], u[may]
    return drop, keep


def _lines_stay(p: np.ndarray, f: np.ndarray, drop: np.ndarray, keep: np.ndarray, lined: np.ndarray, chord: float) -> np.ndarray:
    """Whether dropping a point of a line leaves the line within ``chord`` of it."""
    fine = np.ones(len(drop), dtype=bool)
    if len(f) == 0:
        return fine
    total = np.zeros(len(p), dtype=np.int64)
    np.add.at(total, f[:, 0], f[:, 1])
    np.add.at(total, f[:, 1], f[:, 0])
    mine = lined[drop]
    v, u = drop[mine], keep[mine]
    w = total[v] - u  # the other neighbour along the line: a point that may go has two
    along = p[w] - p[u]
    off = np.cross(p[v] - p[u], along)
    fine[mine] = np.linalg.norm(off, axis=1) <= 0.5 * chord * np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    return fine


def _around(t: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
    order = np.argsort(t.ravel(), kind="stable")
    return np.searchsorted(t.ravel()[order], np.arange(n + 1)), order // 3


def _expand(points: np.ndarray, start: np.ndarray, list_t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    count = start[points + 1] - start[points]
    owner = np.repeat(np.arange(len(points)), count)
    offset = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    return owner, list_t[start[points][owner] + offset]


def _shape(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    a, b, c = p[t[:, 0]], p[t[:, 1]], p[t[:, 2]]
    squares = ((b - a) ** 2).sum(axis=1) + ((c - b) ** 2).sum(axis=1) + ((a - c) ** 2).sum(axis=1)
    return 2 * np.sqrt(3) * np.linalg.norm(np.cross(b - a, c - a), axis=1) / np.maximum(squares, 1e-300)


def _flip(p: np.ndarray, t: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, bool]:
    n, e = len(p), Edges(t)
    inner = (e.sides[:, 1] >= 0) & ~np.isin(_keys(e.ends, n), _keys(f, n))
    a, b = e.ends[:, 0], e.ends[:, 1]
    c, d = e.apex[:, 0], np.where(inner, e.apex[:, 1], e.apex[:, 0])

    def angle(at: np.ndarray) -> np.ndarray:
        u, v = p[a] - p[at], p[b] - p[at]
        return np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), (u * v).sum(axis=1))

    gain = np.where(inner, angle(c) + angle(d) - np.pi, -1.0)
    # orientation: the triangle of side 0 holds a -> b or b -> a
    first = t[e.sides[:, 0]]
    forward = ((first == a[:, None]) & (np.roll(first, -1, axis=1) == b[:, None])).any(axis=1)
    s, g = np.where(forward, a, b), np.where(forward, b, a)
    one, two = np.c_[s, d, c], np.c_[d, g, c]
    n1, n2 = _normals(p, first), _normals(p, t[np.where(inner, e.sides[:, 1], e.sides[:, 0])])
    m1, m2 = _normals(p, one), _normals(p, two)
    smooth = ((n1 * n2).sum(axis=1) > 0.5) & ((m1 * m2).sum(axis=1) > 0.5) & ((m1 * n1).sum(axis=1) > 0.5) & ((m2 * n2).sum(axis=1) > 0.5)
    fresh = ~np.isin(_keys(np.c_[c, d], n), _keys(e.ends, n))
    gain = np.where(inner & smooth & fresh & (gain > 1e-6), gain, 0.0)
    best = e.of[np.arange(len(t)), np.argmax(gain[e.of], axis=1)]
    pick = gain > 0
    for side in (0, 1):
        pick[inner] &= best[e.sides[inner, side]] == np.flatnonzero(inner)
    chosen = np.flatnonzero(pick)
    if len(chosen) == 0:
        return t, False
    # two flips may want the same new edge: keep the first
    _, unique = np.unique(_keys(np.c_[c, d][chosen], n), return_index=True)
    chosen = chosen[unique]
    t = t.copy()
    t[e.sides[chosen, 0]], t[e.sides[chosen, 1]] = one[chosen], two[chosen]
    return t, True


def _smooth(p: np.ndarray, t: np.ndarray, f: np.ndarray) -> np.ndarray:
    """Move points off the lines towards the area-weighted middle of their triangles, within the tangent plane."""
    doubled = np.cross(p[t[:, 1]] - p[t[:, 0]], p[t[:, 2]] - p[t[:, 0]])
    area = np.linalg.norm(doubled, axis=1)
    middle = p[t].mean(axis=1)
    total, weight, normal = np.zeros_like(p), np.zeros(len(p)), np.zeros_like(p)
    for i in range(3):
        np.add.at(total, t[:, i], area[:, None] * middle)
        np.add.at(weight, t[:, i], area)
        np.add.at(normal, t[:, i], doubled)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    step = total / np.maximum(weight, 1e-300)[:, None] - p
    step -= (step * normal).sum(axis=1, keepdims=True) * normal
    step[f.ravel()] = 0.0
    return p + 0.8 * step
