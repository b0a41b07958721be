"""Checks of the numbers that formulas are given: every fault is named, and all are reported together."""

from collections.abc import Callable, Mapping
from math import isfinite

from pipelines.hydraulics.errors import HydraulicsError


def require_positive(**values: float) -> None:
    """Refuse any value that is not a finite number above zero.

    Parameters
    ----------
    **values : float
        Numbers by the name they are called in the message. [-]

    Raises
    ------
    HydraulicsError
        If one is zero, negative or not finite.
    """
    _require(values, lambda value: value > 0, "be a finite number above 0")


def require_not_negative(**values: float) -> None:
    """Refuse any value that is not a finite number of zero or above.

    Parameters
    ----------
    **values : float
        Numbers by the name they are called in the message. [-]

    Raises
    ------
    HydraulicsError
        If one is negative or not finite.
    """
    _require(values, lambda value: value >= 0, "be a finite number of 0 or above")


def require_finite(**values: float) -> None:
    """Refuse any value that is not a finite number.

    Parameters
    ----------
    **values : float
        Numbers by the name they are called in the message. [-]

    Raises
    ------
    HydraulicsError
        If one is NaN or infinite.
    """
    _require(values, lambda value: True, "be a finite number")


def require_fraction(**values: float) -> None:
    """Refuse any value that is not between 0 and 1, the ends included.

    Parameters
    ----------
    **values : float
        Numbers by the name they are called in the message. [-]

    Raises
    ------
    HydraulicsError
        If one is outside 0 to 1 or not finite.
    """
    _require(values, lambda value: 0 <= value <= 1, "lie between 0 and 1")


def _require(values: Mapping[str, float], holds: Callable[[float], bool], must: str) -> None:
    faults = [
        f"{name.replace('_', ' ')} is {value}, it must {must}"
        for name, value in values.items()
        if not (isfinite(value) and holds(value))
    ]
    if faults:
        raise HydraulicsError("; ".join(faults))
