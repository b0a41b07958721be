"""Whether a lot that an earlier run finished would read the same again, so that its record holds."""

from collections.abc import Sequence

from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import locate_parcel, named_layers
from pipelines.inputs.shapes.vector_file import find_layer, read_shapes
from pipelines.inputs.site_file import SiteFile
from terrain.errors import LotshedError
from terrain.grid import Frame
from terrain.reading.raster_source import open_raster
from terrain.reading.read_log import PlaceRead, noting_reads
from terrain.reading.surface import read_window


def reads_same(site: SiteFile, reads: Sequence[PlaceRead]) -> bool:
    """Read a lot's places again and compare what comes; each read hangs on those before it alone.

    Parameters
    ----------
    site : SiteFile
        Of the lot.
    reads : sequence of PlaceRead
        Of its record.

    Returns
    -------
    bool
        False too where something cannot be read any more.
    """
    try:
        source = open_raster(site.elevation.file, unit=site.elevation.unit, near=locate_parcel(site))
        for read in reads:
            with noting_reads() as found:
                if read.key == "elevation":
                    west, south, east, north = read.bounds
                    read_window(source, (west, south, east, north), largest_hole=read.largest_hole)
                else:
                    _read_layer(site, source.grid.frame, read)
            if list(found) != [read]:
                return False
    except LotshedError:
        return False
    return bool(reads)


def _read_layer(site: SiteFile, frame: Frame, read: PlaceRead) -> None:
    table = site.parcel if read.key == "parcel" else named_layers(site)[read.key]
    if table is None:
        return
    within = None
    if read.bounds:
        west, south, east, north = read.bounds
        within = west, south, east, north
        if read.key == "parcel":
            # parcels around the lot are all of the file's
            table = table.model_copy(update={"where": None})
    read_shapes(find_layer(table, read.key), LAYER_KINDS[read.key], frame, within=within)
