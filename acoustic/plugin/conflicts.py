"""What a plugin may not offer: objects that lack something, and what contradicts another plugin's offer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from acoustic.conditions import ORDER, Condition, table
from acoustic.errors import PluginError
from acoustic.plugin.entry import BUNDLED, OPTIONS_GROUP, PluginRecord
from acoustic.plugin.options import Option, declared, declared_options

_TEXT = (str, "text")
GRADES = ORDER[1:]  # of what is found
_NEEDED: Mapping[str, Mapping[str, tuple[type, str]]] = {
    "acoustic_speed_sources": {
        "code": _TEXT,
        "label": _TEXT,
        "rank": (int, "whole-number"),
        "options": (tuple, "tuple"),
    },
    "acoustic_detectors": {"conditions": (tuple, "tuple")},
}


@dataclass(frozen=True, slots=True)
class Offer:
    """What one plugin offers, by the hook that offers it."""

    record: PluginRecord
    items: Mapping[str, Sequence[Any]]


def require_attributes(item: object, hook: str) -> None:
    """Refuse at once what could only fail in the middle of a check.

    Raises
    ------
    PluginError
    """
    if hook == "acoustic_conditions":
        _require_condition(item)
        return
    needed = {"name": _TEXT, "summary": _TEXT, **_NEEDED.get(hook, {})}
    for attribute, (kind, word) in needed.items():
        if not isinstance(getattr(item, attribute, None), kind):
            raise PluginError(
                f"{hook} offers {type(item).__name__}, which has no {attribute}",
                hint=f"Give the object a {word} attribute {attribute!r}.",
            )


def _require_condition(item: object) -> None:
    if not isinstance(item, Condition):
        raise PluginError(
            f"acoustic_conditions offers {type(item).__name__}, which is no Condition",
            hint="Offer objects made with acoustic.api.Condition.",
        )
    try:
        msgspec.convert(msgspec.to_builtins(item), Condition)  # made by hand, nothing of it was checked
    except (msgspec.ValidationError, TypeError, NotImplementedError) as error:
        raise PluginError(
            f"the condition {item.code!r} is not made as it must be: {error}",
            hint="Give every field of acoustic.api.Condition and Rule a value of its kind.",
        ) from error
    for rule in item.rules:
        if rule.level not in GRADES:
            raise PluginError(
                f"the condition {item.code!r} has a rule of the level {rule.level!r}",
                hint=f"A condition that is found is graded {', '.join(GRADES[:-1])} or {GRADES[-1]}.",
            )
    if "." not in item.code:
        raise PluginError(
            f"the condition {item.code!r} has no dot in its code",
            hint="Codes without a dot are the program's own; write one like 'squeal.band'.",
        )
    if not item.rules:
        raise PluginError(
            f"the condition {item.code!r} has no rule, so that nothing says how it is graded",
            hint="Give it one acoustic.api.Rule or more, the most severe first.",
        )


def first_conflict(offers: Sequence[Offer]) -> tuple[Offer, PluginError] | None:
    """Find the first plugin that contradicts one loaded before it, or needs what nobody offers.

    Parameters
    ----------
    offers : sequence of Offer
        In the order of loading, the bundled plugins first.

    Returns
    -------
    (Offer, PluginError) or None
        The plugin to set aside, and why.
    """
    return next(_conflicts(offers), None)


def _conflicts(offers: Sequence[Offer]) -> Iterator[tuple[Offer, PluginError]]:
    known: dict[str, Offer] = {}
    for offer in offers:
        for condition in offer.items.get("acoustic_conditions", ()):
            if condition.code in known:
                yield offer, _twice(offer, known[condition.code], "offer the condition", condition.code)
            known[condition.code] = offer
    judges: dict[str, Offer] = {}
    sources: dict[str, Offer] = {}
    for offer in offers:
        for detector in offer.items.get("acoustic_detectors", ()):
            for code in detector.conditions:
                if code not in known and code not in table().conditions:
                    yield offer, _unknown(offer, code)
                if code in judges:
                    yield offer, _twice(offer, judges[code], "judge the condition", code)
                judges[code] = offer
        for source in offer.items.get("acoustic_speed_sources", ()):
            if "." not in source.code and offer.record.distribution != BUNDLED:
                yield offer, _undotted(offer, source.code)
            if source.code in sources:
                yield offer, _twice(offer, sources[source.code], "offer the speed source", source.code)
            sources[source.code] = offer
            undeclared = [option for option in source.options if option not in declared_options()]
            if undeclared:
                yield offer, _undeclared(offer, undeclared[0])


def _twice(offer: Offer, other: Offer, doing: str, code: str) -> PluginError:
    one, first = offer.record, other.record
    return PluginError(
        f"the plugins {first.name} and {one.name} both {doing} {code!r}",
        hint=f"Only one may: uninstall {one.distribution or one.module}, or have its author choose a code of its "
        f"own, with a dot in it; {first.name} ({first.distribution or first.module}) stays.",
    )


def _unknown(offer: Offer, code: object) -> PluginError:
    return PluginError(
        f"{offer.record.name} judges the condition {code!r}, which nobody offers",
        hint=f"Conditions are {', '.join(table().conditions)}; one of a plugin's own has a dot in its code and is "
        "offered by the hook acoustic_conditions.",
    )


def _undotted(offer: Offer, code: str) -> PluginError:
    return PluginError(
        f"the speed source {code!r} of {offer.record.name} has no dot in its code",
        hint="Codes without a dot are the program's own; write one like 'hall.switch'.",
    )


def _undeclared(offer: Offer, option: object) -> PluginError:
    flag = option.flag if isinstance(option, Option) else repr(option)
    found = f"a speed source of {offer.record.name} takes {flag}, which is not declared so in {OPTIONS_GROUP}"
    why = declared().refused.get(offer.record.distribution)
    mend = f"Name the source's options in the entry-point group {OPTIONS_GROUP} as well"
    return PluginError(
        f"{found}: {why}" if why else found,
        hint=f"{'Mend what it declares there' if why else mend}, and install the plugin again.",
    )
