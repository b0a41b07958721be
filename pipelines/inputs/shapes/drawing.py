"""DXF drawings: which shapes of one fit a table, and the unit that its header says.

References
----------
.. [1] Group codes and header variables of DXF as GDAL's driver documents them; $INSUNITS 2 is feet, 6 metres, 21 US
   survey feet (from memory).
"""

import re
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from pipelines.inputs.errors import LayerError
from terrain.arrays import BoolArray
from terrain.reading.linked_files import first_bytes

MOST_BYTES = 100_000_000
"""Of a drawing. [byte]"""
SHAPES = "entities"
"""The layer that GDAL makes of what is drawn; blocks that are put in count as points."""
_START = re.compile(rb"(\s*999\r?\n[^\n]*\n)*\s*0\r?\n\s*SECTION\b")
_UNITS = re.compile(rb"\$INSUNITS\s*\n\s*70\s*\n\s*(\d+)")
_FEET, _METRES = {2, 21}, {6}
_DIMENSION = {"point": 0, "line": 1, "polygon": 2}


def is_drawing(start: bytes) -> bool:
    """Whether a file that begins so is a DXF drawing in text."""
    return _START.match(start.removeprefix(b"\xef\xbb\xbf")) is not None


def refuse_other_unit(path: Path, crs: CRS, where: str) -> None:
    """Raise where a drawing's header says feet and its CRS counts in metres, or the other way round."""
    found = _UNITS.search(first_bytes(path, 1_000_000).replace(b"\r\n", b"\n"))
    code = int(found[1]) if found and len(found[1]) < 6 else 0
    if code not in _FEET | _METRES:
        return
    unit = crs.axis_info[0].unit_name
    if crs.is_geographic or ("foot" in unit.lower()) != (code in _FEET):
        drawn = "feet" if code in _FEET else "metres"
        raise LayerError(
            f'{where}: its header says that it is drawn in {drawn} ($INSUNITS {code}), and its CRS "{crs.name}" counts '
            f"in {unit}; give the CRS that its coordinates are in, or mend the header"
        )


def fit_for(held: Any, allowed: tuple[str, ...]) -> tuple[Any, BoolArray]:
    """Shapes as well-known binary, closed lines as polygons where those are asked for, and which of them fit."""
    shapes = shapely.from_wkb(held, on_invalid="ignore")
    if "polygon" in allowed:
        rings = (shapely.get_type_id(shapes) == 1) & shapely.is_closed(shapes) & (shapely.get_num_points(shapes) > 3)
        shapes[rings] = [shapely.Polygon(each) for each in shapes[rings]]
    fits = np.isin(shapely.get_dimensions(shapes), [_DIMENSION[each] for each in allowed])
    return shapely.to_wkb(shapes), fits & (shapely.get_type_id(shapes) != 7)
