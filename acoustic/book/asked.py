"""How a recording was asked about, so that a better version can judge it again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from acoustic.bearings.search import resolve_bearing
from acoustic.book.files import FileStore
from acoustic.model import Bearing, Drivetrain, Scene, SpeedRequest

BESIDE = ("room", "catalogue")  # files that are no answer to an option of a speed source


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question about a recording.

    Attributes
    ----------
    bearing : mapping
        What `acoustic.bearings.search.resolve_bearing` takes.
    request : SpeedRequest
    scene : Scene
    """

    bearing: Mapping[str, Any]
    request: SpeedRequest = field(default_factory=SpeedRequest)
    scene: Scene = field(default_factory=Scene)

    def resolved(self) -> Bearing:
        """Look the bearing up.

        Raises
        ------
        InputError
            No such bearing is known.
        """
        return resolve_bearing(**self.bearing)

    def kept(self, files: FileStore) -> dict[str, Any]:
        """Keep the files that it names, and write it down as plain data.

        Parameters
        ----------
        files : FileStore

        Returns
        -------
        dict
            JSON-ready; files by hash and ending.
        """
        named = {
            **{key: value for key, value in self.request.values.items() if isinstance(value, Path)},
            "room": self.scene.room,
            "catalogue": self.bearing["catalogue"],
        }
        stored = {name: files.keep(path) for name, path in named.items() if path is not None}
        request = {
            name: value
            for name, value in {**self.request.values, "spin": self.request.spin}.items()
            if value is not None and not isinstance(value, Path)
        }
        teeth = self.scene.drivetrain
        return {
            "bearing": {name: value for name, value in self.bearing.items() if name != "catalogue"},
            "speed": request,
            "scene": {"side": self.scene.side, "channel": self.scene.channel, "teeth": teeth and asdict(teeth)},
            "files": {name: {"sha256": one.sha256, "suffix": one.suffix} for name, one in stored.items()},
        }


def read_asked(asked: Mapping[str, Any], files: FileStore) -> Asked:
    """Read a question back.

    Parameters
    ----------
    asked : mapping
        As `Asked.kept` writes it.
    files : FileStore

    Returns
    -------
    Asked

    Raises
    ------
    InputError
        A file that it names is missing from the store.
    """
    paths: dict[str, Path] = {name: files.require(**file) for name, file in asked["files"].items()}
    files_given = {key: path for key, path in paths.items() if key not in BESIDE}
    said = dict(asked["speed"])
    spin = said.pop("spin", None)
    teeth = asked["scene"]["teeth"]
    return Asked(
        bearing={**asked["bearing"], "catalogue": paths.get("catalogue")},
        request=SpeedRequest({**said, **files_given}, spin=spin),
        scene=Scene(
            side=asked["scene"]["side"],
            channel=asked["scene"]["channel"],
            drivetrain=None if teeth is None else Drivetrain(**teeth),
            room=paths.get("room"),
        ),
    )
