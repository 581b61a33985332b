"""The rule table: from findings to a grade, its reasons and the workshop's next step.

One place, read from the top. Within a condition the first rule whose severity is
reached counts; over all conditions the worst grade counts. The limits in dB are
this project's own judgement on simulated severities (no published table grades
crank bearings by sound); the pairing of sound and cause follows the trouble
tables of bearing makers (NTN catalogue 2203/E, table 15.3; Koyo catalogue 203E,
table 4-5): a steady beat is a flaw, rust or brinelling of a ring, an irregular
sandy sound is dirt, a rumble is a rough raceway.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from acoustic.model import Failure, Finding, Level, Quality, Verdict

ORDER: tuple[Level, ...] = ("clean", "watch", "service", "replace")
ANY = -1000.0


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
REPLACE = (
    "Replace the bearing and inspect its seat: measure the bore, look for corrosion, and check that both seats "
    "are in line before a new one goes in."
)
CHAIN_OFF = (
    "Clean and lubricate the chain, look over sprockets and jockey wheels for wear and stiffness, and record the "
    "bearing again with the chain off."
)
DO_NOT_RIDE = "Do not ride on it: a bearing that breaks up can seize, wind the crank loose or damage the frame."

RULES = (
    Rule("outer_raceway", -10.0, "replace", "the outer ring's raceway is damaged", REPLACE),
    Rule("outer_raceway", ANY, "watch", "the outer ring's raceway begins to show damage", HEAR_AGAIN),
    Rule("inner_raceway", -10.0, "replace", "the inner ring's raceway is damaged", REPLACE),
    Rule("inner_raceway", ANY, "watch", "the inner ring's raceway begins to show damage", HEAR_AGAIN),
    Rule("raceway", -10.0, "replace", "strikes are certain; which part makes them stays open", REPLACE),
    Rule("raceway", ANY, "watch", "weak strikes are certain; which part makes them stays open", HEAR_AGAIN),
    Rule("ball", -10.0, "replace", "a ball is damaged", REPLACE),
    Rule("ball", ANY, "watch", "a ball begins to show damage", HEAR_AGAIN),
    Rule("cage", ANY, "replace", "the cage strikes as it turns", f"{REPLACE} {DO_NOT_RIDE}"),
    Rule("rumble", 0.0, "replace", "the bearing rumbles: its rings are rough, as from rust", REPLACE),
    Rule("rumble", ANY, "service", "the bearing runs rough", REGREASE),
    Rule("contamination", ANY, "service", "dirt crackles in the bearing", REGREASE),
    Rule(
        "creak",
        ANY,
        "service",
        "it creaks under load",
        "Clean, grease and retighten the joints that carry load.",
    ),
    Rule(
        "tight",
        ANY,
        "service",
        "it runs tight",
        "Ease the preload until the play just goes; if it stays tight, pull the bearing and see whether it frees.",
    ),
    Rule("drivetrain", ANY, "watch", "the drivetrain strikes as it runs; that is not the bearing", CHAIN_OFF),
)

# Rust pits rings all round, and pits roughen the running noise as well (the same tables).
BOTH_RINGS = Rule(
    "both rings", ANY, "replace", "both rings carry damage, as rust or worn-out raceways make", REPLACE
)
CORRODED = Rule(
    "corrosion", ANY, "replace", "it runs rough and both rings strike: corroded or worn out all round", REPLACE
)

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


def grade(findings: Sequence[Finding], quality: Quality, failures: Sequence[Failure]) -> Verdict:
    """Grade a bearing from what was found.

    Parameters
    ----------
    findings : sequence of Finding
    quality : Quality
    failures : sequence of Failure
        Any failure of a plugin leaves the bearing undecided: what was not
        judged must not read as healthy.

    Returns
    -------
    Verdict
    """
    rules = [rule for finding in findings if finding.detected if (rule := rule_for(finding))]
    if {"outer_raceway", "inner_raceway"} <= {rule.condition for rule in rules}:
        rough = any(rule.condition == "rumble" for rule in rules)
        rules.insert(0, CORRODED if rough else BOTH_RINGS)
    if failures:
        return _not_judged(failures, rules)
    if not quality.usable or not findings:
        return _not_usable(quality, findings)
    if not rules:
        return Verdict("clean", ("it runs smoothly: no strikes, no roughness, no dirt heard",), (RIDE_ON,))
    worst = max(rules, key=lambda rule: ORDER.index(rule.level)).level
    return Verdict(
        worst,
        _once(rule.because for rule in sorted(rules, key=lambda rule: -ORDER.index(rule.level))),
        _once(rule.advice for rule in rules if rule.level == worst),
    )


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
    return Verdict("undecided", tuple(unjudged), ("Record again, as the README says.",))


def _once(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(lines))
