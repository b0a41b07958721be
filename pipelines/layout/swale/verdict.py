"""Whether a swale takes what comes to it, said with what the lidar cannot tell."""

from dataclasses import dataclass
from typing import Literal

from pipelines.inputs.rules import Rules
from terrain.reason import Reason, reason

SwaleAnswer = Literal["takes_it", "short", "holds_water", "cannot_tell"]


@dataclass(frozen=True, slots=True)
class SwaleState:
    """What is known of a swale at a place, or of a reach at its worst place.

    Attributes
    ----------
    room : float
        From the highest level of the storm up to what may be filled: bank less freeboard. [m]
    freeboard : float
        [m]
    error : float
        Standard error of that room. [m]
    missing_flow : float
        By which the flow passes the capacity, 0 where it does not. [m3/s]
    standing : float
        Depth of water left standing after rain. [m]
    standing_time : float or None
        Until it has soaked away; None where unknown. [s]
    standing_sure : bool
        Deeper than the lidar's error.
    suspected : Reason or None
        What is suspected but not known.
    cause : Reason or None
        What makes the level stand so high, where it is known.
    """

    room: float
    freeboard: float
    error: float
    missing_flow: float
    standing: float = 0.0
    standing_time: float | None = None
    standing_sure: bool = False
    suspected: Reason | None = None
    cause: Reason | None = None


@dataclass(frozen=True, slots=True)
class SwaleVerdict:
    """The answer at a place or of a reach.

    Attributes
    ----------
    short_level, short_flow : float
        Level over the bank and flow over the capacity where it is short, else 0. [m], [m3/s]
    measure : Reason
        What to measure on site.
    """

    answer: SwaleAnswer
    short_level: float
    short_flow: float
    why: Reason
    measure: Reason


def judge_swale(state: SwaleState, rules: Rules) -> SwaleVerdict:
    """Say whether a swale takes the storm.

    The error is one-sided: grass and standing water hide the bottom, so the raster reads it high and the capacity
    low. A swale that takes the storm on the raster takes it the more in truth; one that is short by less than the
    hidden depth may still take it.
    """
    hidden, clear = rules["swale_hidden_bottom"].likely, rules["verdict_sigmas"].likely * state.error
    below_bank = state.room + state.freeboard

    def verdict(answer: SwaleAnswer, why: Reason, measure: Reason) -> SwaleVerdict:
        return SwaleVerdict(answer, max(-below_bank, 0.0), state.missing_flow, why, measure)

    lasts = state.standing_time is None or state.standing_time > rules["tolerable_lawn_time"].likely
    if state.standing > rules["tolerable_lawn_depth"].likely and lasts and state.standing_sure:
        why = reason("swale_holds_water", depth=state.standing, time=state.standing_time)
        return verdict("holds_water", why, reason("swale_measure_standing_water"))
    if state.suspected is not None:
        return verdict("cannot_tell", state.suspected, reason("swale_measure_suspected_culvert"))
    if below_bank < -(clear + hidden):
        why = reason("swale_overtops", above=-below_bank, error=clear, hidden=hidden, cause=state.cause)
        return verdict("short", why, reason("swale_measure_short"))
    if state.room > clear:
        why = reason("swale_takes_storm", below=below_bank, freeboard=state.freeboard, error=clear)
        return SwaleVerdict("takes_it", 0.0, 0.0, why, reason("swale_measure_worst_station"))
    why = reason(
        "swale_within_error",
        below=below_bank,
        freeboard=state.freeboard,
        error=clear,
        hidden=hidden,
        cause=state.cause,
    )
    return verdict("cannot_tell", why, reason("swale_measure_bottom_and_banks"))
