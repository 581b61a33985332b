"""Numerics: pure functions over arrays, used by more than one part of the program."""
