"""The triage as a mechanic reads it: the likeliest source, why, what to record next, what to check by hand."""

from __future__ import annotations

from collections.abc import Iterable

from acoustic.report import words
from acoustic.report.layout import paragraphs, sentence
from acoustic.triage.evidence import Heard
from acoustic.triage.ranking import Argument, Ranked
from acoustic.triage.result import Triage

CHECKED_SHARE = 0.05  # the check of a source below this is named only


def headline(result: Triage) -> str:
    """Certainty and likeliest sources in one line."""
    if not result.answers or result.level == "undecided":
        return "UNDECIDED  where the creak comes from"
    first, second = result.ranked[:2]
    text = f"{result.level.upper()}  {_name(first, result)} {words.share(first.share)}"
    return text if result.level == "likely" else f"{text}, {_name(second, result)} {words.share(second.share)}"


def to_text(result: Triage) -> str:
    """Write the whole report.

    Parameters
    ----------
    result : Triage

    Returns
    -------
    str
        Lines of at most 96 characters, no colour.
    """
    lines = [headline(result), ""]
    lines += paragraphs("why", (sentence(text) for text in result.because))
    lines += paragraphs("record", [_next(result)])
    if result.side is not None:
        lines += paragraphs("side", [sentence(result.side.because)])
    if result.answers:
        lines += ["", *_sources(result)]
    # Whether the bike may be ridden at all comes before where it creaks.
    lines += ["", *paragraphs("first", result.cautions[:1]), *_checks(result), ""]
    for heard in result.recordings:
        lines += paragraphs("measured", [_measured(heard, result)])
    lines += paragraphs("told", [_told(result)] if result.told else [])
    lines += paragraphs("failed", (f"plugin {f.plugin} ({f.stage}): {f.error}" for f in result.failures))
    lines += ["", *paragraphs("take care", result.cautions[1:])]
    return "\n".join(lines)


def _name(ranked: Ranked, result: Triage) -> str:
    name = result.rules.sources[ranked.source].words
    if ranked.source == "crank_bearing" and result.side is not None:
        name += f", {result.side.worse} side" if result.side.worse else ", side open"
    return name


def _next(result: Triage) -> str:
    if result.next is None:
        return "No recording that is left promises to part the leading sources: check by hand."
    label = result.rules.labels[result.next.label]
    return f"Next, {label.code} ({label.words}): {label.how}."


def _sources(result: Triage) -> list[str]:
    """Every source with its share, and what speaks for and against it."""
    lines: list[str] = []
    for ranked in result.ranked:
        lines += paragraphs(words.share(ranked.share), [_name(ranked, result)])
        lines += paragraphs("for", _arguments(ranked.speaks_for, result), indent=2)
        lines += paragraphs("against", _arguments(ranked.against, result), indent=2)
    return lines


def _arguments(arguments: Iterable[Argument], result: Triage) -> list[str]:
    """One line for each rule, with all the answers that it reads."""
    said: dict[tuple[str, str, str], list[str]] = {}
    for argument in arguments:
        answer = argument.answer
        by = "told" if answer.origin == "told" else answer.by
        rule = (result.rules.labels[answer.label].words, argument.why, argument.basis)
        said.setdefault(rule, []).append(f"{answer.said} ({by})")
    return [f"{where}: {', '.join(these)}; {why} [{basis}]" for (where, why, basis), these in said.items()]


def _checks(result: Triage) -> list[str]:
    """The hand checks, each with its caution; those that promise most for their time first."""
    share = {ranked.source: ranked.share for ranked in result.ranked}
    lines: list[str] = []
    unlikely = []
    for code in result.checks:
        source = result.rules.sources[code]
        if share[code] < CHECKED_SHARE:
            unlikely.append(source.words)
            continue
        number = len(lines) + 1
        lines.append(f"{number}. {source.words} ({source.minutes:.0f} min): {source.check} {source.caution}")
    if unlikely:
        lines.append(f"If all that is sound: {'; '.join(unlikely)}.")
    return paragraphs("check", lines)


def _measured(heard: Heard, result: Triage) -> str:
    analysis = heard.analysis
    side = f", {heard.side} side" if heard.side else ""
    said = "; ".join([*(answer.said for answer in heard.answers), *heard.notes])
    advice = "" if heard.used else " ".join(analysis.verdict.advice)
    where = f"{result.rules.labels[heard.label].words}{side} ({analysis.recording.path.name})"
    bearing = f"bearing {analysis.verdict.level}"
    return " ".join(filter(None, [f"{where}, {bearing}: {said}.", advice]))


def _told(result: Triage) -> str:
    said = [f"{result.rules.labels[answer.label].words}: {answer.said}" for answer in result.told]
    return f"{'; '.join(said)}. The rider's word, not measured."
