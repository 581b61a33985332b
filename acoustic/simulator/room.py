"""Everything else that sounds: the room, running noise, talk, dropped tools."""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats


def of_unit_power(sound: Floats) -> Floats:
    """A sound scaled to a mean square of 1; silence stays silence."""
    unit: Floats = sound / max(float(np.sqrt(np.mean(sound**2))), 1e-12)
    return unit


def coloured_noise(
    samples: int, sample_rate_hz: float, *, tilt_db_per_octave: float, rng: np.random.Generator
) -> Floats:
    """Gaussian noise whose level falls steadily with frequency.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    tilt_db_per_octave : float
        -3 is pink, 0 white.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
        Unit mean square.
    """
    spectrum = np.fft.rfft(rng.standard_normal(samples))
    frequency_hz = np.fft.rfftfreq(samples, 1 / sample_rate_hz)
    shape = np.maximum(frequency_hz, 40.0) ** (tilt_db_per_octave / 20 / np.log10(2))
    shape[frequency_hz < 20] = 0
    noise = np.fft.irfft(spectrum * shape, samples)
    return of_unit_power(noise)


def hum(samples: int, sample_rate_hz: float, *, mains_hz: float, rng: np.random.Generator) -> Floats:
    """Mains hum of a lamp or a compressor: odd and even harmonics, unit mean square."""
    t = np.arange(samples) / sample_rate_hz
    sound = np.zeros(samples)
    for harmonic in range(1, 13):
        sound += (
            rng.uniform(0.2, 1) / harmonic * np.sin(2 * np.pi * mains_hz * harmonic * t + rng.uniform(0, 6.28))
        )
    return of_unit_power(sound)


def talk(samples: int, sample_rate_hz: float, *, rng: np.random.Generator, share: float = 0.5) -> Floats:
    """Speech-like sound: voiced syllables of 100 to 300 ms in phrases, unit peak-window level.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    rng : numpy.random.Generator
    share : float
        Share of the time with a phrase in it, 0 to 1.

    Returns
    -------
    ndarray, shape (samples,)
    """
    sound = np.zeros(samples)
    t_s, end_s = rng.uniform(0, 1.5), samples / sample_rate_hz
    while t_s < end_s:
        phrase_s = rng.uniform(0.6, 2.5)
        stop_s = min(end_s, t_s + phrase_s)
        while t_s < stop_s:
            length = int(rng.uniform(0.09, 0.28) * sample_rate_hz)
            at = int(t_s * sample_rate_hz)
            piece = _syllable(length, sample_rate_hz, rng)[: samples - at]
            sound[at : at + piece.size] += piece
            t_s += length / sample_rate_hz + rng.uniform(0, 0.06)
        t_s += phrase_s * (1 - share) / max(share, 0.05) * rng.uniform(0.5, 1.5)
    return sound


def _syllable(length: int, sample_rate_hz: float, rng: np.random.Generator) -> Floats:
    """Voiced pulses, or hiss, through three formants."""
    t = np.arange(length) / sample_rate_hz
    if rng.uniform() < 0.25:
        source = rng.standard_normal(length) * 0.5
        formants = rng.uniform([2500, 4000, 5500], [3500, 5500, 7500])
    else:
        pitch_hz = rng.uniform(95, 210) * (1 + rng.uniform(-0.15, 0.15) * t / t[-1])
        phase = np.cumsum(pitch_hz) / sample_rate_hz
        source = np.diff(np.floor(phase), prepend=0.0)
        formants = rng.uniform([300, 900, 2200], [800, 2200, 3200])
    frequency_hz = np.fft.rfftfreq(length, 1 / sample_rate_hz)
    gain = sum(1 / (1 + ((frequency_hz - f) / (90 + 0.05 * f)) ** 2) / (1 + i) for i, f in enumerate(formants))
    voice = np.fft.irfft(np.fft.rfft(source) * gain, length) * np.hanning(length)
    return voice / max(float(np.sqrt(np.mean(voice**2))), 1e-12) * rng.uniform(0.4, 1.0)


def knock(sample_rate_hz: float, rng: np.random.Generator) -> Floats:
    """A dropped tool: metal on a bench, 100 to 400 ms of ringing with a bounce or two; unit peak."""
    t = np.arange(int(0.6 * sample_rate_hz)) / sample_rate_hz
    sound = np.zeros_like(t)
    start_s, strength = 0.0, 1.0
    modes_hz = rng.uniform(600, 8000, 8)
    for _ in range(rng.integers(1, 4)):
        late = t >= start_s
        since = t[late] - start_s
        for f in modes_hz:
            decay = np.exp(-since / rng.uniform(0.02, 0.09))
            sound[late] += strength * rng.uniform(0.3, 1) * decay * np.sin(2 * np.pi * f * since)
        start_s += rng.uniform(0.05, 0.16)
        strength *= 0.4
    return sound / float(np.max(np.abs(sound)))


def compressor(samples: int, sample_rate_hz: float, *, rng: np.random.Generator) -> Floats:
    """An air compressor in the room: 8 to 25 strokes a second, each a puff and a knock, at a steady pace.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
        Unit mean square.
    """
    t = np.arange(samples) / sample_rate_hz
    strokes = t * rng.uniform(8, 25)
    stroke, other_cylinder = strokes % 1, np.floor(strokes) % 2
    strength = 1 - rng.uniform(0, 0.5) * other_cylinder
    puff = coloured_noise(samples, sample_rate_hz, tilt_db_per_octave=-5, rng=rng) * np.exp(-6 * stroke)
    knocking = coloured_noise(samples, sample_rate_hz, tilt_db_per_octave=0, rng=rng) * np.exp(-60 * stroke)
    heard: Floats = strength * (puff + rng.uniform(0.3, 1) * knocking)
    return of_unit_power(heard)


def squeal(samples: int, sample_rate_hz: float, *, rng: np.random.Generator) -> Floats:
    """A brake's squeal: a few loud tones that swell as the same place of the rim comes round.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
        Unit mean square while it lasts.
    """
    t = np.arange(samples) / sample_rate_hz
    pitch_hz, wheel_s = rng.uniform(600, 2500), rng.uniform(0.25, 0.8)
    phase: Floats = 2 * np.pi * np.cumsum(pitch_hz * (1 + 0.01 * np.sin(2 * np.pi * t / wheel_s))) / sample_rate_hz
    tones = np.zeros(samples)
    for k in range(1, 5):
        tones += rng.uniform(0.1, 1) / k * np.sin(k * phase)
    swell = np.clip(np.sin(2 * np.pi * (t / wheel_s + rng.uniform())) + rng.uniform(-0.5, 0.8), 0, 1)
    lasting = (t % rng.uniform(2, 5)) < rng.uniform(0.6, 2.5)
    heard: Floats = tones * swell * lasting
    power = float(np.sum(heard**2)) / (np.count_nonzero(heard) + 1)
    unit: Floats = heard / max(power**0.5, 1e-9)
    return unit


def fluctuation(samples: int, sample_rate_hz: float, *, spread: float, rng: np.random.Generator) -> Floats:
    """Gain of a noise that is not steady: it wanders over a third of a second and bursts over 15 ms.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    spread : float
        Standard deviation of the gain's logarithm; the noise's tails grow heavy with it.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
        > 0, median 1.
    """
    log_gain = np.zeros(samples)
    for step_s, share in ((0.3, 0.6), (0.015, 0.8)):
        # Straight lines between knots keep two thirds of their variance.
        knots = np.sqrt(1.5) * rng.standard_normal(int(samples / sample_rate_hz / step_s) + 3)
        log_gain += share * np.interp(np.arange(samples) / sample_rate_hz / step_s, np.arange(knots.size), knots)
    gain: Floats = np.exp(spread * log_gain)
    return gain


def surroundings(samples: int, sample_rate_hz: float, *, rng: np.random.Generator) -> Floats:
    """What else a room may hold: rain on a roof, a fire's crackle, barks, an engine; one of them.

    Parameters
    ----------
    samples : int
    sample_rate_hz : float
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
        Unit mean square.
    """
    kind = rng.integers(4)
    if kind == 0:
        sound = _clicks(samples, sample_rate_hz, a_second=rng.uniform(100, 600), spread=0.7, rng=rng)
        sound += 2 * np.std(sound) * coloured_noise(samples, sample_rate_hz, tilt_db_per_octave=-1, rng=rng)
    elif kind == 1:
        sound = _clicks(samples, sample_rate_hz, a_second=rng.uniform(4, 30), spread=1.2, rng=rng)
    elif kind == 2:
        sound = np.zeros(samples)
        at_s = rng.uniform(0, 1)
        while at_s < samples / sample_rate_hz:
            bark = _syllable(int(rng.uniform(0.12, 0.3) * sample_rate_hz), sample_rate_hz, rng)
            at = int(at_s * sample_rate_hz)
            sound[at : at + bark.size] += bark[: samples - at]
            at_s += rng.choice([0.4, 0.6, 2.0]) * rng.uniform(0.8, 1.3)
    else:
        sound = compressor(samples, sample_rate_hz, rng=rng)
    return of_unit_power(sound)


def _clicks(
    samples: int, sample_rate_hz: float, *, a_second: float, spread: float, rng: np.random.Generator
) -> Floats:
    """Drops or sparks: short clicks at no pace, of every strength."""
    count = int(rng.poisson(a_second * samples / sample_rate_hz))
    train = np.bincount(
        rng.integers(samples, size=count), weights=rng.lognormal(0, spread, count), minlength=samples
    )
    t = np.arange(int(0.012 * sample_rate_hz)) / sample_rate_hz
    answer = np.zeros(t.size)
    for pitch_hz in rng.uniform(800, 7000, 4):
        answer += np.exp(-t / rng.uniform(0.0005, 0.003)) * np.sin(2 * np.pi * pitch_hz * t)
    length = samples + t.size
    return np.fft.irfft(np.fft.rfft(train, length) * np.fft.rfft(answer, length), length)[:samples]
