"""What is done on the surface alone: downspouts led away, ground moved; run through the same water model."""
