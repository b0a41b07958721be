"""Open channels, culverts and drives."""
