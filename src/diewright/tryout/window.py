"""The stage ``window``: one draw at several blankholder forces; where it wrinkles, where it tears, and what to set.

The runs share one mesh, graded by a coarse first run: they are compared with each other, and the tryout at the chosen force decides. A run wrinkles at the stroke
from which on its wrinkle height stays above the stated share of the thickness until the bottom (what the closing faces iron out does not count, nor what the
free corners of a half-drawn part look like); it tears where the margin first passes zero. Between two forces the bounds are
interpolated on the logarithm of the force, where the measured quantity crosses its limit. Where the stated range holds no wrinkle or no tear it is widened, four times
as far with each run, up to the stated number of runs. With several frictions the setting has to serve all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diewright.geometry.mesh import TriMesh
from diewright.job.findings import Figure, Finding
from diewright.job.schema import Job
from diewright.job.stage import InputFile, Result, Stage
from diewright.mechanics.contact.tools import Tool, ToolSet
from diewright.mechanics.forming.run import Outcome
from diewright.sheet.surface import YieldSurface
from diewright.tryout.blank_mesh import as_sheet, blank_lines
from diewright.tryout.edge import draw_in
from diewright.tryout.fields import tool_offsets
from diewright.tryout.first_run import choose_mesh
from diewright.tryout.margin import PathMargin
from diewright.tryout.press_run import Wanted, press_tools, run_press
from diewright.tryout.setup import OPERATIONS, TOOLS, Part, Shown, TryoutInputs, rolling_vector, tryout_inputs, wanted_of
from diewright.tryout.sheet_law import flow_stress, shell_material, yield_surface
from diewright.tryout.wrinkle import WrinkleMeter, pressed_axes
from diewright.watch import Watch

Floats = NDArray[np.float64]
WIDER = 4.0  # factor from one force to the next where the range is widened
AWAY = 1.25  # how far above the wrinkling force (or below the tearing one) is set where the other bound is not reached


class WindowInputs(TryoutInputs):
    """What the tryout reads, and which forces are tried."""

    runs: int
    from_share: float
    to_share: float
    widen: int
    frictions: tuple[float, ...]
    wrinkle_limit: float


def _inputs(job: Job) -> WindowInputs:
    # the forces tried do not hang on the one that is set: taking over the recommendation leaves the window as it is
    own = {"blankholder_force_kn": "auto", "blankholder_end_kn": "same", "reference_points": (), "springback": False, "quality": "coarse"}
    return WindowInputs(**{**tryout_inputs(job).model_dump(), **own}, **job.window.model_dump())


@dataclass(frozen=True, eq=False)
class Tried:
    """One run: force [N], and over its strokes [mm] the wrinkle height [mm] and the least margin [%]; thinning [%], draw-in [mm] and punch force [kN] at the end; why it broke off."""

    force: float
    friction: float
    stroke: Floats
    height: Floats
    margin: Floats
    thinning: float
    draw_in: float
    punch: float
    stopped: str | None

    def wrinkles(self, most: float) -> bool:
        """Whether wrinkles higher than ``most`` [mm] stand at its end."""
        return bool(self.height[-1] > most)

    @property
    def tears(self) -> bool:
        """Whether its margin was used up, or it broke off."""
        return self.stopped is not None or bool(self.margin.min() < 0)

    def first(self, over: NDArray[np.bool_]) -> float:
        """Stroke at the first frame that is over, nan if none is."""
        at = np.flatnonzero(over)
        return float(self.stroke[at[0]]) if len(at) else math.nan

    def lasting(self, over: NDArray[np.bool_]) -> float:
        """Stroke from which on it is over until the end, nan if it is not over at the end."""
        if not over[-1]:
            return math.nan
        under = np.flatnonzero(~over)
        return float(self.stroke[under[-1] + 1]) if len(under) else float(self.stroke[0])


def judge(
    flat: TriMesh, ring: NDArray[np.integer], outcome: Outcome, tools: ToolSet, wanted: Wanted, stroke: float, thickness: float, surface: YieldSurface,
    limit: dict[str, Floats], rolling: tuple[float, float, float],
) -> Tried:  # fmt: skip
    """Heights and margins of a run, frame by frame."""
    frames = outcome.frames
    last = frames[-1]
    axes = pressed_axes(last.membrane, flat.triangles, flat.areas, flat.points[:, :2], 8.0 * thickness)
    turned = np.column_stack([rolling[0] * axes[:, 0] - rolling[1] * axes[:, 1], rolling[1] * axes[:, 0] + rolling[0] * axes[:, 1]])
    meter = WrinkleMeter(flat.points[:, :2], flat.triangles, turned, thickness)
    path = PathMargin(surface, limit["minor"], limit["major"])
    names = list(tools.names)
    strokes, heights, margins = [], [], []
    for f in frames:
        strokes.append(max(stroke + float(f.travel[names.index("punch")]), 0.0))
        heights.append(float(meter.told(f.x, tool_offsets(tools, f.x, f.travel)).max()))
        margins.append(float(path.add_tensor(f.layers, f.layers_plastic).margin_pct.min()))
    moves = draw_in(flat.points[ring, :2], last.x[ring]).every
    punch = -1e-3 * outcome.curve["force"][:, names.index("punch"), 2]
    return Tried(
        wanted.force, wanted.friction_die, np.array(strokes), np.array(heights), np.array(margins), 100.0 * float(1.0 - last.stretch.min()),
        float(np.nanmax(moves)) if np.isfinite(moves).any() else 0.0, float(punch.max(initial=0.0)), outcome.stopped,
    )  # fmt: skip


def bound(forces: Floats, excess: Floats, *, falling: bool) -> float | None:
    """Force at which ``excess`` crosses zero, on the logarithm of the force; None where it does not.

    ``falling``: excess is positive at low forces (wrinkles): the highest crossing is taken; else positive at high ones (tears): the lowest.
    """
    order = np.argsort(forces)
    f, e = np.log(forces[order]), excess[order]
    crossings = [k for k in range(len(f) - 1) if (e[k] > 0) != (e[k + 1] > 0) and (e[k] > 0) == falling]
    if not crossings:
        return None
    k = crossings[-1] if falling else crossings[0]
    return float(np.exp(f[k] + (f[k + 1] - f[k]) * e[k] / (e[k] - e[k + 1])))


def recommend(low: float | None, high: float | None, forces: Floats, wrinkles_all: bool, tears_all: bool) -> tuple[float | None, str]:
    """The force to set [N] and why, from both bounds (None: not within the forces tried)."""
    lowest, highest = float(forces.min()), float(forces.max())
    if wrinkles_all:
        return None, f"It wrinkles at every force tried, up to {highest / 1e3:.3g} kN: try higher forces, draw beads, or another addendum."
    if tears_all:
        return (
            None,
            f"It tears at every force tried, down to {lowest / 1e3:.3g} kN: larger radii, a smaller blank, less friction, or another draw.",
        )
    if low is not None and high is not None and low >= high:
        return None, (
            f"There is no window: it wrinkles below {low / 1e3:.3g} kN and tears above {high / 1e3:.3g} kN. "
            "Restrain where it wrinkles (beads), or change radii, blank or lubrication."
        )
    if low is not None and high is not None:
        return math.sqrt(low * high), "Half way between both bounds on the scale of ratios: as far from wrinkles as from tears."
    if low is not None:
        return min(AWAY * low, highest), f"A quarter above the force at which it wrinkles; no tear up to {highest / 1e3:.3g} kN."
    if high is not None:
        return max(high / AWAY, lowest), f"A fifth below the force at which it tears; no wrinkle down to {lowest / 1e3:.3g} kN."
    return math.sqrt(lowest * highest), (
        f"Neither wrinkles nor tears between {lowest / 1e3:.3g} and {highest / 1e3:.3g} kN: the force is not critical here; the middle is given."
    )


def work(inputs: WindowInputs, upstream: Mapping[str, Result], files: Mapping[str, InputFile], watch: Watch) -> Result:
    """Run the forces, find both bounds, recommend."""
    faces, t = upstream["faces"], inputs.thickness
    base, rolling = wanted_of(inputs, upstream), rolling_vector(inputs.rolling_direction)
    material = shell_material(upstream["sheet"], back_modulus=inputs.back_modulus, recall=inputs.back_recall)
    watch.step("distances to the faces", 0.0, 1.0)
    tools = press_tools(faces, t, base, flow_stress(upstream["sheet"]))
    lines = blank_lines(upstream["solution"], upstream["blank"])
    chosen = choose_mesh(inputs, upstream, lines, tools, material, base, watch, fine="normal", budget="coarse", first=True, until=0.06)
    mesh, base = chosen.mesh, chosen.wanted
    flat = as_sheet(mesh, float(faces.arrays["die_touch"][0]))
    surface, table = yield_surface(upstream["sheet"]), upstream["sheet"].tables["limit"]
    limit = {k: np.asarray(v) for k, v in table.items()}
    stroke = float(faces.values["stroke"])
    most = inputs.wrinkle_limit * t
    kinds = [base.friction_die, *(f for f in dict.fromkeys(inputs.frictions) if abs(f - base.friction_die) > 1e-9)]
    forces = [float(f) for f in base.force * np.geomspace(inputs.from_share, inputs.to_share, inputs.runs)]
    tried: list[Tried] = []
    for i, friction in enumerate(kinds):
        at = [replace(tool, friction=friction) if tool.name != "punch" else tool for tool in tools]

        def run(force: float, done: float, part: float, friction: float = friction, at: list[Tool] = at) -> Tried:
            shown = Part(watch, f"run at {force / 1e3:.3g} kN, friction {friction:.3g}", done, done + part)
            wanted = replace(base, force=force, force_end=force, friction_die=friction, frames=14, stations=3)
            model, outcome = run_press(
                flat,
                t,
                material,
                tuple(at),
                faces,
                wanted,
                rolling=rolling,
                watch=shown.watch(),
                hear=Shown(watch, stroke, TOOLS, OPERATIONS),
            )
            return judge(flat, mesh.outline_nodes, outcome, model.tools, wanted, stroke, t, surface, limit, rolling)

        begin, share = 0.02 + 0.98 * i / len(kinds), 0.98 / len(kinds)
        tried += run_forces(run, forces, inputs.widen, most, begin, share)
    return report(inputs, tried, base.force, len(flat.triangles), base.friction_die)


def run_forces(
    run: Callable[[float, float, float], Tried], forces: list[float], widen: int, most: float, begin: float, share: float
) -> list[Tried]:
    """Runs at ``forces`` [N], rising, and up to ``widen`` further ones at each end while none there wrinkles by more than ``most`` [mm] or tears.

    ``run(force, done, part)``; ``begin`` and ``share`` of the progress.
    """
    part = share / (len(forces) + 2 * widen)
    got: list[Tried] = []
    for force in forces:
        got.append(run(force, begin + part * len(got), part))
    for _ in range(widen):
        if got[0].wrinkles(most):
            break
        got.insert(0, run(got[0].force / WIDER, begin + part * len(got), part))
    for _ in range(widen):
        if got[-1].tears:
            break
        got.append(run(got[-1].force * WIDER, begin + part * len(got), part))
    return got


def report(inputs: WindowInputs, tried: list[Tried], base: float, triangles: int, friction: float) -> Result:
    """Bounds, recommendation, tables and findings."""
    t = inputs.thickness
    most = inputs.wrinkle_limit * t
    forces = np.array([r.force for r in tried])
    height = np.array([float(r.height[-1]) for r in tried])
    margin = np.array([min(float(r.margin.min()), -1.0) if r.stopped is not None else float(r.margin.min()) for r in tried])
    frictions = np.array([r.friction for r in tried])
    bounds = {"friction": np.array(list(dict.fromkeys(frictions.tolist())))}
    own = [frictions == f for f in bounds["friction"]]
    lows = [bound(forces[k], height[k] - most, falling=True) for k in own]
    highs = [bound(forces[k], -margin[k], falling=False) for k in own]
    low = max((x for x in lows if x is not None), default=None)
    high = min((x for x in highs if x is not None), default=None)
    setting, why = recommend(
        low, high, forces, any(bool((height[k] > most).all()) for k in own), any(bool((margin[k] < 0).all()) for k in own)
    )
    bounds["wrinkles_below_kN"], bounds["tears_above_kN"] = (
        np.array([np.nan if x is None else 1e-3 * x for x in side]) for side in (lows, highs)
    )
    runs = {
        "blankholder_kN": 1e-3 * forces, "friction": frictions, "wrinkle_height_mm": height,
        "wrinkle_at_stroke_mm": np.array([r.lasting(r.height > most) for r in tried]), "margin_pct": margin,
        "tear_at_stroke_mm": np.array([r.first(r.margin < 0) for r in tried]), "thinning_pct": np.array([r.thinning for r in tried]),
        "draw_in_mm": np.array([r.draw_in for r in tried]), "punch_kN": np.array([r.punch for r in tried]),
    }  # fmt: skip
    tables: dict[str, dict[str, np.ndarray]] = {"runs": runs, "bounds": bounds}
    for i, r in enumerate(tried):
        tables[f"run_{i}"] = {"stroke_mm": r.stroke, "wrinkle_height_mm": r.height, "margin_pct": r.margin}
    kN = None if setting is None else 1e-3 * setting
    values: dict[str, Any] = {
        "wrinkles_below_kN": None if low is None else 1e-3 * low, "tears_above_kN": None if high is None else 1e-3 * high, "recommended_kN": kN,
        "distance_low_pct": None if low is None or setting is None else 100.0 * (setting / low - 1.0),
        "distance_high_pct": None if high is None or setting is None else 100.0 * (high / setting - 1.0),
        "why": why, "friction": friction, "base_kN": 1e-3 * base, "triangles": triangles, "wrinkle_limit_mm": most, "tried_from_kN": 1e-3 * float(forces.min()),
        "tried_to_kN": 1e-3 * float(forces.max()), "stopped": [r.stopped for r in tried],
    }  # fmt: skip
    return Result(values=values, figures=_figures(values), findings=tuple(_findings(values, setting, base, low, high)), tables=tables)


def _figures(v: dict[str, Any]) -> tuple[Figure, ...]:
    source = "explicit tryouts of this job on one coarse mesh"
    return (
        Figure(key="recommended", label="Blankholder force to set", value=v["recommended_kN"], unit="kN", formula=v["why"], source=source),
        Figure(key="wrinkles_below", label="Wrinkles below", value=v["wrinkles_below_kN"], unit="kN", formula="wrinkle height passes the stated limit", source=source, inputs={"limit": (v["wrinkle_limit_mm"], "mm")}),
        Figure(key="tears_above", label="Tears above", value=v["tears_above_kN"], unit="kN", formula="margin to necking passes zero", source=source),
    )  # fmt: skip


def _findings(v: dict[str, Any], setting: float | None, base: float, low: float | None, high: float | None) -> list[Finding]:
    source = "explicit tryouts of this job on one coarse mesh"
    if setting is None:
        return [
            Finding(key="window.none", severity="attend", sentence=v["why"], source=source, help="Change the faces, the blank or the lubrication, then work the window again.")
        ]  # fmt: skip
    out = []
    if (low is not None and base < low) or (high is not None and base > high):
        side = "wrinkles" if low is not None and base < low else "tears"
        out.append(
            Finding(
                key="window.outside", severity="attend", value=1e-3 * base, limit=1e-3 * float((low if side == "wrinkles" else high) or 0.0), unit="kN", source=source,
                sentence=f"The tryout's blankholder force of {base / 1e3:.3g} kN lies outside the window: it {side} there.",
                help=f"Take over {setting / 1e3:.3g} kN.",
            )
        )  # fmt: skip
    if low is not None and high is not None and high < 1.5 * low:
        out.append(
            Finding(
                key="window.narrow", severity="attend", value=100.0 * (high / low - 1.0), limit=50.0, unit="%", source="common practice: friction alone moves the bounds by this much",
                sentence=f"The window is narrow: it wrinkles below {low / 1e3:.3g} kN and tears above {high / 1e3:.3g} kN.",
                help="Beads, larger radii or a better lubricant widen it.",
            )
        )  # fmt: skip
    return out


WINDOW = Stage(
    name="window", title="The blankholder", version=1, packages=("tryout", "mechanics", "sheet", "job/places"),
    needs=("shape", "sheet", "solution", "blank", "faces", "press"), inputs=_inputs, work=work, slow=True,
)  # fmt: skip
