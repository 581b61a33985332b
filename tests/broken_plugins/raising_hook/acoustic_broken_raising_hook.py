"""Broken on purpose: its hook raises."""

from acoustic.api import hookimpl

ACOUSTIC_API = (1, 0)


@hookimpl
def acoustic_detectors() -> list[object]:
    """Fail as a plugin does whose own file is missing."""
    raise FileNotFoundError("its table of weights is not there")
