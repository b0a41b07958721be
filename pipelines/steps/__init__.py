"""Single steps: found by name, run alone on ordinary files."""
