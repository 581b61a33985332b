"""The front door for Python: `acoustic.check`, `orders` and `bearings` take what the commands take."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from acoustic.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from acoustic.bearings.catalogue import CatalogueRow
    from acoustic.bearings.document import OrdersDocument
    from acoustic.check.document import CheckDocument
    from acoustic.conditions import Level
    from acoustic.model import Analysis, Bearing, Finding, SpeedRequest

AnyPath = str | PathLike[str]
Spin = Literal["hand", "pedal", "steady"]
Side = Literal["drive", "non-drive"]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class CheckResult:
    """The verdict on one recording.

    Attributes
    ----------
    analysis : Analysis
        Everything that was found on the way, arrays included.
    """

    analysis: Analysis

    @property
    def grade(self) -> Level:
        """'clean', 'watch', 'service', 'replace' or 'undecided'."""
        return self.analysis.verdict.level

    @property
    def because(self) -> tuple[str, ...]:
        """Why, in sentences."""
        return self.analysis.verdict.because

    @property
    def advice(self) -> tuple[str, ...]:
        """What to do next."""
        return self.analysis.verdict.advice

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every condition that was looked for, detected or not; `judged` is False where it could not be told."""
        return self.analysis.findings

    @property
    def usable(self) -> bool:
        """Whether the recording allows more than a guess."""
        return self.analysis.quality.usable

    @property
    def document(self) -> CheckDocument:
        """The same as frozen structures, schema `acoustic.check/1`."""
        from acoustic.check.document import document_of

        return document_of(self.analysis)

    def to_dict(self) -> dict[str, Any]:
        """What `acoustic check --json` prints, as plain dicts, lists, texts and numbers."""
        from acoustic.structures import to_plain

        return to_plain(self.document)

    def plot(self, to: AnyPath | Figure | None = None) -> Figure:
        """Draw recording, speed and order spectrum.

        Parameters
        ----------
        to : path, Figure or None
            A file to write as well, ending in .png or .svg, or an empty figure to draw into.

        Returns
        -------
        matplotlib.figure.Figure

        Raises
        ------
        InputError
            The recording cannot be used, so that nothing was heard; or the file has another ending.
        """
        from matplotlib.figure import Figure

        from acoustic.report.book_pictures import save_figure
        from acoustic.report.picture import SIZE_IN, draw_check

        if self.analysis.features is None or not self.usable:
            raise InputError("there is nothing to draw: the recording cannot be used", hint=" ".join(self.advice))
        figure = to if isinstance(to, Figure) else Figure(figsize=SIZE_IN, layout="constrained", facecolor="white")
        draw_check(self.analysis, figure)
        if to is not None and not isinstance(to, Figure):
            save_figure(figure, _file(to, ".png", ".svg"))
        return figure

    def report(self, path: AnyPath, *, language: str = "en") -> Path:
        """Write one page for rider and bench, with pictures and sounds in it.

        Parameters
        ----------
        path : path-like
            Ends in .html.
        language : {'en', 'de', 'fr', 'es'}
            Of the rider's half.

        Returns
        -------
        Path

        Raises
        ------
        InputError
            The file does not end in .html, or the language is not known.
        """
        from acoustic.report.page import page_of_check
        from acoustic.report.whole_file import whole_file

        target = _file(path, ".html")
        with whole_file(target) as half_written:
            half_written.write_text(
                page_of_check(self.analysis, language=language), encoding="utf-8", errors="replace"
            )
        return target

    def __str__(self) -> str:
        """The report that `acoustic check` prints."""
        from acoustic.report.terminal import to_text

        return to_text(self.analysis)

    def __repr__(self) -> str:
        """Grade, file and bearing."""
        from acoustic.report.terminal import grade_line

        return f"<CheckResult {grade_line(self.analysis)}>"

    def _repr_html_(self) -> str:
        """In a notebook: the report, and the picture where there is one."""
        text = f"<pre>{html.escape(str(self))}</pre>"
        if self.analysis.features is None or not self.usable:
            return text
        from acoustic.report.page import svg_of

        return text + svg_of(self.plot()).partition("?>")[2]


def check(  # noqa: PLR0913 - one argument for each option of the command
    recording: AnyPath,
    *,
    bearing: str | None = None,
    balls: int | None = None,
    ball_diameter: float | None = None,
    pitch_diameter: float | None = None,
    contact_angle: float | None = None,
    turning: Literal["inner", "outer"] = "inner",
    rows: int = 1,
    catalogue: AnyPath | None = None,
    speed: float | None = None,
    turns: float | None = None,
    marks: AnyPath | None = None,
    ticks: bool = False,
    mark_channel: int | None = None,
    gyro: AnyPath | None = None,
    film: bool = False,
    spin: Spin | None = None,
    side: Side | None = None,
    room: AnyPath | None = None,
    chainring: int | None = None,
    sprocket: int | None = None,
    jockey: int | None = None,
    progress: Callable[[str], None] | None = None,
    **plugin_options: Any,
) -> CheckResult:
    """Judge one recording of a crank bearing, as `acoustic check` does.

    Parameters
    ----------
    recording : path
    bearing, balls, ball_diameter, pitch_diameter, contact_angle, turning, rows, catalogue
        The bearing, by name or by numbers [mm, deg]; as `acoustic.bearings.search.resolve_bearing` takes them.
    speed : float or None
        The crank turns steadily at this speed [turns/min].
    turns : float or None
        Turns of the whole spin counted by eye.
    marks, gyro : path or None
        CSV files: the time [s] of one mark a crank turn; angular speed against time.
    ticks, film : bool
        A card clicks once a turn in the recording; take the angle from the film's picture.
    mark_channel : int or None
        The channel that holds a pulse a turn, counted from 1.
    spin : {'hand', 'pedal', 'steady'} or None
        How the crank was turned; None to find it.
    side : {'drive', 'non-drive'} or None
        Where the phone was held.
    room : path or None
        A recording of the still bike in the same room.
    chainring, sprocket, jockey : int or None
        Teeth that the chain runs over; None where it is off.
    progress : callable or None
        Told in a few words what is being done.
    **plugin_options
        Options of installed speed sources beside the bundled ones, by their keys.

    Returns
    -------
    CheckResult
        Of a recording that cannot be used too: its grade is 'undecided', and `advice` says how to record again.

    Raises
    ------
    AcousticError
        InputError: the call, the bearing or the file cannot be used. PluginError: a plugin failed where no other
        could serve.
    """
    from acoustic.check.pipeline import check_recording
    from acoustic.cli.scene_options import drivetrain_of
    from acoustic.model import Scene
    from acoustic.plugin.registry import load_plugins

    _one_of("side", side, ("drive", "non-drive"))
    numbers = balls, ball_diameter, pitch_diameter, contact_angle
    meant = _bearing(bearing, *numbers, turning=turning, rows=rows, catalogue=catalogue)
    said = {"speed_rpm": speed, "counted_turns": turns, "marks": _path(marks), "ticks": ticks}
    said |= {"mark_channel": mark_channel, "gyro": _path(gyro), "film": film}
    request = _request(said, plugin_options, spin)
    analysis = check_recording(
        Path(recording),
        bearing=meant,
        request=request,
        registry=load_plugins(),
        scene=Scene(drivetrain=drivetrain_of(chainring, sprocket, jockey), room=_path(room), side=side),
        progress=progress or (lambda _: None),
    )
    return CheckResult(analysis)


def orders(  # noqa: PLR0913 - one argument for each option of the command
    *,
    bearing: str | None = None,
    balls: int | None = None,
    ball_diameter: float | None = None,
    pitch_diameter: float | None = None,
    contact_angle: float | None = None,
    turning: Literal["inner", "outer"] = "inner",
    rows: int = 1,
    catalogue: AnyPath | None = None,
    speed: float | None = None,
) -> OrdersDocument:
    """Compute the defect orders of a bearing, as `acoustic orders` does.

    Parameters
    ----------
    bearing, balls, ball_diameter, pitch_diameter, contact_angle, turning, rows, catalogue
        As `check`.
    speed : float or None
        Gives Hz at this speed as well [turns/min].

    Returns
    -------
    OrdersDocument
        Its `candidates` are the ball counts that the bearing may have, likeliest first, each with its `orders`.

    Raises
    ------
    InputError
        No such bearing is known or can be built.
    """
    from acoustic.bearings.document import orders_document

    numbers = balls, ball_diameter, pitch_diameter, contact_angle
    meant = _bearing(bearing, *numbers, turning=turning, rows=rows, catalogue=catalogue)
    return orders_document(meant, speed)


def bearings(text: str = "", *, catalogue: AnyPath | None = None) -> tuple[CatalogueRow, ...]:
    """Search the bearing catalogue, as `acoustic bearings` does.

    Parameters
    ----------
    text : str
        A designation, a size (25x37x7), or words of shell, spindle and part; all rows where empty.
    catalogue : path or None
        Your own bearings (TOML), added to the program's.

    Returns
    -------
    tuple of CatalogueRow

    Raises
    ------
    InputError
        Nothing answers to the text, or the file is no catalogue.
    """
    from acoustic.bearings.search import load_catalogue, nothing_found, search

    rows = load_catalogue(_path(catalogue))
    found = search(rows, text)
    if not found:
        raise nothing_found(rows, text)
    return found


def _bearing(
    name: str | None,
    balls: int | None,
    ball_diameter_mm: float | None,
    pitch_diameter_mm: float | None,
    contact_angle_deg: float | None,
    *,
    turning: Literal["inner", "outer"],
    rows: int,
    catalogue: AnyPath | None,
) -> Bearing:
    """The bearing that is meant, by name or by numbers."""
    from acoustic.bearings.search import resolve_bearing

    return resolve_bearing(
        name=name,
        balls=balls,
        ball_diameter_mm=ball_diameter_mm,
        pitch_diameter_mm=pitch_diameter_mm,
        contact_angle_deg=contact_angle_deg,
        turning=turning,
        rows=rows,
        catalogue=_path(catalogue),
    )


def _request(said: Mapping[str, Any], plugin_options: Mapping[str, Any], spin: Spin | None) -> SpeedRequest:
    """What was said of the crank's motion, options of other people's speed sources included."""
    from acoustic.model import SpeedRequest
    from acoustic.plugin.options import declared_options

    _one_of("spin", spin, ("hand", "pedal", "steady"))
    known = {option.key for option in declared_options()}
    for key in plugin_options:
        if key not in known:
            raise InputError(
                f"no installed speed source has an option {key!r}",
                hint=f"Options of speed sources are {', '.join(sorted(known))}.",
            )
    return SpeedRequest({**said, **plugin_options}, spin=spin)


def _path(given: AnyPath | None) -> Path | None:
    return None if given is None else Path(given)


def _file(given: AnyPath, *endings: str) -> Path:
    """A path with one of the endings."""
    path = Path(given)
    if path.suffix.lower() not in endings:
        raise InputError(
            f"{path.name}: the ending {path.suffix or '(none)'} cannot be written",
            hint=f"Use {' or '.join(endings)} as the ending.",
        )
    return path


def _one_of(name: str, given: str | None, allowed: tuple[str, ...]) -> None:
    if given is not None and given not in allowed:
        raise InputError(f"{name} is {given!r}, which is not known", hint=f"Use one of {', '.join(allowed)}.")
