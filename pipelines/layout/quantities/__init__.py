"""What it takes: quantities, prices, site checks."""
