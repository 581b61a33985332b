"""`acoustic check`: the main job."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.cli.file_options import Files, file_options
from acoustic.cli.progress import Progress
from acoustic.cli.scene_options import scene_options
from acoustic.cli.speed_options import speed_options
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE

if TYPE_CHECKING:
    from acoustic.model import Analysis, Scene, SpeedRequest


@click.command(short_help="Judge one recording of a crank bearing.")
@click.argument("recording", type=click.Path(path_type=Path))
@bearing_options
@speed_options
@scene_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report.")
@file_options
@click.option("--quiet", is_flag=True, help="Print one line with the grade, and no progress.")
@click.option(
    "--fail-on",
    type=click.Choice(["watch", "service", "replace"]),
    help="Exit with 1 if the grade is this or worse.",
)
def check(
    recording: Path,
    bearing: BearingChoice,
    as_json: bool,
    files: Files,
    quiet: bool,
    fail_on: Any,
    request: SpeedRequest,
    scene: Scene,
) -> None:
    """Judge RECORDING: find the crank's motion, match the bearing's defect orders, grade it.

    The bearing is named with --bearing, or given by --balls, --ball-diameter and
    --pitch-diameter. The crank's angle comes from --film, --marks, --mark-channel,
    --gyro, --ticks, --turns or --speed, or what a plugin adds to these; without any, from
    the best of these that the recording itself holds, or from the sound alone. If you give
    several, the surest is used, and contradictions are reported.

    If the crank is pedalled with the chain on, give --chainring, --sprocket and --jockey,
    so that their noise is not taken for the bearing's.

    Keep hands, hair and sleeves clear of the spinning crank.
    """
    from acoustic.check.pipeline import check_recording
    from acoustic.plugin.registry import load_plugins
    from acoustic.plugin.run import telling

    progress = Progress(quiet=quiet)
    with telling(progress):
        registry = load_plugins()
    result = check_recording(
        recording, bearing=bearing.resolve(), request=request, registry=registry, scene=scene, progress=progress
    )
    for failure in result.failures:
        click.echo(f"acoustic: plugin {failure.plugin} failed ({failure.stage}): {failure.error}", err=True)
    click.echo(_rendered(result, as_json=as_json, quiet=quiet))
    if not result.quality.usable and (as_json or quiet):
        for problem in result.quality.problems:
            click.echo(f"acoustic: {problem.detail}.\n  {problem.advice}", err=True)
    files.write(result, progress)
    sys.exit(_exit_code(result, fail_on))


def _rendered(result: Analysis, *, as_json: bool, quiet: bool) -> str:
    if as_json:
        from acoustic.check.document import document_of
        from acoustic.structures import encode

        return encode(document_of(result))
    from acoustic.report.terminal import grade_line, to_text

    return grade_line(result) if quiet else to_text(result)


def _exit_code(result: Analysis, fail_on: Any) -> int:
    from acoustic.check.grade import at_or_past

    if result.failures and result.verdict.level == "undecided":
        return EXIT_PLUGIN_FAILED
    if not result.quality.usable:
        return EXIT_UNUSABLE
    if fail_on is not None and at_or_past(result.verdict.level, fail_on):
        return EXIT_AT_OR_PAST_GRADE
    return 0
