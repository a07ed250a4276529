"""What the desk takes for a job: figures from the sheet's record, replaced by the job's own tests where there are any."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diewright.errors import InputError, SolveError
from diewright.sheet.hardening import HardeningLaw
from diewright.sheet.hardening_fit import LawFit, converted, fit_law, rank_laws
from diewright.sheet.library import load, names
from diewright.sheet.limits import FROM_POINTS, FormingLimitCurve, groove_curve, keeler_brazier, measured, swift_hill
from diewright.sheet.quadratic import Hill48
from diewright.sheet.record import FROM_MEMORY, RANGES, Sheet
from diewright.sheet.surface import YieldSurface
from diewright.sheet.tensile import Estimate, TensileResult
from diewright.sheet.yld2000fit import Measures, fit_yld2000


@dataclass(frozen=True)
class Figures:
    """The plain figures in use and where each comes from."""

    value: dict[str, float]
    source: dict[str, str]

    @property
    def rbar(self) -> float:
        """``(r0 + 2 r45 + r90)/4`` (ISO 10113)."""
        return (self.value["r0"] + 2.0 * self.value["r45"] + self.value["r90"]) / 4.0

    @property
    def delta_r(self) -> float:
        """``(r0 + r90 - 2 r45)/2`` (ISO 10113)."""
        return (self.value["r0"] + self.value["r90"] - 2.0 * self.value["r45"]) / 2.0


def figures(sheet: Sheet, tests: Sequence[TensileResult]) -> Figures:
    """The sheet's figures; r by direction from its own test, strengths from the 0 degree test, n averaged as r is."""
    value = {k: sheet.number_of(k) for k in RANGES}
    source = {k: str(getattr(sheet.values, k).source) for k in RANGES}
    if not tests:
        return Figures(value, source)
    for t in tests:
        if t.r is not None:
            key = f"r{t.angle:g}"
            value[key], source[key] = t.r.value, f"tensile test {t.name}, {t.r.low:.0%} to {t.r.high:.1%} plastic strain"
    main = main_test(tests)
    value["Rp02"], source["Rp02"] = main.Rp02, f"tensile test {main.name}"
    if main.reached_maximum:
        value["Rm"], source["Rm"] = main.Rm, f"tensile test {main.name}"
    by_angle: dict[float, Estimate] = {t.angle: t.n for t in tests if t.n is not None}
    if set(by_angle) == {0.0, 45.0, 90.0}:
        value["n"] = (by_angle[0.0].value + 2.0 * by_angle[45.0].value + by_angle[90.0].value) / 4.0
        source["n"] = "tensile tests, (n0 + 2 n45 + n90)/4"
    elif main.n is not None:
        value["n"], source["n"] = main.n.value, f"tensile test {main.name}, {main.n.low:.0%} to {main.n.high:.1%} plastic strain"
    return Figures(value, source)


def main_test(tests: Sequence[TensileResult]) -> TensileResult:
    """The test the flow curve is taken from: the one along the rolling direction, which is the reference of the yield surfaces."""
    return min(tests, key=lambda t: t.angle)


@dataclass(frozen=True)
class ChosenLaw:
    """A hardening law, where it comes from, and the ranked fits behind it (empty without tests)."""

    law: HardeningLaw
    source: str
    ranked: tuple[LawFit, ...] = ()
    converted_rms: float | None = None


def choose_law(sheet: Sheet, asked: str, tests: Sequence[TensileResult]) -> ChosenLaw:
    """``auto`` takes the best fit of the tests, or the library's first law; a stated law is fitted where the library lacks it."""
    if tests:
        main = main_test(tests)
        ranked = tuple(rank_laws(main.plastic_strain, main.true_stress))
        source = f"fitted to tensile test {main.name}"
        if asked == "auto":
            return ChosenLaw(ranked[0].law, source, ranked)
        fit = (
            fit_law("table", main.plastic_strain, main.true_stress) if asked == "table" else next(f for f in ranked if f.law.name == asked)
        )
        return ChosenLaw(fit.law, source, ranked)
    for h in sheet.hardening:
        if asked in ("auto", h.law):
            return ChosenLaw(h.build(), h.source)
    if asked == "table":
        raise InputError(
            f"the sheet '{sheet.name}' has no hardening table.",
            where="sheet.hardening",
            help="State tensile_files, add a table to an own sheet, or choose another law.",
        )
    base = sheet.hardening[0]
    fit = converted(base.build(), asked)
    return ChosenLaw(fit.law, f"fitted to the library's law {base.law} up to its uniform strain ({base.source})", (), fit.rms)


def choose_surface(sheet: Sheet, asked: str, used: Figures, tests: Sequence[TensileResult]) -> tuple[YieldSurface, str]:
    """The yield surface and where its numbers come from."""
    if asked == "hill48":
        return Hill48.from_r(used.value["r0"], used.value["r45"], used.value["r90"]), "r-values in use"
    if asked == "yld2000":
        if not sheet.has_yld2000:
            having = [n for n in names() if load(n).has_yld2000]
            raise InputError(
                f"the sheet '{sheet.name}' has no data for yld2000.", where="sheet.yield_surface",
                help=f"Sheets of the library with it: {', '.join(having)}. An own sheet may give alpha or measures; or take hill48.",
            )  # fmt: skip
        complete = {t.angle for t in tests if t.r is not None} == {0.0, 45.0, 90.0}
        if complete and sheet.measures is not None:
            rp = {t.angle: t.Rp02 for t in tests}
            m, r = sheet.measures, used.value
            fitted = fit_yld2000(Measures(1.0, rp[45.0] / rp[0.0], rp[90.0] / rp[0.0], m.sb, r["r0"], r["r45"], r["r90"], m.rb), m.exponent)
            return fitted, f"fitted to the tensile tests and the biaxial point of the sheet ({m.source})"
        record = sheet.yld2000 or sheet.measures
        return sheet.surface("yld2000"), record.source if record is not None else ""
    return sheet.surface(asked), "von Mises 1913"


def choose_limit(
    sheet: Sheet, asked: str, thickness: float, groove: float, used: Figures, surface: YieldSurface, law: HardeningLaw
) -> FormingLimitCurve:
    """The forming limit curve asked for; ``auto`` takes the sheet's own kind."""
    kind = {"points": "measured", "keeler-brazier": "keeler-brazier"}[sheet.limit.kind] if asked == "auto" else asked
    if kind == "measured":
        if sheet.limit.kind != "points":
            having = [n for n in names() if load(n).limit.kind == "points"]
            raise InputError(
                f"the sheet '{sheet.name}' has no points of a forming limit.", where="sheet.forming_limit",
                help=f"Sheets of the library with points: {', '.join(having)}. An own sheet may give them; or choose another forming limit.",
            )  # fmt: skip
        return measured(
            sheet.limit.points, sheet.limit.source, kind=FROM_POINTS["memory" if sheet.limit.source == FROM_MEMORY else "measured"]
        )
    if kind == "keeler-brazier":
        return keeler_brazier(thickness, used.value["n"])
    if kind == "swift-hill":
        return swift_hill(surface, law)
    try:
        return groove_curve(surface, law, groove, major_angles=(0.0,) if surface.kind == "mises" else (0.0, 90.0))
    except SolveError as error:
        raise SolveError(error.what, where="sheet.forming_limit", help=error.help) from None
