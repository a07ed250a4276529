"""Fitting every hardening law to a flow curve, by least squares on the stress."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from diewright.errors import InputError, SolveError
from diewright.sheet.hardening import HardeningLaw, HockettSherby, Hollomon, Ludwik, Swift, SwiftVoce, Table, Voce, uniform_strain
from diewright.sheet.surface import Floats

FITTED = ("swift", "hollomon", "ludwik", "voce", "hockett-sherby", "swift-voce")


@dataclass(frozen=True)
class LawFit:
    """A law and its root-mean-square misfit [MPa]."""

    law: HardeningLaw
    rms: float


def fit_law(name: str, ep: Floats, stress: Floats) -> LawFit:
    """The law ``name`` through plastic strains ``ep`` [-] and true stresses [MPa]; ``table`` takes smoothed points themselves.

    Parameters are searched as logarithms, so they stay above zero. Raises :class:`SolveError` if the search fails.
    """
    if len(ep) < 8 or len(ep) != len(stress):
        raise InputError(f"{len(ep)} points are too few to fit a hardening law: expected 8 or more.", where=f"hardening {name}")
    if name == "table":
        law: HardeningLaw = _table(ep, stress)
    elif name == "swift-voce":
        law = _mix(ep, stress)
    else:
        law = _search(name, ep, stress)
    rms = float(np.sqrt(np.mean((law.stress(ep) - stress) ** 2)))
    if not math.isfinite(rms):
        raise SolveError(f"The fit of the hardening law {name} gave no finite misfit.")
    return LawFit(law, rms)


def rank_laws(ep: Floats, stress: Floats) -> list[LawFit]:
    """Fits of all the laws with a formula, best first."""
    return sorted((fit_law(name, ep, stress) for name in FITTED), key=lambda f: f.rms)


def converted(law: HardeningLaw, name: str) -> LawFit:
    """The law ``name`` fitted to another law from 0.2 % to its uniform strain (at least 10 %)."""
    ep = np.linspace(0.002, max(uniform_strain(law), 0.10), 80)
    return fit_law(name, ep, law.stress(ep))


def _search(name: str, ep: Floats, stress: Floats) -> HardeningLaw:
    first, last = float(stress[0]), float(stress.max())
    rise = max(last - first, 0.02 * last)
    swift_n = min(max(float(np.polyfit(np.log(np.maximum(ep, 1e-4)), np.log(stress), 1)[0]), 0.03), 0.6)
    k = last / max(float(ep[-1]), 0.02) ** swift_n
    build: Callable[[Floats], HardeningLaw]
    start: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    if name == "swift":
        build, start, low, high = (lambda p: Swift(p[0], p[1], p[2])), (k, 5e-3, swift_n), (1, 1e-7, 0.005), (2e4, 0.5, 0.95)
    elif name == "hollomon":
        build, start, low, high = (lambda p: Hollomon(p[0], p[1])), (k, swift_n), (1, 0.005), (2e4, 0.95)
    elif name == "ludwik":
        build, start, low, high = (lambda p: Ludwik(p[0], p[1], p[2])), (0.9 * first, 2.0 * rise, 0.5), (1e-3, 1, 0.02), (last, 2e4, 0.99)
    elif name == "voce":
        build, start, low, high = (lambda p: Voce(p[0] + p[1], p[0], p[2])), (first, 1.1 * rise, 10.0), (1e-2, 1e-2, 0.3), (last, 1e4, 500)
    elif name == "hockett-sherby":
        build = lambda p: HockettSherby(p[0] + p[1], p[0], p[2], p[3])  # noqa: E731
        start, low, high = (0.9 * first, 1.3 * rise, 4.0, 0.7), (1e-2, 1e-2, 0.02, 0.1), (last, 1e4, 500, 1.4)
    else:
        raise InputError(
            f"'{name}' is not a hardening law that can be fitted: expected one of {', '.join(FITTED)} or table.", where="hardening law"
        )
    lo, hi = np.log(low), np.log(high)
    x0 = np.clip(np.log(start), lo + 1e-6, hi - 1e-6)
    found = least_squares(
        lambda x: (build(np.exp(x)).stress(ep) - stress) / last, x0, bounds=(lo, hi), xtol=1e-12, ftol=1e-12, max_nfev=400
    )
    return build(np.array([float(v) for v in np.exp(found.x)]))


def _mix(ep: Floats, stress: Floats) -> SwiftVoce:
    """Share of a fitted Swift and a fitted Voce law; a free search over all seven numbers is not determined by a tensile test."""
    swift, voce = _search("swift", ep, stress), _search("voce", ep, stress)
    assert isinstance(swift, Swift)
    assert isinstance(voce, Voce)
    apart = swift.stress(ep) - voce.stress(ep)
    size = float(apart @ apart)
    share = float(apart @ (stress - voce.stress(ep))) / size if size > 0 else 0.5
    return SwiftVoce(min(max(share, 0.0), 1.0), swift.K, swift.e0, swift.n, voce.ss, voce.s0, voce.c)


def _table(ep: Floats, stress: Floats) -> Table:
    """Points themselves, made to rise, and led back to zero strain along the first chord."""
    rising = np.maximum.accumulate(stress)
    start = float(np.clip(rising[0] - ep[0] * (rising[1] - rising[0]) / (ep[1] - ep[0]), 0.5 * rising[0], rising[0]))
    if ep[0] <= 0:
        return Table(tuple(ep - ep[0]), tuple(rising))
    return Table((0.0, *ep), (start, *rising))
