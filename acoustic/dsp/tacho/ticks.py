"""A once-a-turn tick in the recording: which of all short sounds are the card's, told by sound and by rhythm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from acoustic.dsp.arrays import Floats, Ints
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacho.train import (
    LEAST_MARKS,
    NOTHING,
    MarkTrain,
    evidence,
    mended,
    smooth_path,
    unsure_ends,
)
from acoustic.dsp.transients import peaks_of, standing_out

# Judgement: a card clicks far above; below, hum, voices and the push are loudest.
LOWEST_HZ = 700.0
WIDTHS = (3, 6)  # bands taken together, besides all
AFTER_S, BEFORE_S, GAP_S = 0.003, 0.014, 0.001  # a tick's first part, what it is compared with, the gap between
# Cost: twice what the fastest crank makes, and an end to it.
CANDIDATES_A_SECOND, MOST_CANDIDATES = 8.0, 2000
# Cost: half as many again as the fastest crank makes.
PEAKS_A_SECOND = 6.0
# Judgement: two events nearer than this are one; ticks of one card rebound for twice as long.
APART_S, TICKS_APART_S = 0.004, 0.008
GUESSES = 16  # templates, each way of centring
ON_A_PATH, ON_A_PATH_A_SECOND = 44, 2.2  # events that a path is searched through
TAKEN_ON = 8  # guesses that are refined
# Resolution: a template settles in two rounds; one that lost a quarter of its evidence went astray.
ROUNDS, ASTRAY = 2, 0.75
KIN_PRICE = 3.0  # nats
# Judgement: a card that snaps back rebounds for as long.
BOUNCE_S = 0.06
ENOUGH = 30.0  # nats: no other guess is tried
RISING = 1.5  # robust standard deviations: nine frames in ten of steady noise lie below
# Judgement: how long a tick rings, and how far off its time may be by its loudest frame; settles in three
# rounds.
ALIGN_S, MOST_LAG_S, ALIGNMENTS = 0.012, 0.003, 3


class Onsets(NamedTuple):
    """What rises at once, in every frame of a bank.

    Attributes
    ----------
    sound : ndarray, shape (bands, frames)
        ln(1 + power / background level) just after the frame's start, half of it less that just before.
    height : ndarray, shape (frames,)
        How far the rise stands out, in robust standard deviations.
    """

    sound: Floats
    height: Floats


def onsets(bank: BandBank) -> Onsets:
    """Measure in every frame how much louder the next few milliseconds are than those before.

    Parameters
    ----------
    bank : BandBank

    Returns
    -------
    Onsets
    """
    rows = bank.mid_hz >= min(LOWEST_HZ, float(bank.mid_hz[-1]))
    whole = np.cumsum(bank.power[rows] / bank.background[rows], axis=1)
    whole = np.concatenate([np.zeros((whole.shape[0], 1)), whole], axis=1)
    after = _mean_level(whole, 0, max(1, round(AFTER_S / bank.frame_s)))
    gap = max(1, round(GAP_S / bank.frame_s))
    rise = after - _mean_level(whole, -gap - max(1, round(BEFORE_S / bank.frame_s)), -gap)
    return Onsets((rise + after) / 2, standing_out(rise, WIDTHS))


def _mean_level(whole: Floats, start: int, stop: int) -> Floats:
    """ln(1 + mean) over the frames from `start` to `stop` about each, from the running sum."""
    frames = np.arange(whole.shape[1] - 1)
    first = np.clip(frames + start, 0, frames.size)
    last = np.clip(frames + stop, 0, frames.size)
    mean: Floats = np.log1p((whole[:, last] - whole[:, first]) / np.maximum(last - first, 1))
    return mean


def _peaks(values: Floats, reach: int, most: int) -> Ints:
    """The highest local maxima, in order of place."""
    peaks = peaks_of(values, reach)
    return np.sort(peaks[np.argsort(values[peaks])[-most:]])


@dataclass(frozen=True, slots=True, eq=False)
class _Guess:
    """A train through some events, and which of them it takes."""

    train: MarkTrain
    members: Ints
    alike_s: Floats


class _Kind:
    """What a tick sounds like against everything else: two normal laws of the spectrum."""

    def __init__(self, ticks: Floats, others: Floats) -> None:
        self.ticks, self.others = ticks, _law(others, 8)
        self.law = _law(ticks, 14)

    def odds(self, sound: Floats, *, without: int | None = None) -> Floats:
        """Log odds of each spectrum (bands, k) to be a tick, perhaps with one of the ticks not learnt from."""
        law = self.law if without is None else _law(np.delete(self.ticks, without, axis=1), 14)
        return _log_density(sound, law) - _log_density(sound, self.others)

    def own_odds(self) -> Floats:
        """Each tick's odds as the others tell them, since a law fits best what it was learnt from."""
        count = self.ticks.shape[1]
        return np.array([float(self.odds(self.ticks[:, [k]], without=k)[0]) for k in range(count)])


def _law(sound: Floats, doubt: float) -> tuple[Floats, Floats]:
    """Mean and covariance of spectra (bands, k), drawn to a round one as by `doubt` more of them."""
    bands, count = sound.shape
    mean = sound.mean(axis=1)
    away = sound - mean[:, np.newaxis]
    covariance = away @ away.T / max(1, count - 1)
    round_one = np.eye(bands) * max(0.15, float(np.trace(covariance)) / bands)
    return mean, (count * covariance + doubt * round_one) / (count + doubt) * (1 + 1 / count)


def _log_density(sound: Floats, law: tuple[Floats, Floats]) -> Floats:
    mean, covariance = law
    away = sound - mean[:, np.newaxis]
    density: Floats = -0.5 * (away * np.linalg.solve(covariance, away)).sum(axis=0)
    return density - 0.5 * float(np.linalg.slogdet(covariance)[1])


def find_ticks(bank: BandBank) -> MarkTrain:
    """Find the train that a card on the crank makes, among everything else that clicks.

    Parameters
    ----------
    bank : BandBank
        Frames of about 1 ms.

    Returns
    -------
    MarkTrain
        The likeliest, with frame times; no marks where nothing is a train at all.
        Where it does not stand out, it may be chance, or a defect's strikes.

    Notes
    -----
    One short sound after another is taken for a tick, and the smoothest train of
    those that sound like it is found. From the best trains it is learnt what sets
    the ticks' spectrum off from all other sounds and from the background; then
    all frames are searched again with that knowledge, so that ticks too faint to
    stand out by themselves are found and a defect's strikes are passed over.
    """
    heard = onsets(bank)
    lasting_s = heard.height.size * bank.frame_s
    most = min(MOST_CANDIDATES, max(LEAST_MARKS, int(CANDIDATES_A_SECOND * lasting_s)))
    at = _peaks(heard.height, max(1, round(APART_S / bank.frame_s)), most)
    if at.size < LEAST_MARKS:
        return NOTHING
    guesses = _guesses(bank.times_s[at], heard.sound[:, at], heard.height[at])
    best = NOTHING
    for guess in _best_of_each(guesses):
        best = max(best, _refined(bank, heard, at, guess), key=lambda train: train.evidence)
        if best.evidence > ENOUGH:
            break
    return best


def _best_of_each(guesses: list[_Guess]) -> list[_Guess]:
    """The best guesses, none of them mostly another one again."""
    chosen: list[_Guess] = []
    for guess in sorted(guesses, key=lambda guess: -guess.train.evidence):
        known = [np.intersect1d(guess.members, other.members).size for other in chosen]
        if max(known, default=0) <= 0.8 * guess.members.size:
            chosen.append(guess)
        if len(chosen) == TAKEN_ON:
            break
    return chosen


def _guesses(times_s: Floats, sound: Floats, height: Floats) -> list[_Guess]:
    """Trains of events that sound like one of them, for the loudest of each kind."""
    found = []
    # Against the usual event a tick stands out among strikes; against silence, where most events are ticks.
    for centre, alike, price in ((np.median(sound, axis=1), 0.8, 0.5), (np.zeros(sound.shape[0]), 0.93, 0.8)):
        away = sound - centre[:, np.newaxis]
        away /= np.maximum(np.linalg.norm(away, axis=0), 1e-9)
        likeness = away.T @ away
        for template in _unlike(likeness, height, alike):
            worth = np.clip((likeness[template] - price) / (1 - price), -1, 1)
            louder = np.abs(np.log(np.maximum(height, 1e-3) / max(float(height[template]), 1e-3)))
            worth -= 0.5 * np.clip(louder - 0.5, 0, 2)
            guess = _train_through(times_s, worth)
            if guess is not None:
                found.append(guess)
    return found


def _unlike(likeness: Floats, height: Floats, alike: float) -> list[int]:
    """The loudest events, each unlike the ones before it."""
    chosen: list[int] = []
    for event in np.argsort(height)[::-1]:
        if not chosen or likeness[event, chosen].max() <= alike:
            chosen.append(int(event))
        if len(chosen) == GUESSES:
            break
    return chosen


def _train_through(times_s: Floats, worth: Floats) -> _Guess | None:
    """The smoothest train of the worthiest events."""
    most = max(ON_A_PATH, round(ON_A_PATH_A_SECOND * float(times_s[-1] - times_s[0])))
    near = np.sort(np.argsort(-worth)[:most])
    near = near[worth[near] > -0.5]
    if near.size < LEAST_MARKS:
        return None
    path, turns = smooth_path(times_s[near], worth[near])
    if path.size < LEAST_MARKS:
        return None
    alike_s = times_s[worth >= _least_alike(worth[near][path])]
    marks_s = times_s[near][path]
    return _Guess(MarkTrain(marks_s, turns, evidence(marks_s, turns, alike_s)), near[path], alike_s)


def _mended(times_s: Floats, guess: _Guess) -> _Guess:
    """The guess without what is off its course, and with what lies on it before and after."""
    marks_s, turns = mended(guess.train.times_s, guess.train.turns, guess.alike_s)
    if marks_s.size < LEAST_MARKS:
        return replace(guess, train=NOTHING)
    train = MarkTrain(marks_s, turns, evidence(marks_s, turns, guess.alike_s))
    return _Guess(train, np.searchsorted(times_s, marks_s), guess.alike_s)


def _refined(bank: BandBank, heard: Onsets, at: Ints, guess: _Guess) -> MarkTrain:
    """Learn the ticks' sound from a guessed train, and find the train again in all frames."""
    sound, rising = heard.sound, np.flatnonzero(heard.height > RISING)
    background = sound[:, :: max(1, sound.shape[1] // 200)]
    reach = max(1, round(TICKS_APART_S / bank.frame_s))
    most = max(LEAST_MARKS, int(PEAKS_A_SECOND * sound.shape[1] * bank.frame_s))
    best, times_s = NOTHING, bank.times_s
    guess = _mended(times_s[at], guess)
    ticks_at = at[guess.members]
    for _ in range(ROUNDS):
        if ticks_at.size < LEAST_MARKS:
            break
        others_at = at[np.abs(at[:, np.newaxis] - ticks_at).min(axis=1) > reach]
        kind = _Kind(sound[:, ticks_at], np.concatenate([sound[:, others_at], background], axis=1))
        odds = np.full(sound.shape[1], -np.inf)
        odds[rising] = kind.odds(sound[:, rising])
        own = kind.own_odds()
        odds[ticks_at] = np.minimum(odds[ticks_at], own)
        peaks = _peaks(odds, reach, most)
        worth = np.clip((odds[peaks] / max(3.0, float(np.median(own))) - 0.35) / 0.65, -1, 1)
        found = _train_through(times_s[peaks], worth)
        if found is None:
            break
        found = _mended(times_s[peaks], found)
        found = _less_kin(bank, sound, at, found, peaks[found.members])
        # What was learnt later is learnt better, unless it went astray.
        if found.train.evidence < ASTRAY * best.evidence:
            break
        best, ticks_at = found.train, peaks[found.members]
    return best


def _less_kin(bank: BandBank, sound: Floats, at: Ints, guess: _Guess, ticks_at: Ints) -> _Guess:
    """Count against a train the events that sound like its members, however loud, and are none.

    A card's flicks are all that sound so, and what follows at once, when it bounces; of a defect's
    strikes, those that are not as loud as the ones picked, or come before and after, sound the same.
    """
    if guess.train.times_s.size == 0:
        return guess
    ticks = sound[:, ticks_at] / np.linalg.norm(sound[:, ticks_at], axis=0)
    mean = ticks.mean(axis=1)
    likeness = mean @ (sound[:, at] / np.maximum(np.linalg.norm(sound[:, at], axis=0), 1e-9))
    alike = at[likeness >= np.quantile(mean @ ticks, 0.25)]
    alike_s = bank.times_s[alike]
    start_s, stop_s = unsure_ends(guess.train.times_s, guess.train.turns)
    unsure = ((alike_s > start_s) & (alike_s < guess.train.times_s[0])) | (
        (alike_s < stop_s) & (alike_s > guess.train.times_s[-1])
    )
    bounce = BOUNCE_S / bank.frame_s
    kin = np.count_nonzero((np.abs(alike[:, np.newaxis] - ticks_at).min(axis=1) > bounce) & ~unsure)
    too_many = max(0.0, kin - max(2.0, ticks_at.size / 4))
    train = replace(guess.train, evidence=guess.train.evidence - KIN_PRICE * too_many)
    return replace(guess, train=train)


def _least_alike(worth: Floats) -> float:
    """As alike as most of a train's own members: what such events do besides tells whether it is a train."""
    return max(-0.3, min(0.25, float(np.quantile(worth, 0.25))))


def tick_onsets(sound: Floats, sample_rate_hz: float, times_s: Floats) -> Floats:
    """Sharpen the times of ticks to where each begins to sound, all by the same rule.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    sample_rate_hz : float
    times_s : ndarray, shape (k,)
        Times to 3 ms [s].

    Returns
    -------
    ndarray, shape (k,)

    Notes
    -----
    Each envelope, of the frequencies in which the ticks stand out, is laid over the
    mean of all; where that mean has risen half way to its top is the onset of each.
    So a faint tick is no later than a loud one, as it would be by any fixed threshold.
    """
    reach, most = round(ALIGN_S * sample_rate_hz), max(1, round(MOST_LAG_S * sample_rate_hz))
    padded = np.pad(sound, 2 * reach)
    at = np.clip(np.round(times_s * sample_rate_hz).astype(np.intp), 0, sound.size - 1)
    envelopes = _envelopes(padded[at[:, np.newaxis] + np.arange(4 * reach)], sample_rate_hz)
    # Every lag's view of the middle of each envelope.
    views = np.lib.stride_tricks.sliding_window_view(envelopes, 2 * reach, axis=1)
    views = views[:, reach - most : reach + most + 1]
    lag = np.full(times_s.size, most)
    every = np.arange(times_s.size)
    for _ in range(ALIGNMENTS):
        mean = views[every, lag].mean(axis=0)
        lag = (views @ (mean - mean.mean())).argmax(axis=1)
    mean = views[every, lag].mean(axis=0)
    top = reach // 2 + int(mean[reach // 2 : reach + reach // 2].argmax())
    floor = float(np.median(mean[: reach // 2]))
    below = np.flatnonzero(mean[: top + 1] <= floor + 0.5 * (mean[top] - floor))
    onset = int(below[-1]) + 1 if below.size else top
    sharpened: Floats = (at + lag - most + onset - reach) / sample_rate_hz
    return sharpened


def _envelopes(pieces: Floats, sample_rate_hz: float) -> Floats:
    """Level of each piece about its middle, in the frequencies that rise there, each with the same top."""
    size = pieces.shape[1]
    half = size // 2
    before, after = pieces[:, : half - half // 8], pieces[:, half - half // 8 : half + half // 4]
    power_before = np.mean(np.abs(np.fft.rfft(before, size, axis=1)) ** 2, axis=0) / before.shape[1]
    power_after = np.mean(np.abs(np.fft.rfft(after, size, axis=1)) ** 2, axis=0) / after.shape[1]
    box = np.ones(max(1, round(200.0 * size / sample_rate_hz)))
    risen = np.maximum(np.convolve(power_after, box, mode="same"), 1e-30)
    ratio = np.convolve(power_before, box, mode="same") / risen
    filtered = np.fft.irfft(np.fft.rfft(pieces, axis=1) * np.maximum(1 - ratio, 0), size, axis=1)
    smooth = max(1, round(0.0005 * sample_rate_hz))
    whole = np.cumsum(np.pad(filtered**2, ((0, 0), (smooth // 2 + 1, smooth - smooth // 2 - 1))), axis=1)
    level = np.sqrt(np.maximum(whole[:, smooth:] - whole[:, :-smooth], 0))
    level = np.pad(level, ((0, 0), (0, size - level.shape[1])), mode="edge")
    top: Floats = level / np.maximum(level.max(axis=1, keepdims=True), 1e-30)
    return top
