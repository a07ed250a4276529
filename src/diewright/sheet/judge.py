"""What the stage ``sheet`` has to say: findings on thickness, sources, limits and tests."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from diewright.job.findings import Finding
from diewright.sheet.chosen import ChosenLaw, Figures
from diewright.sheet.limits import KEELER_N_CAP, KEELER_T_CAP_MM, TABLE_ENDS, FormingLimitCurve
from diewright.sheet.record import FROM_MEMORY, RANGES, Sheet
from diewright.sheet.surface import YieldSurface
from diewright.sheet.tensile import TensileResult

_THICKNESS_BAND = 0.3  # a measured limit is taken as good for thicknesses within this share
_TEST_BAND = 0.15
_SLOPE_BAND = 0.2
_CONVERT_BAND = 0.03


@dataclass(frozen=True)
class Judged:
    """All that the findings look at."""

    sheet: Sheet
    thickness: float
    limit_asked: str
    used: Figures
    tests: tuple[TensileResult, ...]
    law: ChosenLaw
    surface: YieldSurface
    limit: FormingLimitCurve


def judge(j: Judged) -> tuple[Finding, ...]:
    """The findings, in the order a person reads the page."""
    return tuple([*_sheet(j), *_law(j), *_surface(j), *_limit(j), *_tests(j)])


def _sheet(j: Judged) -> Iterator[Finding]:
    made = j.sheet.thickness
    if not made.min <= j.thickness <= made.max:
        yield Finding(
            key="sheet.thickness", severity="attend", value=j.thickness, limit=made.max if j.thickness > made.max else made.min, unit="mm", source=made.source,
            sentence=f"{j.sheet.name} is usually made from {made.min:g} to {made.max:g} mm; the job states {j.thickness:g} mm.",
            help="Ask the mill or the stockist, or choose another thickness.",
        )  # fmt: skip
    memory = [k for k in RANGES if j.used.source[k] == FROM_MEMORY]
    if memory:
        yield Finding(
            key="sheet.memory", severity="note", value=float(len(memory)), unit="values", source="sheet library",
            sentence=f"{len(memory)} figures of {j.sheet.name} are typical, from memory: {', '.join(memory)}.",
            help="Give the tensile tests of the coil (sheet.tensile_files) before the tool design is frozen.",
        )  # fmt: skip


def _law(j: Judged) -> Iterator[Finding]:
    rms = j.law.converted_rms
    if rms is not None:
        share = rms / j.used.value["Rm"]
        yield Finding(
            key="sheet.hardening-converted", severity="attend" if share > _CONVERT_BAND else "note", value=rms, limit=_CONVERT_BAND * j.used.value["Rm"], unit="MPa",
            source=j.law.source, sentence=f"The library has no {j.law.law.name} law for {j.sheet.name}: it was fitted to the library's own law and misses it by {rms:.2g} MPa.",
            help="Take hardening = \"auto\" for the library's law.",
        )  # fmt: skip


def _surface(j: Judged) -> Iterator[Finding]:
    if j.surface.kind == "mises" and abs(j.used.rbar - 1.0) > 0.2:
        yield Finding(
            key="sheet.mises", severity="attend", value=j.used.rbar, limit=1.0, unit="-", source="ISO 10113",
            sentence=f"The von Mises surface takes r as 1; this sheet has a mean r of {j.used.rbar:.2f}.", help="Take yield_surface = \"hill48\".",
        )  # fmt: skip
    if j.surface.kind == "yld2000":
        _, r = j.surface.directional([0.0, 45.0, 90.0])
        worst = max(abs(float(a) - j.used.value[k]) for a, k in zip(r, ("r0", "r45", "r90"), strict=True))
        if worst > 0.05:
            yield Finding(
                key="sheet.yld2000-r", severity="attend", value=worst, limit=0.05, unit="-", source="the Yld2000 data of the sheet and the r-values in use",
                sentence=f"The Yld2000 surface and the r-values in use differ by up to {worst:.2f}.",
                help="Fit the surface to measurements of the same sheet, or take hill48.",
            )  # fmt: skip


def _limit(j: Judged) -> Iterator[Finding]:
    kind, record = j.limit.kind, j.sheet.limit
    if kind in ("measured", "typical points"):
        if record.source == FROM_MEMORY:
            yield Finding(
                key="sheet.limit-typical", severity="attend" if j.limit_asked == "measured" else "note", value=j.limit.flc0, unit="-", source=record.source,
                sentence=f"The forming limit of {j.sheet.name} is a typical curve from memory, not a measured one.",
                help="Give measured points in an own sheet file, or compare with the computed limit.",
            )  # fmt: skip
        found_at = record.thickness or j.thickness
        if abs(math.log(j.thickness / found_at)) > math.log1p(_THICKNESS_BAND):
            yield Finding(
                key="sheet.limit-thickness", severity="attend", value=j.thickness, limit=found_at, unit="mm", source=record.source,
                sentence=f"The forming limit points are for {found_at:g} mm; the job states {j.thickness:g} mm, and thinner sheet necks earlier.",
                help="Give points for this thickness, or lower the margin by hand.",
            )  # fmt: skip
    if kind == "keeler-brazier":
        yield from _keeler(j)
    if kind == "marciniak-kuczynski":
        yield Finding(
            key="sheet.groove", severity="note", value=j.limit.flc0, unit="-", source=j.limit.source,
            sentence="The computed forming limit depends on the assumed groove; compare it with a measured point where there is one.",
            help="Set sheet.groove so that the plane-strain limit meets a measured one.",
        )  # fmt: skip
    if j.limit.minor[0] > TABLE_ENDS[0] or j.limit.minor[-1] < TABLE_ENDS[1]:
        yield Finding(
            key="sheet.limit-extrapolated", severity="note", value=float(j.limit.minor[-1]), unit="-", source=j.limit.source,
            sentence=f"The forming limit is known for minor strains from {j.limit.minor[0]:.2f} to {j.limit.minor[-1]:.2f}; beyond, it goes on straight (left) and level (right).",
        )  # fmt: skip


def _keeler(j: Judged) -> Iterator[Finding]:
    if j.sheet.family != "steel":
        yield Finding(
            key="sheet.keeler-family", severity="attend", value=j.limit.flc0, unit="-", source=j.limit.source,
            sentence=f"The Keeler-Brazier estimate was made for cold-rolled steels; {j.sheet.name} is {j.sheet.family}.",
            help="Take forming_limit = \"auto\" or \"marciniak-kuczynski\".",
        )  # fmt: skip
    if j.thickness > KEELER_T_CAP_MM:
        yield Finding(
            key="sheet.limit-thickness", severity="attend", value=j.thickness, limit=KEELER_T_CAP_MM, unit="mm", source=j.limit.source,
            sentence=f"The Keeler-Brazier estimate ends at {KEELER_T_CAP_MM:g} mm; the job states {j.thickness:g} mm, and the limit is held at that of the end.",
            help="Give measured points in an own sheet file.",
        )  # fmt: skip
    if j.used.value["n"] > KEELER_N_CAP:
        yield Finding(
            key="sheet.keeler-n", severity="note", value=j.used.value["n"], limit=KEELER_N_CAP, unit="-", source=j.limit.source,
            sentence=f"n is {j.used.value['n']:.3f}; the Keeler-Brazier estimate takes no more than {KEELER_N_CAP:g}.",
        )  # fmt: skip


def _tests(j: Judged) -> Iterator[Finding]:
    if not j.tests:
        return
    directions = {f"r{t.angle:g}" for t in j.tests if t.r is not None}
    missing = [k for k in ("r0", "r45", "r90") if k not in directions]
    if missing:
        yield Finding(
            key="sheet.test-directions", severity="attend", value=float(len(missing)), unit="values", source="ISO 10113",
            sentence=f"The tests give no {', '.join(missing)}: the library's values stand in.",
            help="Test in 0, 45 and 90 degrees with the width measured.",
        )  # fmt: skip
    last = min(t.Ag for t in j.tests)
    yield Finding(
        key="sheet.test-extrapolated", severity="note", value=last, unit="-", source=j.law.source,
        sentence=f"The tests end at a uniform strain of {last:.3f}; beyond it the flow curve is the law's own.",
        help="A bulge test reaches further; compare two laws of the ranking.",
    )  # fmt: skip
    for t in j.tests:
        angle = f"{t.angle:g}"
        if not t.reached_maximum:
            yield Finding(
                key=f"sheet.test-maximum-{angle}", severity="attend", value=t.Ag, unit="-", source=t.name,
                sentence=f"The test '{t.name}' ends before maximum load: Rm and A are not measured.", help="Pull the specimen to fracture.",
            )  # fmt: skip
        modulus = j.used.value["E"]
        if t.slope_measured and abs(t.slope / modulus - 1.0) > _SLOPE_BAND:
            yield Finding(
                key=f"sheet.test-slope-{angle}", severity="note", value=t.slope, limit=modulus, unit="MPa", source=t.name,
                sentence=f"The elastic line of '{t.name}' has a slope of {t.slope:.4g} MPa beside a modulus of {modulus:.4g} MPa.",
                help="Check that the strain is from an extensometer, not from the crosshead.",
            )  # fmt: skip
        for key, found in (("Rp02", t.Rp02), ("Rm", t.Rm)):
            known = j.sheet.number_of(key)
            if abs(found / known - 1.0) > _TEST_BAND:
                yield Finding(
                    key=f"sheet.test-{key.lower()}-{angle}", severity="attend", value=found, limit=known, unit="MPa", source=t.name,
                    sentence=f"{key} of '{t.name}' is {found:.4g} MPa; {j.sheet.name} has {known:.4g} MPa.", help="Check that the test is of this sheet.",
                )  # fmt: skip
