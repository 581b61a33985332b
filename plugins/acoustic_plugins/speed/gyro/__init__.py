"""The crank's angle from a gyro's table."""
