"""Refuses numbers that mean nothing: every fault is named, with what the number was and what is allowed."""

from collections.abc import Callable, Mapping
from math import inf, isfinite

from terrain.errors import LotshedError


def require_positive(error: type[LotshedError], /, **values: float) -> None:
    """Raise unless every value is finite and above 0."""
    for value in values.values():
        if not 0.0 < value < inf:
            _refuse(error, values, lambda value: value > 0.0, "give a finite number above 0")


def require_not_negative(error: type[LotshedError], /, **values: float) -> None:
    """Raise unless every value is finite and 0 or above."""
    for value in values.values():
        if not 0.0 <= value < inf:
            _refuse(error, values, lambda value: value >= 0.0, "give a finite number, 0 or above")


def require_finite(error: type[LotshedError], /, **values: float) -> None:
    """Raise unless every value is finite."""
    if not all(map(isfinite, values.values())):
        _refuse(error, values, lambda value: True, "give a finite number")


def require_fraction(error: type[LotshedError], /, **values: float) -> None:
    """Raise unless every value lies between 0 and 1, the ends included."""
    for value in values.values():
        if not 0.0 <= value <= 1.0:
            _refuse(error, values, lambda value: 0.0 <= value <= 1.0, "give a number from 0 to 1")


def _refuse(
    error: type[LotshedError], values: Mapping[str, float], holds: Callable[[float], bool], asked: str
) -> None:
    faults = [
        f"{name.replace('_', ' ')} is {value}"
        for name, value in values.items()
        if not (isfinite(value) and holds(value))
    ]
    raise error(f"{'; '.join(faults)}: {asked}")
