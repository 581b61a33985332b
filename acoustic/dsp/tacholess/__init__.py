"""Crank angle without any mark, from the rhythm of the bearing's own impacts."""
