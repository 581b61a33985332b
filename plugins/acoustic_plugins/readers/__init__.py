"""Readers of sound files. Each looks at a file's bytes, never at its name."""
