"""Checks of the recording."""
