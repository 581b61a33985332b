"""From findings to a grade, its reasons and the workshop's next step, by the table of conditions.

Within a condition the first rule whose severity is reached counts; over all conditions the worst
grade counts. What is not a matter of one severity alone, all judgement:

- Two faint rings are two faint findings. Healthy bearings show faint lines of both rings at once.
- A rough running noise beside a ring that strikes is what rust leaves.
- Where the speed is read off the strikes themselves and nothing sets its scale, a wheel, a hub or a
  chain may strike instead of the bearing: no new bearing is asked for on that alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from acoustic.conditions import ORDER, Condition, Level, Rule, table
from acoustic.model import Failure, Finding, Quality, Verdict
from acoustic.text import once

RECORD_AGAIN = (
    "Record again with the chain off and the phone a hand's width from the bearing; a film (--film) or marks "
    "(--marks) show what keeps time with the crank."
)
INSTALL_AGAIN = "Run `acoustic plugins --check`, and install it again."
KEEP_CLEAR = "Keep hands, hair and sleeves clear of a spinning crank, the chain and the sprockets."
STOP_RIDING = (
    "A seized or breaking bearing can wind a crank loose or damage the frame: stop riding if it drags or locks."
)
EQUIPPED = (
    "Reaming and facing of frames only by those equipped for it, by the frame maker's instructions; "
    "torques by the maker's sheet."
)
NO_PROOF = "A sound test never proves a part safe: check play, cracks and tightness by hand as well."
BOTH_ROWS = (
    "Which of the two rows strikes cannot be told, and they come as one unit: replace it whole. Two rows forgive "
    "neither a wrong bore nor a crooked seat; where either is out, fit single rows."
)
CAUTIONS = (KEEP_CLEAR, STOP_RIDING, EQUIPPED, NO_PROOF)


class Found(Protocol):
    """What a grade is read off: a finding as it was judged, or as it was written down."""

    @property
    def condition(self) -> str:
        """Its code."""

    @property
    def detected(self) -> bool:
        """Whether it counts."""

    @property
    def severity_db(self) -> float | None:
        """How strong it is [dB over the running noise]."""


def grade(
    findings: Sequence[Finding],
    quality: Quality,
    failures: Sequence[Failure],
    *,
    conditions: Mapping[str, Condition],
    scale_known: bool = True,
    would_have_found_db: float | None = None,
    rows: int = 1,
) -> Verdict:
    """Grade a bearing from what was found.

    Parameters
    ----------
    findings : sequence of Finding
    quality : Quality
    failures : sequence of Failure
        Any failure of a plugin leaves the bearing undecided: what was not
        judged must not read as healthy.
    conditions : mapping of str to Condition
        All that findings may name, by code.
    scale_known : bool
        False where the crank's speed is read off the sound alone, up to a factor.
    would_have_found_db : float or None
        Weakest test defect that this recording would have shown [dB]; None where that was not tried.
    rows : {1, 2}
        Rows of balls.

    Returns
    -------
    Verdict
    """
    rules = rules_for(findings, conditions=conditions, scale_known=scale_known)
    if failures:
        return _not_judged(failures, rules)
    if not quality.usable or not findings:
        return _not_usable(quality, findings)
    if not rules:
        return _clean(would_have_found_db)
    worst = max(rules, key=lambda rule: ORDER.index(rule.level)).level
    advice = [rule.advice for rule in rules if rule.level == worst]
    struck = any("strikes" in conditions[finding.condition].roles for finding in findings if finding.detected)
    return Verdict(
        worst,
        once(rule.because for rule in sorted(rules, key=lambda rule: -ORDER.index(rule.level))),
        once([*advice, BOTH_ROWS] if rows == 2 and struck and worst == "replace" else advice),
        confidence=_confidence(findings, conditions, rules, worst),
        would_have_found_db=would_have_found_db,
    )


def _clean(would_have_found_db: float | None) -> Verdict:
    clean = table().clean
    because = [clean.because]
    if would_have_found_db is not None:
        because.append(
            f"strikes of either ring would have been heard from {-would_have_found_db:.0f} dB under the noise on"
        )
    return Verdict("clean", tuple(because), (clean.advice,), would_have_found_db=would_have_found_db)


def rules_for(
    findings: Sequence[Found], *, conditions: Mapping[str, Condition], scale_known: bool = True
) -> list[Rule]:
    """List the lines of the table that the detected findings fall under, those of several together first.

    Parameters
    ----------
    findings : sequence of Found
    conditions : mapping of str to Condition
    scale_known : bool
        As of `grade`.

    Returns
    -------
    list of Rule
    """
    detected = {finding.condition: finding for finding in findings if finding.detected}
    rules = {code: conditions[code].rule_at(finding.severity_db) for code, finding in detected.items()}
    having = {code: conditions[code].roles for code in detected}
    if not scale_known:
        struck = {rules[code].level for code, roles in having.items() if "strikes" in roles}
        by_ear = [table().faint_by_ear if struck == {"watch"} else table().strikes_by_ear] if struck else []
        return by_ear + [rule for code, rule in rules.items() if "strikes" not in having[code]]
    rumble_db = detected["rumble"].severity_db if "rumble" in detected else None
    rough = rumble_db is not None and rumble_db >= table().corroded.from_db
    corroded = rough and any("ring" in roles for roles in having.values())
    return [table().corroded, *rules.values()] if corroded else list(rules.values())


def _confidence(
    findings: Sequence[Finding], conditions: Mapping[str, Condition], rules: Sequence[Rule], worst: Level
) -> float | None:
    """The surest posterior of the conditions that the grade rests on; None where none of them has one."""
    known = [
        finding.posterior
        for finding in findings
        if finding.detected and finding.posterior is not None
        for rule in [conditions[finding.condition].rule_at(finding.severity_db)]
        if rule in rules and rule.level == worst
    ]
    return max(known, default=None)


def at_or_past(level: Level, limit: Level) -> bool:
    """Tell whether a grade is at or past a limit; an undecided one never is."""
    return level in ORDER and ORDER.index(level) >= ORDER.index(limit)


def _not_judged(failures: Sequence[Failure], rules: Sequence[Rule]) -> Verdict:
    because = [f"plugin {failure.plugin} failed while {_DOING[failure.stage]}" for failure in failures]
    because += [f"found all the same: {rule.because}" for rule in rules]
    names = ", ".join(once(failure.plugin for failure in failures))
    advice = f"Update or remove {names} (`acoustic plugins` shows the package to uninstall), then check again."
    return Verdict("undecided", once(because), (advice,))


_DOING = {
    "load": "being loaded",
    "read": "reading the file",
    "quality": "checking the recording",
    "speed": "finding the speed",
    "detect": "judging",
}


def _not_usable(quality: Quality, findings: Sequence[Finding]) -> Verdict:
    telling = [problem for problem in quality.problems if problem.voids != "nothing"]
    if telling:
        return Verdict("undecided", once(p.detail for p in telling), once(p.advice for p in telling))
    unjudged = [finding.detail for finding in findings if not finding.judged]
    missing = sorted(set(table().having("needed_for_clean")) - {finding.condition for finding in findings})
    if missing:
        unjudged.append(f"no installed detector judges {', '.join(missing).replace('_', ' ')}")
        return Verdict("undecided", tuple(unjudged), (INSTALL_AGAIN,))
    return Verdict("undecided", tuple(unjudged), (RECORD_AGAIN,))
