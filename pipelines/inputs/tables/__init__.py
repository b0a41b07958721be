"""Tables that people bring: rain, prices, pump points, level shots."""
