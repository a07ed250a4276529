"""Checks on the numbers that go into a handbook formula: one sentence instead of a wrong figure."""

from __future__ import annotations

import math

from diewright.errors import InputError


def finite(value: float, what: str) -> float:
    """``value`` as a float; raises :class:`InputError` if it is not a finite number."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise InputError(f"{what} is {value!r}: expected a number.", help="State it as a plain number.") from None
    if not math.isfinite(number):
        raise InputError(f"{what} is {number}: expected a finite number.", help="Correct the value it comes from.")
    return number


def positive(value: float, what: str, unit: str = "") -> float:
    """``value`` if it is above zero; raises :class:`InputError` otherwise."""
    number = finite(value, what)
    if number <= 0.0:
        raise InputError(f"{what} is {number:g}{_u(unit)}: expected more than 0{_u(unit)}.", help="Correct the value it comes from.")
    return number


def not_negative(value: float, what: str, unit: str = "") -> float:
    """``value`` if it is zero or more; raises :class:`InputError` otherwise."""
    number = finite(value, what)
    if number < 0.0:
        raise InputError(f"{what} is {number:g}{_u(unit)}: expected 0{_u(unit)} or more.", help="Correct the value it comes from.")
    return number


def between(value: float, low: float, high: float, what: str, unit: str = "") -> float:
    """``value`` if ``low <= value <= high``; raises :class:`InputError` otherwise."""
    number = finite(value, what)
    if not low <= number <= high:
        raise InputError(
            f"{what} is {number:g}{_u(unit)}: expected {low:g} to {high:g}{_u(unit)}.",
            help="The formula does not hold outside this range.",
        )
    return number


def _u(unit: str) -> str:
    return f" {unit}" if unit else ""
