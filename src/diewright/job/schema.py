"""What a person states about a job: the content of ``job.toml``.

Every field carries its unit, its range and a line of explanation. Lengths mm, forces kN where a press is meant
(the name then says so), stresses MPa, angles degrees. Unknown fields, values out of range and values of
the wrong kind are refused with one sentence that names the field, the value and what was expected.
"""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError, model_validator

from diewright.errors import InputError
from diewright.job.stated.cutting import BendsStated, BendStated, CuttingStated, PlanStated, PlanStation, ScrapStated, TrimLine, TrimStated
from diewright.job.stated.faces import AddendumPlace, DetailsStated, FacesStated, Ruling
from diewright.job.stated.finish import DipStated, FinishStated, PlatingBodyStated, PlatingLayerStated, PlatingStated
from diewright.job.stated.forming import (
    BlankStated,
    CompensationStated,
    DrawsStated,
    NestStated,
    PressStated,
    ProposalStated,
    SheetStated,
    TryoutStated,
    WindowStated,
)
from diewright.job.stated.line import HoistStated, LineStated, RecipeStated, TankStated
from diewright.job.stated.part import FlangeStated, PartStated, ShapeStated
from diewright.job.stated.record import Record, Vector, q

__all__ = [
    "FORMAT",
    "About",
    "AcceptedStated",
    "AddendumPlace",
    "BendStated",
    "BendsStated",
    "BlankStated",
    "CompensationStated",
    "CuttingStated",
    "DetailsStated",
    "DipStated",
    "DrawsStated",
    "FacesStated",
    "FinishStated",
    "FlangeStated",
    "HoistStated",
    "Job",
    "LineStated",
    "NestStated",
    "PartStated",
    "PlanStated",
    "PlanStation",
    "PlatingBodyStated",
    "PlatingLayerStated",
    "PlatingStated",
    "PressStated",
    "ProposalStated",
    "RecipeStated",
    "Record",
    "Ruling",
    "ScrapStated",
    "ShapeStated",
    "SheetStated",
    "TankStated",
    "TrimLine",
    "TrimStated",
    "TryoutStated",
    "Vector",
    "WindowStated",
    "explain",
    "parse",
]

FORMAT = 1


class About(Record):
    """Title block of the job."""

    title: str = q("", "what the part is called", default="Untitled part", min_length=1, max_length=120)
    number: str = q("", "drawing or job number", default="", max_length=60)
    revision: str = q("", "revision letter or number", default="A", max_length=12)
    quantity: int = q("parts a year", "how many parts are made", default=1000, ge=1, le=100_000_000)
    drawn_by: str = q("", "who drew it", default="", max_length=60)
    checked_by: str = q("", "who checked it", default="", max_length=60)


class AcceptedStated(Record):
    """An ``attend`` finding accepted with a reason; ``value`` is the figure that was accepted."""

    finding: str = q("", "key of the finding", min_length=1, max_length=120)
    reason: str = q("", "why it is accepted", min_length=3, max_length=500)
    by: str = q("", "who accepted it", default="", max_length=60)
    value: float | None = q("", "measured value at the time", default=None)


class Job(Record):
    """The whole of ``job.toml``."""

    format: int = q("", "format number of the file", default=FORMAT, ge=1, le=FORMAT)
    job: About = About()
    part: PartStated = PartStated()
    shape: ShapeStated = ShapeStated()
    sheet: SheetStated = SheetStated()
    blank: BlankStated = BlankStated()
    nest: NestStated = NestStated()
    press: PressStated = PressStated()
    faces: FacesStated = FacesStated()
    details: DetailsStated = DetailsStated()
    draws: DrawsStated = DrawsStated()
    cutting: CuttingStated = CuttingStated()
    tryout: TryoutStated = TryoutStated()
    window: WindowStated = WindowStated()
    compensation: CompensationStated = CompensationStated()
    proposal: ProposalStated = ProposalStated()
    plating: PlatingStated = PlatingStated()
    line: LineStated = LineStated()
    trim: TrimStated = TrimStated()
    scrap: ScrapStated = ScrapStated()
    bends: BendsStated = BendsStated()
    plan: PlanStated = PlanStated()
    dip: DipStated = DipStated()
    finish: FinishStated = FinishStated()
    accepted: tuple[AcceptedStated, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _newer(cls, data: Any) -> Any:
        if isinstance(data, dict) and isinstance(data.get("format"), int) and data["format"] > FORMAT:
            raise InputError(
                f"This job was written by a newer diewright (format {data['format']}; this one reads {FORMAT}).",
                where="format",
                help="Update diewright.",
            )
        return data


_EXPECTED = {
    "greater_than": "more than {gt}", "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}", "less_than_equal": "{le} or less",
    "float_parsing": "a number", "float_type": "a number", "int_parsing": "a whole number", "int_type": "a whole number",
    "int_from_float": "a whole number", "finite_number": "a finite number", "string_type": "text in quotes",
    "string_too_short": "at least {min_length} characters", "string_too_long": "at most {max_length} characters",
    "tuple_type": "a list", "model_type": "a table of fields", "model_attributes_type": "a table of fields",
    "missing": "a value",
}  # fmt: skip


def _show(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unit_of(path: tuple[Any, ...]) -> str:
    model: Any = Job
    info = None
    for name in path:
        fields = getattr(model, "model_fields", None)
        if not isinstance(name, str) or fields is None or name not in fields:
            continue
        info = fields[name]
        model = info.annotation
    extra = info.json_schema_extra if info is not None else None
    unit = extra.get("unit", "") if isinstance(extra, dict) else ""
    return str(unit)


def explain(error: ValidationError) -> InputError:
    """Turn the first problem of a validation into one sentence with the field, the value and what was expected."""
    problems = error.errors()
    first = problems[0]
    loc = tuple(first["loc"])
    names = tuple(
        p
        for p in loc
        if not (isinstance(p, str) and (p.startswith("literal[") or p in ("float", "constrained-float", "tuple[float, float, float]")))
    )
    where = ".".join(str(p) for p in names)
    kind, context, value = first["type"], first.get("ctx", {}), first.get("input")
    unit = _unit_of(names)
    same = [p for p in problems if tuple(p["loc"])[: len(names)] == names]
    if kind == "extra_forbidden":
        known = _known_fields(names[:-1])
        return InputError(
            f"there is no field called '{names[-1]}'.", where=where,
            help=f"Known fields here: {', '.join(known)}." if known else "Take it out.",
        )  # fmt: skip
    wants: list[str] = []
    for p in same:
        ctx = p.get("ctx", {})
        if p["type"] == "literal_error":
            wants.append("one of " + str(ctx.get("expected", "")).replace(" or ", ", "))
        elif p["type"] in _EXPECTED:
            wants.append(_EXPECTED[p["type"]].format(**{k: f"{v:g}" if isinstance(v, float) else v for k, v in ctx.items()}))
        elif p["type"] == "value_error":
            wants.append(str(ctx.get("error", p["msg"])))
    if kind == "value_error" and len(same) == 1:
        return InputError(f"{_show(value)} cannot be used: {context.get('error', first['msg'])}.", where=where)
    want = " or ".join(dict.fromkeys(wants)) or first["msg"].lower()
    tail = f" {unit}" if unit and "number" not in want and "one of" not in want else ""
    return InputError(f"{_show(value)} cannot be used: expected {want}{tail}.", where=where)


def _known_fields(path: tuple[Any, ...]) -> list[str]:
    model: Any = Job
    for name in path:
        if isinstance(name, int):
            continue
        info = model.model_fields.get(name)
        if info is None:
            return []
        model = AcceptedStated if name == "accepted" else info.annotation
    return list(getattr(model, "model_fields", {}))


def parse(data: dict[str, Any]) -> Job:
    """Validate a plain dictionary as a job; raises :class:`InputError` with one sentence."""
    try:
        return Job.model_validate(data)
    except ValidationError as error:
        raise explain(error) from None
