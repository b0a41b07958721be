"""The ways off the lot: gravity, daylight, pump, dry well."""
