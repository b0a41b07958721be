"""What a person can mend about rain, soil and storage."""

from terrain.errors import LotshedError


class RainError(LotshedError, ValueError):
    """A duration, depth or return period that the rain given does not cover or that means nothing."""


class SurfaceError(LotshedError, ValueError):
    """A surface, soil group or share of ground that the tables do not know."""


class FlowPathError(LotshedError, ValueError):
    """A flow path or travel-time argument that means nothing."""


class HydrographError(LotshedError, ValueError):
    """Hydrographs that cannot be made or joined."""


class StorageError(LotshedError, ValueError):
    """A storage, rating or pump that water cannot be routed through, or a network that runs in a circle."""
