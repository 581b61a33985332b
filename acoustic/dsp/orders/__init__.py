"""Levels in crank angle, and the rhythms in them."""
