"""Test films: a drawn crank that turns as a simulated spin does, in a real codec, with the spin's sound."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acoustic.simulator import Spin

Floats = NDArray[np.floating]
Frames = NDArray[np.uint8]

CLOCK = 90_000  # ticks a second, as phones stamp their frames
STRIDE_HZ = 0.9
BLUR_STEPS = 5
PEDAL = (0.09, 0.03)  # half its length and height over the picture's shorter side
HAND_S = (0.5, 0.45)  # a hand comes before the push, and leaves after it began


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmPlan:
    """What the camera sees. Lengths without a unit are shares of the picture's shorter side.

    Attributes
    ----------
    width, height : int
        Of the picture as stored [pixels].
    rate_hz : float
        Frames a second.
    jitter : float
        Variable timing: standard deviation of a frame's time over the frame interval.
    dropped : float
        Share of frames that are missing.
    centre : (float, float)
        The spindle's place, from the left and from the top, over width and height.
    arm, arm_width : float
    arms : int
        0 for no crank, 1 or 2.
    arm_grey, tape_grey, wall_grey : float
        Brightness, 0 to 255; an untaped crank has `tape_grey` None.
    tape : (float, float)
        The strip's ends along the arm, over its length.
    both_taped : bool
        A strip on either arm, so that half a turn looks like none.
    pedal_grey : float or None
        Pedals at the arms' ends, which hang level.
    squash, squash_at : float
        An oblique camera: the circle's short axis over its long one, and the direction of the long one [turns].
    texture : float
        Standard deviation of the wall's brightness.
    walkers : int
        People who walk by behind the crank.
    hand : bool
        A hand pushes the arm.
    shake_px : float
        Standard deviation of the camera's sway [pixels].
    exposure : float
        Share of the frame interval over which motion blurs.
    noise, flicker : float
        Standard deviations of a pixel's brightness, and of the whole frame's over its mean.
    light : float
        Factor on all brightness before the noise.
    """

    width: int = 256
    height: int = 144
    rate_hz: float = 30.0
    jitter: float = 0.0
    dropped: float = 0.0
    centre: tuple[float, float] = (0.5, 0.5)
    arm: float = 0.38
    arm_width: float = 0.07
    arms: int = 2
    arm_grey: float = 45.0
    tape_grey: float | None = 225.0
    tape: tuple[float, float] = (0.6, 0.8)
    both_taped: bool = False
    pedal_grey: float | None = 60.0
    wall_grey: float = 110.0
    squash: float = 1.0
    squash_at: float = 0.1
    texture: float = 12.0
    walkers: int = 0
    hand: bool = False
    shake_px: float = 0.0
    exposure: float = 0.3
    noise: float = 2.0
    flicker: float = 0.0
    light: float = 1.0
    seed: int = 1


def frame_times(plan: FilmPlan, duration_s: float) -> Floats:
    """Times of the frames, shape (n,), the first at 0, strictly increasing [s]."""
    rng = np.random.default_rng([plan.seed, 1])
    numbers = np.arange(int(duration_s * plan.rate_hz), dtype=float)
    numbers[1:] += np.clip(plan.jitter * rng.standard_normal(numbers.size - 1), -0.45, 0.45)
    kept = rng.random(numbers.size) >= plan.dropped
    kept[0] = True
    times_s: Floats = np.round(numbers[kept] / plan.rate_hz * CLOCK) / CLOCK
    return times_s


def drawn(plan: FilmPlan, times_s: Floats, spin: Spin) -> Iterator[Frames]:
    """Draw the frames, each of shape (height, width)."""
    rng = np.random.default_rng([plan.seed, 2])
    wall = _wall(plan, rng)
    walks = [_Walker(rng, times_s[-1]) for _ in range(plan.walkers)]
    sway = _smooth(rng.standard_normal((times_s.size, 2)), 3) * plan.shake_px
    columns, rows = np.arange(plan.width), np.arange(plan.height)
    for time_s, (dx, dy) in zip(times_s, sway, strict=True):
        x, y = (across.astype(np.float32) for across in np.meshgrid(columns - dx, rows - dy))
        picture = _shifted(wall, dx, dy)
        for walker in walks:
            walker.draw(picture, x / plan.width, y / plan.height, float(time_s))
        _crank_over(plan, picture, x, y, float(time_s), spin)
        gain = plan.light * (1 + plan.flicker * rng.standard_normal())
        grain = plan.noise * rng.standard_normal(picture.shape, dtype=np.float32)
        yield np.clip(np.rint(picture * gain + grain), 0, 255).astype(np.uint8)


def _smooth(values: Floats, length: int) -> Floats:
    """Moving mean along the first axis, made as strong again as the values were."""
    kernel = np.full(length, length**-0.5)
    return np.stack([np.convolve(column, kernel, mode="same") for column in values.T], axis=1)


def _wall(plan: FilmPlan, rng: np.random.Generator) -> Floats:
    """A wall of soft blotches with a few hard-edged things on it and the bike's tubes; wider than the picture."""
    height, width = plan.height + 16, plan.width + 16
    fy, fx = np.meshgrid(np.fft.fftfreq(height), np.fft.rfftfreq(width), indexing="ij")
    soft = np.fft.irfft2(
        np.fft.rfft2(rng.standard_normal((height, width))) / (0.01 + np.hypot(fx, fy)) ** 1.5, s=(height, width)
    )
    wall: Floats = plan.wall_grey + plan.texture * soft / soft.std()
    for _ in range(6):
        at_y, at_x = rng.integers(0, height), rng.integers(0, width)
        long_y, long_x = rng.integers(4, height // 3), rng.integers(4, width // 4)
        wall[at_y : at_y + long_y, at_x : at_x + long_x] += 2.0 * plan.texture * rng.standard_normal()
    y, x = np.meshgrid(np.arange(height) - 8.0, np.arange(width) - 8.0, indexing="ij")
    side = min(plan.width, plan.height)
    for angle in rng.uniform(0, 1, 3):
        along, across = _turned(
            x - plan.centre[0] * plan.width, y - plan.centre[1] * plan.height, float(angle), side
        )
        tube = _between(across, 0.03, side) * (along > 0)
        wall += tube * (0.6 * plan.wall_grey - wall)
    return wall.astype(np.float32)


def _shifted(wall: Floats, dx: float, dy: float) -> Floats:
    """The wall seen by a camera that swayed, straight between its pixels."""
    x, y = 8 - dx, 8 - dy
    column, row = int(np.floor(x)), int(np.floor(y))
    right, down = np.float32(x - column), np.float32(y - row)
    height, width = wall.shape[0] - 16, wall.shape[1] - 16

    def part(lower: int, later: int) -> Floats:
        return wall[row + lower : row + lower + height, column + later : column + later + width]

    top = (1 - right) * part(0, 0) + right * part(0, 1)
    picture: Floats = (1 - down) * top + down * ((1 - right) * part(1, 0) + right * part(1, 1))
    return picture


class _Walker:
    """Somebody who crosses the picture at walking pace, and comes back."""

    def __init__(self, rng: np.random.Generator, duration_s: float) -> None:
        self.clothes = rng.uniform(20, 240, 2)
        self.crossing_s = rng.uniform(1.2, 4.0)
        self.first_s = rng.uniform(-1.0, 0.5 * duration_s)
        self.period_s = self.crossing_s + rng.uniform(1.0, 5.0)
        self.backward = bool(rng.integers(2))

    def draw(self, picture: Floats, x: Floats, y: Floats, time_s: float) -> None:
        """Draw over the picture; x and y are shares of its width and height."""
        since_s = (time_s - self.first_s) % self.period_s
        if time_s < self.first_s or since_s > self.crossing_s:
            return
        at = -0.2 + 1.4 * since_s / self.crossing_s
        at = 1 - at if self.backward else at
        body = ((x - at) / 0.07) ** 2 + ((y - 0.3) / 0.3) ** 2 < 1
        step = 0.08 * np.sin(2 * np.pi * STRIDE_HZ * time_s) * np.clip(y - 0.55, 0, 1) / 0.45
        legs = (np.minimum(abs(x - at - step), abs(x - at + step)) < 0.025) & (y > 0.5)
        for shape, grey in zip((legs, body), self.clothes, strict=True):
            picture[shape] = grey


def _between(value: Floats, half: float, side: float) -> Floats:
    """1 within half a width of 0 to either side, 0 outside, with an edge a pixel wide; shares of `side` pixels."""
    inside: Floats = np.clip((half - np.abs(value)) * np.float32(side) + np.float32(0.5), 0, 1)
    return inside


def _turned(x: Floats, y: Floats, turns: float, side: float) -> tuple[Floats, Floats]:
    """Coordinates along and across a direction, as shares of `side` pixels."""
    c, s = (np.float32(f(2 * np.pi * turns) / side) for f in (np.cos, np.sin))
    return c * x + s * y, c * y - s * x


def _crank_over(plan: FilmPlan, picture: Floats, x: Floats, y: Floats, time_s: float, spin: Spin) -> None:
    """Draw the crank, meant over the exposure, and the hand."""
    side = float(min(plan.width, plan.height))
    x, y = x - plan.centre[0] * plan.width, y - plan.centre[1] * plan.height
    reach = 1.2 * side * (plan.arm + PEDAL[0])
    rows, columns = np.flatnonzero(abs(y[:, 0]) < reach), np.flatnonzero(abs(x[0]) < reach)
    if plan.arms and rows.size and columns.size:
        part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        long, short = _turned(x[part], y[part], plan.squash_at, 1.0)
        flat_x, flat_y = _turned(long, short / plan.squash, -plan.squash_at, side)
        open_s = time_s + np.linspace(-0.5, 0.5, BLUR_STEPS) * plan.exposure / plan.rate_hz
        moments = np.unique(np.interp(open_s, spin.times_s, spin.turns))
        behind = picture[part].copy()
        picture[part] = 0
        for turns in moments:
            picture[part] += _crank(plan, behind, flat_x, flat_y, float(turns)) / moments.size
    if plan.hand and -HAND_S[0] < time_s - spin.start_s < HAND_S[1]:
        away = max(0.0, abs(time_s - spin.start_s - 0.1) - 0.25)
        hand = _between(np.hypot(x / side - 0.6 * plan.arm - 2 * away, y / side - away), 0.09, side)
        picture += hand * (170 - picture)


def _crank(plan: FilmPlan, behind: Floats, x: Floats, y: Floats, turns: float) -> Floats:
    """What is behind with the crank before it at one moment; x and y are shares of the picture's side."""
    side = float(min(plan.width, plan.height))
    along, across = _turned(x, y, turns, 1.0)
    bar = _between(across, plan.arm_width / 2, side)
    half = plan.arm / (2 if plan.arms == 1 else 1)
    seen = behind + bar * _between(along - (plan.arm - half), half, side) * (plan.arm_grey - behind)
    middle, half = plan.arm * (plan.tape[0] + plan.tape[1]) / 2, plan.arm * (plan.tape[1] - plan.tape[0]) / 2
    for way in (1.0, -1.0)[: plan.arms]:
        if plan.tape_grey is not None and (way > 0 or plan.both_taped):
            seen += bar * _between(way * along - middle, half, side) * (plan.tape_grey - seen)
        if plan.pedal_grey is not None:
            at_x, at_y = (way * plan.arm * f(2 * np.pi * turns) for f in (np.cos, np.sin))
            pedal = _between(x - at_x, PEDAL[0], side) * _between(y - at_y, PEDAL[1], side)
            seen += pedal * (plan.pedal_grey - seen)
    return seen


def write_film(
    path: Path,
    plan: FilmPlan,
    spin: Spin,
    *,
    sound: bool = True,
    quality: int = 25,
    metadata: Mapping[str, str] | None = None,
) -> Floats:
    """Write H.264 and AAC into MP4 or MOV, by the path's ending; without the sound if told so.

    Returns
    -------
    times_s : ndarray, shape (n,)
        Of the frames, counted from the sound's first sample.
    """
    import av

    times_s = frame_times(plan, len(spin.samples) / spin.sample_rate_hz)
    with av.open(str(path), "w", format=path.suffix[1:], options=dict(metadata or {})) as out:
        shown = out.add_stream("libx264", rate=Fraction(plan.rate_hz).limit_denominator(1001))
        shown.width, shown.height, shown.pix_fmt = plan.width, plan.height, "yuv420p"
        shown.options = {"preset": "veryfast", "crf": str(quality)}
        shown.codec_context.time_base = Fraction(1, CLOCK)
        heard = out.add_stream("aac", rate=spin.sample_rate_hz) if sound else None
        if heard is not None:
            heard.bit_rate, heard.layout = 128_000, "mono"
        for time_s, grey in zip(times_s, drawn(plan, times_s, spin), strict=True):
            picture = av.VideoFrame.from_ndarray(grey, format="gray").reformat(format="yuv420p")
            picture.pts, picture.time_base = round(time_s * CLOCK), Fraction(1, CLOCK)
            out.mux(shown.encode(picture))
        out.mux(shown.encode(None))
        if heard is not None:
            block = np.ascontiguousarray(spin.samples[np.newaxis, :], dtype=np.float32)
            frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
            frame.sample_rate, frame.time_base, frame.pts = (
                spin.sample_rate_hz,
                Fraction(1, spin.sample_rate_hz),
                0,
            )
            out.mux([*heard.encode(frame), *heard.encode(None)])
    return times_s
