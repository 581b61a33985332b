"""Broken on purpose: it was written for a later plugin API."""

from acoustic.api import hookimpl

ACOUSTIC_API = (1, 99)


@hookimpl
def acoustic_detectors() -> list[object]:
    """Never asked."""
    raise AssertionError("a plugin for another API must not be called")
