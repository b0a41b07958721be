"""What carries it: inlet, pipe, stone trench, pump, open channel, culvert."""
