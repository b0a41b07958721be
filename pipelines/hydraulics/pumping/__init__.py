"""A lift: pump curve, pressure line, sump basin."""
