"""Detectors of conditions, each with the numerics that only it needs."""
