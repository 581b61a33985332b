"""How a recording was asked about, so that a better version can judge it again."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from pathlib import Path

import msgspec

from acoustic.bearings.search import resolve_bearing
from acoustic.book.files import FileStore
from acoustic.book.question import AskedBearing, AskedBlock, AskedFile, AskedScene, AskedTeeth, Turned
from acoustic.model import Bearing, Drivetrain, Scene, SpeedRequest
from acoustic.structures import checked

_DAMAGED = "The book may have been altered or damaged; go back to a copy of it."
BESIDE = ("room", "catalogue")  # files that are no answer to an option of a speed source


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question about a recording.

    Attributes
    ----------
    bearing : AskedBearing
    catalogue : Path or None
        A user's own catalogue in which the bearing is named.
    request : SpeedRequest
    scene : Scene
    """

    bearing: AskedBearing
    catalogue: Path | None = None
    request: SpeedRequest = field(default_factory=SpeedRequest)
    scene: Scene = field(default_factory=Scene)

    def resolved(self) -> Bearing:
        """Look the bearing up.

        Raises
        ------
        InputError
            No such bearing is known.
        """
        return resolve_bearing(**msgspec.structs.asdict(self.bearing), catalogue=self.catalogue)

    def kept(self, files: FileStore) -> AskedBlock:
        """Keep the files that it names, and write it down.

        Raises
        ------
        InputError
            The store cannot be written.
        """
        named = {
            **{key: value for key, value in self.request.values.items() if isinstance(value, Path)},
            "room": self.scene.room,
            "catalogue": self.catalogue,
        }
        stored = {name: files.keep(path) for name, path in named.items() if path is not None}
        request = {
            name: value
            for name, value in {**self.request.values, "spin": self.request.spin}.items()
            if value is not None and not isinstance(value, Path)
        }
        teeth = self.scene.drivetrain
        return AskedBlock(
            bearing=self.bearing,
            speed=request,
            scene=AskedScene(
                side=self.scene.side,
                channel=self.scene.channel,
                teeth=None if teeth is None else AskedTeeth(**asdict(teeth)),
            ),
            files={name: AskedFile(sha256=one.sha256, suffix=one.suffix) for name, one in stored.items()},
        )


def read_asked(asked: AskedBlock, files: FileStore) -> Asked:
    """Read a question back.

    Parameters
    ----------
    asked : AskedBlock
    files : FileStore

    Returns
    -------
    Asked

    Raises
    ------
    InputError
        A file that it names is missing from the store, or was altered there.
    """
    paths = {name: files.require(file.sha256, file.suffix) for name, file in asked.files.items()}
    files_given = {key: path for key, path in paths.items() if key not in BESIDE}
    said = {key: value for key, value in asked.speed.items() if key != "spin"}
    turned = checked({"spin": asked.speed.get("spin")}, Turned, "what was asked of a recording", hint=_DAMAGED)
    teeth = asked.scene.teeth
    return Asked(
        bearing=asked.bearing,
        catalogue=paths.get("catalogue"),
        request=SpeedRequest({**said, **files_given}, spin=turned.spin),
        scene=Scene(
            side=asked.scene.side,
            channel=asked.scene.channel,
            drivetrain=None if teeth is None else Drivetrain(**msgspec.structs.asdict(teeth)),
            room=paths.get("room"),
        ),
    )
