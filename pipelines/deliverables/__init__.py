"""What is handed over: GeoPackage, tables, map and report, stake-out."""
