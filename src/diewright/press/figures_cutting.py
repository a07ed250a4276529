"""The press figures of cutting the blank and piercing."""

from __future__ import annotations

from diewright.job.findings import Figure
from diewright.press.drawn import Drawn
from diewright.press.figures import RANGE, Metal
from diewright.sheet import cutting


def cutting_figures(part: Drawn, metal: Metal, holes_length: float) -> list[Figure]:
    """Figures of cutting the blank, and of piercing holes whose outlines in the blank are ``holes_length`` mm long together (0: none)."""
    s = metal.thickness
    shear = cutting.shear_strength(metal.rm, metal.family)
    force = cutting.blanking_force(part.blank_perimeter, s, shear)
    share, name = cutting.allowance(metal.family, metal.rm, metal.rp02)
    clearance = cutting.cutting_clearance(s, share)
    tau = f"{cutting.SHEAR_SHARE[metal.family]:g} Rm"
    out = [
        Figure(
            key="blanking_force", label="Cutting force of the blank", value=force, unit="N", formula=f"F = tau L t, tau = {tau}",
            inputs={"L": (part.blank_perimeter, "mm"), "t": (s, "mm"), "tau": (shear, "MPa"), "Rm": (metal.rm, "MPa")},
            source="Groover; Kalpakjian & Schmid ch. 7; share of Rm by family, common practice",
            confidence="sharp flat tools, within about 15 %; worn edges add 15 to 30 %",
        ),
        Figure(
            key="stripping_force", label="Stripping force", value=cutting.stripping_force(force), unit="N", formula="F = 0.15 F_cut (0.10 to 0.20)",
            inputs={"F_cut": (force, "N")}, source="common practice", confidence="within a factor of two",
        ),
        Figure(
            key="stripping_force_us", label="Stripping force, US rule", value=cutting.stripping_force_us(part.blank_perimeter, s), unit="N",
            formula="F = 3500 psi L t", inputs={"L": (part.blank_perimeter, "mm"), "t": (s, "mm")}, source="US rule (from memory)",
            confidence="within a factor of two",
        ),
        Figure(
            key="cutting_clearance", label="Cutting clearance a side", value=clearance, unit="mm", formula="c = Ac t",
            inputs={"Ac": (share, ""), "t": (s, "mm"), "class": (name, "")}, source="Groover (from memory)",
            confidence=f"{RANGE}; 5 to 10 % of the thickness is usual",
        ),
    ]  # fmt: skip
    if holes_length > 0.0:
        out.append(
            Figure(
                key="piercing_force",
                label="Piercing force of all holes in the blank",
                value=cutting.blanking_force(holes_length, s, shear),
                unit="N",
                formula=f"F = tau L t, tau = {tau}",
                inputs={"L": (holes_length, "mm"), "t": (s, "mm"), "tau": (shear, "MPa")},
                source="as the cutting force of the blank",
                confidence="sharp flat tools that cut all at once",
            )
        )
    return out
