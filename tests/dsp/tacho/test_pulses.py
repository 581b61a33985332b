"""Pulses on a channel of their own: found by their leading edges, and told from a second microphone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.tacho.pulses import (
    FAR_ABOVE,
    Pulses,
    also_heard,
    find_events,
    find_pulses,
    is_same_sound,
    is_unmistakable,
)

RATE_HZ = 8_000.0
LASTING_S = 10.0
MARKS_S = 1.0 + np.cumsum(0.55 * 1.04 ** np.arange(10))  # a crank that slows by 4 per cent a turn
Floats = NDArray[np.float64]


def noise(level: float, seed: int = 1) -> Floats:
    return level * np.random.default_rng(seed).standard_normal(int(LASTING_S * RATE_HZ))


def pulsed(marks_s: Floats = MARKS_S, *, height: float = 0.5, lasting_s: float = 0.01) -> Floats:
    """Rectangles that begin at the marks, in noise."""
    channel = noise(0.002)
    for mark_s in marks_s:
        first = round(mark_s * RATE_HZ)
        channel[first : first + round(lasting_s * RATE_HZ)] += height
    return channel


JUDGED = noise(0.1, seed=2)


def highest(events: Pulses) -> Floats:
    """Times of the ten highest events: noise makes small ones of its own."""
    return np.sort(events.times_s[np.argsort(-events.rise)[: MARKS_S.size]])


class TestEvents:
    @pytest.mark.parametrize("height", [0.5, -0.5, 0.05])
    @pytest.mark.parametrize("offset", [0.0, 0.3])
    def test_leading_edges_whichever_way_they_go(self, height: float, offset: float) -> None:
        """Each to a millisecond, on any base line."""
        events = find_events(pulsed(height=height) + offset, RATE_HZ)
        assert highest(events) == pytest.approx(MARKS_S, abs=0.001)

    @pytest.mark.parametrize("mains_hz", [50.0, 60.0])
    def test_hum_as_high_as_the_pulses_is_taken_out(self, mains_hz: float) -> None:
        at_s = np.arange(int(LASTING_S * RATE_HZ)) / RATE_HZ
        hum = 0.3 * np.sin(2 * np.pi * mains_hz * at_s) + 0.1 * np.sin(6 * np.pi * mains_hz * at_s)
        events = find_events(pulsed(height=0.3) + hum, RATE_HZ)
        assert highest(events) == pytest.approx(MARKS_S, abs=0.001)

    def test_a_switch_that_bounces_counts_once(self) -> None:
        bounced = pulsed() + pulsed(MARKS_S + 0.02) - noise(0.002)
        assert highest(find_events(bounced, RATE_HZ)) == pytest.approx(MARKS_S, abs=0.001)

    def test_nothing_in_plain_noise_or_less_than_a_second(self) -> None:
        assert find_events(noise(0.1), RATE_HZ).rise.max() < FAR_ABOVE
        assert find_events(pulsed()[: int(0.9 * RATE_HZ)], RATE_HZ).times_s.size == 0


class TestTrain:
    def test_every_mark_and_its_turn(self) -> None:
        train = find_pulses(pulsed(), JUDGED, RATE_HZ)
        assert train.times_s == pytest.approx(MARKS_S, abs=0.001)
        assert train.turns.tolist() == list(range(MARKS_S.size))
        assert train.stands_out

    def test_one_missing_and_one_false(self) -> None:
        marks_s = np.sort(np.append(np.delete(MARKS_S, 4), MARKS_S[7] + 0.31))
        train = find_pulses(pulsed(marks_s), JUDGED, RATE_HZ)
        assert train.times_s == pytest.approx(np.delete(MARKS_S, 4), abs=0.001)
        assert train.turns.tolist() == [0, 1, 2, 3, 5, 6, 7, 8, 9]

    def test_the_judged_channel_s_cross_talk_is_none(self) -> None:
        """A quarter of the judged sound, with its own clicks, in the channel."""
        clicking = JUDGED + 5 * pulsed(np.arange(1.2, 9.0, 0.37), lasting_s=0.002)
        train = find_pulses(pulsed() + 0.25 * clicking, clicking, RATE_HZ)
        assert train.times_s == pytest.approx(MARKS_S, abs=0.001)

    def test_events_at_random_do_not_stand_out(self) -> None:
        random_s = np.sort(np.random.default_rng(3).uniform(1, 9, 14))
        assert not find_pulses(pulsed(random_s), JUDGED, RATE_HZ).stands_out


class TestUnasked:
    def test_a_channel_of_marks_alone_is_unmistakable(self) -> None:
        channel = pulsed()
        assert is_unmistakable(find_pulses(channel, JUDGED, RATE_HZ), channel, JUDGED, RATE_HZ)

    @pytest.mark.parametrize("why", ["second microphone", "faint", "much else"])
    def test_others_are_not(self, why: str) -> None:
        heard = JUDGED + pulsed(height=3.0)
        channel, judged = {
            "second microphone": (0.7 * heard + noise(0.01, 5), heard),
            "faint": (pulsed(height=0.012), JUDGED),
            "much else": (pulsed() + pulsed(np.arange(1.1, 9.0, 0.43)), JUDGED),
        }[why]
        train = find_pulses(channel, judged, RATE_HZ)
        assert not is_unmistakable(train, channel, judged, RATE_HZ)

    def test_the_same_sound_in_both_is_told(self) -> None:
        heard = JUDGED + pulsed(height=3.0)
        other = 0.7 * heard + noise(0.01, 5)
        train = find_pulses(pulsed(), JUDGED, RATE_HZ)
        assert is_same_sound(train, other, heard, RATE_HZ)
        channel = pulsed()
        assert not is_same_sound(train, channel, JUDGED, RATE_HZ)


@pytest.mark.parametrize(("clicks", "heard"), [(True, True), (False, False)])
def test_whether_the_marks_sound_in_the_judged_channel(clicks: bool, heard: bool) -> None:
    rate_hz = 48_000
    rng = np.random.default_rng(7)
    judged = 0.1 * rng.standard_normal(int(LASTING_S) * rate_hz)
    if clicks:
        for mark_s in MARKS_S:
            first = round(mark_s * rate_hz)
            judged[first : first + 400] += rng.standard_normal(400) * np.exp(-np.arange(400) / 80)
    bank: Any = band_bank(judged, sample_rate_hz=rate_hz, top_hz=20_000.0)
    train = find_pulses(pulsed(), JUDGED, RATE_HZ)
    assert also_heard(bank, train) is heard
