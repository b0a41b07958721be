"""A town: thousands of lots, and the swales that take their water."""
