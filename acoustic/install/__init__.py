"""A press-in planned, and what the spins before and after say."""
