"""Letters that the figures' font lacks, as emoji in a bike's name: drawn as a box, without a warning each."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def any_letters() -> Iterator[None]:
    """Save a figure whatever its letters."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph \d+ .*missing from font")
        yield
