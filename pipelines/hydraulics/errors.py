"""What goes wrong when a hydraulic question has no answer."""

from terrain.errors import LotshedError
from terrain.reason import reason


class HydraulicsError(LotshedError, ValueError):
    """A hydraulic quantity cannot be computed from what was given."""


class PumpTooWeakError(HydraulicsError):
    """The pump does not reach the static lift: nothing comes out; `fact` says it as a reason."""

    def __init__(self, head: float, lift: float) -> None:
        super().__init__(
            f"the pump makes {head:.2f} m at its first point and the static lift is {lift:.2f} m: nothing comes out; "
            "take a pump with more head"
        )
        self.fact = reason("pump_too_weak", head=head, lift=lift)
