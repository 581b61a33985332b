"""The triage as a mechanic reads it: the answer in ten lines, or the whole with what speaks for and against."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import shorten

from acoustic.report import words
from acoustic.report.layout import paragraphs, sentence
from acoustic.triage.evidence import Answer, Heard
from acoustic.triage.next_recording import NextQuestion
from acoustic.triage.ranking import Argument, Ranked
from acoustic.triage.result import Triage, where_heard
from acoustic.triage.rules import ANYWHERE

CHECKED_SHARE = 0.05  # the check of a source below this is named only
SHORT_LINES = 10  # of the answer without --full: a glance at a phone or a small window
ONE_SIDED = ("pedal", "crank_bolts")  # each leg presses on one of its own
ALSO = 3  # sources named after the first: who else would be looked at
LONGEST_REASON = 300  # letters in the short answer: a plugin's error may be as long as it likes
LEAST_A_LINE = 70  # letters of text that surely fit into one line beside its label
LONGEST_NAME = 40  # letters of a file's name: a phone writes fewer


def headline(result: Triage) -> str:
    """Certainty and likeliest sources in one line."""
    if result.outcome == "not_reproduced":
        return "NOT REPRODUCED  where the creak comes from stays open"
    if result.level == "undecided":
        return "UNDECIDED  where the creak comes from"
    first, second = result.ranked[:2]
    text = f"{result.level.upper()}  {_named(first, result)}"
    return text if result.level == "likely" else f"{text}, {_named(second, result)}"


def to_short_text(result: Triage) -> str:
    """Write the answer in ten lines: what could not be used, what it is, why, what to do now.

    Parameters
    ----------
    result : Triage

    Returns
    -------
    str
        Ten lines at most, of at most 96 characters, no colour.
    """
    must = [*_unusable(result, whole=False), headline(result)]
    last = [
        *paragraphs("first", result.cautions[:1]),
        "          --full shows what speaks for and against each, every check, and how to record.",
    ]
    room = SHORT_LINES - len(must) - len(last)
    longest = min(LONGEST_REASON, room * LEAST_A_LINE)
    parts = [
        paragraphs("why", [shorten(sentence(result.because[0]), longest, placeholder=" ...")]),
        paragraphs("beside", _worn(result)),
        paragraphs("side", [sentence(result.side.because)] if result.side is not None else []),
        paragraphs("check", [_quick_check(result)] if result.outcome == "ranked" else []),
        paragraphs("next", [_what_now(result)]),
        paragraphs("also", [_runners_up(result)] if result.outcome == "ranked" else []),
    ]
    kept = []
    for part in parts:
        if len(part) <= room:
            kept += part
            room -= len(part)
    return "\n".join([*must, *kept, *last])


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
    lines = [*_unusable(result, whole=True), headline(result), ""]
    lines += paragraphs("why", map(sentence, result.because))
    lines += paragraphs("beside", _worn(result))
    lines += paragraphs("record", [_next(result)])
    lines += paragraphs("ask", [_ask(result.ask, result)] if result.ask is not None else [])
    if result.side is not None:
        lines += paragraphs("side", [sentence(result.side.because)])
    if result.outcome != "not_reproduced" and result.answers:
        lines += ["", *_sources(result)]
    # Whether the bike may be ridden at all comes before where it creaks.
    checks = [] if result.outcome == "not_reproduced" else _checks(result)
    lines += ["", *paragraphs("first", result.cautions[:1]), *checks, ""]
    for heard in result.recordings:
        if heard.used:
            lines += paragraphs("measured", [_measured(heard, result)])
    lines += paragraphs("told", [_told(result)] if result.told else [])
    lines += paragraphs("failed", (f"plugin {f.plugin} ({f.stage}): {f.error}" for f in result.failures))
    lines += ["", *paragraphs("take care", result.cautions[1:])]
    return "\n".join(lines)


def _name(ranked: Ranked, result: Triage) -> str:
    name = result.rules.sources[ranked.source].words
    if ranked.source == "crank_bearing" and result.side is not None:
        name += f", {result.side.worse} side" if result.side.worse else ", side open"
    leg = next((answer.value for answer in result.told if answer.question == "leg"), "")
    if ranked.source in ONE_SIDED and leg in ("left", "right"):
        name += f", {leg} side first"
    return name


def _named(ranked: Ranked, result: Triage) -> str:
    """Name and share, without a list of examples."""
    return f"{_name(ranked, result).split(':')[0]} {words.share(ranked.share)}"


def _unusable(result: Triage, *, whole: bool) -> list[str]:
    """Recordings that say nothing, before anything else: why, and what can be done about each."""
    useless = [heard for heard in result.recordings if not heard.used]
    if whole:
        texts = [
            f"{_where(heard, result)}: {'; '.join(heard.notes)}. {' '.join(heard.advice)}" for heard in useless
        ]
    elif len(useless) == 1:
        why = next((note for note in useless[0].notes if note != "contributes nothing"), "it could not be judged")
        why = shorten(why.split(";")[0], LONGEST_REASON // 2, placeholder=" ...")
        texts = [f"{_where(useless[0], result)}: {why}. {useless[0].advice[0]}"]
    else:
        named = ", ".join(_where(heard, result) for heard in useless[:2])
        more = f" and {len(useless) - 2} more" if len(useless) > 2 else ""
        texts = [f"{named}{more}: --full says why, and how to record again."] if useless else []
    return paragraphs("NOT USED", texts)


def _where(heard: Heard, result: Triage) -> str:
    name, side = heard.analysis.recording.path.name, f", {heard.side} side" if heard.side else ""
    short = name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME // 2]}...{name[-LONGEST_NAME // 3 :]}"
    return f"{short} ({result.rules.labels[heard.label].words}{side})"


def _worn(result: Triage) -> list[str]:
    """A bearing to be seen to though something else comes first."""
    if result.outcome != "ranked" or result.ranked[0].source == "crank_bearing":
        return []
    asks = [a for a in result.answers if a.question == "bearing" and a.value in ("service", "replace", "loud")]
    asks.sort(key=lambda answer: -answer.degree)
    return [sentence(f"whatever creaks, {asks[0].said}")] if asks else []


def _what_now(result: Triage) -> str:
    """Where it is heard comes first; then the question or the situation that would tell most."""
    ranked = result.outcome == "ranked"
    if result.ask is not None and (result.next is None or (ranked and result.ask.bits >= result.next.bits)):
        return _ask(result.ask, result)
    if result.next is None:
        return _none_left(result)
    label = result.rules.labels[result.next.label]
    told = any((answer.label, answer.question) == (label.code, "noise") for answer in result.told)
    if told:
        return f"Record it {label.words}, as {label.code}=FILE"
    if label.by_ear:
        return f"Listen {label.words}: --heard {label.code} or --not-heard {label.code}"
    return f"Try it {label.words}: --heard {label.code}, --not-heard {label.code}, or {label.code}=FILE"


def _ask(after: NextQuestion, result: Triage) -> str:
    question = result.rules.questions[after.question]
    *most, last = question.values
    return f"{question.ask} --answer {question.code}=WORD, one of {', '.join(most)} or {last}"


def _none_left(result: Triage) -> str:
    if result.outcome == "not_reproduced":
        return "Ask when it comes (rain, heat, a hard climb, an hour's ride), and ride it like that."
    return "No recording and no question that is left promises to part the leaders: check by hand."


def _next(result: Triage) -> str:
    if result.next is None:
        return _none_left(result)
    label = result.rules.labels[result.next.label]
    record = "" if label.by_ear else f"{label.code}=FILE, or by ear "
    return f"Next, {label.words}: {label.how}. Then {record}--heard {label.code} or --not-heard {label.code}"


def _quick_check(result: Triage) -> str:
    source = result.rules.sources[result.ranked[0].source]
    return f"{sentence(source.check.split('. ')[0])} ({source.minutes:.0f} min)"


def _runners_up(result: Triage) -> str:
    named = 1 if result.level == "likely" else 2
    rest = [one for one in result.ranked[named : named + ALSO] if one.share >= CHECKED_SHARE]
    return f"{', '.join(_named(one, result) for one in rest)}." if rest else "Nothing else comes near."


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
        rule = (where_heard(answer, result.rules), argument.why, argument.basis)
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
        lines.append(f"If all that is in order: {'; '.join(unlikely)}.")
    return paragraphs("check", lines)


def _measured(heard: Heard, result: Triage) -> str:
    """What a recording answers, and what the sound of each fault in it means."""
    analysis = heard.analysis
    said = "; ".join([*(answer.said for answer in heard.answers), *heard.notes])
    counted = any(answer.question == "bearing" and answer.yes for answer in heard.answers)
    meaning = [analysis.condition(finding).heard for finding in analysis.findings if finding.detected and counted]
    return " ".join([f"{_where(heard, result)}, bearing {analysis.verdict.level}: {said}.", *meaning])


def _told(result: Triage) -> str:
    return f"{'; '.join(_told_one(answer, result) for answer in result.told)}. The rider's word, not measured."


def _told_one(answer: Answer, result: Triage) -> str:
    if answer.label != ANYWHERE:
        return f"{result.rules.labels[answer.label].words}: {answer.said}"
    return f"{result.rules.questions[answer.question].ask} {sentence(answer.said).rstrip('.')}"
