"""Analyses and sections in, one HTML text out.

A page is handed to riders and kept for years, so pictures and sounds lie in it as data, and its policy forbids
scripts and every address. Pictures stand in `<img>`, where a style or script within an SVG cannot reach the
page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from jinja2 import Environment, PackageLoader, StrictUndefined

from acoustic import __version__
from acoustic.check.grade import EQUIPPED, KEEP_CLEAR, NO_PROOF, STOP_RIDING
from acoustic.conditions import ORDER, table
from acoustic.languages import ENGLISH, Translator, translator
from acoustic.model import Analysis
from acoustic.report.page.bench import bench_of
from acoustic.report.page.plain import card_of
from acoustic.report.page.section import Lead, Section

# The cautions, once a page: the rider's on the first line, the workshop's on the second.
CAUTION_LINES = ((STOP_RIDING, NO_PROOF), (KEEP_CLEAR, EQUIPPED))
Progress = Callable[[str], None]


def _silent(doing: str) -> None:
    pass


def page_of_check(result: Analysis, progress: Progress = _silent, *, language: str = ENGLISH) -> str:
    """Write one check as an HTML page.

    Parameters
    ----------
    result : Analysis
        Of an unusable recording too: the page then says how to record again.
    progress : callable
        Gets a line for every piece of work that may take long.
    language : str
        Of the rider's half; the bench's is English.

    Returns
    -------
    str
        A whole HTML document that loads nothing; write it as UTF-8.
    """
    title = f"{result.verdict.level.capitalize()}: {result.recording.path.name}"
    side = f", {result.recording.side} side" if result.recording.side else ""
    return page(
        title,
        f"Crank bearing ({result.bearing.designation}){side}, checked by its sound",
        (result,),
        progress=progress,
        language=language,
    )


def page(
    title: str,
    subtitle: str,
    analyses: Sequence[Analysis],
    extra: Sequence[Section] = (),
    progress: Progress = _silent,
    *,
    lead: Lead | None = None,
    names: Sequence[str] = (),
    language: str = ENGLISH,
) -> str:
    """Write a visit or a bike as an HTML page.

    Parameters
    ----------
    title, subtitle : str
        Plain text.
    analyses : sequence of Analysis
        In the order they are to stand.
    extra : sequence of Section
        What else is to be said, at the end of either half.
    progress : callable
        Gets a line for every piece of work that may take long.
    lead : Lead or None
        What comes before the checks.
    names : sequence of str
        What the checks are called, one each; their files' names where none are given.
    language : str
        Of the rider's half; the bench's is English.

    Returns
    -------
    str
        A whole HTML document that loads nothing; write it as UTF-8.
    """
    say = translator(language)
    called = tuple(names) or tuple(result.recording.path.name for result in analyses)
    versions = {name: version for result in analyses for name, version in result.plugin_versions.items()}
    return (
        environment(say)
        .get_template("page.html.jinja")
        .render(
            title=title,
            subtitle=subtitle,
            ladder=ORDER,
            grade_words=table().grades,
            language=language,
            lead=None if lead is None else lead.said(say),
            cards=[replace(card_of(one, say), name=say(name)) for one, name in zip(analyses, called, strict=True)],
            benches=[
                replace(bench_of(one, progress), name=name) for one, name in zip(analyses, called, strict=True)
            ],
            customer_sections=[section.said(say) for section in extra if section.half == "customer"],
            bench_sections=[section for section in extra if section.half == "bench"],
            cautions=[" ".join(map(say, line)) for line in CAUTION_LINES],
            program=f"acoustic {__version__}",
            versions=sorted(versions.items()),
        )
    )


def environment(say: Translator) -> Environment:
    """Templates of pages, in which ``say`` says the words of the rider's half in its language."""
    made = Environment(
        loader=PackageLoader("acoustic.report.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["say"] = say
    return made
