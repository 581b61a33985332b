"""What sound bearings show, and so what counts as more than they show.

The one place for these numbers. A sound bearing is not silent: waviness of its
rings and unequal balls modulate its hiss at the ball passes, so that lines are
found with certainty in a clean recording. Damage is what is stronger than that.

`EVENT_LAW_DB` holds, for each part, mean and spread of the event power that sound
bearings show: 10 log10 of `acoustic.core.severity.strike_power` over the running
level. It was read off 160 simulated sound bearings whose hiss is modulated 0 to 10 %
in amplitude at the ball passes, half of them also at twice their pace, in rooms with talk
and knocks, after AAC at 64 and Opus at 32 kbit/s, automatic gain, a gate, clipping and at
16 kHz: of 128 lines beyond doubt, most showed no events at all, one in ten more than
-23.3 dB, the strongest but one -20.9 dB, one after a gate -15.5 dB. (Measures that drop
fewer of the strongest harmonics take a smooth swell for events: one that drops a single
one of six left one in ten above -14 dB.)
The depths are invented: no published table of waviness heard through air at hand speed was
found.

The chain, jockey wheel and hub are held to the rings' law, so that one strength is
needed of all strikes: how loudly a clean chain runs was not measured.

`COAST_LAW` and `CADENCE_LAW` are Gumbel laws, location and scale, of the surprise that
the sharpest beat reaches by luck in a search over all courses of the speed: simulated
bearings without any line, with talk and knocks, half of them with automatic gain.
"""

from __future__ import annotations

import math

EVENT_LAW_DB = {
    "outer_raceway": (-25.5, 2.4),
    "inner_raceway": (-25.5, 2.4),
    "ball": (-25.5, 2.4),
    "cage": (-18.0, 4.0),
    "chain": (-25.5, 2.4),
    "jockey": (-25.5, 2.4),
    "hub": (-25.5, 2.4),
}
COAST_LAW = (12.2, 1.5)
CADENCE_LAW = (7.0, 2.2)

# A finding counts as detected at this chance or below. Six conditions are judged on
# their own, so that a sound bearing is called damaged about once in a hundred times at most.
DETECTION_CHANCE = 0.002


def chance_of_events(part: str, severity_db: float) -> float:
    """Chance that a sound bearing's own lines reach a severity.

    Parameters
    ----------
    part : str
        'outer_raceway', 'inner_raceway', 'ball' or 'cage'; 'chain', 'jockey' or 'hub'.
    severity_db : float
        Event power over running noise [dB].

    Returns
    -------
    float
        Upper tail of a normal law in dB.
    """
    return _upper_tail(severity_db, *EVENT_LAW_DB[part])


def chance_of_coast(surprise: float) -> float:
    """Chance that the sharpest beat over all run-downs surprises as much where there is none.

    Parameters
    ----------
    surprise : float
        As `acoustic.core.coast.find_coast` reaches it [nats].

    Returns
    -------
    float
    """
    return _gumbel_tail(surprise, *COAST_LAW)


def chance_of_cadence(surprise: float) -> float:
    """The same for `acoustic.core.cadence.find_cadence`."""
    return _gumbel_tail(surprise, *CADENCE_LAW)


def _gumbel_tail(value: float, location: float, scale: float) -> float:
    return -math.expm1(-math.exp(min(700.0, -(value - location) / scale)))


def _upper_tail(value: float, mean: float, spread: float) -> float:
    return 0.5 * math.erfc((value - mean) / (spread * math.sqrt(2)))
