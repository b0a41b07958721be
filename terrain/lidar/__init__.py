"""What lidar does to ground: a model of its error, the best estimate of the ground, and grounds that it allows."""
