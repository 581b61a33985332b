"""Readers of sound files, chosen by a file's bytes, never by its name."""
