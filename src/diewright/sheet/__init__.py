"""The sheet metal: hardening, yield surfaces, forming limits, tensile tests and the sheet library."""

from diewright.sheet.hardening import HardeningLaw, dense_table, hardening_law, maximum_load_stress, uniform_strain
from diewright.sheet.library import load, names
from diewright.sheet.limits import FormingLimitCurve, groove_curve, keeler_brazier, measured, swift_hill
from diewright.sheet.quadratic import Hill48, Mises
from diewright.sheet.surface import YieldSurface
from diewright.sheet.yld2000 import Yld2000
from diewright.sheet.yld2000fit import Measures, fit_yld2000

__all__ = [
    "FormingLimitCurve",
    "HardeningLaw",
    "Hill48",
    "Measures",
    "Mises",
    "YieldSurface",
    "Yld2000",
    "dense_table",
    "fit_yld2000",
    "groove_curve",
    "hardening_law",
    "keeler_brazier",
    "load",
    "maximum_load_stress",
    "measured",
    "names",
    "swift_hill",
    "uniform_strain",
]
