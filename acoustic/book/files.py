"""The recordings themselves, each under the hash of its content.

A file is written under a temporary name, hashed, forced to the disk and moved to the name of its hash; only
then one transaction writes its visit. A kill leaves at worst a file that no visit names. Recordings stay
outside the database, which so remains small enough to copy before each migration.

Hash and ending make the path, so nothing else than 64 hex digits and a known ending is taken for them: a book that
came from elsewhere cannot name a file outside the store. What is read out of it is hashed again before it is used.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec

from acoustic.book.naming import escaped
from acoustic.errors import InputError

# What phones, recorders and cameras write, and the tables beside them. Readers look at a file's bytes, so one of
# another ending is kept without any.
_SOUNDS = "3ga aac aif aifc aiff amr au caf flac m4a m4b mka mp2 mp3 oga ogg opus rf64 snd w64 wav wave wma wv"
_FILMS = "3gp avi m2ts m4v mkv mov mp4 mpeg mpg mts ogv ts webm wmv"
_TABLES = "csv dat json log toml tsv txt"
ENDINGS = frozenset({"", *(f".{ending}" for ending in f"{_SOUNDS} {_FILMS} {_TABLES}".split())})
SHA256 = r"^[0-9a-f]{64}$(?!\n)"  # $ alone would let a line end pass
Sha256 = Annotated[str, msgspec.Meta(pattern=SHA256)]
Suffix = Annotated[str, msgspec.Meta(pattern=rf"^({'|'.join(map(re.escape, sorted(ENDINGS)))})$(?!\n)")]


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
        """Where a file lies, or would.

        Raises
        ------
        InputError
            Hash or ending are none.
        """
        if not re.fullmatch(SHA256, sha256) or suffix not in ENDINGS:
            raise InputError(
                f"{sha256[:80]!r} with the ending {suffix[:20]!r} is no name of a stored recording",
                hint="The book may have been altered or damaged; go back to a copy of it.",
            )
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
        suffix = path.suffix.lower()
        stored = Stored(digest, suffix if suffix in ENDINGS else "", escaped(path.name), path.stat().st_size)
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
            temporary.chmod(usual_mode())
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
        """Where a stored file lies; it is hashed again.

        Raises
        ------
        InputError
            It is not there any more, or is not what was stored.
        """
        path = self.path_of(sha256, suffix)
        if not path.is_file():
            raise InputError(
                f"the recording {sha256[:12]} is missing from {self.folder}",
                hint="Put the folder back beside the book, or import an archive of the book that holds it.",
            )
        try:
            altered = sha256_of(path) != sha256
        except OSError as error:
            raise InputError(
                f"the recording {path} cannot be read ({error.strerror})", hint="Check the folder's permissions."
            ) from None
        if altered:
            raise InputError(
                f"the recording {path} was altered or damaged since it was stored",
                hint="Move it away, and import an archive of the book that holds it.",
            )
        return path


def usual_mode() -> int:
    """The mode of a new file as the user's umask has it: a temporary file would shut out who shares the folder."""
    umask = os.umask(0)
    os.umask(umask)
    return 0o666 & ~umask


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
