"""Rendering alone: results as text, JSON, pictures and pages. It decides nothing."""
