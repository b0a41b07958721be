"""A swale in the raster: its bottom, sections, banks and the drives over it."""
