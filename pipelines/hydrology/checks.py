"""Refuses numbers that mean nothing, naming the argument, what it was and what is allowed."""

import math
from collections.abc import Callable, Mapping

from terrain.errors import LotshedError


def require_positive(error: type[LotshedError], **values: float) -> None:
    """Raise unless every value is finite and above 0.

    Parameters
    ----------
    error : type
        Error to raise.
    **values : float
        Values by the name a person knows them by. [any]

    Raises
    ------
    LotshedError
        Of the type given, naming every value at fault.
    """
    _require(error, values, "above 0", lambda value: value > 0.0)


def require_not_negative(error: type[LotshedError], **values: float) -> None:
    """Raise unless every value is finite and 0 or above.

    Parameters
    ----------
    error : type
        Error to raise.
    **values : float
        Values by the name a person knows them by. [any]

    Raises
    ------
    LotshedError
        Of the type given, naming every value at fault.
    """
    _require(error, values, "0 or above", lambda value: value >= 0.0)


def _require(
    error: type[LotshedError], values: Mapping[str, float], allowed: str, holds: Callable[[float], bool]
) -> None:
    faults = [f"{name} is {value}" for name, value in values.items() if not (math.isfinite(value) and holds(value))]
    if faults:
        raise error(f"{'; '.join(faults)}: give a finite number {allowed}".replace("_", " "))
