"""Ways to find the crank's angle."""
