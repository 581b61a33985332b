"""Writers of sound files, for tests of what reads them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray

LAYOUTS = {1: "mono", 2: "stereo", 6: "5.1"}
PLANAR = {"float32": "fltp", "int16": "s16p", "int32": "s32p"}
PICTURES_A_SECOND = 25

Writer = Callable[..., Path]


def _add_picture(container: Any) -> Any:
    stream = container.add_stream("mpeg4", rate=PICTURES_A_SECOND)
    stream.width = stream.height = 32
    stream.pix_fmt = "yuv420p"
    return stream


def _add_sound(container: Any, samples: NDArray[Any], rate_hz: int, codec: str, **options: str) -> Any:
    stream = container.add_stream(codec, rate=rate_hz, options=options)
    stream.layout = LAYOUTS[samples.shape[1]]
    if codec == "libopencore_amrnb":
        stream.bit_rate = 12_200
    return stream


def _pictures(stream: Any, seconds: float) -> Iterator[Any]:
    """Packets of a film of growing grey."""
    for number in range(int(seconds * PICTURES_A_SECOND)):
        grey = np.full((32, 32, 3), number % 200, np.uint8)
        picture = av.VideoFrame.from_ndarray(grey, format="rgb24")
        picture.pts = number
        yield from stream.encode(picture)
    yield from stream.encode(None)


def _sound(stream: Any, samples: NDArray[Any], rate_hz: int, late: int) -> Iterator[Any]:
    """Packets of the sound, `late` samples after zero."""
    if samples.dtype == np.float64:
        samples = samples.astype(np.float32)
    frame = av.AudioFrame.from_ndarray(
        np.ascontiguousarray(samples.T), format=PLANAR[samples.dtype.name], layout=LAYOUTS[samples.shape[1]]
    )
    frame.sample_rate = rate_hz
    frame.time_base = Fraction(1, rate_hz)
    frame.pts = late
    yield from stream.encode(frame)
    yield from stream.encode(None)


@pytest.fixture(scope="session")
def write_stream() -> Writer:
    """Write samples through libavcodec: (path, samples, rate, container=, codec=, ...) -> path.

    With `picture` it becomes a film; the sound may start `late` samples after it;
    packets whose numbers are in `lost` are left out.
    """

    def write(
        path: Path,
        samples: NDArray[Any] | None,
        rate_hz: int = 48_000,
        *,
        container: str,
        codec: str = "",
        picture: bool = False,
        options: Mapping[str, str] | None = None,
        codec_options: Mapping[str, str] | None = None,
        late: int = 0,
        lost: Collection[int] = (),
    ) -> Path:
        with av.open(str(path), "w", format=container, options=dict(options or {})) as out:
            # All streams must be there before the first packet is written.
            shown = _add_picture(out) if picture else None
            heard = None if samples is None else _add_sound(out, samples, rate_hz, codec, **(codec_options or {}))
            if shown is not None:
                out.mux(list(_pictures(shown, 2.0 if samples is None else len(samples) / rate_hz)))
            if heard is not None and samples is not None:
                packets = enumerate(_sound(heard, samples, rate_hz, late))
                out.mux([packet for number, packet in packets if number not in lost])
        return path

    return write


@pytest.fixture(scope="session")
def write_aac_caf(write_stream: Writer) -> Writer:
    """Write AAC in CAF, which libavformat reads but doesn't write: (path, samples, rate) -> path."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return name + len(body).to_bytes(8, "big") + body

    def tagged(tag: int, body: bytes) -> bytes:
        # The long form of the length is the only one libavformat takes here.
        return bytes([tag, 0x80, 0x80, 0x80, len(body)]) + body

    def packet_length(length: int) -> bytes:
        return bytes([length >> 7 | 128, length & 127]) if length > 127 else bytes([length])

    def write(path: Path, samples: NDArray[np.float64], rate_hz: int) -> Path:
        m4a = write_stream(path.with_suffix(".tmp"), samples, rate_hz, container="ipod", codec="aac")
        with av.open(str(m4a), format="mov") as source:
            stream = source.streams.audio[0]
            setup = stream.codec_context.extradata or b""
            packets = [bytes(packet) for packet in source.demux(stream) if packet.size]
        decoder = tagged(4, b"\x40\x15" + bytes(3) + _big(4, 64_000, 64_000) + tagged(5, setup))
        rest = len(packets) * 1024 - 1024 - len(samples)
        table = _big(8, len(packets), len(samples)) + _big(4, 1024, rest)
        description = np.array(rate_hz, ">f8").tobytes() + b"aac " + _big(4, 0, 0, 1024, samples.shape[1], 0)
        path.write_bytes(
            b"caff\x00\x01\x00\x00"
            + chunk(b"desc", description)
            + chunk(b"kuki", tagged(3, bytes(3) + decoder + tagged(6, b"\x02")))
            + chunk(b"pakt", table + b"".join(packet_length(len(packet)) for packet in packets))
            + chunk(b"data", bytes(4) + b"".join(packets))
        )
        return path

    return write


def _big(length: int, *numbers: int) -> bytes:
    return b"".join(number.to_bytes(length, "big") for number in numbers)
