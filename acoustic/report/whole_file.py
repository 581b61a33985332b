"""A file written whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a name beside the file to write to; it takes the file's place once all is written."""
    half_written = path.with_name(f".{path.name}.part")
    try:
        yield half_written
        half_written.replace(path)
    finally:
        half_written.unlink(missing_ok=True)
