"""Lidar points as ground, roofs and water: arrays in, rasters and shapes out."""
