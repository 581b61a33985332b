"""Progress on stderr while something takes long."""

from __future__ import annotations

import sys
import time

import click

PATIENCE_S = 2.0  # longer, and people wonder whether it hangs (common practice)


class Progress:
    """Says what is being done: at once on a terminal, after two seconds elsewhere."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._started = time.monotonic()

    def __call__(self, doing: str) -> None:
        """Name the next piece of work."""
        late = time.monotonic() - self._started > PATIENCE_S
        if not self._quiet and (late or sys.stderr.isatty()):
            click.echo(f"… {doing}", err=True)
