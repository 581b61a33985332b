"""What --plot is given, for every command that can draw."""

from __future__ import annotations

from pathlib import Path

from acoustic.errors import InputError

PICTURES = (".png", ".svg")


def check_picture(plot: Path | None) -> None:
    """Refuse a picture that could not be written before the work is done."""
    if plot is None:
        return
    if plot.suffix.lower() not in PICTURES:
        raise InputError(
            f"--plot {plot.name}: the ending {plot.suffix or '(none)'} is no picture format known here",
            hint=f"Use {' or '.join(PICTURES)}.",
        )
    if plot.is_dir():
        raise InputError(f"--plot: {plot} is a folder", hint="Give the name of a file in it.")
    if not plot.parent.is_dir():
        raise InputError(f"--plot: there is no folder {plot.parent}", hint="Make the folder first.")
