"""Levels in bands, the background level, and when the crank turns."""
