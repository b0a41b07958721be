"""A swale as an outfall: levels, verdict, re-cut."""
