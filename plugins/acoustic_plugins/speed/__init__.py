"""Speed sources: ways to find the crank's angle."""
