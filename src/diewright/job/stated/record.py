"""How a field is stated: unit, explanation, limits, and the base of all records."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field


def q(unit: str, text: str, **limits: Any) -> Any:
    """A field with a unit, a line of explanation and limits."""
    return Field(description=text, json_schema_extra={"unit": unit}, **limits)


class Record(BaseModel):
    """Base of all stated records: frozen, no unknown fields, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0)]
Vector = tuple[float, float, float]

_BAD_NAME = re.compile(r"[\x00-\x1f<>:\"|?*]")


def safe_name(name: str) -> str:
    """A file name inside the job folder; refuses absolute paths, ``..`` and control characters."""
    if name == "":
        return name
    if name.startswith(("/", "\\")) or re.match(r"^[A-Za-z]:", name) or ".." in re.split(r"[\\/]", name):
        raise ValueError("a file must lie inside the job folder: no absolute path and no '..'")
    if _BAD_NAME.search(name):
        raise ValueError('a file name may not hold control characters or any of < > : " | ? *')
    if len(name) > 200:
        raise ValueError("a file name may be 200 characters at most")
    return name
