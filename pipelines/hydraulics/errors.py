"""What goes wrong when a hydraulic question has no answer."""

from terrain.errors import LotshedError


class HydraulicsError(LotshedError, ValueError):
    """A hydraulic quantity cannot be computed from what was given."""


class PumpTooWeakError(HydraulicsError):
    """The pump does not reach the static lift: nothing comes out."""
