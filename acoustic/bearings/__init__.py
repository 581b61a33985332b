"""The catalogue of bearings and its search."""
