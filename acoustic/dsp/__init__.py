"""Numerics used by more than one part of the program: pure functions over arrays."""
