"""The finish: what is wanted, how it is prepared, dipped and plated."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from diewright.job.stated.record import Positive, Record, Vector, q, safe_name


class FinishStated(Record):
    """The finish: what is asked for, how the surface is prepared, the rack, and what is measured."""

    service: Literal["auto"] | Annotated[int, Field(ge=1, le=5)] = q(
        "", "service condition: 1 mild, 2 moderate, 3 severe, 4 very severe, 5 extended very severe; auto takes 2", default="auto"
    )
    base: Literal["auto", "steel", "copper", "zinc", "aluminium"] = q(
        "", "base metal of the classes; auto takes the sheet's", default="auto"
    )
    chromium: Literal["auto", "r", "mc", "mp"] = q(
        "", "chromium: regular, microcracked or microporous; auto takes regular where the class has it", default="auto"
    )
    nickel_um: Literal["auto"] | Annotated[float, Field(gt=0, le=2000)] = q(
        "µm", "least local nickel; auto takes the class's", default="auto"
    )
    chromium_um: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "µm", "least local chromium; auto takes the class's", default="auto"
    )
    significant: Literal["visible", "all"] | tuple[Annotated[int, Field(ge=0)], ...] = q(
        "", "surfaces that count: visible is the shown side, all both sides, or a list of CAD faces of the shown side", default="visible"
    )
    significant_points: tuple[Vector, ...] = q(
        "mm", "points in press coordinates; the CAD face nearest to each counts too", default=(), max_length=200
    )
    side: Literal["auto", "upper", "lower"] = q(
        "", "side of the sheet that is shown, as in the press; auto takes the outer one", default="auto"
    )
    ball_mm: float = q("mm", "ball that must touch a place for its thickness to count (ISO 27830)", default=20.0, gt=0, le=500)
    start_ra_um: Literal["auto"] | Annotated[float, Field(gt=0, le=50)] = q(
        "µm", "Ra of the rolled sheet; auto takes what is usual", default="auto"
    )
    grain_um: float = q("µm", "grain size of the sheet", default=20.0, gt=0, le=1000)
    peel_factor: float = q(
        "",
        "Ra that orange peel adds, in grain sizes for a strain of 1 (typical, from memory; measure your own sheet)",
        default=0.1,
        ge=0,
        le=5,
    )
    scratch_um: float = q(
        "µm", "depth of the scratches where the sheet slid over the die radius (typical, from memory)", default=10.0, ge=0, le=500
    )
    slide_mm: float = q("mm", "inward slide from which on a wall counts as drawn over the die radius", default=3.0, gt=0, le=500)
    polish_ra_um: float = q("µm", "Ra wanted before plating", default=0.2, gt=0, le=10)
    grits: Literal["auto"] | tuple[Annotated[int, Field(ge=1, le=5000)], ...] = q("", "grits in their order; auto chooses", default="auto")
    buff: Literal["none", "cut", "bright"] = q(
        "", "what follows the last grit: nothing, a cut buff, or cut and bright buffs", default="bright"
    )
    least_thickness: Literal["auto"] | Annotated[float, Field(gt=0, le=20)] = q(
        "mm", "least thickness of the sheet after polishing; auto takes 0.75 of the sheet", default="auto"
    )
    wheel_mm: float = q("mm", "diameter of the polishing wheel", default=300.0, gt=0, le=2000)
    wheel_width: float = q("mm", "width of the polishing wheel", default=50.0, gt=0, le=1000)
    wheel_rpm_most: float = q("1/min", "highest speed marked on the wheel", default=3000.0, gt=0, le=100_000)
    rate_cm2_min: tuple[Positive, Positive] = q(
        "cm2/min", "area that one person takes through one step, from and to", default=(100.0, 400.0)
    )
    wheel_life_m2: tuple[Positive, Positive] = q(
        "m2", "area that one dressing or wheel lasts for in one step, from and to", default=(3.0, 15.0)
    )
    current_density: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "A/dm2", "highest mean current density on the rack; auto takes the greater of the usual ones of nickel and chromium", default="auto"
    )
    facing: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that looks at the anodes; auto its shown side", default="auto"
    )
    up: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that hangs upwards; auto lays its longer side level", default="auto"
    )
    spacing: float = q("mm", "gap between neighbouring parts", default=40.0, gt=0, le=2000)
    rack_width: float = q("mm", "room for parts across the rack", default=1200.0, gt=0, le=10_000)
    rack_height: float = q("mm", "room for parts down the rack", default=900.0, gt=0, le=10_000)
    rack_kg: float = q("kg", "weight of the empty rack", default=8.0, ge=0, le=5000)
    rack_load_kg: float = q("kg", "most that rack and parts may weigh", default=40.0, gt=0, le=20_000)
    tank_depth: float = q("mm", "depth of the bath", default=1300.0, gt=0, le=20_000)
    cover_mm: float = q("mm", "bath over the uppermost part", default=80.0, ge=0, le=2000)
    spine_mm2: float = q("mm2", "section of the rack's spine", default=400.0, gt=0, le=100_000)
    spine_a_mm2: float = q("A/mm2", "current that a copper spine bears (common practice)", default=1.5, gt=0, le=20)
    hook_a: float = q("A", "current that one contact bears (common practice)", default=30.0, gt=0, le=2000)
    rectifier_a: float = q("A", "current of the rectifier", default=2000.0, gt=0, le=200_000)
    plan_points: int = q("", "places to measure, spread over the significant surface of each side that counts", default=5, ge=1, le=200)
    readings_file: str = q("", "CSV of thickness readings: place, method, um", default="", max_length=200)
    coulometric_pct: float = q("%", "expanded uncertainty (k = 2) of one coulometric reading", default=10.0, gt=0, le=100)
    xrf_pct: float = q("%", "expanded uncertainty (k = 2) of one X-ray reading", default=10.0, gt=0, le=100)
    bath_log_file: str = q("", "CSV of the baths' book: date, bath, Ah, m2, additions", default="", max_length=200)
    nickel_g_l: float = q("g/L", "nickel in the bath", default=75.0, gt=0, le=500)
    chromic_g_l: float = q("g/L", "chromic acid in the bath", default=250.0, gt=0, le=1000)
    brightener_ml_kah: float = q(
        "mL/kAh", "brightener used up by the current (the supplier's figure; typical, from memory)", default=200.0, ge=0, le=5000
    )
    brightener_ml_l: float = q("mL/L", "brightener in the bath (typical, from memory)", default=1.0, ge=0, le=100)
    drag_out_ml_m2: Literal["auto"] | Annotated[float, Field(ge=0, le=5000)] = q(
        "mL/m2", "bath carried out by both sides; auto takes the formula of dipping for this part", default="auto"
    )
    cost_chromium_vi: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for nickel and hexavalent chromium", default="auto"
    )
    cost_chromium_iii: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for nickel and trivalent chromium", default="auto"
    )
    cost_zinc_nickel: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for zinc-nickel and paint", default="auto"
    )
    cost_powder: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for phosphate and powder coating", default="auto"
    )
    cost_stainless: Literal["auto"] | Annotated[float, Field(gt=0, le=1e6)] = q(
        "per m2", "your rate for stainless sheet, polished and left bright", default="auto"
    )

    @field_validator("readings_file", "bath_log_file")
    @classmethod
    def _inside(cls, value: str) -> str:
        return safe_name(value)

    @field_validator("facing", "up")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value

    @field_validator("rate_cm2_min", "wheel_life_m2")
    @classmethod
    def _band(cls, value: tuple[float, float]) -> tuple[float, float]:
        if value[0] > value[1]:
            raise ValueError("the first of the two may not be more than the second")
        return value

    @field_validator("grits")
    @classmethod
    def _finer(cls, value: Any) -> Any:
        if value != "auto" and (not value or any(a >= b for a, b in pairwise(value))):
            raise ValueError("grits go from coarse to fine, each with a greater number than the one before")
        return value


class PlatingLayerStated(Record):
    """One deposit of the sequence, in its own bath."""

    bath: str = q("", "name of a bath in the library", default="watts-nickel", min_length=1, max_length=60)
    minimum_um: float = q("µm", "least thickness wanted on the significant surface", default=10.0, gt=0, le=2000)
    current_density: Literal["auto"] | Annotated[float, Field(gt=0, le=500)] = q(
        "A/dm2", "mean current density of all that hangs on the cathode; auto takes the bath's usual one", default="auto"
    )
    current: Literal["auto"] | Annotated[float, Field(gt=0, le=200_000)] = q(
        "A", "total current of the rectifier; auto takes it from the mean current density", default="auto"
    )
    minutes: Literal["auto"] | Annotated[float, Field(gt=0, le=10_000)] = q(
        "min", "time in the bath; auto until the least thickness is reached", default="auto"
    )
    conductivity: Literal["auto"] | Annotated[float, Field(gt=0, le=200)] = q(
        "S/m", "conductivity of the bath; auto takes the library's", default="auto"
    )
    tafel_slope: Literal["auto"] | Annotated[float, Field(gt=0, le=1000)] = q(
        "mV/decade", "cathodic Tafel slope; auto takes the library's", default="auto"
    )


class PlatingBodyStated(Record):
    """A body in the bath beside parts and anodes: tank coordinates, x along the rack, y towards the front anodes, z up, 0 in the middle of the rack."""

    role: Literal["shield", "thief", "bipolar"] = q(
        "",
        "shield: insulating; thief: metal on the cathode bar that takes current off the parts; bipolar: metal joined to nothing",
        default="shield",
    )
    kind: Literal["box", "rod", "plate"] = q(
        "", "box; rod: round, along its longest side; plate: without thickness, one side of size is 0", default="box"
    )
    at: Vector = q("mm", "middle of the body")
    size: tuple[Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)]] = q(
        "mm", "its sides along x, y and z"
    )

    @model_validator(mode="after")
    def _sides(self) -> PlatingBodyStated:
        flat = sum(s == 0 for s in self.size)
        if flat != (1 if self.kind == "plate" else 0):
            raise ValueError("a plate has one side of 0 mm, box and rod have none")
        return self


class PlatingStated(Record):
    """The rack in its bath and what is plated on it."""

    layers: tuple[PlatingLayerStated, ...] = q(
        "",
        "deposits in their order, each a table: bath, minimum_um, current_density, current, minutes, conductivity, tafel_slope",
        default=(PlatingLayerStated(), PlatingLayerStated(bath="chromium-vi", minimum_um=0.3)),
        min_length=1,
        max_length=6,
    )
    columns: int = q("", "parts side by side on the rack", default=2, ge=1, le=20)
    rows: int = q("", "parts above each other on the rack", default=2, ge=1, le=20)
    spacing: float = q("mm", "gap between neighbouring parts", default=40.0, gt=0, le=2000)
    facing: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that looks at the front anodes; auto turns its outer side there", default="auto"
    )
    up: Literal["auto"] | Vector = q(
        "", "direction of the part, in press coordinates, that hangs upwards; auto lays its longer side level", default="auto"
    )
    significant: Literal["auto", "upper", "lower", "both", "finish"] = q(
        "",
        "side of the sheet whose thickness counts, upper and lower as in the press; auto takes the outer side: the one whose normals point away from the part's middle; finish takes what [finish] picks and its ball touches",
        default="auto",
    )
    tank: Literal["auto"] | tuple[Positive, Positive, Positive] = q(
        "mm",
        "bath inside the tank: length along the rack, width between the anode rows, depth of liquid; auto leaves the usual room",
        default="auto",
    )
    anode_rows: Literal[1, 2] = q("", "anodes on the front side only, or on both sides of the rack", default=2)
    anode_distance: float = q("mm", "from the middle of the rack to the faces of the anodes", default=200.0, gt=0, le=3000)
    anode_count: Literal["auto"] | Annotated[int, Field(ge=1, le=100)] = q("", "anode bars in a row; auto one every 200 mm", default="auto")
    anode_width: float = q("mm", "width of a bar", default=60.0, gt=0, le=2000)
    anode_thickness: float = q("mm", "thickness of a bar", default=30.0, gt=0, le=500)
    anode_span: Literal["auto"] | Annotated[float, Field(gt=0, le=20_000)] = q(
        "mm", "length of the row of anodes along the rack; auto as long as the rack", default="auto"
    )
    anode_length: Literal["auto"] | Annotated[float, Field(gt=0, le=5000)] = q(
        "mm", "length of a bar in the bath; auto as deep as the rack", default="auto"
    )
    anode_raise: float = q("mm", "how much higher the middle of the bars hangs than that of the rack", default=0.0, ge=-2000, le=2000)
    bodies: tuple[PlatingBodyStated, ...] = q(
        "", "shields, thieves and bipolar metal in the bath, each a table: role, kind, at, size", default=(), max_length=40
    )
    quality: Literal["coarse", "normal", "fine"] = q("", "mesh of parts and bath", default="normal")
    tries: int = q("", "most solutions that the search for the anodes' place makes", default=14, ge=4, le=200)


class DipStated(Record):
    """The part in a bath: the air that stays when it goes in, the liquid that stays when it comes out."""

    attitude: Literal["auto"] | Vector = q(
        "", "which way of the part is up on the rack, in part coordinates; auto searches", default="auto"
    )
    significant: Literal["both", "upper", "lower"] = q(
        "", "side of the sheet on which trapped air does harm, as seen against the press direction", default="both"
    )
    directions: int = q("", "attitudes tried in the search", default=1000, ge=100, le=20_000)
    in_speed: float = q("mm/s", "speed at which the rack is lowered", default=100.0, gt=0, le=2000)
    out_speed: float = q("mm/s", "speed at which the rack is raised", default=100.0, gt=0, le=2000)
    drip_time: float = q("s", "time the rack drips over the bath", default=10.0, ge=0, le=3600)
    density: float = q("kg/m3", "density of the bath", default=1250.0, ge=600, le=3000)
    viscosity: float = q("mPa s", "viscosity of the bath", default=1.5, gt=0, le=10_000)
    surface_tension: float = q("mN/m", "surface tension of the bath", default=70.0, gt=0, le=1000)
    depth: float = q("mm", "bath above the part's highest point when it is in", default=100.0, ge=0, le=20_000)
    hole_least: float = q(
        "mm",
        "narrowest hole that counts: narrower ones of the part are taken as shut, none narrower is proposed",
        default=3.0,
        ge=0,
        le=200,
    )
    pocket_least: float = q("mm3", "smallest pocket that is named; smaller ones are summed", default=20.0, ge=0, le=1_000_000)
    parts: int = q("", "parts on the rack", default=1, ge=1, le=10_000)

    @field_validator("attitude")
    @classmethod
    def _direction(cls, value: Any) -> Any:
        if value != "auto" and math.hypot(*value) < 1e-9:
            raise ValueError("a direction needs a length above zero")
        return value
