"""The sheet of the job as the law of the shell."""

from __future__ import annotations

import numpy as np

from diewright.errors import InputError
from diewright.job.stage import Result
from diewright.mechanics.shell.material import ShellMaterial, barlat_yield, hill_yield, plastic
from diewright.sheet import Hill48, Mises, YieldSurface, Yld2000


def shell_material(sheet: Result, *, back_modulus: float = 0.0, recall: float = 0.0) -> ShellMaterial:
    """Elastic constants, yield surface and hardening of the stage ``sheet``; density from kg/m3 to t/mm3.

    The hardening curve is the stage's dense table. With a back stress the isotropic part is lowered by its saturated value in the rolling direction,
    so that the tensile curve stays what it was; raises :class:`InputError` where that leaves no yield stress.
    """
    v = sheet.values
    surface = v["yield_surface"]
    p = surface["parameters"]
    if surface["kind"] == "yld2000":
        coefficients = barlat_yield([float(a) for a in p["alpha"]], float(p["exponent"]))
    elif surface["kind"] == "mises":
        coefficients = hill_yield(0.5, 0.5, 0.5, 1.5)
    else:
        coefficients = hill_yield(*(float(p[name]) for name in "FGHN"))
    strain, stress = (np.asarray(sheet.tables["hardening"][name], dtype=np.float64) for name in ("strain", "stress"))
    if back_modulus > 0:
        # uniaxial Armstrong-Frederick: a = C/g (1 - exp(-g p)), or C p without recall
        back = back_modulus / recall * (1.0 - np.exp(-recall * strain)) if recall > 0 else back_modulus * strain
        stress = stress - back
        if stress.min() <= 0 or (np.diff(stress) <= 0).any():
            raise InputError(
                f"a back modulus of {back_modulus:g} MPa with recall {recall:g} leaves no rising hardening curve.",
                where="tryout.back_modulus",
                help="State a lower modulus or a higher recall.",
            )
    return plastic(
        float(v["E"]), float(v["nu"]), float(v["density"]) * 1e-12, coefficients, lambda e: np.interp(e, strain, stress),
        back_modulus=back_modulus, recall=recall,
    )  # fmt: skip


def flow_stress(sheet: Result) -> float:
    """Yield stress [MPa] at a plastic strain of 0.2: the level at which a squeezed flange yields through its thickness."""
    curve = sheet.tables["hardening"]
    return float(np.interp(0.2, curve["strain"], curve["stress"]))


def yield_surface(sheet: Result) -> YieldSurface:
    """The stage's yield surface as an object of the package ``sheet``."""
    surface = sheet.values["yield_surface"]
    p = surface["parameters"]
    if surface["kind"] == "yld2000":
        return Yld2000(tuple(float(a) for a in p["alpha"]), float(p["exponent"]))
    if surface["kind"] == "mises":
        return Mises()
    return Hill48(*(float(p[name]) for name in "FGHN"))
