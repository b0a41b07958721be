"""The one rain a run is designed for: its storm, its intensities, and what had to be assumed of it."""

from dataclasses import dataclass, replace

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rainfall import rain_depth, rain_intensity, table_name
from pipelines.hydrology.storms import DesignStorm, Distribution, constant_storm, nested_storm, nrcs_storm
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
    two_year_24h_depth : float
        For the travel time of sheet flow. [m]
    notes : tuple of Reason
        What was assumed.
    """

    storm: DesignStorm
    table: RainTable | None
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
            Below the table's shortest, its shortest is taken; past its longest, its longest. [s]

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
        .. [1] As of `pipelines.hydrology.rainfall.rain_intensity`.
        """
        require_positive(RainError, duration=duration)
        if self.table is None or self.return_period is None:
            return self.storm.depth / max(duration, self.storm.duration)
        within = min(max(duration, float(self.table.durations[0])), float(self.table.durations[-1]))
        return rain_intensity(self.table, within, self.return_period)

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
    two_year = rules["default_two_year_rain"].likely
    if given.depth is not None and given.duration is not None:
        return rain_given(given.depth, given.duration, two_year_24h_depth=two_year)
    depth, duration = rules["default_storm_depth"].likely, rules["default_storm_duration"].likely
    rain = rain_given(depth, duration, two_year_24h_depth=two_year)
    return replace(rain, notes=(reason("rain_assumed", depth=depth, duration=duration), *rain.notes))


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
        How 24 hours of rain fall: nested from the table itself, or by an NRCS type.
    least_time : float
        Shortest time of concentration: a table that begins later is told. [s]

    Returns
    -------
    DesignRain
        A storm of 24 hours, or of the longest duration of a table that ends before; depths in m, times in s.

    Raises
    ------
    RainError
        If the table does not hold the return period, or an NRCS type is asked of a table without 24 hours.

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
    else:
        storm = nrcs_storm(rain_depth(table, DAY, return_period), distribution, return_period=return_period)
    two_year, note = _two_year_depth(table)
    return DesignRain(storm, table, two_year, (*notes, *note))


def rain_given(depth: float, duration: float, *, two_year_24h_depth: float) -> DesignRain:
    """Design rain of one depth and duration, at constant intensity."""
    note = reason("two_year_rain_assumed", depth=two_year_24h_depth)
    return DesignRain(constant_storm(depth, duration), None, two_year_24h_depth, (note,))


def _two_year_depth(table: RainTable) -> tuple[float, tuple[Reason, ...]]:
    years = min(max(2.0, float(table.return_periods[0])), float(table.return_periods[-1]))
    duration = min(max(DAY, float(table.durations[0])), float(table.durations[-1]))
    depth = rain_depth(table, duration, years)
    if years == 2.0 and abs(duration - DAY) < 1.0:
        return depth, ()
    return depth, (reason("two_year_rain_from_table", table=table_name(table), years=years, duration=duration),)
