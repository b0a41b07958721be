"""Heights as files hold them: raster, cells, vertical unit, window."""
