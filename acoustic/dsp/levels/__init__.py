"""Levels in time: what they say of the turning crank and of the room."""
