"""Rain: what falls in a storm, and when in it."""
