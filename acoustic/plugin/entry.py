"""Which plugins are installed: read from their packages' metadata alone, so that nothing is imported."""

from __future__ import annotations

import functools
import importlib.metadata
from dataclasses import dataclass

GROUP = "acoustic.plugins"
OPTIONS_GROUP = "acoustic.options"
BUNDLED = "acoustic-crank"


@dataclass(frozen=True, slots=True)
class PluginRecord:
    """What is known of one installed plugin.

    Attributes
    ----------
    name : str
        Its entry point's name.
    module : str
    distribution, version : str
        The installed package that brought it.
    hooks : tuple of str
        Hooks it implements; empty while it isn't loaded.
    broken : str or None
        Why it was set aside.
    """

    name: str
    module: str
    distribution: str
    version: str
    hooks: tuple[str, ...] = ()
    broken: str | None = None

    @property
    def label(self) -> str:
        """Name and version, as findings carry it."""
        return f"{self.name} {self.version}"


def entries(group: str) -> list[importlib.metadata.EntryPoint]:
    """List the entry points of a group: the bundled ones first, each part in order of name."""
    found = importlib.metadata.entry_points(group=group)
    return sorted(found, key=lambda entry: (record_of(entry).distribution != BUNDLED, entry.name))


def record_of(entry: importlib.metadata.EntryPoint) -> PluginRecord:
    """What the metadata tells of an entry point."""
    distribution, version = _package(entry.dist) if entry.dist else ("", "")
    return PluginRecord(name=entry.name, module=entry.value, distribution=distribution, version=version)


@functools.cache
def _package(dist: importlib.metadata.Distribution) -> tuple[str, str]:
    """Name and version, for which the whole metadata file is parsed: once for all of its entry points."""
    return dist.name, dist.version


def installed() -> list[PluginRecord]:
    """List installed plugins, in order of name."""
    return sorted(map(record_of, entries(GROUP)), key=lambda record: record.name)
