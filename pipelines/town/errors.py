"""What can be wrong with the machines that a town is run on."""

from terrain.errors import LotshedError


class TownRunError(LotshedError, RuntimeError):
    """The scheduler or its workers cannot do a town's lots."""
