"""Several recordings judged in one call: schema `acoustic.checks/1`."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import msgspec

from acoustic.check.document import CheckDocument
from acoustic.errors import AcousticError


class RefusedBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A recording that could not be judged at all: what was found and needed, and what to do."""

    path: str
    found: str
    hint: str


class ChecksDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic check --json` prints of two recordings or more; every one is in `checks` or in `refused`."""

    schema: Literal["acoustic.checks/1"]
    checks: tuple[CheckDocument, ...]
    refused: tuple[RefusedBlock, ...]


def checks_document(
    checks: Iterable[CheckDocument], refused: Iterable[tuple[Path, AcousticError]]
) -> ChecksDocument:
    """Join the documents of recordings, and the refusals of the others with their paths."""
    return ChecksDocument(
        schema="acoustic.checks/1",
        checks=tuple(checks),
        refused=tuple(RefusedBlock(path=str(path), found=error.found, hint=error.hint) for path, error in refused),
    )
