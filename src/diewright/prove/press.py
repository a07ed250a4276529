"""Our values for ``reference/press.csv``."""

from __future__ import annotations

import math
from collections.abc import Callable

from diewright.mechanics.crank import EUROPEAN_ANGLE, US_DISTANCE, Crank
from diewright.press import drawing, holder, radii, ratios
from diewright.press.sequence import blank_diameter, cup_height, number_of_draws
from diewright.sheet import cutting

HEIGHTS = (1.0, 2.0, 4.0, 6.7, 10.0, 20.0, 30.0, 50.0)


def groover_cup() -> dict[str, float]:
    """Draw and holder force of the textbook cup."""
    return {
        "draw force": drawing.draw_force_groover(75.0, 2.4, 300.0, 138.0),
        "blankholder force": holder.holder_force_groover(175.0, 138.0, 75.0, 2.4, 6.0),
        "draw ratio": drawing.draw_ratio(138.0, 75.0),
    }


def small_cup() -> dict[str, float]:
    """Industrial cup of 30 mm, Rm 750 MPa."""
    area = holder.holder_area_round(52.0, 31.4, 4.0)
    return {
        "draw force": drawing.draw_force_groover(30.0, 0.5, 750.0, 52.0) / 1000.0,
        "holder area": area,
        "blankholder force": holder.holder_force(2.5, area) / 1000.0,
        "draw ratio": drawing.draw_ratio(52.0, 30.0),
        "draw clearance": radii.draw_clearance(0.5, "steel"),
    }


def groover_blank() -> dict[str, float]:
    """Disc of 150 mm: clearance, tool sizes, force."""
    clearance = cutting.cutting_clearance(3.2, cutting.CLEARANCE_ALLOWANCE["hard steel"])
    die, punch = cutting.blanking_sizes(150.0, clearance)
    force = cutting.blanking_force(math.pi * 150.0, 3.2, 310.0)
    return {"clearance": clearance, "die size": die, "punch size": punch, "cutting force": force}


def brass_blank() -> dict[str, float]:
    """Brass blank with stripping."""
    force = cutting.blanking_force(126.0, 2.0, 400.0)
    return {"cutting force": force / 1000.0, "with stripping": (force + cutting.stripping_force(force, 0.2)) / 1000.0}


def ghosh_mallik_punch() -> dict[str, float]:
    """Punching by the fracture strain."""
    clearance = cutting.clearance_from_fracture(3.0, 1.75)
    return {"clearance": clearance, "cutting force": cutting.force_from_fracture(clearance, 2100.0, math.pi * 50.0) / 1000.0}


def whiteley() -> dict[str, float]:
    """Limits over r at two efficiencies."""
    return {f"rbar {r:g} eta {eta:g}": ratios.limit_whiteley(r, eta) for eta in (0.79, 0.74) for r in (0.6, 1.0, 1.35, 1.8, 2.2)}


def leu() -> dict[str, float]:
    """Limits over r and n."""
    return {f"r {r:g} n {n:g}": ratios.limit_leu(r, n) for r, n in ((1.0, 0.2), (1.6, 0.2), (1.8, 0.22), (0.7, 0.25))}


def workbook_cup() -> dict[str, float]:
    """Cup of 100 x 200 mm: blank and number of draws."""
    blank = blank_diameter(100.0, 200.0)
    return {"blank diameter": blank, "draws": float(number_of_draws(blank, 100.0, (2.0, 1.6, 1.4)))}


def aa6016_cup() -> dict[str, float]:
    """Cup height by constant area, against itself and against the measured mean."""
    height = cup_height(107.5, 61.0, 5.5)
    return {"height by area": height, "mean height": height}


def crank_force() -> dict[str, float]:
    """Torque-limited force and crank angle over the height, S 100 mm."""
    crank = Crank(100.0)
    rated = crank.rated_angle(angle_deg=EUROPEAN_ANGLE)
    out = {f"F/F_N at {h:g} mm": float(crank.torque_ratio(h, rated)) for h in HEIGHTS}
    return out | {f"angle at {h:g} mm": math.degrees(float(crank.angle(h))) for h in HEIGHTS}


def crank_rated_distance() -> dict[str, float]:
    """Press rated at a distance above bottom, S 200 mm."""
    crank = Crank(200.0)
    rated = crank.rated_angle(distance=US_DISTANCE)
    return {"rated angle": math.degrees(rated), "F/F_N at 50 mm": float(crank.force(50.0, 1.0, rated))}


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "groover-cup": groover_cup,
    "small-cup-2016": small_cup,
    "holder-pressure": lambda: {"pressure": holder.holder_pressure_siebel(2.0, 100.0, 1.0, 310.0)},
    "draw-clearance": lambda: {k: radii.draw_clearance(1.0, k) for k in ("steel", "aluminium", "brass", "high-temperature")},
    "die-radius": lambda: {"first draw": radii.die_radius(200.0, 100.0, 1.0)},
    "groover-blank": groover_blank,
    "brass-blank": brass_blank,
    "kalpakjian-punch": lambda: {"cutting force": cutting.blanking_force(math.pi * 30.0, 3.0, 0.7 * 1000.0) / 1e6},
    "ghosh-mallik-punch": ghosh_mallik_punch,
    "ideal-limit": lambda: {"draw ratio limit": ratios.limit_whiteley(1.0, 1.0)},
    "chart-limit": lambda: {"draw ratio limit": ratios.limit_whiteley(1.35)},
    "whiteley-limit": whiteley,
    "leu-limit": leu,
    "tschaetsch-limit": lambda: {"DC04 d/s 100": ratios.limit_tschaetsch(100.0, 1.0)},
    "workbook-cup": workbook_cup,
    "cup-blank": lambda: {"sharp corner": blank_diameter(50.0, 60.0)},
    "aa6016-cup": aa6016_cup,
    "crank-force": crank_force,
    "crank-rated-distance": crank_rated_distance,
    "crank-european-rating": lambda: {
        "height over stroke": float(Crank(100.0).height(Crank(100.0).rated_angle(angle_deg=EUROPEAN_ANGLE))) / 100.0
    },
    "crank-speed": lambda: {"speed at 20 mm": float(Crank(100.0).speed(20.0, 30.0))},
}
