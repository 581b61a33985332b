"""Files of marks as spreadsheets, stopwatches and editors write them; what may be read two ways is refused."""

from __future__ import annotations

import codecs
from pathlib import Path

import pytest
from acoustic_plugins.speed.marks_file import read_marks

from acoustic.api import InputError

TIMES_S = [1.758, 2.5, 3.25, 61.0]
PLAIN = "time_s\n1.758\n2.5\n3.25\n61\n"
COMMAS = "Umdrehung\tZeit\r\n1\t1,758\r\n2\t2,5\r\n3\t3,25\r\n4\t61\r\n"


@pytest.fixture
def read(tmp_path: Path):  # type: ignore[no-untyped-def]
    def times(text: str | bytes) -> list[float]:
        path = tmp_path / "turns.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return read_marks(path)

    return times


@pytest.mark.parametrize("text", [PLAIN, COMMAS], ids=["points", "commas"])
@pytest.mark.parametrize(
    ("mark", "encoding"),
    [
        (b"", "utf-8"),
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
        (b"", "utf-16-le"),
        (b"", "utf-16-be"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
    ],
)
def test_encodings(text: str, mark: bytes, encoding: str, read) -> None:  # type: ignore[no-untyped-def]
    assert read(mark + text.encode(encoding)) == TIMES_S


@pytest.mark.parametrize(
    "text",
    [
        "0:01.758\n0:02.5\n0:03.25\n1:01\n",
        "00:00:01,758\n00:00:02,5\n00:00:03,25\n00:01:01,0\n",
        "1;1,758\n2;2,5\n3;3,25\n4;61\n",
        "1,1.758\n2,2.5\n3,3.25\n4,61.0\n",
        "1 0:01.758\n2 0:02.5\n3 0:03.25\n4 1:01\n",
        "1. 1.758 s\n2. 2.5 s\n3. 3.25 s\n4. 61 s\n",
        "0\t1.758\n1\t2.5\n2\t3.25\n3\t61\n",
        "n;s\n1;1.758\n2;2.5\n3;3.25\n4;61\n",
        "turn;note;seen at\n1;;1,758\n2;rag;2,5\n3;;3,25\n4;;61\n",
        "lap;lap time;total time\n1;1,758;1,758\n2;0,742;2,5\n3;0,75;3,25\n4;57,75;61\n",
        '"1,758","a"\n"2,5","b"\n"3,25",""\n"61",""\n',
        "# marked with an editor\n1.758\n2.5\n3.25\n61\n",
        "Time of each turn\n1.758\n2.5\n3.25\n61\n",
    ],
)
def test_spellings(text: str, read) -> None:  # type: ignore[no-untyped-def]
    assert read(text) == pytest.approx(TIMES_S, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("1,0,452\n2,1,203\n3,2,101\n", "whether a comma is a decimal sign"),
        ("1,1452\n2,2203\n3,3100\n4,4080\n", "whether a comma is a decimal sign"),
        ("turn,time\n1,2\n2,3\n3,4\n", "whether a comma is a decimal sign"),
        ("time,note\n1,25\n2,5\n3,75\n", "whether a comma is a decimal sign"),
        ("n;a;b\n1;1.5;2.5\n2;2.5;3.5\n3;3.5;4.5\n", "only counts 1, 2, 3"),
        ("lap time;best time\n1;2\n2;3\n", "which of 'lap time', 'best time'"),
        ("59.5\n1:00.2\n1:01.0\n", "line 2: 1:00.2 has a colon"),
        ("1..5\n2.5\n3.5\n", "line 1: '1..5' is not a time"),
        ("0:61\n1:02\n1:03\n", "line 1: '0:61' is not a time"),
        ("1;1.234,5\n2;2,5\n", "line 1: '1.234,5' is not a time in seconds; 1.234,5 has more than one"),
    ],
)
def test_two_readings_are_none(text: str, found: str, read) -> None:  # type: ignore[no-untyped-def]
    """Each would quietly be another spin: counts for seconds, thousandths for whole turns, rounds for times."""
    with pytest.raises(InputError) as caught:
        read(text)
    assert found in caught.value.found


def test_a_film_is_no_file_of_marks(tmp_path: Path) -> None:
    path = tmp_path / "spin.mp4"
    path.write_bytes(b"\x00\x00\x00\x20ftypisom" + bytes(2_000_000))
    with pytest.raises(InputError, match="has 2 MB; a file of marks has at most 1"):
        read_marks(path)
