"""Numerics: pure functions over arrays. No files, no printing, no plugins."""
