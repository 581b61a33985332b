"""Pages of simulated checks, and what a parser that is not ours reads in them."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from acoustic.model import Problem, Quality, Verdict

LOADING = {"src", "href", "srcset", "poster", "data", "action", "background", "xlink:href"}
VOID = {"meta", "link", "img", "br", "hr", "input", "source"}


@dataclass
class Page(HTMLParser):
    """A page, read: its text, its tags with their attributes, its addresses, its headings."""

    source: str
    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    headings: list[tuple[int, str]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    style: str = ""

    def __post_init__(self) -> None:
        super().__init__()
        self._open: list[str] = []
        self.feed(self.source)
        self.close()
        assert self._open == [], "every tag is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append((int(tag[1]), ""))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, f"</{tag}> closes another tag"

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] == "style":
            self.style += data
            return
        self.words.append(data)
        for level in range(1, 7):
            if f"h{level}" in self._open:
                self.headings[-1] = (level, self.headings[-1][1] + data)

    @property
    def text(self) -> str:
        """All that is read, blanks made even."""
        return " ".join(" ".join(self.words).split())

    @property
    def addresses(self) -> list[str]:
        """All that a browser would load or lead to, in attributes and style."""
        given = [value for _, attrs in self.tags for name, value in attrs.items() if name in LOADING]
        styles = [self.style, *(attrs["style"] for _, attrs in self.tags if "style" in attrs)]
        return given + [at for style in styles for at in re.findall(r"(?:url\(|@import )([^;)]*)", style)]

    def named(self, tag: str) -> list[dict[str, str]]:
        """Attributes of every such tag."""
        return [attrs for name, attrs in self.tags if name == tag]

    @property
    def sounds(self) -> list[tuple[NDArray[np.float64], int]]:
        """Every sound, decoded by libsndfile: samples and rate."""
        return [soundfile.read(io.BytesIO(content_of(attrs["src"]))) for attrs in self.named("audio")]

    @property
    def pictures(self) -> list[str]:
        """Every picture's SVG."""
        return [content_of(attrs["src"]).decode("utf-8") for attrs in self.named("img")]


def content_of(uri: str) -> bytes:
    return base64.b64decode(uri.partition(";base64,")[2], validate=True)


@pytest.fixture(scope="session")
def read() -> Callable[[str], Page]:
    return Page


@pytest.fixture(scope="session")
def page_of(analysis_of: Callable[[str], Any]) -> Callable[..., Page]:
    """Write and read the page of a case, once a session: (case) -> Page."""
    from acoustic.report.page import page_of_check

    made: dict[str, Page] = {}

    def page(case: str) -> Page:
        if case not in made:
            made[case] = Page(page_of_check(analysis_of(case)))
        return made[case]

    return page


@pytest.fixture
def unusable(analysis_of: Callable[[str], Any]) -> Any:
    """An analysis that stopped at a silent recording."""
    problem = Problem("silent", "the recording holds no sound", "Switch the microphone on.", voids="any")
    result = analysis_of("sound")
    return replace(
        result,
        recording=replace(result.recording, samples=np.zeros((48_000, 1))),
        motion=None,
        features=None,
        findings=(),
        quality=Quality((problem,), usable=False),
        verdict=Verdict("undecided", (problem.detail,), (problem.advice,)),
    )
