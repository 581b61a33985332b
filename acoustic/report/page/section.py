"""What others put on a page beside the checks: a trend, a comparison, a lifetime."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from acoustic.report.page.embed import picture_uri


@dataclass(frozen=True, slots=True)
class Lead:
    """What comes before the checks on a page, where something else than the last grade counts.

    Attributes
    ----------
    heading : str
    paragraphs, to_do : tuple of str
        For the rider.
    why, steps : tuple of str
        For the bench.
    before_grade : bool
        The checks' grade, meaning and advice are left out; only what was heard stays.
    heard : str
        Heading over what was heard.
    """

    heading: str
    paragraphs: tuple[str, ...]
    to_do: tuple[str, ...]
    why: tuple[str, ...]
    steps: tuple[str, ...]
    before_grade: bool
    heard: str = "What was heard"

    def said(self, say: Callable[[str], str]) -> Lead:
        """The same with the rider's words in the rider's language."""
        return replace(
            self,
            heading=say(self.heading),
            paragraphs=tuple(map(say, self.paragraphs)),
            to_do=tuple(map(say, self.to_do)),
            heard=say(self.heard),
        )


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with paragraphs and, where one helps, a picture.

    Attributes
    ----------
    heading : str
        Plain text; it is escaped on the page.
    paragraphs : tuple of str
        Plain text, one paragraph each. They must say in words what the picture shows.
    picture_svg : str
        A whole SVG document, as `svg_of` makes of a figure, or nothing.
    half : {'customer', 'bench'}
        Where it stands: with what the rider reads, or with what the mechanic needs.
    first : bool
        Before the checks rather than after them; on the bench's half.
    """

    heading: str
    paragraphs: tuple[str, ...]
    picture_svg: str = ""
    half: Literal["customer", "bench"] = "bench"
    first: bool = False

    def said(self, say: Callable[[str], str]) -> Section:
        """The same with its words in the rider's language; a picture keeps its own."""
        return replace(self, heading=say(self.heading), paragraphs=tuple(map(say, self.paragraphs)))

    @property
    def picture(self) -> str:
        """The picture as a data: URI; empty without one."""
        return picture_uri(self.picture_svg) if self.picture_svg else ""
