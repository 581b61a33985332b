"""From once-a-turn tacho events to crank angle."""
