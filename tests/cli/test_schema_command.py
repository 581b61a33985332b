"""`acoustic schema`: what is printed validates what the other commands print, and refuses what it should."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.cli.demo import demo_folder
from acoustic.cli.schema import DOCUMENTS, schema_of
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

jsonschema = pytest.importorskip("jsonschema", reason="jsonschema validates here; it comes with the test extra")

Run = Callable[..., Any]
SECOND = {"bikes", "fit", "lifetimes"}  # documents whose form changed once
FOLDER = demo_folder()
DEMO = tomllib.loads((FOLDER / "manifest.toml").read_text(encoding="utf-8"))["recording"]


def validator(name: str) -> Any:
    made = schema_of(name)
    jsonschema.Draft202012Validator.check_schema(made)
    return jsonschema.Draft202012Validator(made)


def faults(name: str, document: Any) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in validator(name).iter_errors(document)]


def spoken(acoustic: Run, entry: dict[str, Any], **more: str) -> Any:
    """What `check --json` prints of a demo recording."""
    marks = ("--marks", FOLDER / entry["marks"]) if "marks" in entry else ()
    ticks = ("--ticks",) if entry.get("ticks") else ()
    call = ("check", FOLDER / entry["file"], "--bearing", entry["bearing"], *marks, *ticks, "--json")
    return json.loads(acoustic(*call, *more.values()).stdout)


@pytest.mark.parametrize("entry", DEMO, ids=lambda entry: entry["file"])
def test_every_demo_recording_s_document_follows_it(entry: dict[str, Any], acoustic: Run) -> None:
    assert faults("check", spoken(acoustic, entry)) == []


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("orders", ("orders", "--bearing", "6805", "--json")),
        ("orders", ("orders", "--bearing", "6805", "--balls", "15", "--speed", "60", "--json")),
        ("bearings", ("bearings", "--json")),
        ("fit", ("install", "fit", "--bearing", "6805", "--bore", "36.98@5/0", "--bore", "36.99@5/90", "--json")),
        ("fit", ("install", "fit", "--bearing", "6805", "--bore", "36.98", "--spindle", "24.99", "--json")),
        ("plugins", ("plugins", "--json")),
        ("plugins", ("plugins", "--check", "--json")),
        ("triage", ("triage", "--heard", "pedal", "--answer", "rain=worse", "--json")),
        ("choose", ("install", "choose", "--use", "wet", "--json")),
        ("triage", ("triage", "--heard", "ride-seated", "--not-heard", "hand", "--bearing", "6805", "--json")),
    ],
)
def test_other_documents_follow_theirs(name: str, call: tuple[str, ...], acoustic: Run) -> None:
    assert faults(name, json.loads(acoustic(*call).stdout)) == []


def test_documents_of_sides_and_of_the_book_follow_theirs(acoustic: Run, taken: Any, tmp_path: Path) -> None:
    made, book = taken("short_outer"), ("--book", str(tmp_path / "shop.db"))
    both = [word for side in ("drive", "non-drive") for word in (f"hand:{side}={made.path}",)]
    marks = [word for side in ("drive", "non-drive") for word in ("--marks", f"hand:{side}={made.marks}")]
    sides = acoustic("triage", *both, *marks, "--bearing", "6805", "--json").document
    assert len(sides["recordings"]) == 2 and faults("triage", sides) == []
    acoustic("book", "new", book[1])
    for day in ("2026-01-05", "2026-02-05", "2026-03-05"):
        call = ("--bike", "red", "--on", day, "--bearing", "6805", "--marks", made.marks, "--quiet", "--anyway")
        assert acoustic("visit", "add", *call, made.path, *book).code == EXIT_DONE
    acoustic("bike", "fit", "red", "--on", "2025-12-01", "--shell", "threaded", *book)
    acoustic("bike", "fit", "blue", "--on", "2025-12-01", "--shell", "pressed", *book)
    for name, call in (
        ("bikes", ("bike", "list")),
        ("visit", ("visit", "show", "1")),
        ("visits", ("visit", "list")),
        ("trend", ("trend", "red", "--today", "2026-04-01")),
        ("due", ("due", "--today", "2026-04-01")),
        ("lifetimes", ("lifetimes", "--by", "shell", "--today", "2026-04-01")),
    ):
        document = acoustic(*call, "--json", *book).document
        assert document["schema"] == f"acoustic.{name}/{2 if name in SECOND else 1}"
        assert faults(name, document) == []


def test_it_tells_what_is_wrong(acoustic: Run) -> None:
    """A schema that passes everything would prove nothing."""
    document = spoken(acoustic, DEMO[0])
    del document["grade"]["because"], document["schema"]
    document["motion"]["turns"] = "nine"
    document["bearing"]["turning"] = "both"
    found = "\n".join(faults("check", document))
    assert "'because' is a required property" in found
    assert "'schema' is a required property" in found
    assert "$.motion" in found
    assert "$.bearing.turning: 'both' is not one of ['inner', 'outer']" in found


def test_a_field_of_a_newer_version_is_allowed(acoustic: Run) -> None:
    assert faults("check", {**spoken(acoustic, DEMO[0]), "weather": "wet"}) == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_it_is_printed(name: str, acoustic: Run) -> None:
    outcome = acoustic("schema", name)
    assert (outcome.code, outcome.stderr) == (EXIT_DONE, "")
    printed = json.loads(outcome.stdout)
    assert printed == json.loads(json.dumps(schema_of(name)))
    assert printed["title"] == f"acoustic.{name}/{2 if name in SECOND else 1}"


def test_names_with_a_line_each(acoustic: Run) -> None:
    outcome = acoustic("schema")
    assert outcome.code == EXIT_DONE
    assert [line.split()[0] for line in outcome.stdout.splitlines()] == list(DOCUMENTS)


@pytest.mark.parametrize(
    ("name", "advice"), [("chekc", "Did you mean check?"), ("weather", f"Use one of {', '.join(DOCUMENTS)}.")]
)
def test_an_unknown_name_is_refused(name: str, advice: str, acoustic: Run) -> None:
    outcome = acoustic("schema", name)
    assert (outcome.code, outcome.stdout) == (EXIT_UNUSABLE, "")
    assert advice in outcome.stderr
