"""`acoustic guide`: the list, every topic as it stands in its file, the refusal."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from acoustic import guide
from acoustic.cli import main
from acoustic.cli.guide import guide as command
from acoustic.errors import EXIT_UNUSABLE

WIDEST = 80  # characters, the narrowest terminal in common use
FILES = sorted(guide.FOLDER.glob("*.md"))


def run(*arguments: str) -> str:
    result = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert (result.exit_code, result.stderr) == (0, "")
    return result.stdout


def test_the_list_names_every_file_by_its_heading_and_the_recommended_one_first() -> None:
    lines = run().splitlines()
    assert lines[0].startswith("start ")
    shown = [tuple(re.split(r" {2,}", line, maxsplit=1)) for line in lines[: lines.index("")]]
    first_lines = [path.read_text("utf-8").splitlines()[0] for path in FILES]
    assert shown == [
        (path.stem.partition("-")[2], line.removeprefix("# "))
        for path, line in zip(FILES, first_lines, strict=True)
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_topic_is_its_file(path: Path) -> None:
    assert run(path.stem.partition("-")[2]) == path.read_text("utf-8")


def test_capital_letters_do_not_matter() -> None:
    assert run("Trend") == run("trend")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_topic_is_legible_in_a_terminal(path: Path) -> None:
    """Lines fit, apart from commands, which must be copied whole; and no code is left open."""
    text = path.read_text("utf-8")
    prose = re.sub(r"^ *```.*?^ *```$", "", text, flags=re.DOTALL | re.MULTILINE)
    assert "```" not in prose
    assert [line for line in prose.splitlines() if len(line) > WIDEST] == []


@pytest.mark.parametrize("topic", [topic.name for topic in guide.topics()])
def test_topics_named_in_the_guide_exist(topic: str) -> None:
    known = {one.name for one in guide.topics()}
    text = next(one.text for one in guide.topics() if one.name == topic)
    assert set(re.findall(r"`acoustic guide ([a-z]+)`", text)) <= known


def test_topics_have_plain_names() -> None:
    """One word each, used once."""
    names = [topic.name for topic in guide.topics()]
    assert len(set(names)) == len(names) >= 15
    assert all(re.fullmatch("[a-z]+", name) for name in names)


@pytest.mark.parametrize(
    ("typed", "nearest"), [("recordings", "recording"), ("lifetime", "lifetimes"), ("xyz", None)]
)
def test_a_wrong_topic_is_refused_with_the_nearest(
    typed: str, nearest: str | None, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["guide", typed])
    printed = capsys.readouterr()
    assert (end.value.code, printed.out) == (EXIT_UNUSABLE, "")
    assert f"the guide has no topic {typed!r}" in printed.err
    assert "acoustic guide" in printed.err
    near = re.search(r"The nearest names: ([a-z]+)", printed.err)
    assert (near and near[1]) == nearest


def test_a_file_without_a_title_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "01-odd.md").write_text("no heading\n", encoding="utf-8")
    monkeypatch.setattr(guide, "FOLDER", tmp_path)
    with pytest.raises(ValueError, match=r"01-odd\.md must begin with its title"):
        guide.topics()


def test_the_guide_loads_nothing_heavy() -> None:
    code = "import sys; from acoustic.cli import group; group(['guide', 'start'], standalone_mode=False)"
    code += "; print('LOADED', *sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=True, timeout=60
    )
    loaded = done.stdout.rpartition("LOADED")[2].split()
    assert "acoustic.guide" in loaded
    assert not {"numpy", "scipy", "matplotlib", "sqlalchemy", "pluggy"} & set(loaded)
