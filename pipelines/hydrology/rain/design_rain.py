"""The one rain a run is designed for: its storm, its intensities, and what had to be assumed of it."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rain.rain_types import DEFAULT_TYPE, PERIOD, rain_of_type, ratio_of
from pipelines.hydrology.rain.rainfall import duration_text, rain_depth, table_name
from pipelines.hydrology.rain.storms import (
    DesignStorm,
    Distribution,
    NrcsType,
    constant_storm,
    nested_storm,
    nrcs_storm,
)
from pipelines.hydrology.time_of_concentration import LEAST_TIME
from pipelines.inputs.limits import require_positive
from pipelines.inputs.rules import Rules
from pipelines.inputs.site_sections import Rain
from pipelines.inputs.tables.rain_table import RainTable
from terrain.reason import Reason, reason
from terrain.unit_table import DAY


@dataclass(frozen=True, slots=True, eq=False)
class DesignRain:
    """Rain of a run.

    Attributes
    ----------
    storm : DesignStorm
        Feeds hydrographs, standing water, pump and volume alike.
    table : RainTable or None
        None where the rain was given as a depth and a duration.
    curve : RainTable
        Depth by duration that the peaks are taken from: the table, or what a depth alone is spread into.
    two_year_24h_depth : float
        For the travel time of sheet flow. [m]
    notes : tuple of Reason
        What was assumed.
    """

    storm: DesignStorm
    table: RainTable | None
    curve: RainTable
    two_year_24h_depth: float
    notes: tuple[Reason, ...]

    @property
    def return_period(self) -> float | None:
        """None where it is not known. [yr]"""
        return self.storm.return_period

    def intensity(self, duration: float) -> float:
        """Mean intensity of the heaviest rain of a duration, for the rational peak.

        Parameters
        ----------
        duration : float
            Below the curve's shortest, its shortest is taken; past a table's longest, its longest, and past the end
            of a rain given by its depth, no more has fallen. [s]

        Returns
        -------
        float
            [m/s]

        Raises
        ------
        RainError
            If the duration is not finite and positive.

        References
        ----------
        .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, sec. 3.2.2.
        """
        require_positive(RainError, duration=duration)
        first, last = float(self.curve.durations[0]), float(self.curve.durations[-1])
        within = min(max(duration, first), last)
        depth = rain_depth(self.curve, within, self.return_period or PERIOD)
        return depth / (within if self.table is not None else max(duration, first))

    def of_period(self, years: float) -> "DesignRain | None":
        """Rain of a return period [yr] of the table, falling in time as this does; None where no storm can be made."""
        if self.table is None or self.storm.distribution == "constant":
            return None
        try:
            return rain_from_table(self.table, years, distribution=self.storm.distribution)
        except RainError:
            return None

    def of_other_periods(self) -> dict[float, "DesignRain"]:
        """Rain of each return period of the table, falling in time as this does; none where a storm cannot be made."""
        years = [] if self.table is None else self.table.return_periods.tolist()
        return {each: rain for each in years if (rain := self.of_period(each)) is not None}


def design_rain(given: Rain, table: RainTable | None, rules: Rules) -> DesignRain:
    """Design rain of a site, as its file gives it; where that is silent, as the rules of the trade do.

    Parameters
    ----------
    given : Rain
        The site file's [rain].
    table : RainTable or None
        The table that it names.
    rules : Rules
        What is assumed otherwise.

    Returns
    -------
    DesignRain
        With what was assumed. [m], [s]

    Raises
    ------
    RainError
        If the table does not hold what is asked of it.
    """
    if table is not None:
        years = rules["default_return_period"].likely if given.return_period is None else given.return_period
        rain = rain_from_table(
            table, years, distribution=given.distribution or "nested",
            least_time=rules["least_time_of_concentration"].likely,
        )  # fmt: skip
        said = (reason("return_period_assumed", years=years),) if given.return_period is None else ()
        return replace(rain, notes=(*said, *rain.notes))
    return _rain_of_depth(given, rules)


@lru_cache(maxsize=64)
def rain_from_table(
    table: RainTable, return_period: float, *, distribution: Distribution = "nested", least_time: float = LEAST_TIME
) -> DesignRain:
    """Design rain of a return period from a table.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    return_period : float
        [yr]
    distribution : str
        How 24 hours of rain fall: nested from the table itself, or by an NRCS type; never constant.
    least_time : float
        Shortest time of concentration: a table that begins later is told. [s]

    Returns
    -------
    DesignRain
        A storm of 24 hours, or of the longest duration of a table that ends before; depths in m, times in s.

    Raises
    ------
    RainError
        If the table does not hold the return period, an NRCS type is asked of a table without 24 hours, or
        constant intensity of any.

    References
    ----------
    .. [1] As of `nested_storm` and `nrcs_storm`.
    """
    notes: list[Reason] = []
    shortest, longest = float(table.durations[0]), float(table.durations[-1])
    duration = DAY
    if longest < DAY * (1.0 - 1e-9):
        duration = max(1.0, longest // shortest) * shortest
        notes.append(reason("rain_table_ends_early", table=table_name(table), longest=longest, duration=duration))
    if shortest > least_time:
        notes.append(reason("rain_table_begins_late", table=table_name(table), shortest=shortest))
    if distribution == "nested":
        # the shortest block that the table holds and that divides the duration
        storm = nested_storm(table, return_period, duration=duration, step=duration / int(duration // shortest + 1e-9))
    elif distribution == "constant":
        raise RainError(
            f"rain at constant intensity is one depth and duration, and {table_name(table)} holds many: "
            'leave out distribution, or give depth and duration'
        )
    else:
        storm = nrcs_storm(rain_depth(table, DAY, return_period), distribution, return_period=return_period)
    two_year, note = _two_year_depth(table)
    return DesignRain(storm, table, table, two_year, (*notes, *note))


def rain_given(
    depth: float,
    duration: float,
    *,
    two_year_24h_depth: float,
    distribution: Distribution = "nested",
    rain_type: NrcsType | None = None,
) -> DesignRain:
    """Design rain of one depth and duration.

    Parameters
    ----------
    depth : float
        [m]
    duration : float
        [s]
    two_year_24h_depth : float
        For the travel time of sheet flow. [m]
    distribution : str
        How it falls: nested by the ratios of a type, by an NRCS distribution of 24 hours, or at constant intensity.
    rain_type : str or None
        NRCS type of the ratios; None takes that of the distribution, else type II.

    Returns
    -------
    DesignRain
        Depths in m, times in s; its notes say how it was spread.

    Raises
    ------
    RainError
        If a number is not finite and positive, or an NRCS distribution is asked of another time than 24 hours.

    References
    ----------
    .. [1] As of `pipelines.hydrology.rain.rain_types.type_ratios`, `nested_storm` and `nrcs_storm`.
    """
    two_year = reason("two_year_rain_assumed", depth=two_year_24h_depth)
    if distribution == "constant":
        curve = RainTable(np.array([duration]), np.array([PERIOD]), np.array([[depth]]), "unknown", "constant")
        notes = (reason("rain_constant", depth=depth, duration=duration), two_year)
        return DesignRain(constant_storm(depth, duration), None, curve, two_year_24h_depth, notes)
    kind = rain_type or (DEFAULT_TYPE if distribution == "nested" else distribution)
    curve = rain_of_type(depth, duration, kind)
    if distribution == "nested":
        block = duration / max(1, int(duration // float(curve.durations[0]) + 1e-9))
        storm = replace(
            nested_storm(curve, PERIOD, duration=duration, step=block), return_period=None, rain_type=kind
        )
    elif abs(duration - DAY) > 1e-9 * DAY:
        raise RainError(
            f'[rain] distribution = "{distribution}" is a rain of 24 h, and this one is of {duration_text(duration)}: '
            f'give type = "{distribution}" instead, which nests it by the ratios of that type'
        )
    else:
        storm = nrcs_storm(depth, distribution)
    named = rain_type is not None or distribution != "nested"
    spread = reason("rain_spread", depth=depth, duration=duration, type=kind, named=named)
    return DesignRain(storm, None, curve, two_year_24h_depth, (spread, two_year))


def _rain_of_depth(given: Rain, rules: Rules) -> DesignRain:
    """Rain of the depth and duration that a site gives, or of those assumed."""
    kind, two_year = given.type or DEFAULT_TYPE, rules["default_two_year_rain"]
    notes: tuple[Reason, ...] = ()
    if given.depth is not None and given.duration is not None:
        depth, duration = given.depth, given.duration
    else:
        depth, duration = rules["default_storm_depth"].likely, rules["default_storm_duration"].likely
        notes = (reason("rain_assumed", depth=depth, duration=duration),)
    assumed = two_year.likely
    if two_year.mark != "given" and duration >= DAY * (1.0 - 1e-9):
        assumed = depth / ratio_of(duration, kind) * rules["default_two_year_share"].likely
    rain = rain_given(
        depth, duration, two_year_24h_depth=assumed, distribution=given.distribution or "nested", rain_type=given.type
    )
    return replace(rain, notes=(*notes, *rain.notes))


def _two_year_depth(table: RainTable) -> tuple[float, tuple[Reason, ...]]:
    years = min(max(2.0, float(table.return_periods[0])), float(table.return_periods[-1]))
    duration = min(max(DAY, float(table.durations[0])), float(table.durations[-1]))
    depth = rain_depth(table, duration, years)
    if years == 2.0 and abs(duration - DAY) < 1.0:
        return depth, ()
    return depth, (reason("two_year_rain_from_table", table=table_name(table), years=years, duration=duration),)
