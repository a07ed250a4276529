"""Our values for ``reference/sheet.csv``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from diewright.sheet.chosen import Figures
from diewright.sheet.hardening import Hollomon, Swift, uniform_strain
from diewright.sheet.library import load
from diewright.sheet.limits import hill_local_neck, instability_strain, keeler_brazier_flc0, storen_rice, swift_diffuse
from diewright.sheet.mk import marciniak_kuczynski
from diewright.sheet.quadratic import Hill48, Mises
from diewright.sheet.surface import YieldSurface
from diewright.sheet.yld2000 import Yld2000
from diewright.sheet.yld2000fit import Measures, fit_yld2000

ANGLES = (0, 15, 30, 45, 60, 75, 90)

A_2090_RB = (0.4865, 1.3783, 0.7536, 1.0246, 1.0363, 0.9036, 1.2321, 1.4858)
A_2090_L = (0.3788, 1.4712, 0.8452, 1.0289, 1.0243, 0.8452, 1.2314, 1.4747)
A_2090_96 = (0.6066, 1.2472, 0.5973, 1.0079, 1.0488, 0.9675, 1.2308, 1.5130)  # a8 as corrected; the paper prints 0.5130
A_6022_L = (0.9355, 1.0350, 0.9337, 1.0539, 1.0102, 0.9337, 0.9594, 1.1828)
A_5352 = (0.6547, 1.2883, 0.9050, 0.8641, 0.9710, 0.6820, 1.0091, 1.2084)


def directional(surface: YieldSurface, over_s0: bool = False) -> dict[str, float]:
    """``s0`` .. ``s90``, ``r0`` .. ``r90``, ``sb``, ``rb``; stresses over the first one if asked."""
    s, r = surface.directional(ANGLES)
    sb, rb = surface.biaxial()
    unit = float(s[0]) if over_s0 else 1.0
    out = {f"s{a}": float(v) / unit for a, v in zip(ANGLES, s, strict=True)}
    out |= {f"r{a}": float(v) for a, v in zip(ANGLES, r, strict=True)}
    return {**out, "sb": sb / unit, "rb": rb}


def yld2000(alpha: Sequence[float]) -> dict[str, float]:
    """Directional values of a published coefficient set, exponent 8."""
    return directional(Yld2000(tuple(alpha), 8.0))


def yld2000_6016() -> dict[str, float]:
    """The library's set for AA6016-T4."""
    return directional(load("EN AW-6016-T4").surface("yld2000"))


def fitted(measures: Measures) -> dict[str, float]:
    """Coefficients ``a1`` .. ``a8`` from published measurements."""
    return {f"a{i}": v for i, v in enumerate(fit_yld2000(measures, 8.0).alpha, start=1)}


def hill(r0: float, r45: float, r90: float) -> dict[str, float]:
    """Hill 1948 from r-values: parameters and directional values."""
    h = Hill48.from_r(r0, r45, r90)
    return {**h.parameters(), **directional(h)}


def hill_5352() -> dict[str, float]:
    """The published Hill set has G + H = 2: ours is half of it."""
    return directional(Hill48(0.7782 / 2, 0.7572 / 2, 1.2428 / 2, 3.4687 / 2), over_s0=True)


def yld2000_5352() -> dict[str, float]:
    """Yld2000-2d on the common target, over its own stress at 0 degrees."""
    return directional(Yld2000(A_5352, 8.0), over_s0=True)


def hill_shear() -> dict[str, float]:
    """Largest normalised shear for r 0.7, 5, 1."""
    return {"maximum shear": 1.0 / float(Hill48.from_r(0.7, 5.0, 1.0).equivalent([0.0, 0.0, 1.0]))}


def mean_r() -> dict[str, float]:
    """ISO 10113 means of 0.9, 1.3, 1.9."""
    f = Figures({"r0": 0.9, "r45": 1.3, "r90": 1.9}, {})
    return {"rbar": f.rbar, "delta_r": f.delta_r}


def initial_yields() -> dict[str, float]:
    """Flow stress at zero plastic strain."""
    return {
        "numisheet93 steel": float(Swift(565.32, 0.007117, 0.2589).stress(0.0)),
        "numisheet93 aluminium": float(Swift(576.79, 0.01658, 0.3593).stress(0.0)),
        "6111-T4 voce": float(load("EN AW-6111-T4").hardening[0].build().stress(0.0)),
        "5182-O": float(load("EN AW-5182-O").hardening[0].build().stress(0.0)),
    }


def keeler() -> dict[str, float]:
    """FLC0 in engineering percent and true strain."""
    pct = {"t1.0 n0.21": (1.0, 0.21), "t0.8 n0.20": (0.8, 0.20), "t1.2 n0.16": (1.2, 0.16), "t2.0 n0.18": (2.0, 0.18)}
    out = {k: keeler_brazier_flc0(*v) for k, v in pct.items()}
    out |= {f"{k} true": float(np.log1p(out[k] / 100.0)) for k in ("t1.0 n0.21", "t1.2 n0.16", "t2.0 n0.18")}
    out["inch factor"] = (keeler_brazier_flc0(0.05, 0.21, "inch") - 23.3) / 0.05
    out["mm factor in inches"] = (keeler_brazier_flc0(1.0, 0.21) - 23.3) * 25.4
    return out


def considere() -> dict[str, float]:
    """Uniform strain of Swift laws."""
    return {"n0.22 e0.01": uniform_strain(Swift(500.0, 0.01, 0.22)), "n0.25 e0": uniform_strain(Hollomon(500.0, 0.25))}


def instability() -> dict[str, float]:
    """Closed forms with n = 0.2, and the general formulation on the von Mises surface beside them."""
    n = 0.2
    general = dict(zip((-0.5, 0.0, 0.5, 1.0), instability_strain(Mises(), Hollomon(500.0, n), [-0.5, 0.0, 0.5, 1.0]), strict=True))
    return {
        "hill rho -0.5": float(hill_local_neck(n, -0.5)),
        "hill rho -0.5 general": float(general[-0.5]),
        "plane strain general": float(general[0.0]),
        "swift rho -0.5": float(swift_diffuse(n, -0.5)),
        "swift rho 0": float(swift_diffuse(n, 0.0)),
        "swift rho 0.5 general": float(general[0.5]),
        "swift rho 1": float(swift_diffuse(n, 1.0)),
        "swift rho 1 general": float(general[1.0]),
        "storen-rice rho 0": float(storen_rice(n, 0.0)),
        "storen-rice rho 1": float(storen_rice(n, 1.0)),
    }


def groove_plane_strain(surface: YieldSurface) -> dict[str, float]:
    """Plane-strain limits of the groove analysis, power law, no rate term; any surface must give the same."""
    return {
        f"n{n:.2f} f{f:g}": float(marciniak_kuczynski(surface, Hollomon(500.0, n), f, ratios=[0.0]).major[0])
        for n in (0.20, 0.22, 0.25)
        for f in (0.98, 0.99, 0.995, 0.999)
    }


# grade -> quantity -> (lowest, highest) of the standard, None for none
STANDARD: dict[str, dict[str, tuple[float | None, float | None]]] = {
    "DC01": {"Rp02": (None, 280), "Rm": (270, 410), "A80": (28, None)},
    "DC03": {"Rp02": (None, 240), "Rm": (270, 370), "A80": (34, None), "r90": (1.3, None)},
    "DC04": {"Rp02": (None, 210), "Rm": (270, 350), "A80": (38, None), "r90": (1.6, None), "n": (0.180, None)},
    "DC05": {"Rp02": (None, 180), "Rm": (270, 330), "A80": (40, None), "r90": (1.9, None), "n": (0.200, None)},
    "DC06": {"Rp02": (None, 170), "Rm": (270, 330), "A80": (41, None), "r90": (2.1, None), "n": (0.220, None)},
    "DC07": {"Rp02": (None, 150), "Rm": (250, 310), "A80": (44, None), "r90": (2.5, None), "n": (0.230, None)},
    "HC260LA": {"Rp02": (260, 330), "Rm": (350, 430), "A80": (26, None)},
    "HC300LA": {"Rp02": (300, 380), "Rm": (380, 480), "A80": (23, None)},
    "HC340LA": {"Rp02": (340, 420), "Rm": (410, 510), "A80": (21, None)},
    "HC380LA": {"Rp02": (380, 480), "Rm": (440, 580), "A80": (19, None)},
    "HC420LA": {"Rp02": (420, 520), "Rm": (470, 600), "A80": (17, None)},
    "HC180Y": {"Rp02": (180, 230), "Rm": (330, 400), "A80": (35, None), "r90": (1.7, None), "n": (0.19, None)},
    "HC220B": {"Rp02": (220, 270), "Rm": (320, 400), "A80": (32, None)},
    "HC260B": {"Rp02": (260, 320), "Rm": (360, 440), "A80": (29, None)},
    "HCT600X": {"Rp02": (330, 430), "Rm": (590, None), "A80": (20, None), "n": (0.14, None)},
    "HCT780X": {"Rp02": (440, 550), "Rm": (780, None), "A80": (14, None)},
    "1.4301": {"Rp02": (230, None), "Rm": (540, 750), "A80": (45, None)},
    "CuZn37": {"Rp02": (None, 180), "Rm": (300, 370), "A80": (48, None)},
}


def outside_standard(grade: str) -> dict[str, float]:
    """How far each figure of the library entry lies outside the standard's limits; 0 inside."""
    sheet = load(grade)
    out = {}
    for key, (low, high) in STANDARD[grade].items():
        value = sheet.number_of(key)
        out[f"{key} outside"] = max(0.0, (low - value) if low is not None else 0.0, (value - high) if high is not None else 0.0)
    return out


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "yld2000-2090-exp-rb": partial(yld2000, A_2090_RB),
    "yld2000-2090-l12": partial(yld2000, A_2090_L),
    "yld2000-2090-corrected": partial(yld2000, A_2090_96),
    "yld2000-6022-l12": partial(yld2000, A_6022_L),
    "yld2000-6016": yld2000_6016,
    "yld2000-5352": yld2000_5352,
    "yld2000-fit-2090": partial(fitted, Measures(1.0, 0.811, 0.910, 1.035, 0.21, 1.58, 0.69, 0.67)),
    "yld2000-fit-6022": partial(fitted, Measures(0.994, 0.962, 0.948, 1.0, 0.70, 0.48, 0.59)),
    "hill48-5352": hill_5352,
    "hill48-cup-steel": partial(hill, 1.79, 1.51, 2.27),
    "hill48-cup-aluminium": partial(hill, 0.71, 0.58, 0.70),
    "hill48-6022": partial(hill, 0.70, 0.48, 0.59),
    "hill48-304": partial(hill, 0.822, 1.104, 0.798),
    "hill48-shear": hill_shear,
    "r-means": mean_r,
    "initial-yield": initial_yields,
    "keeler-brazier": keeler,
    "considere": considere,
    "instability": instability,
    "mk-plane-strain-mises": partial(groove_plane_strain, Mises()),
    "mk-plane-strain-hill48": partial(groove_plane_strain, Hill48.from_r(1.79, 1.51, 2.27)),
    "mk-plane-strain-yld2000": partial(groove_plane_strain, Yld2000(A_2090_RB, 8.0)),
    **{f"standard-{grade.lower()}": partial(outside_standard, grade) for grade in STANDARD},
}
