"""What helps a swale that does not take its water: a re-cut, another culvert."""
