"""Hardening laws: flow stress [MPa] over equivalent plastic strain [-].

Every law is a frozen record with ``stress(ep)`` and ``slope(ep)``, both vectorised, ``parameters()`` and ``text()``.
Laws whose slope is infinite at zero strain (Hollomon, Ludwik, Hockett-Sherby) give the slope at ``SLOPE_FLOOR`` there.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from diewright.errors import InputError, SolveError

Floats = NDArray[np.float64]
SLOPE_FLOOR = 1e-6


class HardeningLaw(ABC):
    """Flow stress over plastic strain; strains below zero are taken as zero."""

    name: ClassVar[str]

    @abstractmethod
    def stress(self, ep: ArrayLike) -> Floats:
        """Flow stress [MPa] at plastic strain ``ep`` (any shape)."""

    @abstractmethod
    def slope(self, ep: ArrayLike) -> Floats:
        """d(stress)/d(ep) [MPa], same shape as ``ep``."""

    @abstractmethod
    def text(self) -> str:
        """The formula with its numbers, in one line."""

    def parameters(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON; :func:`hardening_law` takes them back."""
        out: dict[str, Any] = {}
        for f in fields(self):  # type: ignore[arg-type]
            value = getattr(self, f.name)
            out[f.name] = list(value) if isinstance(value, tuple) else value
        return out


def _strain(ep: ArrayLike, floor: float = 0.0) -> Floats:
    return np.maximum(np.asarray(ep, dtype=np.float64), floor)


def _need(law: str, **rules: tuple[float, float, float]) -> None:
    """Each rule is ``(value, low, high)``, the ends included."""
    for key, (value, low, high) in rules.items():
        if not (isinstance(value, (int, float)) and math.isfinite(value) and low <= value <= high):
            raise InputError(f"{value!r} cannot be used: expected a number from {low:g} to {high:g}.", where=f"hardening {law} {key}")


@dataclass(frozen=True)
class Swift(HardeningLaw):
    """``stress = K (e0 + ep)^n`` (Swift 1952)."""

    K: float
    e0: float
    n: float
    name: ClassVar[str] = "swift"

    def __post_init__(self) -> None:
        _need(self.name, K=(self.K, 1e-3, 1e5), e0=(self.e0, 1e-9, 1.0), n=(self.n, 0.0, 1.0))

    def stress(self, ep: ArrayLike) -> Floats:
        return self.K * (self.e0 + _strain(ep)) ** self.n

    def slope(self, ep: ArrayLike) -> Floats:
        return self.K * self.n * (self.e0 + _strain(ep)) ** (self.n - 1.0)

    def text(self) -> str:
        return f"{self.K:.4g} ({self.e0:.4g} + ep)^{self.n:.4g} MPa"


@dataclass(frozen=True)
class Hollomon(HardeningLaw):
    """``stress = K ep^n`` (Hollomon 1945); zero at zero strain."""

    K: float
    n: float
    name: ClassVar[str] = "hollomon"

    def __post_init__(self) -> None:
        _need(self.name, K=(self.K, 1e-3, 1e5), n=(self.n, 0.0, 1.0))

    def stress(self, ep: ArrayLike) -> Floats:
        return self.K * _strain(ep) ** self.n

    def slope(self, ep: ArrayLike) -> Floats:
        return self.K * self.n * _strain(ep, SLOPE_FLOOR) ** (self.n - 1.0)

    def text(self) -> str:
        return f"{self.K:.4g} ep^{self.n:.4g} MPa"


@dataclass(frozen=True)
class Ludwik(HardeningLaw):
    """``stress = s0 + K ep^n`` (Ludwik 1909)."""

    s0: float
    K: float
    n: float
    name: ClassVar[str] = "ludwik"

    def __post_init__(self) -> None:
        _need(self.name, s0=(self.s0, 0.0, 1e5), K=(self.K, 1e-3, 1e5), n=(self.n, 0.0, 1.0))

    def stress(self, ep: ArrayLike) -> Floats:
        return self.s0 + self.K * _strain(ep) ** self.n

    def slope(self, ep: ArrayLike) -> Floats:
        return self.K * self.n * _strain(ep, SLOPE_FLOOR) ** (self.n - 1.0)

    def text(self) -> str:
        return f"{self.s0:.4g} + {self.K:.4g} ep^{self.n:.4g} MPa"


@dataclass(frozen=True)
class Voce(HardeningLaw):
    """``stress = ss - (ss - s0) exp(-c ep) + h ep`` (Voce 1948; ``h`` is a linear term, zero in the original)."""

    ss: float
    s0: float
    c: float
    h: float = 0.0
    name: ClassVar[str] = "voce"

    def __post_init__(self) -> None:
        _need(self.name, s0=(self.s0, 0.0, 1e5), ss=(self.ss, self.s0, 1e5), c=(self.c, 1e-3, 1e3), h=(self.h, 0.0, 1e5))

    def stress(self, ep: ArrayLike) -> Floats:
        e = _strain(ep)
        return self.ss - (self.ss - self.s0) * np.exp(-self.c * e) + self.h * e

    def slope(self, ep: ArrayLike) -> Floats:
        return self.c * (self.ss - self.s0) * np.exp(-self.c * _strain(ep)) + self.h

    def text(self) -> str:
        linear = f" + {self.h:.4g} ep" if self.h else ""
        return f"{self.ss:.4g} - {self.ss - self.s0:.4g} exp(-{self.c:.4g} ep){linear} MPa"


@dataclass(frozen=True)
class HockettSherby(HardeningLaw):
    """``stress = ss - (ss - s0) exp(-m ep^p)`` (Hockett and Sherby 1975)."""

    ss: float
    s0: float
    m: float
    p: float
    name: ClassVar[str] = "hockett-sherby"

    def __post_init__(self) -> None:
        _need(self.name, s0=(self.s0, 0.0, 1e5), ss=(self.ss, self.s0, 1e5), m=(self.m, 1e-3, 1e3), p=(self.p, 0.05, 1.5))

    def stress(self, ep: ArrayLike) -> Floats:
        return self.ss - (self.ss - self.s0) * np.exp(-self.m * _strain(ep) ** self.p)

    def slope(self, ep: ArrayLike) -> Floats:
        e = _strain(ep, SLOPE_FLOOR)
        return (self.ss - self.s0) * self.m * self.p * e ** (self.p - 1.0) * np.exp(-self.m * e**self.p)

    def text(self) -> str:
        return f"{self.ss:.4g} - {self.ss - self.s0:.4g} exp(-{self.m:.4g} ep^{self.p:.4g}) MPa"


@dataclass(frozen=True)
class SwiftVoce(HardeningLaw):
    """``stress = share Swift + (1 - share) Voce``."""

    share: float
    K: float
    e0: float
    n: float
    ss: float
    s0: float
    c: float
    name: ClassVar[str] = "swift-voce"

    def __post_init__(self) -> None:
        _need(self.name, share=(self.share, 0.0, 1.0))
        _ = self._swift, self._voce  # their own limits hold too

    @property
    def _swift(self) -> Swift:
        return Swift(self.K, self.e0, self.n)

    @property
    def _voce(self) -> Voce:
        return Voce(self.ss, self.s0, self.c)

    def stress(self, ep: ArrayLike) -> Floats:
        return self.share * self._swift.stress(ep) + (1.0 - self.share) * self._voce.stress(ep)

    def slope(self, ep: ArrayLike) -> Floats:
        return self.share * self._swift.slope(ep) + (1.0 - self.share) * self._voce.slope(ep)

    def text(self) -> str:
        swift, voce = self._swift.text().removesuffix(" MPa"), self._voce.text().removesuffix(" MPa")
        return f"{self.share:.3g} [{swift}] + {1.0 - self.share:.3g} [{voce}] MPa"


@dataclass(frozen=True)
class Table(HardeningLaw):
    """A measured curve: monotone cubic (Fritsch-Carlson) through the points, the first at zero strain.

    Past the last point ``(e, s)`` the curve goes on as the power law ``s (ep/e)^m`` with the slope of the last
    tenth of the table, so that it stays smooth and rising.
    """

    strain: tuple[float, ...]
    flow: tuple[float, ...]
    name: ClassVar[str] = "table"

    def __post_init__(self) -> None:
        object.__setattr__(self, "strain", tuple(float(v) for v in self.strain))
        object.__setattr__(self, "flow", tuple(float(v) for v in self.flow))
        e, s = np.array(self.strain), np.array(self.flow)
        where = "hardening table"
        if len(e) != len(s) or len(e) < 3:
            raise InputError(f"{len(e)} strains and {len(s)} stresses: expected the same number, at least 3.", where=where)
        if not (np.isfinite(e).all() and np.isfinite(s).all()):
            raise InputError("a value is not a finite number.", where=where)
        if e[0] != 0.0 or (np.diff(e) <= 0).any():
            raise InputError("the strains must start at 0 and rise from row to row.", where=where)
        if s[0] <= 0.0 or (np.diff(s) < 0).any():
            raise InputError("the stresses must be above zero and must not fall from row to row.", where=where)
        curve = PchipInterpolator(e, s)
        e_last, s_last = e[-1], s[-1]
        rise = (s_last - float(curve(0.9 * e_last))) / (0.1 * e_last)
        object.__setattr__(self, "_curve", curve)
        object.__setattr__(self, "_rate", curve.derivative())
        object.__setattr__(self, "_power", rise * e_last / s_last)

    def stress(self, ep: ArrayLike) -> Floats:
        e, last = _strain(ep), self.strain[-1]
        beyond = self.flow[-1] * (np.maximum(e, last) / last) ** self._power  # type: ignore[attr-defined]
        inside: Floats = self._curve(np.minimum(e, last))  # type: ignore[attr-defined]
        return np.where(e <= last, inside, beyond)

    def slope(self, ep: ArrayLike) -> Floats:
        e, last = _strain(ep), self.strain[-1]
        m: float = self._power  # type: ignore[attr-defined]
        beyond = self.flow[-1] * m / last * (np.maximum(e, last) / last) ** (m - 1.0)
        inside: Floats = self._rate(np.minimum(e, last))  # type: ignore[attr-defined]
        return np.where(e <= last, inside, beyond)

    def text(self) -> str:
        return (
            f"table of {len(self.strain)} points, {self.flow[0]:.4g} MPa at 0 to {self.flow[-1]:.4g} MPa at {self.strain[-1]:.3g}, "
            f"then the power law with exponent {self._power:.3g}"  # type: ignore[attr-defined]
        )


LAWS: dict[str, type[HardeningLaw]] = {c.name: c for c in (Swift, Hollomon, Ludwik, Voce, HockettSherby, SwiftVoce, Table)}


def hardening_law(name: str, parameters: Mapping[str, Any]) -> HardeningLaw:
    """The law ``name`` with ``parameters``; raises :class:`InputError` for an unknown law or missing, extra or bad parameters."""
    kind = LAWS.get(name)
    if kind is None:
        raise InputError(f"'{name}' is not a hardening law: expected one of {', '.join(LAWS)}.", where="hardening law")
    known = [f.name for f in fields(kind)]  # type: ignore[arg-type]
    extra = sorted(set(parameters) - set(known))
    if extra:
        raise InputError(f"there is no parameter '{extra[0]}': expected {', '.join(known)}.", where=f"hardening {name}")
    ready = {k: tuple(v) if isinstance(v, Sequence) and not isinstance(v, str) else v for k, v in parameters.items()}
    try:
        return kind(**ready)
    except TypeError:
        missing = [k for k in known if k not in parameters]
        problem = f"the parameter '{missing[0]}' is missing" if missing else "a parameter is not a number"
        raise InputError(f"{problem}: expected {', '.join(known)}.", where=f"hardening {name}") from None
    except ValueError:
        raise InputError("a parameter is not a number.", where=f"hardening {name}") from None


def uniform_strain(law: HardeningLaw, top: float = 2.0) -> float:
    """True plastic strain of maximum load in tension, where ``stress exp(-ep)`` is largest, so that ``slope = stress`` (Considere 1885).

    The largest load counts, so a yield plateau at the start does not end the test. Zero if the load falls from the start; raises
    :class:`SolveError` if it still rises at ``top``.
    """
    grid = top * np.linspace(0.0, 1.0, 1001) ** 2
    at = int(np.argmax(law.stress(grid) * np.exp(-grid)))
    if at == 0:
        return 0.0
    if at == len(grid) - 1:
        raise SolveError(
            f"the hardening law {law.text()} has no load maximum below a strain of {top:g}.",
            help="Check the parameters: n is probably too large.",
        )
    excess = lambda e: float(law.slope(e) - law.stress(e))  # noqa: E731
    low, high = float(grid[at - 1]), float(grid[at + 1])
    if excess(low) * excess(high) >= 0:
        return float(grid[at])  # a corner of a table
    return float(brentq(excess, low, high, xtol=1e-12))


def maximum_load_stress(law: HardeningLaw) -> float:
    """Engineering stress at maximum load, Rm [MPa]: ``stress(eu) exp(-eu)``."""
    eu = uniform_strain(law)
    return float(law.stress(eu)) * math.exp(-eu)


def mean_exponent(law: HardeningLaw, low: float, high: float) -> float:
    """Slope of ln(true stress) over ln(true plastic strain) between engineering strains ``low`` and ``high``."""
    e = np.log1p(np.linspace(low, high, 101))
    return float(np.polyfit(np.log(e), np.log(law.stress(e)), 1)[0])


def dense_table(law: HardeningLaw, ep_max: float = 2.0, points: int = 401) -> dict[str, Floats]:
    """Columns ``strain`` [-] and ``stress`` [MPa] from 0 to ``ep_max``, closer together near zero (cubic spacing)."""
    strain = ep_max * np.linspace(0.0, 1.0, points) ** 3
    return {"strain": strain, "stress": law.stress(strain)}
