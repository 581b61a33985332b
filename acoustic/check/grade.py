"""The rule table: from findings to a grade, its reasons and the workshop's next step.

One place, read from the top. Within a condition the first rule whose severity is
reached counts; over all conditions the worst grade counts. The limits in dB are
this project's own judgement on simulated severities (no published table grades
crank bearings by sound); the pairing of sound and cause follows the trouble
tables of bearing makers (NTN catalogue 2203/E, table 15.3; Koyo catalogue 203E,
table 4-5): a steady beat is a flaw, rust or brinelling of a ring, an irregular
sandy sound is dirt, a rumble is a rough raceway.

What is not a matter of one severity alone, all judgement as well:

- Two faint rings are two faint findings. Healthy bearings show faint lines of both rings at once.
- A rough running noise alone asks for service and a second recording: a room, a phone's automatic
  gain or dry grease sound rough too. Beside a ring that strikes it is what rust leaves.
- Where the speed is read off the strikes themselves and nothing sets its scale, a wheel, a hub or a
  chain may strike instead of the bearing: no new bearing is asked for on that alone.
- Before a recording may be called clean, a test defect put into it must be found whose strikes lie 14 dB under
  the noise, 4 dB below those that call for a new bearing: what is overlooked is then an early flaw at most.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from acoustic.model import Failure, Finding, Level, Quality, Verdict

ORDER: tuple[Level, ...] = ("clean", "watch", "service", "replace")
ANY = -1000.0
WORN_FROM_DB = -10.0
HEARD_FROM_DB = (
    -14.0
)  # over the background level; weaker strikes may be missed in a recording that is called clean
ROUGH_FROM_DB = 0.0


@dataclass(frozen=True, slots=True)
class Rule:
    """One line of the table: from this severity on, this grade, for this reason, with this next step."""

    condition: str
    from_db: float
    level: Level
    because: str
    advice: str


RIDE_ON = "Ride on. Listen again at the next service, or at once if it starts to creak, rumble or drag."
HEAR_AGAIN = "Ride on, and record it again in four weeks or 500 km, the same way, to see whether it grows."
REGREASE = (
    "Lift the seals if the maker allows it, clean and regrease, then record again: dirt may have hidden wear."
)
ROUGH = (
    "Record it a second time, in a quiet room with the phone a hand's width from the bearing, and compare it with "
    "a recording from when it was fitted, if there is one. If it is rough again, clean and regrease it."
)
REPLACE = (
    "Replace the bearing and inspect its seat: measure the bore, look for corrosion, and check that both seats "
    "are in line before a new one goes in."
)
CHAIN_OFF = (
    "Clean and lubricate the chain, look over sprockets and jockey wheels for wear and stiffness, and record the "
    "bearing again with the chain off."
)
LOOK_AT_CAGE = (
    "Before it is ridden again, lift a seal and look: a cracked or loose cage, balls no longer evenly spaced, "
    "chips in the grease. Turn it slowly by hand: it must not catch or click."
)
DO_NOT_RIDE = (
    "If any of that shows, do not ride on it: a bearing that breaks up can seize, wind the crank loose or damage "
    "the frame."
)
FILM_IT = (
    "Film the crank with a strip of tape on one arm and check the film with --film, chain off: once the crank's "
    "angle is known, it shows which part strikes, and whether it is the bearing at all."
)
RECORD_AGAIN = (
    "Record again with the chain off and the phone a hand's width from the bearing; a film (--film) or marks "
    "(--marks) show what keeps time with the crank."
)
SET_PRELOAD = (
    "Ease the adjustment until play can just be felt, then take up that play and no more. If it still runs "
    "tight, pull the bearing and see whether it turns freely in the hand."
)

STRUCK = ("outer_raceway", "inner_raceway", "ball", "cage", "raceway")
RULES = (
    Rule("outer_raceway", WORN_FROM_DB, "replace", "the outer ring's raceway is damaged", REPLACE),
    Rule("outer_raceway", ANY, "watch", "the outer ring's raceway begins to show damage", HEAR_AGAIN),
    Rule("inner_raceway", WORN_FROM_DB, "replace", "the inner ring's raceway is damaged", REPLACE),
    Rule("inner_raceway", ANY, "watch", "the inner ring's raceway begins to show damage", HEAR_AGAIN),
    Rule(
        "raceway",
        WORN_FROM_DB,
        "replace",
        "the bearing is damaged: it strikes steadily; which part strikes stays open",
        REPLACE,
    ),
    Rule("raceway", ANY, "watch", "weak, steady strikes are certain; which part strikes stays open", HEAR_AGAIN),
    Rule("ball", WORN_FROM_DB, "replace", "a ball is damaged", REPLACE),
    Rule("ball", ANY, "watch", "a ball begins to show damage", HEAR_AGAIN),
    Rule(
        "cage", WORN_FROM_DB, "replace", "the cage strikes as it turns", f"{LOOK_AT_CAGE} {DO_NOT_RIDE} {REPLACE}"
    ),
    Rule("cage", ANY, "service", "the cage strikes faintly as it turns", f"{LOOK_AT_CAGE} {DO_NOT_RIDE}"),
    Rule("rumble", ANY, "service", "the running noise is rough", ROUGH),
    Rule("contamination", ANY, "service", "dirt crackles in the bearing", REGREASE),
    Rule(
        "creak",
        ANY,
        "service",
        "it creaks under load",
        "Clean, grease and retighten the joints that carry load.",
    ),
    Rule("tight", ANY, "service", "it runs tight", SET_PRELOAD),
    Rule("drivetrain", ANY, "watch", "the drivetrain strikes as it runs; that is not the bearing", CHAIN_OFF),
)

# Rust pits rings all round, and pits roughen the running noise as well (the same tables).
CORRODED = Rule(
    "corrosion", ROUGH_FROM_DB, "replace", "it runs rough and a ring strikes: corroded or worn out", REPLACE
)
STRIKES_BY_EAR = Rule(
    "by ear",
    WORN_FROM_DB,
    "service",
    "something strikes steadily; by the sound alone it may be the bearing, a wheel or the chain",
    FILM_IT,
)
FAINT_BY_EAR = Rule(
    "by ear",
    ANY,
    "watch",
    "something strikes faintly and steadily; by the sound alone it may be the bearing, a wheel or the chain",
    FILM_IT,
)
TOGETHER = (CORRODED, STRIKES_BY_EAR, FAINT_BY_EAR)

# A bearing is clean only if each of these was judged.
NEEDED_FOR_CLEAN = ("outer_raceway", "inner_raceway", "ball", "cage", "rumble", "contamination")

KEEP_CLEAR = "Keep hands, hair and sleeves clear of a spinning crank, the chain and the sprockets."
STOP_RIDING = (
    "A seized or breaking bearing can wind a crank loose or damage the frame: stop riding if it drags or locks."
)
EQUIPPED = (
    "Reaming and facing of frames only by those equipped for it, by the frame maker's instructions; "
    "torques by the maker's sheet."
)
NO_PROOF = "A sound test never proves a part safe: check play, cracks and tightness by hand as well."
CAUTIONS = (KEEP_CLEAR, STOP_RIDING, EQUIPPED, NO_PROOF)


def grade(
    findings: Sequence[Finding],
    quality: Quality,
    failures: Sequence[Failure],
    *,
    scale_known: bool = True,
    would_have_found_db: float | None = None,
) -> Verdict:
    """Grade a bearing from what was found.

    Parameters
    ----------
    findings : sequence of Finding
    quality : Quality
    failures : sequence of Failure
        Any failure of a plugin leaves the bearing undecided: what was not
        judged must not read as healthy.
    scale_known : bool
        False where the crank's speed is read off the sound alone, up to a factor.
    would_have_found_db : float or None
        Weakest test defect that this recording would have shown [dB]; None where that was not tried.

    Returns
    -------
    Verdict
    """
    rules = rules_for(findings, scale_known=scale_known)
    if failures:
        return _not_judged(failures, rules)
    if not quality.usable or not findings:
        return _not_usable(quality, findings)
    if not rules:
        return _clean(would_have_found_db)
    worst = max(rules, key=lambda rule: ORDER.index(rule.level)).level
    return Verdict(
        worst,
        _once(rule.because for rule in sorted(rules, key=lambda rule: -ORDER.index(rule.level))),
        _once(rule.advice for rule in rules if rule.level == worst),
        confidence=_confidence(findings, rules, worst),
        would_have_found_db=would_have_found_db,
    )


def _clean(would_have_found_db: float | None) -> Verdict:
    because = ["it runs smoothly: no strikes, no roughness, no dirt heard"]
    if would_have_found_db is not None:
        because.append(
            f"strikes of either ring would have been heard from {-would_have_found_db:.0f} dB under the noise on"
        )
    return Verdict("clean", tuple(because), (RIDE_ON,), would_have_found_db=would_have_found_db)


def rules_for(findings: Sequence[Finding], *, scale_known: bool = True) -> list[Rule]:
    """List the lines of the table that the detected findings fall under, those of several together first.

    Parameters
    ----------
    findings : sequence of Finding
    scale_known : bool
        As of `grade`.

    Returns
    -------
    list of Rule
    """
    detected = {finding.condition: finding for finding in findings if finding.detected}
    rules = [rule for finding in detected.values() if (rule := rule_for(finding))]
    if not scale_known:
        struck = [rule.level for rule in rules if rule.condition in STRUCK]
        by_ear = [FAINT_BY_EAR if set(struck) == {"watch"} else STRIKES_BY_EAR] if struck else []
        return by_ear + [rule for rule in rules if rule.condition not in STRUCK]
    rumble_db = detected["rumble"].severity_db if "rumble" in detected else None
    ring_strikes = any(condition.endswith("raceway") for condition in detected)
    corroded = ring_strikes and rumble_db is not None and rumble_db >= CORRODED.from_db
    return [CORRODED, *rules] if corroded else rules


def _confidence(findings: Sequence[Finding], rules: Sequence[Rule], worst: Level) -> float | None:
    """The surest posterior of the conditions that the grade rests on; None where none of them has one."""
    behind = {rule.condition for rule in rules if rule.level == worst}
    known = [f.posterior for f in findings if f.detected and f.condition in behind and f.posterior is not None]
    return max(known, default=None)


def at_or_past(level: Level, limit: Level) -> bool:
    """Tell whether a grade is at or past a limit; an undecided one never is."""
    return level in ORDER and ORDER.index(level) >= ORDER.index(limit)


def rule_for(finding: Finding) -> Rule | None:
    """Look up the line of the table that a detected finding falls under."""
    severity_db = ANY if finding.severity_db is None else finding.severity_db
    return next((r for r in RULES if r.condition == finding.condition and severity_db >= r.from_db), None)


def _not_judged(failures: Sequence[Failure], rules: Sequence[Rule]) -> Verdict:
    because = [f"plugin {failure.plugin} failed while {_DOING[failure.stage]}" for failure in failures]
    because += [f"found all the same: {rule.because}" for rule in rules]
    names = ", ".join(_once(failure.plugin for failure in failures))
    advice = f"Update or remove {names} (`acoustic plugins` shows the package to uninstall), then check again."
    return Verdict("undecided", _once(because), (advice,))


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
        return Verdict("undecided", _once(p.detail for p in telling), _once(p.advice for p in telling))
    unjudged = [finding.detail for finding in findings if not finding.judged]
    missing = sorted(set(NEEDED_FOR_CLEAN) - {finding.condition for finding in findings})
    if missing:
        unjudged.append(f"no installed detector judges {', '.join(missing).replace('_', ' ')}")
        return Verdict("undecided", tuple(unjudged), ("Run `acoustic plugins --check`, and install it again.",))
    return Verdict("undecided", tuple(unjudged), (RECORD_AGAIN,))


def _once(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(lines))
