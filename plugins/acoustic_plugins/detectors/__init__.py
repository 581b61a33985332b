"""Detectors of bearing conditions."""
