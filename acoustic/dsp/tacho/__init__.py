"""Once-a-turn events turned into crank angle."""
