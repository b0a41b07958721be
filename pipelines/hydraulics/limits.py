"""Checks of the numbers that formulas are given: every fault is named, and all are reported together."""

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
    _refuse(
        [f"{_words(name)} is {value!r}, it must be a finite number above 0" for name, value in values.items()
         if not (isfinite(value) and value > 0)]
    )


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
    _refuse(
        [f"{_words(name)} is {value!r}, it must be a finite number of 0 or above" for name, value in values.items()
         if not (isfinite(value) and value >= 0)]
    )


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
    _refuse(
        [f"{_words(name)} is {value!r}, it must be a finite number" for name, value in values.items()
         if not isfinite(value)]
    )


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
    _refuse(
        [f"{_words(name)} is {value!r}, it must lie between 0 and 1" for name, value in values.items()
         if not (isfinite(value) and 0 <= value <= 1)]
    )


def _words(name: str) -> str:
    return name.replace("_", " ")


def _refuse(faults: list[str]) -> None:
    if faults:
        raise HydraulicsError("; ".join(faults))
