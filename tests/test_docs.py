"""The documents name what there is: hooks with their arguments, methods, commands, options, exit codes.

What a user needs stands in the README and in the topics of the guide; together they are the manual.
"""

from __future__ import annotations

import inspect
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from map_of_rooms import first_line, map_of_rooms, rooms, with_map

from acoustic import errors, guide
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


README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXTS = {"README.md": README} | {f"guide {topic.name}": topic.text for topic in guide.topics()}
LONGEST_README = 130  # lines


@pytest.fixture(scope="module")
def manual() -> str:
    return "\n".join(TEXTS.values())


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

    def check(self: object, recording: object, features: object) -> None: ...

    pattern = signature(check)
    assert re.search(pattern, "`check(recording, features)`")
    assert re.search(pattern, "def check(self, recording: Recording, features: Features | None) -> X:")
    for wrong in ("check(recording)", "check(recording, features, spin)", "check(features, recording)", "check()"):
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
def test_commands_are_shown_in_use(command: str, manual: str) -> None:
    assert f"acoustic {command}" in manual


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
def test_options_of_check_are_explained(option: str, manual: str) -> None:
    """In the manual, or with a line of its own in the help."""
    shown = check.get_help(click.Context(check))
    described = re.search(rf"{option}\b[^\n]*\s+(\S+ ){{2,}}", shown)
    assert re.search(rf"{option}\b", manual) or described


def exit_codes() -> list[int]:
    return [value for name, value in vars(errors).items() if name.startswith("EXIT_")]


@pytest.mark.parametrize("code", exit_codes())
def test_exit_codes_are_in_the_help_and_the_guide(code: int) -> None:
    assert re.search(rf"\b{code} ", str(group.epilog))
    assert re.search(rf"^\| {code} ", TEXTS["guide scripts"], re.MULTILINE)


@pytest.mark.parametrize("name", ["README.md", "guide verdict"])
@pytest.mark.parametrize("grade", ["clean", "watch", "service", "replace", "undecided"])
def test_every_grade_is_explained(grade: str, name: str) -> None:
    assert re.search(rf"^(\| |- \*\*){grade}\b", TEXTS[name], re.MULTILINE)


def test_files_named_in_the_documents_are_there(manual: str, developers: str) -> None:
    """Paths in backticks that look like files of this project; only in a checkout, as a wheel has other places."""
    if not (ROOT / "acoustic" / "__init__.py").is_file():
        pytest.skip("no checkout but an installed wheel")
    named = re.findall(r"`((?:acoustic|plugins|tests|recordings_demo)/[\w/.-]+)`", manual + developers)
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_readme_is_short_and_names_every_topic() -> None:
    assert len(README.splitlines()) < LONGEST_README
    assert [topic.name for topic in guide.topics() if f"`{topic.name}`" not in README] == []


def calls(text: str) -> list[str]:
    """Calls of the program in blocks of shell lines, without what stands before the program's name."""
    blocks = re.findall(r"^ *```sh\n(.*?)^ *```$", text, re.DOTALL | re.MULTILINE)
    lines = [line.strip() for block in blocks for line in block.splitlines()]
    return [
        line[found.end() :] for line in lines if (found := re.search(r"(?:^|&& )(?:\.venv/bin/)?acoustic ", line))
    ]


CALLS = [pytest.param(call, id=f"{name}: {call[:40]}") for name, text in TEXTS.items() for call in calls(text)]


def refusal(call: str) -> str | None:
    """What click says against a call: an unknown command or option, a missing or malformed value.

    Nothing is run, and no file is looked for.
    """
    command: click.Command = group
    context, words = click.Context(group), shlex.split(call)
    try:
        while isinstance(command, click.Group):
            name, found, words = command.resolve_command(context, words)
            assert found is not None, name
            command, context = found, click.Context(found, parent=context)
        command.make_context(command.name, list(words), parent=context.parent)
    except click.ClickException as error:
        return error.format_message()
    return None


@pytest.mark.parametrize("call", CALLS)
def test_shown_calls_are_understood(call: str) -> None:
    """A reader who copies a command must not meet 'no such option'."""
    assert refusal(call) is None


def test_every_text_that_shows_the_program_is_read() -> None:
    """So that a change of the fences cannot empty the test above."""
    assert [name for name in TEXTS if not calls(TEXTS[name])] == ["guide limits", "guide safety"]
    assert len(CALLS) > 40


@pytest.mark.parametrize(
    "wrong",
    [
        "chekc spin.wav",
        "check spin.wav --bearings 6805",
        "check",
        "check spin.wav --turns many",
        "check spin.wav --spin sideways",
        "visit add spin.wav",
        "visit forget 3",
        "guide one two",
    ],
)
def test_a_wrong_call_would_be_noticed(wrong: str) -> None:
    assert refusal(wrong)


def test_options_named_within_sentences_exist(manual: str) -> None:
    known = {"--help", "--version", "--debug"}
    for command in LazyGroup.COMMANDS:
        loaded = group.get_command(click.Context(group), command)
        assert loaded is not None
        known |= set(long_options(loaded))
    assert set(re.findall(r"`(--[a-z][a-z-]*)", manual)) <= known


def test_the_shown_result_is_what_the_program_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    """The README's one result, character by character. If the words were changed on purpose, copy them anew."""
    shown = re.search(
        r"^```sh\n[^\n]*acoustic (check [^\n]*)\n```\n\n```text\n(.*?)```$", README, re.DOTALL | re.MULTILINE
    )
    assert shown is not None
    monkeypatch.chdir(ROOT)
    result = CliRunner().invoke(group, shlex.split(shown[1]), catch_exceptions=False)
    assert (result.exit_code, result.stdout) == (0, shown[2])


# Not English, though each can be understood; the readers of these texts need not be native either.
ODD = (
    r"\bis no (number|day|time|file|label)\b",
    r"[\w.]+,? say[.;,)]",
    "until it stands",
    "turns on end",
    "did not come",
)


def helps(command: click.Command) -> Iterator[str]:
    yield command.get_help(click.Context(command))
    for below in subcommands(command):
        yield from helps(below)


@pytest.mark.parametrize("odd", ODD)
def test_manual_and_help_are_plain_english(odd: str, manual: str) -> None:
    shown = [manual]
    for name in LazyGroup.COMMANDS:
        loaded = group.get_command(click.Context(group), name)
        assert loaded is not None
        shown += helps(loaded)
    assert [found[0] for text in shown for found in re.finditer(odd, " ".join(text.split()))] == []


LONGEST_DEVELOPERS = 15_000  # bytes: ten minutes at 250 words a minute
checkout = pytest.mark.skipif(
    not (ROOT / "acoustic" / "__init__.py").is_file(), reason="no checkout but an installed wheel"
)


def test_what_developers_read_takes_ten_minutes(developers: str) -> None:
    assert len(developers.encode("utf-8")) < LONGEST_DEVELOPERS


@checkout
def test_the_map_is_made_from_today_s_docstrings(developers: str) -> None:
    assert developers == with_map(developers), "run `python tests/map_of_rooms.py`"


@checkout
def test_a_map_that_went_stale_would_be_noticed(developers: str) -> None:
    assert with_map(developers.replace("\n speed/", "\n gone/")) == developers
    with pytest.raises(ValueError, match="end of map"):
        with_map(developers.replace("<!-- end of map -->", ""))


@checkout
def test_the_map_holds_every_room() -> None:
    homes = {path.parent for top in ("acoustic", "plugins") for path in (ROOT / top).rglob("__init__.py")}
    mapped = {home for home, _ in rooms()}
    assert {home.relative_to(ROOT).parts[:3] for home in homes - mapped} == {("acoustic", "book", "migrations")}
    assert len(map_of_rooms().splitlines()) == len(mapped) + 2  # and the fence


@checkout
def test_every_module_says_in_one_line_what_it_is_for() -> None:
    paths = [path for home, modules in rooms() for path in (home / "__init__.py", *modules)]
    assert len(paths) > 150
    assert [path.as_posix() for path in paths if len(first_line(path)) < 20] == []


@pytest.mark.parametrize(("folder", "scripts"), [("bench", "bench_*.py"), ("calibration", "*.py")])
def test_scripts_run_by_hand_are_listed_beside_them(folder: str, scripts: str) -> None:
    home = ROOT / "tests" / folder
    listed = (home / "README.md").read_text(encoding="utf-8")
    found = [path.name for path in home.glob(scripts) if not path.name.startswith("test_")]
    assert len(found) >= 5
    assert [name for name in found if f"`{name}`" not in listed] == []


@checkout
def test_modules_named_on_the_walk_are_there(developers: str) -> None:
    walk = developers.partition("\n## One walk")[2].partition("\n## ")[0]
    homes = (ROOT / "acoustic", ROOT / "acoustic" / "dsp" / "orders")
    named = re.findall(r"`([a-z_]+(?:/[a-z_]+)*)`", walk)
    assert len(named) > 12
    assert [name for name in named if not any((home / f"{name}.py").is_file() for home in homes)] == []
