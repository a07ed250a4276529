"""The stage ``sheet``: everything the desk knows of the metal, ready for the stages that form it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from diewright.errors import InputError
from diewright.job.findings import Figure
from diewright.job.schema import Job, Record
from diewright.job.stage import InputFile, Result, Stage
from diewright.sheet.chosen import ChosenLaw, Figures, choose_law, choose_limit, choose_surface, figures
from diewright.sheet.hardening import dense_table, maximum_load_stress, uniform_strain
from diewright.sheet.judge import Judged, judge
from diewright.sheet.library import load, own_sheet_file
from diewright.sheet.limits import FormingLimitCurve
from diewright.sheet.quadratic import Hill48
from diewright.sheet.record import RANGES, Sheet, read_sheet
from diewright.sheet.tensile import Estimate, TensileResult, evaluate
from diewright.sheet.tensile_csv import TensileRecord, read_tensile
from diewright.watch import Watch

_ROWS_KEPT = 2000
_OWN = "sheet.material"


class SheetInputs(Record):
    """The fields of ``[sheet]`` this stage reads (the rolling direction belongs to the blank)."""

    material: str
    thickness: float
    hardening: str
    yield_surface: str
    forming_limit: str
    groove: float
    tensile_files: tuple[str, ...]


def _inputs(job: Job) -> SheetInputs:
    stated = job.sheet.model_dump()
    return SheetInputs(**{k: stated[k] for k in SheetInputs.model_fields})


def _files(job: Job) -> dict[str, str]:
    out = {f"sheet.tensile_files.{i}": name for i, name in enumerate(job.sheet.tensile_files)}
    own = own_sheet_file(job.sheet.material)
    if own is not None:
        out[_OWN] = own
    return out


def _work(inputs: SheetInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    watch.step("reading the sheet", 0, 4)
    sheet = read_sheet(files[_OWN].path, files[_OWN].name) if _OWN in files else load(inputs.material)
    records = [read_tensile(files[k].path, files[k].name) for k in sorted(files) if k != _OWN]
    _one_each(records)
    tests = [evaluate(r, sheet.number_of("E"), sheet.number_of("nu")) for r in records]
    used = figures(sheet, tests)
    watch.step("fitting the hardening law", 1, 4)
    law = choose_law(sheet, inputs.hardening, tests)
    surface, surface_source = choose_surface(sheet, inputs.yield_surface, used, tests)
    watch.step("finding the forming limit", 2, 4)
    limit = choose_limit(sheet, inputs.forming_limit, inputs.thickness, inputs.groove, used, surface, law.law)
    watch.step("writing the tables", 3, 4)
    angles = np.arange(0.0, 90.1, 5.0)
    ratio, r = surface.directional(angles)
    s11, s22 = surface.locus()
    tables: dict[str, dict[str, np.ndarray]] = {
        "hardening": dense_table(law.law),
        "limit": limit.table(),
        "yield_locus": {"s11": s11, "s22": s22},
        "directional": {"angle": angles, "stress_ratio": ratio, "r": r},
    }
    for record, test in zip(records, tests, strict=True):
        tables |= _test_tables(record, test)
    hill = Hill48.from_r(*(used.value[k] for k in ("r0", "r45", "r90")))
    values: dict[str, Any] = {
        "sheet": {**sheet.model_dump(mode="json"), "sources": _sources(sheet, used, law, limit)},
        "hardening": {
            "law": law.law.name,
            "parameters": law.law.parameters(),
            "text": law.law.text(),
            "source": law.source,
            "uniform_strain": uniform_strain(law.law),
        },
        "yield_surface": {
            "kind": surface.kind,
            "parameters": surface.parameters(),
            "source": surface_source,
            "biaxial": list(surface.biaxial()),
        },
        "anisotropy": {**hill.parameters(), **{k: used.value[k] for k in ("r0", "r45", "r90")}, "rbar": used.rbar, "delta_r": used.delta_r},
        "limit": {
            "kind": limit.kind,
            "flc0": limit.flc0,
            "text": limit.text,
            "source": limit.source,
            "covers": [float(limit.minor[0]), float(limit.minor[-1])],
        },
        "fit": _fit_values(tests, law) if tests else None,
        "family": sheet.family,
        **{k: used.value[k] for k in ("E", "nu", "density", "Rp02", "Rm", "n", "A80")},
    }
    judged = Judged(sheet, inputs.thickness, inputs.forming_limit, used, tuple(tests), law, surface, limit)
    return Result(values=values, figures=_figures(sheet, used, law, limit), findings=judge(judged), tables=tables)


def _one_each(records: list[TensileRecord]) -> None:
    seen: dict[float, str] = {}
    for r in records:
        if r.angle in seen:
            raise InputError(
                f"'{seen[r.angle]}' and '{r.name}' are both for {r.angle:g} deg.",
                where="sheet.tensile_files",
                help="Keep one test a direction.",
            )
        seen[r.angle] = r.name


def _test_tables(record: TensileRecord, test: TensileResult) -> dict[str, dict[str, np.ndarray]]:
    keep = np.unique(np.linspace(0, len(record.strain) - 1, min(len(record.strain), _ROWS_KEPT)).astype(int))
    table = {"strain": record.strain[keep], "stress": record.stress[keep]}
    if record.width_strain is not None:
        table["width_strain"] = record.width_strain[keep]
    name = f"{test.angle:g}"
    return {f"tensile_{name}": table, f"flow_{name}": {"plastic_strain": test.plastic_strain, "true_stress": test.true_stress}}


def _sources(sheet: Sheet, used: Figures, law: ChosenLaw, limit: FormingLimitCurve) -> dict[str, str]:
    return {**used.source, "hardening": law.source, "limit": limit.source, "thickness": sheet.thickness.source}


def _estimate(e: Estimate | None) -> dict[str, float | int] | None:
    if e is None:
        return None
    return {"value": e.value, "standard_error": e.standard_error, "low": e.low, "high": e.high, "points": e.points}


def _fit_values(tests: list[TensileResult], law: ChosenLaw) -> dict[str, Any]:
    rows = [
        {
            "file": t.name, "angle": t.angle, "Rp02": t.Rp02, "Rm": t.Rm, "Ag": t.Ag, "A": t.A, "slope": t.slope, "slope_measured": t.slope_measured,
            "reached_maximum": t.reached_maximum, "n": _estimate(t.n), "r": _estimate(t.r),
        }
        for t in tests
    ]  # fmt: skip
    laws = [{"law": f.law.name, "parameters": f.law.parameters(), "text": f.law.text(), "rms": f.rms} for f in law.ranked]
    return {"tests": rows, "laws": laws}


_LABELS = {
    "E": "Young's modulus", "nu": "Poisson's ratio", "density": "Density", "Rp02": "Proof strength Rp0.2", "Rm": "Tensile strength Rm",
    "A80": "Elongation A80", "n": "Hardening exponent n", "r0": "r at 0 deg", "r45": "r at 45 deg", "r90": "r at 90 deg",
}  # fmt: skip


def _figures(sheet: Sheet, used: Figures, law: ChosenLaw, limit: FormingLimitCurve) -> tuple[Figure, ...]:
    plain = [
        Figure(key=f"sheet.{k.lower()}", label=_LABELS[k], value=used.value[k], unit=RANGES[k][0], source=used.source[k], digits=4)
        for k in RANGES
    ]  # fmt: skip
    r: dict[str, tuple[float | str, str]] = {k: (used.value[k], "-") for k in ("r0", "r45", "r90")}
    iso = "ISO 10113"
    return (
        *plain,
        Figure(key="sheet.rbar", label="Mean r-value", value=used.rbar, unit="-", formula="(r0 + 2 r45 + r90)/4", inputs=r, source=iso),
        Figure(key="sheet.delta_r", label="Planar anisotropy", value=used.delta_r, unit="-", formula="(r0 + r90 - 2 r45)/2", inputs=r, source=iso),
        Figure(
            key="sheet.uniform_strain", label="Uniform strain", value=uniform_strain(law.law), unit="-", formula=f"slope = stress of {law.law.text()}", source="Considere 1885"
        ),
        Figure(
            key="sheet.maximum_load_stress", label="Rm by the hardening law", value=maximum_load_stress(law.law), unit="MPa", formula="stress(eu) exp(-eu)",
            inputs={"eu": (uniform_strain(law.law), "-")}, source=law.source,
        ),
        Figure(key="sheet.flc0", label="Limit at plane strain (true)", value=limit.flc0, unit="-", formula=limit.text, source=limit.source),
    )  # fmt: skip


STAGE = Stage(
    name="sheet",
    title="Sheet",
    version=1,
    packages=("sheet",),
    needs=(),
    inputs=_inputs,
    work=_work,
    files=_files,
)
