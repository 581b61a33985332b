"""What plugins may not offer: refused by name when they are loaded, the later one, with what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from acoustic_plugins.speed.options import MARKS

from acoustic.conditions import Condition, Rule
from acoustic.plugin.conflicts import Offer, first_conflict
from acoustic.plugin.entry import OPTIONS_GROUP, PluginRecord, entries
from acoustic.plugin.options import RESERVED, Option, declared, declared_options
from acoustic.plugin.registry import load_plugins

Make = Callable[..., ModuleType]


def condition(code: str, *, rules: int = 1) -> Condition:
    rule = Rule(level="service", because="a band squeals", advice="Grease it.")
    return Condition(code=code, name="squeal", rules=(rule,) * rules)


def detector(*codes: str) -> Any:
    return SimpleNamespace(
        name="listener", summary="made for a test", conditions=codes, detect=lambda features: []
    )


def source(code: str = "hall.switch", **changes: Any) -> Any:
    said = {"label": "the switch", "rank": 5, "options": MARKS, "present": lambda r: False, **changes}
    return SimpleNamespace(name="hall", summary="made for a test", code=code, **said)


def broken(*extra: tuple[str, ModuleType]) -> dict[str, str]:
    loaded = load_plugins(extra=extra)
    assert {f.plugin for f in loaded.failures} == {r.name for r in loaded.records if r.broken}
    return {record.name: record.broken for record in loaded.records if record.broken is not None}


def test_a_bundled_condition_cannot_be_judged_twice(plugin: Make, registry: Any) -> None:
    """The message names both, and says what to do; the bundled one stays."""
    found = broken(("aaa", plugin("aaa_module", acoustic_detectors=[detector("creak")])))
    assert list(found) == ["aaa"], "its name comes first, but the bundled ones are loaded before it"
    assert "the plugins creak and aaa both judge the condition 'creak'" in found["aaa"]
    assert "uninstall aaa_module" in found["aaa"] and "creak (acoustic-crank) stays" in found["aaa"]


def test_of_two_others_the_later_is_set_aside(plugin: Make) -> None:
    own = [condition("squeal.band")]
    one = plugin("one", acoustic_conditions=own, acoustic_detectors=[detector("squeal.band")])
    other = plugin("other", acoustic_detectors=[detector("squeal.band")])
    found = broken(("one", one), ("other", other))
    assert list(found) == ["other"]
    assert "the plugins one and other both judge" in found["other"]


def test_a_condition_cannot_be_offered_twice(plugin: Make) -> None:
    one, other = (plugin(name, acoustic_conditions=[condition("squeal.band")]) for name in ("one", "other"))
    found = broken(("one", one), ("other", other))
    assert list(found) == ["other"] and "both offer the condition 'squeal.band'" in found["other"]


def test_who_needs_what_was_set_aside_is_set_aside_too(plugin: Make) -> None:
    """One falls by judging creaks, and the condition that it brought falls with it."""
    one = plugin("one", acoustic_conditions=[condition("squeal.band")], acoustic_detectors=[detector("creak")])
    other = plugin("other", acoustic_detectors=[detector("squeal.band")])
    found = broken(("one", one), ("other", other))
    assert list(found) == ["one", "other"]
    assert "'squeal.band', which nobody offers" in found["other"]


def test_another_plugin_s_condition_may_be_judged(plugin: Make) -> None:
    judge = plugin("judge", acoustic_detectors=[detector("squeal.band")])
    table = plugin("table", acoustic_conditions=[condition("squeal.band")])
    assert broken(("judge", judge), ("table", table)) == {}


@pytest.mark.parametrize("code", ["whistle", "squeal.band"])
def test_a_condition_that_nobody_offers(code: str, plugin: Make) -> None:
    found = broken(("grumpy", plugin("grumpy", acoustic_detectors=[detector(code)])))
    assert f"judges the condition '{code}', which nobody offers" in found["grumpy"]
    assert "acoustic_conditions" in found["grumpy"]


@pytest.mark.parametrize(
    ("offered", "said"),
    [
        (condition("squeal"), "has no dot"),
        (condition("creak"), "has no dot"),
        (condition("squeal.band", rules=0), "has no rule"),
        (SimpleNamespace(code="squeal.band"), "is no Condition"),
        ("squeal.band", "offers str, which is no Condition"),
    ],
)
def test_conditions_that_are_none(offered: Any, said: str, plugin: Make) -> None:
    assert said in broken(("grumpy", plugin("grumpy", acoustic_conditions=[offered])))["grumpy"]


@pytest.mark.parametrize(
    ("offered", "said"),
    [
        (source("hall"), "speed source 'hall' of grumpy has no dot"),
        (source(label=None), "has no label"),
        (source(rank="first"), "has no rank"),
        (source(options=list(MARKS)), "has no options"),
        (source(options=("--hall",)), "takes '--hall', which is not declared"),
        (source(options=(Option(flag="--hall", help="A switch."),)), "takes --hall, which is not declared"),
        (source(options=(Option(flag="--marks", help="Other marks."),)), "takes --marks, which is not declared"),
        (SimpleNamespace(name="hall", summary="s"), "has no code"),
    ],
)
def test_speed_sources_that_are_refused(offered: Any, said: str, plugin: Make) -> None:
    assert said in broken(("grumpy", plugin("grumpy", acoustic_speed_sources=[offered])))["grumpy"]


def test_a_speed_source_cannot_be_offered_twice(plugin: Make) -> None:
    one, other = (plugin(name, acoustic_speed_sources=[source()]) for name in ("one", "other"))
    found = broken(("one", one), ("other", other))
    assert list(found) == ["other"] and "both offer the speed source 'hall.switch'" in found["other"]


def test_a_detector_s_conditions_are_a_tuple(plugin: Make) -> None:
    """A text would be taken letter by letter."""
    listener = detector()
    listener.conditions = "creak"
    assert "has no conditions" in broken(("grumpy", plugin("grumpy", acoustic_detectors=[listener])))["grumpy"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"flag": "hall"}, "reads like --hall"), ({"kind": "angle"}, "kind of --hall"), ({"help": ""}, "help")],
)
def test_options_that_are_none(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Option(**{"flag": "--hall", "help": "A switch.", **changes})


def test_the_key_of_an_option_is_its_flag() -> None:
    assert Option(flag="--hall-edge", help="Which edge.").key == "hall_edge"


def test_the_commands_own_options_are_reserved() -> None:
    """Read off the commands that take speed options; no plugin can take one of theirs."""
    import click

    from acoustic.cli.check import check
    from acoustic.cli.visit import add

    flags = {o for command in (check, add) for p in command.params if isinstance(p, click.Option) for o in p.opts}
    assert flags - {option.flag for option in declared_options()} <= RESERVED
    assert not {option.flag for option in declared_options()} & RESERVED


@dataclass(frozen=True)
class Package:
    name: str = "third-hand"
    version: str = "1"


@dataclass(frozen=True)
class Entry:
    """An entry point of a package called third-hand, as importlib.metadata gives them."""

    load: Callable[[], object]
    name: str = "hall"
    value: str = "hall_module:OPTIONS"
    dist: Package = Package()


def no_module() -> object:
    raise ModuleNotFoundError("No module named 'hall_driver'")


HALL = Option(flag="--hall", help="A switch.")
BOOK, OTHER_MARKS = Option(flag="--book", help="Ours."), Option(flag="--marks", help="Other marks.")
KEY_TAKEN = Option(flag="--hall", help="A switch.", key="marks")
LEFT_OUT = {
    "no module": (
        no_module,
        HALL,
        "hall_module:OPTIONS cannot be loaded: ModuleNotFoundError: No module named 'hall",
    ),
    "no option": (lambda: ("--hall",), HALL, "str is no acoustic.api.Option"),
    "reserved": (lambda: (BOOK,), BOOK, "--book is the program's own"),
    "flag taken": (lambda: (OTHER_MARKS,), OTHER_MARKS, "--marks is taken by acoustic-crank"),
    "key taken": (lambda: (KEY_TAKEN,), KEY_TAKEN, "marks is taken by acoustic-crank"),
}


@pytest.mark.parametrize(("load", "option", "said"), LEFT_OUT.values(), ids=LEFT_OUT)
def test_why_a_declaration_was_left_out_is_said(
    load: Callable[[], object], option: Option, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = entries(OPTIONS_GROUP)
    monkeypatch.setattr("acoustic.plugin.options.entries", lambda group: [*found, Entry(load)])
    declared.cache_clear()
    record = PluginRecord("grumpy", "hall_module", "third-hand", "1")
    try:
        conflict = first_conflict([Offer(record, {"acoustic_speed_sources": (source(options=(option,)),)})])
    finally:
        declared.cache_clear()
    assert conflict is not None
    assert "which is not declared so in acoustic.options: " in conflict[1].found
    assert said in conflict[1].found
