"""What can go wrong when results are handed over."""

from terrain.errors import LotshedError


class HandoverError(LotshedError, OSError):
    """A result cannot be written to the place that was asked for."""
