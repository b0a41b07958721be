"""What can be wrong with what people bring."""

from terrain.errors import LotshedError


class QuantityError(LotshedError, ValueError):
    """A text that should be a quantity and is not, or is one of the wrong kind."""


class SiteFileError(LotshedError, ValueError):
    """A site file that cannot be read or says something that means nothing."""


class InputFileError(LotshedError, OSError):
    """A file named in the site file that is missing or cannot be read."""


class LayerError(LotshedError, ValueError):
    """A layer of shapes that cannot be used as it is."""


class TableError(LotshedError, ValueError):
    """A table of numbers that cannot be used as it is."""
