"""Tables as text: what spreadsheets, loggers and editors write, taken apart into cells."""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from pathlib import Path

from acoustic.api import InputError

SHOWN = 4096  # bytes, enough to tell text from sound and one encoding from another
TIME_WORDS = {
    "time",
    "times",
    "timestamp",
    "t",
    "zeit",
    "temps",
    "tiempo",
    "tempo",
    "tijd",
    "elapsed",
    "epoch",
    "clock",
}
_MARKS_OF_ORDER = (  # the longest first: that of UTF-16 begins that of UTF-32
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The file that an option asked for, in the words of its refusals, and the largest that is read."""

    what: str
    option: str
    most_bytes: int
    hint: str


def text_of(path: Path, asked: Asked) -> str:
    """Read a text file in any usual encoding.

    Parameters
    ----------
    path : Path
    asked : Asked

    Returns
    -------
    str

    Raises
    ------
    InputError
        It cannot be read, is too large, or is not text.
    """
    if path.is_dir():
        raise InputError(f"{path.name} is a folder, not a {asked.what}", hint="Give the CSV file itself.")
    try:
        if path.stat().st_size > asked.most_bytes:
            raise InputError(
                f"{path.name} has {path.stat().st_size / 1e6:.0f} MB; a {asked.what} has at most "
                f"{asked.most_bytes / 1e6:g}",
                hint=asked.hint,
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"no {asked.what} at {path}", hint=f"Check the path given with {asked.option}.") from None
    except OSError as error:
        raise InputError(
            f"{path.name} cannot be read ({type(error).__name__})", hint="Check the file and its permissions."
        ) from None
    text = _decoded(data)
    if any(ord(letter) < 32 and letter not in "\t\n\r\f\v" for letter in text[:SHOWN]):
        raise InputError(f"{path.name} is not text", hint=asked.hint)
    return text


def _decoded(data: bytes) -> str:
    for mark, encoding in _MARKS_OF_ORDER:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace")
    head = data[:SHOWN]
    for first, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        # Digits take two bytes there, of which one is nought.
        zeros = head[first::2].count(0)
        if zeros > len(head) // 4 and head.count(0) == zeros:
            return data.decode(encoding, errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")  # an old spreadsheet's degree sign


def cells_of(line: str, separator: str) -> list[str]:
    """A line's cells; what a separator at its end leaves empty is none. A blank stands for any white space."""
    if separator == " ":
        return line.split()
    line = line.rstrip(separator + " ")
    quoted = '"' in line
    cells = (
        next(csv.reader([line], delimiter=separator, skipinitialspace=True)) if quoted else line.split(separator)
    )
    return [cell.strip() for cell in cells]


def words_of(name: str) -> str:
    """A column's name in lower case, its words apart: 'gyroZ_deg/s' is 'gyro z deg/s'."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return re.sub(r"[\s_.,;:()\[\]{}|]+", " ", apart.replace("µ", "u").replace("μ", "u")).strip().lower()
