"""`acoustic check`: the main job."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.cli.file_options import Files, file_options
from acoustic.cli.progress import Progress
from acoustic.cli.questions import WHAT_TO_WRITE, ByQuestion, under
from acoustic.cli.scene_options import scene_options
from acoustic.cli.speed_options import refuse_one_for_many, speed_options
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE, AcousticError

if TYPE_CHECKING:
    from acoustic.check.document import CheckDocument
    from acoustic.model import Analysis, Scene, SpeedRequest

_output_options = under(
    WHAT_TO_WRITE,
    click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report."),
    click.option("--quiet", is_flag=True, help="Print one line with the grade and the part, and no progress."),
    click.option(
        "--fail-on",
        type=click.Choice(["watch", "service", "replace"], case_sensitive=False),
        help="Exit with 1 if the grade is this or worse.",
    ),
)
Judge = Callable[[Path], "Analysis"]


@click.command(cls=ByQuestion, short_help="Judge recordings of a crank bearing.")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RECORDING...")
@bearing_options
@speed_options
@scene_options
@file_options
@_output_options
def check(
    recordings: tuple[Path, ...],
    bearing: BearingChoice,
    as_json: bool,
    files: Files,
    quiet: bool,
    fail_on: Any,
    request: SpeedRequest,
    scene: Scene,
) -> None:
    """Judge each RECORDING: find the crank's motion, match the bearing's defect orders, grade it.

    The best way: film the crank, and check the film.

    \b
      acoustic check spin.mp4 --bearing 6805 --film --report spin.html

    Without an option for how it turned, the angle comes from the best of what the
    recording holds, or from the sound alone. If you give several, the surest is used, and
    contradictions are reported.

    Numbers may have a decimal comma or a decimal point. With two recordings or more, the
    options hold for all of them.

    Keep hands, hair and sleeves clear of the spinning crank.
    """
    found = _found(recordings)
    refuse_one_for_many(found, request)
    files.refuse_many(len(found))
    from acoustic.check.pipeline import check_recording
    from acoustic.plugin.registry import load_plugins
    from acoustic.plugin.run import telling

    progress = Progress(quiet=quiet)
    with telling(progress):
        registry = load_plugins()
    judge = partial(
        check_recording,
        bearing=bearing.resolve(),
        request=request,
        registry=registry,
        scene=scene,
        progress=progress,
    )
    if len(found) > 1:
        sys.exit(_judge_each(found, judge, progress, as_json=as_json, quiet=quiet, fail_on=fail_on))
    result = judge(found[0])
    _say_failures(result)
    if as_json:
        from acoustic.structures import encode

        click.echo(encode(_document(result)))
    else:
        click.echo(_text(result, quiet=quiet))
    if as_json or quiet:
        _say_problems(result)
    files.write(result, progress)
    sys.exit(_exit_code(result, fail_on))


def _found(recordings: tuple[Path, ...]) -> list[Path]:
    """Each file once; patterns that the shell left alone, as on Windows, are looked up here."""
    found: list[Path] = []
    for path in recordings:
        is_pattern = any(mark in path.name for mark in "*?[") and not path.exists()
        found += (sorted(path.parent.glob(path.name)) if is_pattern else []) or [path]
    return list(dict.fromkeys(found))


def _judge_each(
    recordings: list[Path], judge: Judge, progress: Progress, *, as_json: bool, quiet: bool, fail_on: Any
) -> int:
    """Judge several recordings, past those that are refused; the highest exit code of all counts."""
    documents: list[CheckDocument] = []
    refused: list[tuple[Path, AcousticError]] = []
    levels, codes = Counter[str](), [EXIT_DONE]
    for number, path in enumerate(recordings, 1):
        progress(f"{number} of {len(recordings)}: {path.name}")
        try:
            result = judge(path)
            _say_failures(result)
            if as_json:
                documents.append(_document(result))
            else:
                click.echo(_text(result, quiet=quiet) + ("" if quiet else "\n"))
        except AcousticError as error:
            refused.append((path, error))
            codes.append(error.exit_code)
            click.echo(f"acoustic: {path.name}: {error.found}.\n  {error.hint}", err=True)
            if quiet and not as_json:
                click.echo(f"NOT JUDGED  {path.name}")
            continue
        if as_json or quiet:
            _say_problems(result)
        levels[result.verdict.level] += 1
        codes.append(_exit_code(result, fail_on))
    if as_json:
        from acoustic.check.several import checks_document
        from acoustic.structures import encode

        click.echo(encode(checks_document(documents, refused)))
    elif not quiet:
        click.echo(_summary(levels, [path.name for path, _ in refused]))
    return max(codes)


def _summary(levels: Counter[str], refused: list[str]) -> str:
    """How many recordings have which grade, the worst first."""
    from acoustic.conditions import ORDER

    told = [f"{levels[level]} {level}" for level in (*reversed(ORDER), "undecided") if levels[level]]
    told += [f"{len(refused)} not judged ({', '.join(refused)})"] if refused else []
    return f"{levels.total() + len(refused)} recordings: {', '.join(told)}"


def _say_failures(result: Analysis) -> None:
    for failure in result.failures:
        click.echo(f"acoustic: plugin {failure.plugin} failed ({failure.stage}): {failure.error}", err=True)


def _say_problems(result: Analysis) -> None:
    """Say on stderr why a recording cannot be used, where the report does not."""
    if not result.quality.usable:
        for problem in result.quality.problems:
            click.echo(f"acoustic: {problem.detail}.\n  {problem.advice}", err=True)


def _document(result: Analysis) -> CheckDocument:
    from acoustic.check.document import document_of

    return document_of(result)


def _text(result: Analysis, *, quiet: bool) -> str:
    from acoustic.report.terminal import quiet_line, to_text

    return quiet_line(result) if quiet else to_text(result)


def _exit_code(result: Analysis, fail_on: Any) -> int:
    from acoustic.check.grade import at_or_past

    if result.failures and result.verdict.level == "undecided":
        return EXIT_PLUGIN_FAILED
    if not result.quality.usable:
        return EXIT_UNUSABLE
    if fail_on is not None and at_or_past(result.verdict.level, fail_on):
        return EXIT_AT_OR_PAST_GRADE
    return EXIT_DONE
