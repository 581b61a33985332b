"""Listens to a bicycle crank bearing and grades it."""

__version__ = "0.1.0"
