"""Tables of a lot held small until they are written: a town has thousands, each with a map system and columns of its
own."""

import pickle
import zlib
from collections.abc import Iterator, Mapping

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS


class PackedTables(Mapping[str, pd.DataFrame]):
    """Tables by name, those without rows left out; each is made anew when it is asked for."""

    def __init__(self, tables: Mapping[str, pd.DataFrame], crs: CRS) -> None:
        self._crs = crs
        self._held = {name: _packed(table) for name, table in tables.items() if len(table)}

    def __getitem__(self, name: str) -> pd.DataFrame:
        shapes, held = self._held[name]
        # what this process packed itself
        table: pd.DataFrame = pickle.loads(zlib.decompress(held))
        if shapes is None:
            return table
        table[shapes] = gpd.array.from_wkb(table[shapes].to_numpy(), crs=self._crs)
        found: pd.DataFrame = gpd.GeoDataFrame(table, geometry=shapes)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._held)

    def __len__(self) -> int:
        return len(self._held)


def _packed(table: pd.DataFrame) -> tuple[str | None, bytes]:
    shapes = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    plain = pd.DataFrame(table)
    if shapes is not None:
        plain = plain.assign(**{shapes: shapely.to_wkb(table.geometry.to_numpy())})
    return shapes, zlib.compress(pickle.dumps(plain, pickle.HIGHEST_PROTOCOL), 1)
