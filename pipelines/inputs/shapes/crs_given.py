"""The CRS that a person names for a file that has none."""

from pyproj import CRS
from pyproj.exceptions import CRSError

from pipelines.inputs.errors import LayerError
from terrain.shown_text import quoted

MOST_LETTERS = 200


def crs_given(text: str, where: str) -> CRS:
    """A CRS by its code, as EPSG:32617; projected or geographic, since it must say where on earth a place is."""
    asked = f"{where}: crs = {quoted(text[:MOST_LETTERS])} is no CRS that says where on earth a place is; give its code"
    try:
        crs = CRS.from_user_input(text) if len(text) <= MOST_LETTERS and ":" in text else None
    except CRSError:
        crs = None
    if crs is None or not (crs.is_projected or crs.is_geographic):
        raise LayerError(f'{asked}, as in crs = "EPSG:32617"')
    return crs
