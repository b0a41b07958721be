"""What goes wrong by the input's fault. Anything else that is raised is a defect of ours."""


class LotshedError(Exception):
    """Root of every error that a person can mend; the message says what, where and what to do."""


class GroundError(LotshedError, ValueError):
    """The elevation raster cannot be used as it is."""


class GroundFileError(LotshedError, OSError):
    """The elevation raster cannot be opened or read."""


class GeometryError(LotshedError, ValueError):
    """A shape cannot be used as it is."""
