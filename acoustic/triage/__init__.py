"""Several recordings of one bike: where the creak comes from."""
