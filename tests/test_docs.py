"""The documents name what there is: hooks with their arguments, methods, commands, options, exit codes."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from acoustic import errors
from acoustic.cli import LazyGroup, group
from acoustic.cli.check import check
from acoustic.plugin import hookspecs
from acoustic.plugin.entry import GROUP, OPTIONS_GROUP
from acoustic.plugin.registry import STRICT_VARIABLE, hook_names

ROOT = Path(__file__).parents[1]
OFFERED = {
    "acoustic_readers": hookspecs.Reader,
    "acoustic_quality_checks": hookspecs.QualityCheck,
    "acoustic_speed_sources": hookspecs.SpeedSource,
    "acoustic_detectors": hookspecs.Detector,
    "acoustic_conditions": None,
}


AN_AUTHOR_NEEDS = ["ACOUSTIC_API", GROUP, OPTIONS_GROUP, STRICT_VARIABLE, "acoustic.api", "hookimpl"]


@pytest.fixture(scope="module")
def developers() -> str:
    return (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


def signature(function: object) -> str:
    """Pattern of a call with the exact arguments, with or without self and annotations."""
    assert callable(function)
    names = [name for name in inspect.signature(function).parameters if name != "self"]
    annotation = r"(?::\s*[^,()]+)?"
    arguments = r"\s*,\s*".join(re.escape(name) + annotation for name in names)
    name = getattr(function, "__name__", "")
    return rf"\b{name}\(\s*(?:self\s*,?\s*)?{arguments}\s*\)"


def methods() -> Iterator[tuple[str, object]]:
    for protocol in (hookspecs.Offered, *filter(None, OFFERED.values())):
        for name, member in vars(protocol).items():
            if not name.startswith("_") and (inspect.isfunction(member) or isinstance(member, property)):
                yield f"{protocol.__name__}.{name}", member


def test_the_pattern_is_exact() -> None:
    """One argument more, less or otherwise named is not the same signature."""

    def check(self: object, recording: object, hearing: object) -> None: ...

    pattern = signature(check)
    assert re.search(pattern, "`check(recording, hearing)`")
    assert re.search(pattern, "def check(self, recording: Recording, hearing: Hearing | None) -> X:")
    for wrong in ("check(recording)", "check(recording, hearing, spin)", "check(hearing, recording)", "check()"):
        assert not re.search(pattern, wrong)


def test_every_hook_s_objects_are_known_here() -> None:
    assert set(OFFERED) == set(hook_names())


@pytest.mark.parametrize("hook", hook_names())
def test_hooks_are_documented_with_their_arguments(hook: str, developers: str) -> None:
    assert re.search(signature(getattr(hookspecs, hook)), developers), f"DEVELOPERS.md lacks {hook}()"


@pytest.mark.parametrize(("name", "member"), list(methods()), ids=[name for name, _ in methods()])
def test_methods_are_documented_with_their_arguments(name: str, member: object, developers: str) -> None:
    if isinstance(member, property):
        assert f"`{name.partition('.')[2]}`" in developers or f"{name.partition('.')[2]} = " in developers
    else:
        assert re.search(signature(member), developers), f"DEVELOPERS.md lacks {name}{inspect.signature(member)}"


@pytest.mark.parametrize("word", AN_AUTHOR_NEEDS)
def test_what_an_author_needs_is_named(word: str, developers: str) -> None:
    assert word in developers


@pytest.mark.parametrize("command", LazyGroup.COMMANDS)
def test_commands_are_shown_in_use(command: str, readme: str, developers: str) -> None:
    """Mechanics' commands in the README; one for authors of plugins may stand in DEVELOPERS.md."""
    assert f"acoustic {command}" in readme + developers


@pytest.mark.parametrize("command", LazyGroup.COMMANDS)
def test_the_short_help_known_by_heart_is_the_command_s_own(command: str) -> None:
    """The group writes its help without importing the commands, so the two can drift apart."""
    loaded = group.get_command(click.Context(group), command)
    assert loaded is not None
    for one in (loaded, *subcommands(loaded)):
        assert one.help
        assert all(parameter.help for parameter in one.params if isinstance(parameter, click.Option))
    if loaded.short_help:
        assert loaded.short_help == LazyGroup.COMMANDS[command][1]


def long_options(command: click.Command) -> list[str]:
    """Of a command, and of those below it where it is a group."""
    options = [o for parameter in command.params if isinstance(parameter, click.Option) for o in parameter.opts]
    own = [option for option in options if option.startswith("--")]
    return own + [option for below in subcommands(command) for option in long_options(below)]


def subcommands(command: click.Command) -> list[click.Command]:
    return list(command.commands.values()) if isinstance(command, click.Group) else []


@pytest.mark.parametrize("option", long_options(check))
def test_options_of_check_are_explained(option: str, readme: str) -> None:
    """In the README, or with a line of its own in the help."""
    shown = check.get_help(click.Context(check))
    described = re.search(rf"{option}\b[^\n]*\s+(\S+ ){{2,}}", shown)
    assert re.search(rf"{option}\b", readme) or described


def exit_codes() -> list[int]:
    return [value for name, value in vars(errors).items() if name.startswith("EXIT_")]


@pytest.mark.parametrize("code", exit_codes())
def test_exit_codes_are_in_the_help_and_the_readme(code: int, readme: str) -> None:
    assert re.search(rf"\b{code} ", str(group.epilog))
    assert re.search(rf"\b{code}\b", readme)


@pytest.mark.parametrize("grade", ["clean", "watch", "service", "replace", "undecided"])
def test_every_grade_is_explained(grade: str, readme: str) -> None:
    assert re.search(rf"\b{grade}\b", readme)


def test_files_named_in_the_documents_are_there(readme: str, developers: str) -> None:
    """Paths in backticks that look like files of this project; only in a checkout, as a wheel has other places."""
    if not (ROOT / "acoustic" / "__init__.py").is_file():
        pytest.skip("no checkout but an installed wheel")
    named = re.findall(r"`((?:acoustic|plugins|tests|recordings_demo)/[\w/.-]+)`", readme + developers)
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_options_named_in_the_readme_exist(readme: str) -> None:
    """A reader who copies a command must not meet 'no such option'."""
    known = {"--help", "--version", "--debug"}
    for command in LazyGroup.COMMANDS:
        loaded = group.get_command(click.Context(group), command)
        assert loaded is not None
        known |= set(long_options(loaded))
    for line in readme.splitlines():
        if re.search(r"\bacoustic \w", line):
            assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", line)) <= known, line
