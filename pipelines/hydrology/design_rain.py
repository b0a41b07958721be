"""The one rain a run is designed for: its storm, its intensities, and what had to be assumed of it."""

from dataclasses import dataclass
from typing import Literal

from pipelines.hydrology.errors import RainError
from pipelines.hydrology.rainfall import duration_text, rain_depth, rain_intensity, table_name
from pipelines.hydrology.storms import DAY, DesignStorm, NrcsType, constant_storm, nested_storm, nrcs_storm
from pipelines.inputs.limits import require_positive
from pipelines.inputs.tables.rain_table import RainTable

Distribution = Literal["nested", "I", "IA", "II", "III"]
SHORTEST = 300.0
"""Shortest time of concentration, so the shortest duration a table is asked for. [s]"""
ASSUMED_DEPTH = 0.050
ASSUMED_DURATION = 3600.0
ASSUMED_TWO_YEAR_DEPTH = 0.080


@dataclass(frozen=True, slots=True, eq=False)
class DesignRain:
    """Rain of a run.

    Attributes
    ----------
    storm : DesignStorm
        Feeds hydrographs, standing water, pump and volume alike.
    table : RainTable or None
        None where the rain was given as a depth and a duration.
    return_period : float or None
        [yr]
    two_year_24h_depth : float
        For the travel time of sheet flow. [m]
    notes : tuple of str
        What was assumed, in sentences for the warnings.
    """

    storm: DesignStorm
    table: RainTable | None
    return_period: float | None
    two_year_24h_depth: float
    notes: tuple[str, ...] = ()

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


def rain_from_table(table: RainTable, return_period: float, *, distribution: Distribution = "nested") -> DesignRain:
    """Design rain of a return period from a table.

    Parameters
    ----------
    table : RainTable
        Depths by duration and return period.
    return_period : float
        [yr]
    distribution : str
        How 24 hours of rain fall: nested from the table itself, or by an NRCS type.

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
    notes: list[str] = []
    shortest, longest = float(table.durations[0]), float(table.durations[-1])
    duration = DAY
    if longest < DAY * (1.0 - 1e-9):
        duration = max(1.0, longest // shortest) * shortest
        notes.append(
            f"{table_name(table)} ends at {duration_text(longest)}, so volumes are of a storm of "
            f"{duration_text(duration)} rather than of 24 hours."
        )
    if shortest > SHORTEST:
        notes.append(
            f"{table_name(table)} begins at {duration_text(shortest)}; ground that drains faster is given its "
            "intensity, so its rational peaks are low."
        )
    storm = _storm(table, return_period, distribution, duration)
    two_year, note = _two_year_depth(table)
    return DesignRain(storm, table, return_period, two_year, (*notes, *note))


def rain_given(depth: float, duration: float, *, return_period: float | None = None) -> DesignRain:
    """Design rain of one depth and duration, at constant intensity."""
    storm = constant_storm(depth, duration, return_period=return_period)
    note = (
        "There is no rain table: the travel time of sheet flow takes "
        f"{1000 * ASSUMED_TWO_YEAR_DEPTH:g} mm for the 2-year rain of 24 hours."
    )
    return DesignRain(storm, None, return_period, ASSUMED_TWO_YEAR_DEPTH, (note,))


def rain_assumed() -> DesignRain:
    """Design rain where none is given: 50 mm in 60 minutes."""
    rain = rain_given(ASSUMED_DEPTH, ASSUMED_DURATION)
    note = (
        f"No rain is given: {1000 * ASSUMED_DEPTH:g} mm in {duration_text(ASSUMED_DURATION)} is assumed. "
        "Give a rain table for the place, and a return period."
    )
    return DesignRain(rain.storm, None, None, rain.two_year_24h_depth, (note, *rain.notes))


def _storm(table: RainTable, return_period: float, distribution: Distribution, duration: float) -> DesignStorm:
    if distribution == "nested":
        return nested_storm(table, return_period, duration=duration, step=_block(table, duration))
    kind: NrcsType = distribution
    depth = rain_depth(table, DAY, return_period)
    return nrcs_storm(depth, kind, return_period=return_period)


def _block(table: RainTable, duration: float) -> float:
    """Shortest block that the table holds and that divides the duration."""
    count = int(duration // float(table.durations[0]) + 1e-9)
    return duration / count


def _two_year_depth(table: RainTable) -> tuple[float, tuple[str, ...]]:
    years = min(max(2.0, float(table.return_periods[0])), float(table.return_periods[-1]))
    duration = min(max(DAY, float(table.durations[0])), float(table.durations[-1]))
    depth = rain_depth(table, duration, years)
    if years == 2.0 and abs(duration - DAY) < 1.0:
        return depth, ()
    note = (
        f"{table_name(table)} has no 2-year rain of 24 hours: the travel time of sheet flow takes "
        f"{years:g} years and {duration_text(duration)}."
    )
    return depth, (note,)
