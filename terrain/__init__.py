"""The ground and the water on it: rasters in, rasters and shapes out."""
