"""Find plugins, check them, set broken ones aside by name, list what they offer."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import ModuleType
from typing import Any, Generic, TypeVar

import pluggy

from acoustic.conditions import Condition, table
from acoustic.errors import PluginError
from acoustic.model import Failure
from acoustic.plugin import hookspecs
from acoustic.plugin.conflicts import Offer, first_conflict, require_attributes
from acoustic.plugin.entry import GROUP, PluginRecord, entries, record_of
from acoustic.plugin.run import reason, run, traced

STRICT_VARIABLE = "ACOUSTIC_STRICT_PLUGINS"

T = TypeVar("T")


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
    records: list[PluginRecord] = []
    loaded: list[Offer] = []
    strict = os.environ.get(STRICT_VARIABLE) == "1"
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    for record, load in _loaders(extra):
        try:
            loaded.append(run(record.name, partial(_load, manager, record, load)))
        except Exception as error:
            if strict:
                raise
            traced(error)
            if manager.has_plugin(record.name):
                manager.unregister(name=record.name)  # a failed register leaves half its hooks in place
            records.append(replace(record, broken=reason(error)))
    while (conflict := first_conflict(loaded)) is not None:
        offer, refusal = conflict
        if strict:
            raise refusal
        loaded.remove(offer)
        records.append(replace(offer.record, broken=reason(refusal)))
    return _registry(loaded, records)


def _registry(loaded: Sequence[Offer], broken: Sequence[PluginRecord]) -> Registry:
    """Everything that the loaded plugins offer, in order of name."""

    def parts(hook: str) -> tuple[LoadedPlugin[Any], ...]:
        found = [LoadedPlugin(item, offer.record) for offer in loaded for item in offer.items.get(hook, ())]
        return tuple(sorted(found, key=lambda part: part.item.name))

    own = {part.item.code: part.item for part in parts("acoustic_conditions")}
    return Registry(
        readers=parts("acoustic_readers"),
        quality_checks=parts("acoustic_quality_checks"),
        speed_sources=parts("acoustic_speed_sources"),
        detectors=parts("acoustic_detectors"),
        conditions={**table().conditions, **own},
        records=tuple(sorted([*(offer.record for offer in loaded), *broken], key=lambda record: record.name)),
        failures=tuple(Failure("load", r.name, r.broken) for r in broken if r.broken is not None),
    )


def hook_names() -> tuple[str, ...]:
    """Names of all hooks a plugin may implement."""
    return tuple(sorted(name for name in vars(hookspecs) if name.startswith("acoustic_")))


def _loaders(extra: Sequence[tuple[str, ModuleType]]) -> Iterable[tuple[PluginRecord, Callable[[], Any]]]:
    for entry in entries(GROUP):
        yield record_of(entry), entry.load
    for name, module in extra:
        yield PluginRecord(name, module.__name__, "", "0"), partial(_itself, module)


def _itself(module: ModuleType) -> ModuleType:
    return module


def _load(manager: pluggy.PluginManager, record: PluginRecord, load: Callable[[], Any]) -> Offer:
    """Import a plugin and ask it what it offers."""
    module = load()
    _require_api(module)
    manager.register(module, name=record.name)
    # Only after this is a misspelt hook known for what it is.
    manager.check_pending()
    items = _offered(manager, module)
    return Offer(replace(record, hooks=tuple(items)), items)


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


def _offered(manager: pluggy.PluginManager, module: ModuleType) -> dict[str, tuple[Any, ...]]:
    """Call the module's hooks one by one, so that one plugin's error stays its own."""
    found: dict[str, tuple[Any, ...]] = {}
    for caller in manager.get_hookcallers(module) or ():
        for implementation in caller.get_hookimpls():
            if implementation.plugin is module:
                items: Any = implementation.function()
                found[caller.name] = tuple(items)
                for item in found[caller.name]:
                    require_attributes(item, caller.name)
    if not found:
        raise PluginError(
            f"{module.__name__} offers nothing", hint=f"Mark with @hookimpl one of {', '.join(hook_names())}."
        )
    return found
