"""Files as they are written: GeoPackage, tables, styles, the folder that is handed over."""
