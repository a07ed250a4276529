"""Findings: what a stage has to say about the job, each with a value, a limit, a source and a place."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Severity = Literal["stop", "attend", "note"]
Triple = tuple[float, float, float]


class Place(BaseModel):
    """Where a finding is: points of a mesh of the result, in part coordinates.

    ``points`` is a list of positions [mm] (one for a spot, several for a curve or a region);
    ``label`` says it in words ("rear left corner").
    """

    model_config = ConfigDict(frozen=True)
    points: tuple[Triple, ...] = ()
    label: str = ""


class Finding(BaseModel):
    """One thing the person should know.

    ``key`` is stable and unique within the stage ("blank.margin"), so that an acceptance with a reason
    in the job file can name it. ``severity``: ``stop`` (do not cut steel), ``attend`` (decide, and say why), ``note``.
    """

    model_config = ConfigDict(frozen=True)
    key: Annotated[str, Field(pattern=r"^[a-z0-9_.-]+$")]
    severity: Severity
    sentence: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    source: str = ""
    help: str = ""
    place: Place | None = None


class Figure(BaseModel):
    """A number shown to people that can be opened: formula, inputs and source behind it.

    ``formula`` is plain text in the handbook's symbols; ``inputs`` maps each symbol to ``(value, unit)``.
    ``confidence`` says how sure we are, in words ("band 0.8 to 1.2 of this", "exact geometry").
    """

    model_config = ConfigDict(frozen=True)
    key: str
    label: str
    value: float | None
    unit: str = ""
    formula: str = ""
    inputs: dict[str, tuple[float | str, str]] = {}
    source: str = ""
    confidence: str = ""
    digits: int = 3
