"""What was wrong with a file, what was repaired, what is left, kept as it is found; and the units of length a job may state."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

UNIT_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
"""Millimetres in the units a job may state."""

Severity = Literal["wrong", "repaired", "left", "note"]


@dataclass
class Audit:
    """A list of observations in the order they were made; nothing is welded, merged or dropped without an entry here."""

    entries: list[dict[str, Any]] = field(default_factory=list)

    def add(self, severity: Severity, what: str, count: int = 1, where: str = "") -> None:
        """Note ``what`` (a short sentence without its count), how often, and where (faces, a position, a file part)."""
        self.entries.append({"what": what, "severity": severity, "count": int(count), "where": where})


def named(numbers: list[int], word: str = "face") -> str:
    """``faces 3, 5 and 9`` with at most eight of them."""
    if not numbers:
        return ""
    if len(numbers) == 1:
        return f"{word} {numbers[0]}"
    shown = [str(n) for n in numbers[:8]]
    tail = f" and {len(numbers) - 8} more" if len(numbers) > 8 else ""
    return f"{word}s {', '.join(shown)}{tail}"
