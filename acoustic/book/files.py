"""The recordings themselves, each under the hash of its content.

A file is written under a temporary name, hashed, forced to the disk and moved to the name of its hash; only
then one transaction writes its visit. A kill leaves at worst a file that no visit names. Recordings stay
outside the database, which so remains small enough to copy before each migration.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from acoustic.errors import InputError


@dataclass(frozen=True, slots=True)
class Stored:
    """One file in the store.

    Attributes
    ----------
    sha256 : str
    suffix : str
        The ending of its name, for example ".m4a"; empty if it has none.
    name : str
        The name it came with.
    bytes : int
    """

    sha256: str
    suffix: str
    name: str
    bytes: int


@dataclass(frozen=True, slots=True)
class FileStore:
    """A folder of files named by their content; a file that is there is whole.

    Attributes
    ----------
    folder : Path
        Made when the first file comes.
    """

    folder: Path

    def path_of(self, sha256: str, suffix: str) -> Path:
        """Where a file lies, or would."""
        return self.folder / sha256[:2] / f"{sha256}{suffix}"

    def keep(self, path: Path) -> Stored:
        """Copy a file into the store; nothing is done where it is there already.

        Raises
        ------
        InputError
            It cannot be read, or the store cannot be written.
        """
        try:
            digest = sha256_of(path)
        except OSError as error:
            raise InputError(
                f"{path.name} cannot be read ({error.strerror})", hint="Check the path and its permissions."
            ) from None
        stored = Stored(digest, path.suffix.lower(), path.name, path.stat().st_size)
        self.place(stored.sha256, stored.suffix, lambda temporary: shutil.copyfile(path, temporary))
        return stored

    def place(self, sha256: str, suffix: str, write: Callable[[Path], object]) -> None:
        """Let `write` fill a new file, and move it to its place once it is whole and on the disk."""
        target = self.path_of(sha256, suffix)
        if target.is_file():
            return
        temporary: Path | None = None
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix=".incoming-", dir=target.parent)
            os.close(handle)
            temporary = Path(name)
            write(temporary)
            if sha256_of(temporary) != sha256:
                raise InputError(
                    f"the recording {sha256[:12]} changed or was damaged while it was copied",
                    hint="Copy it again from where it came from.",
                )
            _to_disk(temporary)
            temporary.replace(target)
            _to_disk(target.parent)
        except OSError as error:
            raise InputError(
                f"the recording cannot be kept in {self.folder} ({error.strerror}); nothing was added to the book",
                hint="Free some space, or use --book to name a book in a folder that you may write to.",
            ) from None
        finally:
            if temporary is not None:
                with suppress(OSError):
                    temporary.unlink(missing_ok=True)

    def require(self, sha256: str, suffix: str) -> Path:
        """Where a stored file lies.

        Raises
        ------
        InputError
            It is not there any more.
        """
        path = self.path_of(sha256, suffix)
        if not path.is_file():
            raise InputError(
                f"the recording {sha256[:12]} is missing from {self.folder}",
                hint="Put the folder back beside the book, or import an archive of the book that holds it.",
            )
        return path


def sha256_of(path: Path) -> str:
    """Hash of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _to_disk(path: Path) -> None:
    """Wait until a file or a folder's entries are on the disk; not every system lets a folder be opened."""
    with suppress(PermissionError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
