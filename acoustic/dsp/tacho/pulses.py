"""Pulses once a turn on a channel of their own: from a switch, or from a microphone at a card."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacho.ticks import onsets
from acoustic.dsp.tacho.train import NOTHING, MarkTrain, reconstructed

STEP_S = 0.000125  # of the level: finer than any leading edge must be known
BASE_BLOCK_S, BASE_BLOCKS = 0.01, 31  # the base line is the median of a third of a second: no pulse moves it
# The two frequencies of public supply; hum is a line 20 dB over its surroundings, and drifts slowly over 10 s.
MAINS_HZ, HUM_HARMONICS, HUM_STANDS_OUT, HUM_PIECE_S = (50.0, 60.0), 12, 100.0, 10.0
LONGEST_S = 0.06  # from a pulse's start to its highest: it may bounce, or end higher behind a capacitor
TOGETHER_S = 0.1  # what comes sooner after a pulse belongs to it
# Judgement: a switch closes, and a card snaps, within a hundredth of a second.
EDGE_S = 0.01
LEADING = 0.4  # of the highest in a group: the first that reaches this is the pulse itself, not a strike before it
LEAST_RISE = 4.0  # times the usual level
# Cost: the fastest crank makes 4 a second; what is tried as the model of a pulse.
MOST_EVENTS, EVENTS_A_SECOND, REFERENCES = 120, 6.0, 8
ALIKE = float(np.log(3.0))  # pulses of one switch differ so much
# Without being asked, only pulses that can be nothing else are taken for marks.
FAR_ABOVE = 12.0  # times the usual level
FAR_ABOVE_JUDGED = 4.0  # times as far as anything of theirs in the judged channel
# Judgement: sound takes 10 ms for 3.4 m.
HEARD_NEAR_S = 0.01
MOST_OF_IT = 0.4  # of the recording
# Judgement: two microphones at one bearing share most of their sound, a switch and a microphone none.
LEAST_COHERENT = 0.25
# Judgement: what shows half as high in the judged channel, and shares half its power, is heard there.
AS_HIGH, COHERENT = 0.5, 0.5
# Judgement: sound takes 5 ms for 1.7 m, more than between a card and its microphone.
HEARD_WITHIN_S = 0.005
HEARD = 4.0  # standard deviations over other angles of the crank


class Pulses(NamedTuple):
    """Events on a channel.

    Attributes
    ----------
    times_s : ndarray, shape (k,)
        Leading edges [s].
    rise : ndarray, shape (k,)
        Highest level of each, over the channel's usual level.
    """

    times_s: Floats
    rise: Floats


def find_events(signal: Floats, sample_rate_hz: float, *, beside: Floats | None = None) -> Pulses:
    """Find what rises far above a channel's usual level, whichever way it goes.

    Parameters
    ----------
    signal : ndarray, shape (n,)
        May stand off zero, drift and hum.
    sample_rate_hz : float
    beside : ndarray, shape (n,), or None
        The channel whose cross-talk is taken out.

    Returns
    -------
    Pulses
        The highest 120, or six a second, in order of time.
    """
    hop = max(1, round(STEP_S * sample_rate_hz))
    steps = signal.size // hop
    step_s = hop / sample_rate_hz
    if steps * step_s < 1.0:
        return Pulses(np.empty(0), np.empty(0))
    if beside is not None:
        signal = signal - _cross_talk(signal, beside)
    blocks = signal[: steps * hop].reshape(steps, hop)
    mean = blocks.mean(axis=1)
    slow = _hum(mean - np.median(mean), step_s)
    slow += _running_median(mean - slow, max(1, round(BASE_BLOCK_S / step_s)), BASE_BLOCKS)
    level = np.sqrt(np.mean((blocks - slow[:, np.newaxis]) ** 2, axis=1))
    usual = _running_median(level, max(1, round(0.05 / step_s)), 21)
    rise = level / np.maximum(usual, 1e-5 * max(float(level.max()), 1e-12))
    return _leading_edges(rise, step_s)


def _cross_talk(signal: Floats, beside: Floats) -> Floats:
    """The other channel's share in a channel's usual samples: those of pulses that crossed over do not count."""
    away, other = signal - np.median(signal), beside - np.median(beside)
    usual = np.abs(away) <= 3 * max(float(np.median(np.abs(away))), 1e-12)
    power = float(other[usual] @ other[usual])
    share: Floats = other * (float(away[usual] @ other[usual]) / power if power > 0 else 0.0)
    return share


def _running_median(values: Floats, block: int, width: int) -> Floats:
    """Median over `width` blocks about each, linear in between."""
    count = max(1, values.size // block)
    coarse = np.median(values[: count * block].reshape(count, -1), axis=1)
    padded = np.pad(coarse, width // 2, mode="reflect" if count > width // 2 else "edge")
    median = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)
    at = (np.arange(count) + 0.5) * block - 0.5
    return np.interp(np.arange(values.size), at, median)


def _hum(mean: Floats, step_s: float) -> Floats:
    """The part of a signal that is the mains' harmonics, fitted anew every ten seconds."""
    pieces = max(1, round(mean.size * step_s / HUM_PIECE_S))
    return np.concatenate([_steady_hum(piece, step_s) for piece in np.array_split(mean, pieces)])


def _steady_hum(mean: Floats, step_s: float) -> Floats:
    """Harmonics of the mains frequency that carries most; nothing where none stands out."""
    coarse = max(1, round(0.001 / step_s))
    slow = mean[: mean.size // coarse * coarse].reshape(-1, coarse).mean(axis=1)
    size = 1 << (8 * slow.size - 1).bit_length()
    power = np.abs(np.fft.rfft(slow * np.hanning(slow.size), size)) ** 2
    bin_hz = 1 / (size * coarse * step_s)
    best_hz, most = 0.0, 0.0
    for mains_hz in MAINS_HZ:
        near = slice(round(mains_hz * 0.99 / bin_hz), round(mains_hz * 1.01 / bin_hz) + 1)
        around = power[round(mains_hz * 0.9 / bin_hz) : round(mains_hz * 1.1 / bin_hz)]
        if power[near].max() > max(most, HUM_STANDS_OUT * float(np.median(around))):
            best_hz, most = (near.start + int(power[near].argmax())) * bin_hz, float(power[near].max())
    if best_hz == 0.0:
        return np.zeros(mean.size)
    phase = 2 * np.pi * best_hz * step_s * np.outer(np.arange(mean.size), np.arange(1, HUM_HARMONICS + 1))
    shapes = np.concatenate([np.cos(phase), np.sin(phase)], axis=1)
    hum: Floats = shapes @ np.linalg.solve(shapes.T @ shapes, shapes.T @ mean)
    return hum


def _leading_edges(rise: Floats, step_s: float) -> Pulses:
    """The highest of every tenth of a second, by the edge that leads to it."""
    reach, apart = round(LONGEST_S / step_s), round(TOGETHER_S / step_s)
    most = max(MOST_EVENTS, round(EVENTS_A_SECOND * rise.size * step_s))
    starts = np.arange(0, rise.size, reach)
    tops = np.maximum.reduceat(rise, starts)
    taken = np.zeros(rise.size + 2 * apart, dtype=bool)
    found: list[tuple[int, float]] = []
    for start in starts[np.argsort(-tops, kind="stable")]:
        peak = int(start + rise[start : start + reach].argmax())
        if rise[peak] < LEAST_RISE or len(found) == most:
            break
        before = max(0, peak - reach)
        first = before + int(np.argmax(rise[before : peak + 1] >= LEADING * rise[peak]))
        # The edge is where it stood half as high as where it leads to.
        summit = float(rise[first : min(peak + 1, first + max(2, round(EDGE_S / step_s)))].max())
        below = np.flatnonzero(rise[before : first + 1] < summit / 2)
        edge = before + int(below[-1]) + 1 if below.size else before
        if not taken[edge + apart]:
            taken[edge : edge + 2 * apart + 1] = True
            found.append((edge, float(rise[peak])))
    found.sort()
    return Pulses((np.array([edge for edge, _ in found]) + 0.5) * step_s, np.array([top for _, top in found]))


def find_pulses(signal: Floats, judged: Floats, sample_rate_hz: float) -> MarkTrain:
    """Find the train of once-a-turn pulses on a channel.

    Parameters
    ----------
    signal, judged : ndarray, shape (n,)
        The channel, and the one that is judged: its cross-talk is no pulse.
    sample_rate_hz : float

    Returns
    -------
    MarkTrain
        The likeliest, timed by leading edges; no marks where nothing is a train.
        Where it does not stand out, it may be chance.
    """
    events = find_events(signal, sample_rate_hz, beside=judged)
    best = NOTHING
    for reference in np.argsort(-events.rise)[:REFERENCES]:
        unlike = np.abs(np.log(events.rise / events.rise[reference])) / ALIKE
        worth = np.clip(1.5 - unlike, -1, 1)
        near = worth > -0.5
        train = reconstructed(events.times_s[near], worth[near], events.times_s[worth >= 0])
        best = max(best, train, key=lambda train: train.evidence)
    return best


def is_same_sound(train: MarkTrain, signal: Floats, judged: Floats, sample_rate_hz: float) -> bool:
    """Tell whether a channel only records what the judged one does, as the other microphone of a phone does.

    Parameters
    ----------
    train : MarkTrain
        What was found on the channel.
    signal, judged : ndarray, shape (n,)
    sample_rate_hz : float

    Returns
    -------
    bool
    """
    rise = _rise_at(find_events(signal, sample_rate_hz), train.times_s)
    in_judged = _rise_at(find_events(judged, sample_rate_hz), train.times_s)
    as_high = np.median(in_judged / np.maximum(rise, 1e-9)) > AS_HIGH
    return bool(as_high) and _coherence(signal, judged, sample_rate_hz, train.times_s) > COHERENT


def is_unmistakable(train: MarkTrain, signal: Floats, judged: Floats, sample_rate_hz: float) -> bool:
    """Tell whether nobody need say that a channel holds marks: it can be nothing else.

    Parameters
    ----------
    train : MarkTrain
        What was found on the channel.
    signal, judged : ndarray, shape (n,)
        The channel, and the one that is judged.
    sample_rate_hz : float

    Returns
    -------
    bool
        False for a channel that shares the judged one's sound, or whose pulses stand out there too.
    """
    if not train.stands_out or train.missed > train.turns[-1] / 10:
        return False
    if train.times_s[-1] - train.times_s[0] < MOST_OF_IT * signal.size / sample_rate_hz:
        return False
    events = find_events(signal, sample_rate_hz, beside=judged)
    marks = np.abs(events.times_s[:, np.newaxis] - train.times_s).min(axis=1) < STEP_S
    lowest = float(events.rise[marks].min(initial=np.inf))
    others = np.count_nonzero(events.rise[~marks] > lowest / 2)
    if lowest < FAR_ABOVE or others > train.times_s.size / 10:
        return False
    in_judged = _rise_at(find_events(judged, sample_rate_hz), events.times_s[marks])
    if np.median(in_judged / events.rise[marks]) * FAR_ABOVE_JUDGED > 1:
        return False
    return _coherence(signal, judged, sample_rate_hz, train.times_s) < LEAST_COHERENT


def _rise_at(events: Pulses, times_s: Floats) -> Floats:
    """Rise of the event nearest to each time, 0 where there is none within a hundredth of a second."""
    same = np.abs(events.times_s - times_s[:, np.newaxis]) < HEARD_NEAR_S
    rise: Floats = np.where(same, events.rise, 0.0).max(axis=1, initial=0.0)
    return rise


def _coherence(signal: Floats, judged: Floats, sample_rate_hz: float, marks_s: Floats) -> float:
    """How much of a channel between the marks is the other one's sound, 0 to 1, in its most alike octave."""
    size = 1 << round(np.log2(0.05 * sample_rate_hz))
    count = signal.size // size
    middles_s = (np.arange(count) + 0.5) * size / sample_rate_hz
    clear = np.abs(middles_s[:, np.newaxis] - marks_s).min(axis=1) > size / sample_rate_hz + TOGETHER_S
    window = np.hanning(size)
    one, other = (
        np.fft.rfft(each[: count * size].reshape(count, size)[clear] * window, axis=1) for each in (signal, judged)
    )
    cross = np.abs(np.sum(one * other.conj(), axis=0)) ** 2
    both = np.sum(np.abs(one) ** 2, axis=0) * np.sum(np.abs(other) ** 2, axis=0)
    edges = np.round(np.array([125, 250, 500, 1000, 2000]) * size / sample_rate_hz).astype(int)
    return max(
        float(np.sum(cross[low:high]) / max(np.sum(both[low:high]), 1e-300)) for low, high in pairwise(edges)
    )


def also_heard(bank: BandBank, train: MarkTrain) -> bool:
    """Tell whether the marks sound in the judged channel too.

    Parameters
    ----------
    bank : BandBank
        Of the judged channel.
    train : MarkTrain

    Returns
    -------
    bool
        Whether more begins to sound at the marks than at any other angle of the crank.
    """
    height = onsets(bank).height
    angles = np.arange(0.1, 0.95, 0.03)
    turns = train.turns.astype(float)
    inner = turns[:-1][np.diff(train.turns) == 1]
    at = [_usual_rise(height, bank, train.times_s)]
    at += [_usual_rise(height, bank, np.interp(inner + angle, turns, train.times_s)) for angle in angles]
    others = np.array(at[1:])
    return bool(at[0] > others.mean() + HEARD * others.std())


def _usual_rise(height: Floats, bank: BandBank, times_s: Floats) -> float:
    """Mean of the highest onset within a few milliseconds of each time, none counting for more than 20."""
    at = np.round((times_s - bank.first_s) / bank.frame_s).astype(np.intp)
    reach = max(1, round(HEARD_WITHIN_S / bank.frame_s))
    near = np.clip(at[:, np.newaxis] + np.arange(-reach, reach + 1), 0, height.size - 1)
    return float(np.minimum(height[near].max(axis=1), 20.0).mean())
