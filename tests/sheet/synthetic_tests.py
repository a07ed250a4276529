"""A tensile test computed from a law, as a record or as CSV text, with noise from a fixed seed."""

import numpy as np

from diewright.sheet.hardening import HardeningLaw, uniform_strain
from diewright.sheet.tensile_csv import TensileRecord


def pull(law: HardeningLaw, r: float, seed: int | None, *, angle: float = 0.0, modulus: float = 207_000.0, nu: float = 0.3, rows: int = 700,
         stress_noise: float = 0.4, strain_noise: float = 3e-6, width_noise: float = 4e-5, neck: bool = True) -> TensileRecord:  # fmt: skip
    """Elastic line, the law to its uniform strain, then a falling load."""
    first = float(law.stress(0.0))
    true = np.concatenate([np.linspace(0.0, first, 60, endpoint=False), law.stress(np.linspace(0.0, uniform_strain(law), rows))])
    ep = np.concatenate([np.zeros(60), np.linspace(0.0, uniform_strain(law), rows)])
    total = ep + true / modulus
    strain, stress = np.expm1(total), true * np.exp(-total)
    width = np.expm1(-r / (1.0 + r) * ep - nu * true / modulus)
    if neck:
        share = np.linspace(0.02, 1.0, 80)
        strain = np.concatenate([strain, strain[-1] + 0.08 * share])
        stress = np.concatenate([stress, stress[-1] * (1.0 - 0.3 * share**2)])
        width = np.concatenate([width, np.full(80, width[-1])])
    if seed is not None:
        rng = np.random.default_rng(seed)
        strain = strain + strain_noise * rng.normal(size=strain.size)
        stress = stress + stress_noise * rng.normal(size=stress.size)
        width = width + width_noise * rng.normal(size=width.size)
    return TensileRecord(f"synthetic {angle:g}", angle, strain, stress, width)


def as_csv(
    record: TensileRecord, *, cut: str = ";", comma: bool = True, thickness: float = 0.8, width: float = 20.0, length: float = 80.0
) -> str:
    """Force in kN, extension and width change in mm."""
    head = [
        f"# angle: {record.angle:g} deg",
        f"# thickness: {thickness} mm",
        f"# width: {width} mm",
        f"# gauge length: {length} mm",
        "# a note",
    ]
    rows = [cut.join(["force [kN]", "extension [mm]", "width change [mm]", "time [s]"])]
    for i, (e, s, w) in enumerate(zip(record.strain, record.stress, record.width_strain, strict=True)):
        cells = [f"{s * thickness * width / 1000:.6f}", f"{e * length:.6f}", f"{w * width:.6f}", f"{0.1 * i:.1f}"]
        rows.append(cut.join(c.replace(".", ",") if comma else c for c in cells))
    return "\n".join([*head, *rows]) + "\n"
