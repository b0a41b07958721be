"""Whether a swale takes what comes to it, said with what the lidar cannot tell."""

from dataclasses import dataclass
from typing import Literal

from pipelines.inputs.quantity_words import format_quantity
from terrain.swale.long_profile import SIGMAS
from terrain.unit_table import Units

SwaleAnswer = Literal["takes_it", "short", "holds_water", "cannot_tell"]
HIDDEN = 0.05
"""How far below the raster's bottom a grassed or wet swale's true bottom may lie. Common practice, no source. [m]"""


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
    standing_hours : float or None
        Until it has soaked away; None where unknown. [h]
    standing_sure : bool
        Deeper than the lidar's error.
    suspected : str
        What is suspected but not known, in words; empty for nothing.
    cause : str
        What makes the level stand so high, in words; empty where nothing is known.
    """

    room: float
    freeboard: float
    error: float
    missing_flow: float
    standing: float = 0.0
    standing_hours: float | None = None
    standing_sure: bool = False
    suspected: str = ""
    cause: str = ""


@dataclass(frozen=True, slots=True)
class SwaleVerdict:
    """The answer at a place or of a reach.

    Attributes
    ----------
    answer : str
        takes_it, short, holds_water or cannot_tell.
    short_level, short_flow : float
        Level over the bank and flow over the capacity where it is short, else 0. [m], [m3/s]
    why, measure : str
        The reason, and what to measure on site, in a sentence each.
    """

    answer: SwaleAnswer
    short_level: float
    short_flow: float
    why: str
    measure: str


def judge_swale(
    state: SwaleState,
    *,
    units: Units = "us",
    tolerable_depth: float = 0.0508,
    tolerable_hours: float = 24.0,
    hidden: float = HIDDEN,
    sigmas: float = SIGMAS,
) -> SwaleVerdict:
    """Say whether a swale takes the storm.

    The error is one-sided: grass and standing water hide the bottom, so the raster reads it high and the capacity
    low. A swale that takes the storm on the raster takes it the more in truth; one that is short by less than the
    hidden depth may still take it.
    """

    def depth(value: float) -> str:
        return format_quantity(abs(value), "depth", units)

    clear = sigmas * state.error
    below_bank = state.room + state.freeboard
    over = max(-below_bank, 0.0)
    lasts = state.standing_hours is None or state.standing_hours > tolerable_hours
    if state.standing > tolerable_depth and lasts and state.standing_sure:
        hours = "" if state.standing_hours is None else f" for about {state.standing_hours:.0f} h"
        return SwaleVerdict(
            "holds_water",
            over,
            state.missing_flow,
            f"water stands {depth(state.standing)} deep{hours} after rain",
            "whether water stands there three days after rain, and the bottom under it with a level and a probe",
        )
    if state.suspected:
        return SwaleVerdict(
            "cannot_tell",
            over,
            state.missing_flow,
            state.suspected,
            "whether a culvert lies there, its bore, both inverts and the silt in it",
        )
    doubt = f"lidar error ({depth(clear)}) and a hidden bottom ({depth(hidden)})"
    because = f"; {state.cause}" if state.cause else ""
    stands = f"the storm stands {depth(below_bank)} {'below' if below_bank >= 0.0 else 'above'} the lower bank"
    if below_bank < -(clear + hidden):
        return SwaleVerdict(
            "short",
            over,
            state.missing_flow,
            f"{stands}, more than {doubt} can explain{because}",
            "bottom and banks with a level at the worst station, and the bore of the culvert below it",
        )
    if state.room > clear:
        kept = f", keeps {depth(state.freeboard)} of freeboard" if state.freeboard > 0.0 else ""
        return SwaleVerdict(
            "takes_it",
            0.0,
            0.0,
            f"{stands}{kept}, and more to spare than the lidar's error ({depth(clear)})",
            "nothing more than bottom and banks at its worst station",
        )
    kept = f" where {depth(state.freeboard)} of freeboard is wanted" if state.freeboard > 0.0 else ""
    return SwaleVerdict(
        "cannot_tell",
        over,
        state.missing_flow,
        f"{stands}{kept}; {doubt} may decide it either way{because}",
        "bottom (probe the silt) and both banks with a level at the worst station",
    )
