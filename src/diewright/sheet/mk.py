"""Forming limits by the analysis of Marciniak and Kuczynski (1967) with inclined grooves (Hutchinson and Neale 1978).

A sheet of thickness t with a band of thickness ``f t`` is strained along ``de2 = rho de1``. The band ("b") shares the strain
along itself with the sheet ("a") and carries the same forces across itself:

    de_tt(b) = de_tt(a),    t_b s_nn(b) = t_a s_nn(a),    t_b s_nt(b) = t_a s_nt(a)

with n across and t along the band. Both follow the same flow rule and hardening law ``k(ep) (rate)^m``. The sheet has reached its limit when
it all but stops straining beside the band. The least limit over all first inclinations of the band is the forming limit.

The last two conditions fix ``s_nt/s_nn`` in the band, so its stress is ``r (1, eta, tau)`` in (nn, tt, nt) and two unknowns are
left in a step: ``eta`` and the sheet's major strain increment ``x``. The steps are steps of the *band's* plastic strain,
which stay regular while the sheet stops. All paths and inclinations are stepped together as arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from diewright.errors import InputError, SolveError
from diewright.sheet.hardening import SLOPE_FLOOR, HardeningLaw
from diewright.sheet.surface import Floats, YieldSurface

STOP_RATIO = 100.0  # the sheet has stopped when the band strains this many times faster
_FIRST_STEP, _STEP_GROWTH = 2e-4, 1.15
_BAND_STRAIN_MAX = 5.0
_NEWTON_MAX = 30
_TOLERANCE = 1e-10
_REST = 1e-14  # a sheet slower than this beside the band counts as rigid
_PULL_MIN = 0.1  # stress across the band over the largest component


@dataclass(frozen=True)
class GrooveStudy:
    """Limits of all paths: ``major`` and ``minor`` true strain, ``inclination`` [deg] of the worst band's normal from the major axis."""

    ratio: Floats
    minor: Floats
    major: Floats
    inclination: Floats


@dataclass(frozen=True)
class _Band:
    """State of the bands still alive, one row each; ``path`` says which path a row belongs to."""

    path: np.ndarray
    ratio: Floats
    first_tan: Floats
    speed: Floats  # equivalent strain of the sheet per major strain
    sheet_stress: Floats  # (k, 3) unit stress of the sheet, rolling frame
    sheet_rate: Floats  # (k, 3) strain per major strain, rolling frame
    major: Floats  # major strain of the sheet
    thinning: Floats  # thickness strain of the band
    eta: Floats
    increment: Floats  # the sheet's last major strain increment over the band's step
    before: Floats  # the same one step earlier
    live: np.ndarray  # the sheet has begun to yield
    spent: np.ndarray  # no equilibrium was left in the last step: the band took all further strain

    def keep(self, mask: np.ndarray) -> _Band:
        return replace(self, **{k: v[mask] for k, v in vars(self).items()})


def default_ratios() -> Floats:
    """Strain ratios from drawing beyond uniaxial tension to balanced stretching, closer together at plane strain."""
    return np.array(
        [-0.70, -0.60, -0.50, -0.40, -0.30, -0.22, -0.15, -0.09, -0.04, 0.0, 0.03, 0.07, 0.12, 0.2, 0.3, 0.42, 0.55, 0.7, 0.85, 1.0]
    )


def marciniak_kuczynski(
    surface: YieldSurface,
    law: HardeningLaw,
    groove: float,
    *,
    ratios: ArrayLike | None = None,
    major_angle: float = 0.0,
    rate_exponent: float = 0.0,
    inclination_step: float = 5.0,
    step: float = 0.0025,
) -> GrooveStudy:
    """The forming limit along proportional paths.

    Parameters
    ----------
    groove:
        Thickness of the band over that of the sheet at the start, below 1.
    ratios:
        Minor over major strain of each path, -0.9 to 1.
    major_angle:
        Major strain direction from the rolling direction [deg].
    rate_exponent:
        ``m`` of ``k (rate)^m``, 0 for none.
    inclination_step:
        Grid of band inclinations [deg]; the worst is refined by a parabola.
    step:
        Largest step of the band's plastic strain.

    Raises :class:`InputError` for inputs out of range and :class:`SolveError` if a step does not converge or a path finds no limit.
    """
    rho = default_ratios() if ratios is None else np.atleast_1d(np.asarray(ratios, dtype=np.float64))
    if not 0.5 < groove < 1.0:
        raise InputError(f"{groove!r} cannot be used: expected more than 0.5 and less than 1.", where="groove")
    if not (np.isfinite(rho).all() and (rho >= -0.9).all() and (rho <= 1.0).all()):
        raise InputError("a strain ratio is outside -0.9 to 1.", where="ratios")
    if not 0.0 <= rate_exponent <= 0.5:
        raise InputError(f"{rate_exponent!r} cannot be used: expected 0 to 0.5.", where="rate_exponent")
    phi = np.radians(major_angle)
    rate = _rate_in_rolling_frame(rho, phi)
    stress = surface.stress_for(rate)
    speed = (rate * stress).sum(axis=1)

    symmetric = abs(major_angle % 90.0) < 1e-9
    angles = np.arange(0.0 if symmetric else -90.0 + inclination_step, 90.0 + 1e-9, inclination_step)
    path, which = (i.ravel() for i in np.meshgrid(np.arange(len(rho)), np.arange(len(angles)), indexing="ij"))
    limits = _run(surface, law, groove, phi, rate_exponent, step, path, angles[which], rho, rate, stress, speed, prune=True)
    grid = limits.reshape(len(rho), len(angles))
    best = np.argmin(grid, axis=1)
    # Refine about the worst band of the grid.
    fine = np.clip(angles[best][:, None] + inclination_step * np.array([-0.5, -0.25, 0.0, 0.25, 0.5]), -90.0, 90.0)
    path = np.repeat(np.arange(len(rho)), fine.shape[1])
    refined = _run(surface, law, groove, phi, rate_exponent, step, path, fine.ravel(), rho, rate, stress, speed, prune=True).reshape(
        fine.shape
    )
    pick = np.argmin(refined, axis=1)
    rows = np.arange(len(rho))
    major = np.minimum(refined[rows, pick], grid[rows, best])
    if not np.isfinite(major).all():
        lost = rho[~np.isfinite(major)][0]
        raise SolveError(
            f"The groove analysis found no limit on the path with strain ratio {lost:g} below a band strain of {_BAND_STRAIN_MAX:g}.",
            help="Use a thinner groove, or another forming limit.",
        )
    return GrooveStudy(rho, rho * major, major, np.abs(fine[rows, pick]))


def _rate_in_rolling_frame(rho: Floats, phi: float) -> Floats:
    """``[de11, de22, gamma12]`` per unit major strain, the major axis at ``phi`` from the rolling direction."""
    c, s = np.cos(phi), np.sin(phi)
    return np.stack([c * c + rho * s * s, s * s + rho * c * c, 2.0 * (1.0 - rho) * s * c], axis=-1)


def _rotation(theta: Floats) -> Floats:
    """Stress (nn, tt, nt) -> (11, 22, 12), n at ``theta`` from the rolling direction; ``(k, 3, 3)``."""
    c, s = np.cos(theta), np.sin(theta)
    rows = [[c * c, s * s, -2 * s * c], [s * s, c * c, 2 * s * c], [s * c, -s * c, c * c - s * s]]
    return np.moveaxis(np.array(rows), -1, 0)


def _run(
    surface: YieldSurface, law: HardeningLaw, groove: float, phi: float, m: float, step: float,
    path: np.ndarray, angles: Floats, rho: Floats, rate: Floats, stress: Floats, speed: Floats, *, prune: bool,
) -> Floats:  # fmt: skip
    """Major strain at the limit for each band, infinity where a band never localises (or, pruned, not first on its path)."""
    count = len(path)
    limit = np.full(count, np.inf)
    zeros = np.zeros(count)
    # 90 degrees exactly has an infinite tangent; the band's normal then stays on the minor axis all the same.
    tangent = np.tan(np.radians(np.clip(angles, -89.999, 89.999)))
    band = _Band(path, rho[path], tangent, speed[path], stress[path], rate[path], zeros, zeros, zeros, 1.0 / speed[path], 1.0 / speed[path],
                 np.zeros(count, bool), np.zeros(count, bool))  # fmt: skip
    local = _across(band, phi)
    loaded = _pulled(local)
    band = replace(band, eta=np.where(loaded, local[:, 1] / np.where(loaded, local[:, 0], 1.0), 0.0)).keep(loaded)
    index = np.arange(count)[loaded]
    best = np.full(len(rho), np.inf)
    strain, size = 0.0, _FIRST_STEP
    while len(index) and strain < _BAND_STRAIN_MAX:
        strain += size
        new = _step(band, surface, law, groove, phi, m, strain, size)
        slowing = new.increment < band.increment
        stopped = new.spent | (new.live & band.live & slowing & (new.increment * new.speed < 1.0 / STOP_RATIO))
        at = np.where(new.spent, band.major + _rest(band, size), new.major)
        limit[index[stopped]] = at[stopped]
        np.minimum.at(best, band.path[stopped], at[stopped])
        keep = ~stopped & _pulled(_across(new, phi))
        if prune:
            keep &= new.major < best[new.path]
        band, index = new.keep(keep), index[keep]
        size = min(size * _STEP_GROWTH, step)
    return limit


def _across(band: _Band, phi: float) -> Floats:
    """Unit stress of the sheet in the present frame of the band, (nn, tt, nt)."""
    theta = phi + np.arctan(band.first_tan * np.exp((1.0 - band.ratio) * band.major))
    return np.einsum("kij,kj->ki", _rotation(-theta), band.sheet_stress)


def _pulled(local: Floats) -> np.ndarray:
    """Whether a band is pulled across at all: one that is not (it lies along the pull) cannot neck."""
    return local[:, 0] > _PULL_MIN * np.abs(local).max(axis=1)


def _step(band: _Band, surface: YieldSurface, law: HardeningLaw, groove: float, phi: float, m: float, strain: float, size: float) -> _Band:
    """One step of ``size`` of the band's plastic strain, ending at ``strain``: Newton on (eta, increment) for all rows."""
    guess = np.maximum(band.increment, 0.0)
    # The band turns with the sheet; its direction is taken at the middle of the foreseen step.
    mid = band.major + 0.5 * size * guess
    theta = phi + np.arctan(band.first_tan * np.exp((1.0 - band.ratio) * mid))
    frame = _rotation(theta)
    local = np.einsum("kij,kj->ki", _rotation(-theta), band.sheet_stress)
    across = np.maximum(local[:, 0], 1e-9)
    tau = local[:, 2] / across
    along = np.einsum("ki,ki->k", frame[:, :, 1], band.sheet_rate)
    known = np.log(float(law.stress(strain))) + np.log(groove) - np.log(across) + band.thinning

    case = _Case(surface, law, m, size, frame, tau, along, known)
    eta, x, good = _newton(band, case, guess, logged=m > 0.0)
    spent = np.zeros(len(x), bool)
    held = np.flatnonzero(~good | (~band.live & (x <= _REST)))
    if len(held):
        # Either the sheet is still rigid beside the band, or the band has passed the last equilibrium. In both cases
        # the band only thins (plane strain along itself), where it pulls hardest: compare that pull with the sheet's.
        sub, part = band.keep(held), case.rows(held)
        rest = np.full(len(held), _REST if m else 0.0)
        eta_held, found = _rigid(sub, part)
        weak = found & (_residuals(sub, part, eta_held, rest)[1] <= _TOLERANCE)
        eta[held[weak]], x[held[weak]] = eta_held[weak], rest[weak]
        spent[held[weak]] = band.live[held[weak]]
        _again(band, case, held[~weak & ~good[held]], eta, x)
    s = frame[:, :, 0] + eta[:, None] * frame[:, :, 1] + tau[:, None] * frame[:, :, 2]
    g = surface.gradient(s)
    return replace(
        band,
        eta=eta,
        increment=x,
        before=band.increment,
        major=band.major + size * np.maximum(x, 0.0),
        thinning=band.thinning - size * (g[:, 0] + g[:, 1]),
        live=band.live | (x > _REST),
        spent=spent,
    )


def _again(band: _Band, case: _Case, rows: np.ndarray, eta: Floats, x: Floats) -> None:
    """Solve rows that have an equilibrium once more after ln(x), from several starts; fills ``eta`` and ``x``.

    The flow stress of some laws leaves zero strain with an infinite slope: there ln(x) is the better unknown.
    """
    for start in (1e-3, 1e-6, 1.0):
        if len(rows) == 0:
            return
        eta_new, x_new, good = _newton(band.keep(rows), case.rows(rows), np.full(len(rows), start), logged=True)
        eta[rows[good]], x[rows[good]] = eta_new[good], x_new[good]
        rows = rows[~good]
    if len(rows):
        raise SolveError(
            f"The groove analysis did not converge at a major strain of {band.major[rows[0]]:.3f} on the path {band.ratio[rows[0]]:.3g}.",
            help="Use a thinner groove, or another forming limit.",
        )


def _rest(band: _Band, size: float) -> Floats:
    """Major strain the sheet still gains after its last equilibrium: its speed falls like the root of the strain that is left."""
    fall = (band.before**2 - band.increment**2) / size
    rest = np.divide(2.0 * band.increment**3, 3.0 * fall, out=np.zeros_like(fall), where=fall > 0)
    return np.minimum(rest, 2.0 / 3.0 * size * band.increment)


@dataclass(frozen=True)
class _Case:
    """What a step keeps fixed while it iterates."""

    surface: YieldSurface
    law: HardeningLaw
    m: float
    size: float
    frame: Floats
    tau: Floats
    along: Floats
    known: Floats

    def rows(self, index: np.ndarray) -> _Case:
        return replace(self, frame=self.frame[index], tau=self.tau[index], along=self.along[index], known=self.known[index])


def _residuals(band: _Band, case: _Case, eta: Floats, x: Floats) -> tuple[Floats, Floats, Floats]:
    """The two residuals ``(k,)`` and their Jacobian ``(k, 2, 2)`` after ``(eta, x)``:

        R1 = n_tt(eta) - along x = 0                        (same strain along the band)
        R2 = ln(force across the band / force across the sheet) = 0
    """  # fmt: skip
    frame, size, m = case.frame, case.size, case.m
    fibre = frame[:, :, 1]
    s = frame[:, :, 0] + case.tau[:, None] * frame[:, :, 2] + eta[:, None] * fibre
    bar, g, h = case.surface.derivatives(s)
    hf = np.einsum("kij,kj->ki", h, fibre)
    n_tt = (g * fibre).sum(axis=1)
    major = band.major + size * x
    wanted = band.speed * major
    ep = np.maximum(wanted, SLOPE_FLOOR)
    k = case.law.stress(ep)
    rise = case.law.slope(ep) / k
    # Below the floor ln k goes on in a straight line: slope and stress agree, and a root x < 0 says that the sheet is still rigid.
    log_k = np.log(k) + rise * (wanted - ep)
    r1 = n_tt - case.along * x
    r2 = case.known - np.log(bar) - size * (g[:, 0] + g[:, 1]) + (1.0 + band.ratio) * major - log_k
    jac = np.stack(
        [
            (hf * fibre).sum(axis=1),
            -case.along,
            -n_tt / bar - size * (hf[:, 0] + hf[:, 1]),
            size * ((1.0 + band.ratio) - band.speed * rise),
        ],
        -1,
    )
    jac = jac.reshape(-1, 2, 2)
    if m:
        r2 = r2 - m * np.log(band.speed * x)
        jac[:, 1, 1] -= m / x
    return r1, r2, jac


def _newton(band: _Band, case: _Case, guess: Floats, *, logged: bool) -> tuple[Floats, Floats, np.ndarray]:
    """``eta``, ``x`` (major strain of the sheet per strain of the band) and whether the row converged.

    ``logged`` takes ln(x) as the unknown, which keeps x above zero; a rate term needs it.
    """
    eta, x = band.eta.copy(), np.maximum(guess, _REST if logged else 0.0)
    good = np.zeros(len(eta), bool)
    todo = np.arange(len(eta))
    for _ in range(_NEWTON_MAX):
        sub, part = (band, case) if len(todo) == len(eta) else (band.keep(todo), case.rows(todo))
        r1, r2, jac = _residuals(sub, part, eta[todo], x[todo])
        if logged:
            jac[:, :, 1] *= x[todo][:, None]
        det = jac[:, 0, 0] * jac[:, 1, 1] - jac[:, 0, 1] * jac[:, 1, 0]
        det = np.where(np.abs(det) < 1e-14, np.copysign(1e-14, det), det)
        d_eta = -(jac[:, 1, 1] * r1 - jac[:, 0, 1] * r2) / det
        d_x = -(jac[:, 0, 0] * r2 - jac[:, 1, 0] * r1) / det
        done = np.maximum(np.abs(r1), np.abs(r2)) < _TOLERANCE
        good[todo[done]] = True
        todo, d_eta, d_x = todo[~done], d_eta[~done], d_x[~done]
        if len(todo) == 0:
            break
        reach = 0.25 * (1.0 + np.abs(eta[todo]))
        eta[todo] += np.clip(d_eta, -reach, reach)
        x[todo] = np.maximum(x[todo] * np.exp(np.clip(d_x, -4.0, 2.0)), _REST) if logged else x[todo] + np.clip(d_x, -1.0, 1.0)
    return eta, x, good


def _rigid(band: _Band, case: _Case) -> tuple[Floats, np.ndarray]:
    """``eta`` of plane strain along the band (R1 with x = 0), and whether each row converged."""
    eta, still = band.eta.copy(), np.full(len(band.eta), _REST)
    r1 = still
    for _ in range(_NEWTON_MAX):
        r1, _, jac = _residuals(band, case, eta, still)
        r1 = r1 + case.along * still
        if np.abs(r1).max() < _TOLERANCE:
            break
        reach = 0.25 * (1.0 + np.abs(eta))
        eta = eta + np.clip(-r1 / np.maximum(jac[:, 0, 0], 1e-14), -reach, reach)
    return eta, np.abs(r1) < _TOLERANCE
