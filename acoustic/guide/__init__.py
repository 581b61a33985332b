"""The user's guide: a Markdown file a topic, read here, shown by commands and pages.

A file is named ``NN-topic.md``: the number sets the order, the rest is the topic's name, and the first
heading is its title. There is no other list of topics.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
HEADING = "# "


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic of the guide.

    Attributes
    ----------
    name : str
        What the user types.
    title : str
        The first heading, without its sign.
    text : str
        The whole file: Markdown that is legible as it stands.
    """

    name: str
    title: str
    text: str


def topics() -> tuple[Topic, ...]:
    """Read all topics, the recommended first one on top."""
    return tuple(_read(path) for path in sorted(FOLDER.glob("[0-9][0-9]-*.md")))


def _read(path: Path) -> Topic:
    text = path.read_text(encoding="utf-8")
    heading = text.partition("\n")[0]
    if not heading.startswith(HEADING):
        raise ValueError(f"{path.name} must begin with its title, as '# Title', not with {heading!r}")
    return Topic(path.stem[len("NN-") :], heading.removeprefix(HEADING).strip(), text)
