"""`acoustic triage`: several recordings of one bike, and where its creak comes from."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.cli.progress import Progress
from acoustic.cli.questions import HOW_IT_TURNED, WHAT_TO_WRITE, ByQuestion, under
from acoustic.cli.rider_options import RiderSaid, known_label, rider_options
from acoustic.errors import EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE, InputError
from acoustic.typed import number_in

if TYPE_CHECKING:
    from acoustic.model import Side, Spin
    from acoustic.triage.evidence import Heard
    from acoustic.triage.result import Triage
    from acoustic.triage.rules import Rules

SIDED = ("hand", "pedal")  # where the phone can be held to one side of the bearing
SIDES: dict[str, tuple[tuple[Side, int | None], ...]] = {
    "drive": (("drive", None),),
    "non-drive": (("non-drive", None),),
    "both": (("drive", 1), ("non-drive", 2)),  # a stereo recording, a microphone at either side
}
SPINS: dict[str, Spin] = {"hand": "hand", "pedal": "pedal", "ride-seated": "pedal", "ride-standing": "pedal"}


@dataclass(frozen=True, slots=True)
class Given:
    """One argument LABEL[:SIDE]=FILE, split into its parts."""

    key: str
    label: str
    side: str | None
    path: Path


@click.command(cls=ByQuestion)
@click.argument("recordings", nargs=-1, metavar="[LABEL[:SIDE]=FILE]...")
@bearing_options
@rider_options
@under(
    HOW_IT_TURNED,
    click.option(
        "--marks",
        multiple=True,
        metavar="LABEL=FILE.csv",
        help="File with the time [s] of each crank turn in that label's recording.",
    ),
    click.option(
        "--turns",
        "counted_turns",
        multiple=True,
        metavar="LABEL=N",
        help="Turns of that label's whole spin, counted by eye.",
    ),
)
@under(
    WHAT_TO_WRITE,
    click.option("--full", is_flag=True, help="Print all that speaks for and against, and every check by hand."),
    click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report."),
    click.option("--quiet", is_flag=True, help="Print one line with the likeliest source, and no progress."),
)
def triage(
    recordings: tuple[str, ...],
    bearing: BearingChoice,
    said: RiderSaid,
    marks: tuple[str, ...],
    counted_turns: tuple[str, ...],
    full: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Find where a creak comes from, from several recordings of one bike.

    Give each recording with what was done, as LABEL=FILE. The labels are hand (spun by
    hand, chain off), pedal (pedalled in the stand), ride-seated, ride-standing and coast.
    A label may be repeated. hand:drive=FILE and hand:non-drive=FILE say at which side the
    phone was held. hand:both=FILE is a stereo recording with channel 1 at the drive side.
    pedal takes a side in the same way.

    What the rider hears goes into --heard and --not-heard, what the rider says of the creak
    into --answer. Record while riding only away from traffic, with the phone fixed to the bike.
    """
    from acoustic.triage.result import triage as settle
    from acoustic.triage.rules import load_rules

    rules = load_rules()
    given = [_taken_apart(argument, rules) for argument in recordings]
    told = said.resolve(rules)
    if not given and not told:
        raise InputError(
            "nothing was given: at least one recording, --heard or --answer is needed",
            hint="Write hand=spin.m4a, or --heard ride-seated --not-heard ride-standing.",
        )
    marked = _by_key(marks, "--marks", given)
    counted = {key: _number(text, key) for key, text in _by_key(counted_turns, "--turns", given).items()}
    result = settle(_listen(given, bearing, marked, counted, quiet, rules) if given else (), told, rules)
    _complain(result, everything=as_json or quiet)
    click.echo(_rendered(result, as_json=as_json, quiet=quiet, full=full))
    sys.exit(_exit_code(result))


def _taken_apart(argument: str, rules: Rules) -> Given:
    key, sign, file = argument.partition("=")
    label, colon, side = key.partition(":")
    if not sign or not file:
        raise InputError(
            f"{argument}: the label that says what was done in this recording is missing",
            hint=f"Write LABEL=FILE, for example hand={Path(argument.rstrip('=')).name or 'spin.m4a'}. "
            f"The labels are {', '.join(rules.labels)}.",
        )
    known_label(label, argument, rules)
    if colon and (side not in SIDES or label not in SIDED):
        raise InputError(
            f"{argument}: {side or 'nothing'} is not a side of a recording labelled {label}",
            hint=f"The sides are {', '.join(SIDES)}, and only {' and '.join(SIDED)} take one: hand:drive=FILE.",
        )
    return Given(key, label, side or None, Path(file))


def _by_key(texts: Iterable[str], option: str, given: Sequence[Given]) -> dict[str, str]:
    """Sort LABEL=VALUE by label; each must mean one recording."""
    sorted_out: dict[str, str] = {}
    keys = [one.key for one in given]
    for text in texts:
        key, _, value = text.partition("=")
        if not value or keys.count(key) != 1 or key in sorted_out:
            raise InputError(
                f"{option} {text}: it must name one of the given recordings: {', '.join(keys) or 'none'}",
                hint=f"Write {option} {keys[0] if keys else 'hand'}=..., once for each recording. "
                "A label that is given twice needs a side as well.",
            )
        sorted_out[key] = value
    return sorted_out


def _number(text: str, key: str) -> float:
    try:
        turns = number_in(text)
    except ValueError:
        turns = math.nan
    if not 0 < turns < math.inf:  # how many are too many is known to the speed source that takes the count
        raise InputError(
            f"--turns {key}={text}; a number above 0 is needed",
            hint="Count the crank's turns from the push until it stops, half turns too, for example hand=9.5.",
        )
    return turns


def _listen(
    given: Sequence[Given],
    bearing: BearingChoice,
    marks: dict[str, str],
    counted_turns: dict[str, float],
    quiet: bool,
    rules: Rules,
) -> tuple[Heard, ...]:
    """Check every recording as `acoustic check` does, and keep what the triage needs of it."""
    from acoustic.check.pipeline import check_recording
    from acoustic.model import Scene, SpeedRequest
    from acoustic.plugin.registry import load_plugins
    from acoustic.plugin.run import telling
    from acoustic.triage.evidence import read_evidence

    meant, registry, progress = bearing.resolve(), load_plugins(), Progress(quiet=quiet)
    heard = []
    for one in given:
        request = SpeedRequest(
            marks=Path(marks[one.key]) if one.key in marks else None,
            counted_turns=counted_turns.get(one.key),
            spin=SPINS.get(one.label),
        )
        for side, channel in SIDES[one.side] if one.side else ((None, None),):
            progress(f"{one.key}: {one.path.name}")
            with telling(progress):
                analysis = check_recording(
                    one.path, bearing=meant, request=request, registry=registry, scene=Scene(channel=channel)
                )
            heard.append(read_evidence(analysis, one.label, rules, side))
    return tuple(heard)


def _complain(result: Triage, *, everything: bool) -> None:
    """Say on stderr what failed, and which recordings could not be used if the report does not say it."""
    for failure in result.failures:
        click.echo(f"acoustic: plugin {failure.plugin} failed ({failure.stage}): {failure.error}", err=True)
    for heard in result.recordings if everything else ():
        if not heard.used:
            name, hint = heard.analysis.recording.path.name, " ".join(heard.advice)
            click.echo(f"acoustic: {name}: {'; '.join(heard.notes)}.\n  {hint}", err=True)


def _rendered(result: Triage, *, as_json: bool, quiet: bool, full: bool) -> str:
    if as_json:
        from acoustic.structures import encode
        from acoustic.triage.document import document_of

        return encode(document_of(result))
    from acoustic.report.triage_text import headline, to_short_text, to_text

    if quiet:
        return headline(result)
    return to_text(result) if full else to_short_text(result)


def _exit_code(result: Triage) -> int:
    if result.failures:
        return EXIT_PLUGIN_FAILED
    return EXIT_DONE if result.answers else EXIT_UNUSABLE
