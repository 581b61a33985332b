"""The crank angle out of a gyro's table."""
