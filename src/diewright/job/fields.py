"""The stated fields as data: unit, text, default, limits and choices, for forms, help and documentation."""

from __future__ import annotations

from typing import Any

from diewright.job.schema import Job


def fields() -> dict[str, dict[str, Any]]:
    """``{"sheet.thickness": {"unit", "text", "default", "kind", "minimum", ...}}`` for every field of the job file.

    ``kind`` is ``number``, ``integer``, ``text``, ``choice``, ``vector``, ``auto-number`` (a number or ``auto``), ``auto-vector`` or ``list``.
    """
    schema = Job.model_json_schema()
    out: dict[str, dict[str, Any]] = {}
    for table, spec in schema["properties"].items():
        reference = spec.get("$ref") or (spec.get("allOf") or [{}])[0].get("$ref", "")
        model = schema["$defs"].get(reference.rsplit("/", 1)[-1]) if reference else None
        if model is None:
            continue
        for name, field in model["properties"].items():
            out[f"{table}.{name}"] = _one(field)
    return out


def _one(field: dict[str, Any]) -> dict[str, Any]:
    parts = field.get("anyOf") or [field]
    number: dict[str, Any] = next((p for p in parts if p.get("type") in ("number", "integer")), {})
    choices = next((p["enum"] for p in parts if "enum" in p), None)
    automatic = any(p.get("const") == "auto" for p in parts)
    array = next((p for p in parts if p.get("type") == "array"), None)
    if number:
        kind = "auto-number" if automatic else str(number["type"])
    elif array is not None:
        kind = ("auto-vector" if automatic else "vector") if "prefixItems" in array else "list"
    else:
        kind = "choice" if choices else "text"
    out = {"unit": field.get("unit", ""), "text": field.get("description", ""), "default": field.get("default"), "kind": kind}
    names = {"minimum": "minimum", "maximum": "maximum", "exclusiveMinimum": "exclusive_minimum", "exclusiveMaximum": "exclusive_maximum"}
    out.update({ours: number[theirs] for theirs, ours in names.items() if theirs in number})
    if choices:
        out["choices"] = choices
    return out
