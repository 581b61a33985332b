"""The JSON document of the installed plugins, `acoustic.plugins/1`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import msgspec

from acoustic.plugin.entry import PluginRecord


class PluginBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One plugin: `hooks` is null where it was not loaded, `broken` where nothing is known against it."""

    name: str
    version: str
    distribution: str
    module: str
    hooks: tuple[str, ...] | None
    broken: str | None


class PluginsDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic plugins --json` prints."""

    schema: Literal["acoustic.plugins/1"]
    plugins: tuple[PluginBlock, ...]


def plugins_document(records: Iterable[PluginRecord], *, loaded: bool) -> PluginsDocument:
    """Build the document.

    Parameters
    ----------
    records : iterable of PluginRecord
    loaded : bool
        Whether the plugins were loaded, so that their hooks are known.

    Returns
    -------
    PluginsDocument
    """
    return PluginsDocument(
        schema="acoustic.plugins/1",
        plugins=tuple(
            PluginBlock(
                name=record.name,
                version=record.version,
                distribution=record.distribution,
                module=record.module,
                hooks=record.hooks if loaded else None,
                broken=record.broken,
            )
            for record in records
        ),
    )
