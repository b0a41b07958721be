"""Numbers as the trade reads them: rounded, with their unit."""

import math

from pipelines.deliverables.unit_systems import FOOT, GALLON, INCH, UnitSystem

UNKNOWN = "unknown"


def length_words(value: float | None, units: UnitSystem) -> str:
    """A length or height, such as `12.5 ft` or `3.8 m`; small ones in inches or centimetres.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [m]
    units : str
        si or us.

    Returns
    -------
    str
        With its unit.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    if units == "us":
        return f"{value / INCH:.1f} in" if abs(value) < 2 * FOOT else f"{value / FOOT:,.1f} ft"
    return f"{value * 100:.1f} cm" if abs(value) < 0.6 else f"{value:,.2f} m"


def area_words(value: float | None, units: UnitSystem) -> str:
    """An area, such as `1,240 ft2`.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [m2]
    units : str
        si or us.

    Returns
    -------
    str
        With its unit.
    """
    return _in_unit(value, *((FOOT**2, "ft2") if units == "us" else (1.0, "m2")))


def volume_words(value: float | None, units: UnitSystem) -> str:
    """A volume of water, such as `53 ft3`.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [m3]
    units : str
        si or us.

    Returns
    -------
    str
        With its unit.
    """
    return _in_unit(value, *((FOOT**3, "ft3") if units == "us" else (1.0, "m3")))


def flow_words(value: float | None, units: UnitSystem) -> str:
    """A flow, such as `47 gpm`.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [m3/s]
    units : str
        si or us.

    Returns
    -------
    str
        With its unit.
    """
    return _in_unit(value, *((GALLON / 60, "gpm") if units == "us" else (0.001, "l/s")))


def rain_words(value: float | None, units: UnitSystem) -> str:
    """A depth of rain or runoff, such as `3.9 in`.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [m]
    units : str
        si or us.

    Returns
    -------
    str
        With its unit.
    """
    return _in_unit(value, *((INCH, "in") if units == "us" else (0.001, "mm")))


def hours_words(value: float | None) -> str:
    """A time, such as `26 h` or `40 min`.

    Parameters
    ----------
    value : float or None
        None or NaN is `unknown`. [h]

    Returns
    -------
    str
        With its unit.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    return f"{value * 60:.0f} min" if value < 2 else f"{value:,.0f} h"


def money_words(low: float | None, likely: float | None, high: float | None) -> str:
    """A price range, such as `900 to 2,100, likely 1,400`, in the price list's currency.

    Parameters
    ----------
    low, likely, high : float or None
        Money. [price list's currency]

    Returns
    -------
    str
        Rounded to ten.
    """
    if low is None or likely is None or high is None:
        return "not priced"
    return f"{_ten(low)} to {_ten(high)}, likely {_ten(likely)}"


def _ten(value: float) -> str:
    return f"{round(value / 10) * 10:,.0f}"


def _in_unit(value: float | None, si_value: float, unit: str) -> str:
    if value is None or not math.isfinite(value):
        return UNKNOWN
    number = value / si_value
    if abs(number) < 0.005:
        return f"0 {unit}"
    decimals = 0 if abs(number) >= 20 else 1 if abs(number) >= 2 else 2
    return f"{number:,.{decimals}f} {unit}"
