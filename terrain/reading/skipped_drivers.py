"""Formats that no GDAL of a run even loads; told before either is, so nothing heavy is imported here."""

import os

# they fetch, run or lead elsewhere, whatever a file says that it is
_NEVER = (
    "HTTP", "WMS", "WMTS", "WCS", "WFS", "OAPIF", "CSW", "OGCAPI", "EEDA", "EEDAI", "DAAS", "PLMOSAIC", "PLSCENES",
    "NGW", "Carto", "AmigoCloud", "Elasticsearch", "GTI", "STACIT", "STACTA", "GDALG", "ADBC", "MRF", "ECRGTOC",
    "RPFTOC", "DERIVED", "GPSBabel", "KMLSUPEROVERLAY", "ESRIC", "PMTiles", "Zarr", "netCDF", "HDF5", "HDF5Image",
    "MVT", "MBTiles", "GTFS", "OSM", "VFK", "GNMFile", "GNMDatabase", "SNAP_TIFF", "SAFE", "SENTINEL2", "PDF",
)  # fmt: skip


def skip_drivers() -> None:
    """Keep formats that fetch, run or lead elsewhere from being loaded; before either GDAL is."""
    os.environ["GDAL_SKIP"] = ",".join(_NEVER)
    os.environ["OGR_SKIP"] = ",".join(_NEVER)
