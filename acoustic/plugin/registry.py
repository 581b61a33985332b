"""Find plugins, check them, set broken ones aside by name, list what they offer."""

from __future__ import annotations

import importlib.metadata
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any, Generic, TypeVar, cast

import pluggy

from acoustic.conditions import Condition, table
from acoustic.errors import PluginError
from acoustic.model import Failure
from acoustic.plugin import hookspecs

GROUP = "acoustic.plugins"
STRICT_VARIABLE = "ACOUSTIC_STRICT_PLUGINS"

T = TypeVar("T")


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


@dataclass(frozen=True, slots=True)
class LoadedPlugin(Generic[T]):
    """One offered object, and the plugin it came from."""

    item: T
    record: PluginRecord


@dataclass(frozen=True, slots=True)
class Registry:
    """Everything the loaded plugins offer, in order of name, and what failed to load."""

    readers: tuple[LoadedPlugin[hookspecs.Reader], ...]
    quality_checks: tuple[LoadedPlugin[hookspecs.QualityCheck], ...]
    speed_sources: tuple[LoadedPlugin[hookspecs.SpeedSource], ...]
    detectors: tuple[LoadedPlugin[hookspecs.Detector], ...]
    conditions: Mapping[str, Condition]
    records: tuple[PluginRecord, ...]
    failures: tuple[Failure, ...]

    @property
    def versions(self) -> dict[str, str]:
        """Versions of all plugins that loaded, by name."""
        return {record.name: record.version for record in self.records if record.broken is None}


def installed() -> list[PluginRecord]:
    """List installed plugins from their packages' metadata alone; nothing is imported."""
    return [_record(entry) for entry in _entries()]


def load_plugins(extra: Sequence[tuple[str, ModuleType]] = ()) -> Registry:
    """Load every installed plugin and collect what it offers.

    Parameters
    ----------
    extra : sequence of (str, module)
        Modules to register beside the installed ones, for tests of a plugin.

    Returns
    -------
    Registry
        A plugin that fails is in `failures` and, marked broken, in `records`.

    Raises
    ------
    Exception
        Whatever a plugin raised, if ACOUSTIC_STRICT_PLUGINS=1 is set.
    """
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    records: list[PluginRecord] = []
    offers: dict[str, list[LoadedPlugin[Any]]] = {hook: [] for hook in hook_names()}
    for record, load in _loaders(extra):
        try:
            module = load()
            _require_api(module)
            manager.register(module, name=record.name)
            # Only after this is a misspelt hook known for what it is.
            manager.check_pending()
            found = _offers(manager, module, record)
        except (Exception, SystemExit) as error:
            if os.environ.get(STRICT_VARIABLE) == "1":
                raise
            if manager.has_plugin(record.name):
                manager.unregister(name=record.name)  # a failed register leaves half its hooks in place
            records.append(_broken(record, error))
            continue
        records.append(_with_hooks(record, tuple(found)))
        for hook, parts in found.items():
            offers[hook].extend(parts)
    for parts in offers.values():
        parts.sort(key=lambda part: part.item.name)
    return Registry(
        readers=tuple(offers["acoustic_readers"]),
        quality_checks=tuple(offers["acoustic_quality_checks"]),
        speed_sources=tuple(offers["acoustic_speed_sources"]),
        detectors=tuple(offers["acoustic_detectors"]),
        conditions={**table().conditions, **{part.item.code: part.item for part in offers["acoustic_conditions"]}},
        records=tuple(records),
        failures=tuple(Failure("load", r.name, r.broken) for r in records if r.broken is not None),
    )


def hook_names() -> tuple[str, ...]:
    """Names of all hooks a plugin may implement."""
    return tuple(sorted(name for name in vars(hookspecs) if name.startswith("acoustic_")))


def _entries() -> list[importlib.metadata.EntryPoint]:
    return sorted(importlib.metadata.entry_points(group=GROUP), key=lambda entry: entry.name)


def _record(entry: importlib.metadata.EntryPoint) -> PluginRecord:
    dist = entry.dist
    return PluginRecord(
        name=entry.name,
        module=entry.value,
        distribution=dist.name if dist else "",
        version=dist.version if dist else "",
    )


def _loaders(extra: Sequence[tuple[str, ModuleType]]) -> Iterable[tuple[PluginRecord, Any]]:
    for entry in _entries():
        yield _record(entry), entry.load
    for name, module in extra:
        yield PluginRecord(name, module.__name__, "", "0"), lambda module=module: module


def _require_api(module: ModuleType) -> None:
    """Refuse a plugin written for another contract than ours."""
    declared = getattr(module, "ACOUSTIC_API", None)
    major, minor = hookspecs.API_VERSION
    if not (isinstance(declared, tuple) and len(declared) == 2):
        raise PluginError(
            f"{module.__name__} does not say which plugin API it was written for",
            hint=f"Add ACOUSTIC_API = ({major}, {minor}) to the module.",
        )
    if declared[0] != major or declared[1] > minor:
        raise PluginError(
            f"{module.__name__} was written for plugin API {declared[0]}.{declared[1]}; this is {major}.{minor}",
            hint="Install versions of the plugin and of acoustic that agree.",
        )


def _offers(
    manager: pluggy.PluginManager, module: ModuleType, record: PluginRecord
) -> dict[str, list[LoadedPlugin[Any]]]:
    """Call the module's hooks one by one, so that one plugin's error stays its own."""
    found: dict[str, list[LoadedPlugin[Any]]] = {}
    for caller in manager.get_hookcallers(module) or ():
        for implementation in caller.get_hookimpls():
            if implementation.plugin is not module:
                continue
            offered = cast(Iterable[Any], implementation.function())
            found[caller.name] = [LoadedPlugin(item, record) for item in offered]
            for part in found[caller.name]:
                _require_attributes(part.item, caller.name)
    if not found:
        raise PluginError(
            f"{module.__name__} offers nothing", hint=f"Mark with @hookimpl one of {', '.join(hook_names())}."
        )
    return found


def _require_attributes(item: object, hook: str) -> None:
    """Refuse at once what could only fail in the middle of a check."""
    needed: dict[str, tuple[type, str]] = {"name": (str, "text"), "summary": (str, "text")}
    if hook == "acoustic_speed_sources":
        needed["rank"] = (int, "whole-number")
    for attribute, (kind, word) in needed.items():
        if not isinstance(getattr(item, attribute, None), kind):
            raise PluginError(
                f"{hook} offers {type(item).__name__}, which has no {attribute}",
                hint=f"Give the object a {word} attribute {attribute!r}.",
            )


def _broken(record: PluginRecord, error: BaseException) -> PluginRecord:
    reason = f"{type(error).__name__}: {error}"
    return PluginRecord(record.name, record.module, record.distribution, record.version, broken=reason)


def _with_hooks(record: PluginRecord, hooks: tuple[str, ...]) -> PluginRecord:
    return PluginRecord(record.name, record.module, record.distribution, record.version, hooks)
