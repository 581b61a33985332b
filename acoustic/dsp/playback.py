"""Sounds made for the ear: one band of a recording, its clicks alone, and slow motion at its own pitch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from acoustic.dsp.arrays import Floats

if TYPE_CHECKING:
    from scipy.signal import ShortTimeFFT


FLANK = 1 / 8  # of the band's width
# Judgement: an impact rings for a few milliseconds, so a frame of ten holds it and little else; its lines
# then lie 100 Hz apart, and a resonance that rings so briefly is wider than that.
FRAME_S = 0.01
# Frames and lines that a median is taken over. Of 17 half frames, 90 ms, an impact fills three: impacts pass as
# short up to about 30 a second. Of 17 lines, 1.6 kHz, a tone fills four.
MEDIAN_OVER = 17
CLICK_MARGIN = 3.0  # 10 dB; at 1, noise is shared out evenly and half of it stays (judgement)
SHORTEST_S = 0.2  # twice what the median in time is taken over


def band_pass(sound: Floats, *, sample_rate_hz: float, low_hz: float, high_hz: float) -> Floats:
    """Keep one band of a sound, without moving anything in time.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples.
    sample_rate_hz : float
        > 0.
    low_hz, high_hz : float
        Edges of the band [Hz], 0 <= low < high; what lies past half the sample rate is not there
        to be kept.

    Returns
    -------
    ndarray, shape (n,)

    Raises
    ------
    ValueError
        The sound is not one-dimensional, or the edges are no band.

    Notes
    -----
    The spectrum is multiplied by a real weight, so no frequency is delayed against another: strikes
    stay where they are. The weight is 1 in the band and falls as a raised cosine over an eighth of
    the band's width at either edge, half of it inside; at the edge it is a half. Smooth flanks keep
    the ringing about a strike short. Zeros as long as the ringing lie behind the sound, so that its
    end does not ring into its beginning.
    """
    if sound.ndim != 1:
        raise ValueError(f"a one-dimensional sound is needed, got shape {sound.shape}")
    if not 0 <= low_hz < high_hz:
        raise ValueError(f"0 <= low < high is needed, got {low_hz} and {high_hz} Hz")
    flank_hz = FLANK * (high_hz - low_hz)
    ringing = int(np.ceil(8 * sample_rate_hz / flank_hz))
    length = sound.size + min(ringing, sound.size)
    spectrum = np.fft.rfft(sound, length)
    frequencies_hz = np.fft.rfftfreq(length, 1 / sample_rate_hz)
    inside_hz = np.minimum(frequencies_hz - low_hz, high_hz - frequencies_hz)
    weight = 0.5 - 0.5 * np.cos(np.pi * np.clip(inside_hz / flank_hz + 0.5, 0, 1))
    kept: Floats = np.fft.irfft(spectrum * weight, length)[: sound.size]
    return kept


def librosa_problem() -> str:
    """Load what is used of librosa, and say why it cannot be loaded; empty where it is.

    Loading takes a second or two, and on first use after an install, while numba compiles for it, up to a
    minute. numba refuses to be loaded (RuntimeError) where it may write to no folder to keep that in.
    """
    try:
        import librosa

        # librosa loads its modules when they are first asked for.
        _ = (librosa.decompose.hpss, librosa.phase_vocoder, librosa.stft)
    except (ImportError, RuntimeError) as error:
        return str(error)
    return ""


def clicks_alone(sound: Floats, *, sample_rate_hz: float) -> Floats:
    """Keep what is short and broad in pitch, and leave out what lasts: hum, tones, steady noise.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples, 0.2 s or more.
    sample_rate_hz : float
        > 0.

    Returns
    -------
    ndarray, shape (n,)

    Raises
    ------
    ValueError
        The sound is not one-dimensional, or too short.

    Notes
    -----
    The percussive part of a harmonic/percussive separation by median filters (D. Fitzgerald, DAFx-10, 2010), with
    a margin (J. Driedger, M. Müller and S. Disch, ISMIR 2014): a cell of the spectrogram is halved where its
    median along pitch stands 10 dB over its median along time, and kept more the higher it stands. Noise leaves
    a faint crackle, since some of its cells stand out by luck.
    """
    import librosa

    frames = _frames(sound, sample_rate_hz, steps=2)
    _, percussive = librosa.decompose.hpss(frames.stft(sound), kernel_size=MEDIAN_OVER, margin=(1.0, CLICK_MARGIN))
    return np.asarray(frames.istft(percussive, 0, sound.size), dtype=np.float64)


def half_speed(sound: Floats, *, sample_rate_hz: float) -> Floats:
    """Stretch a sound to twice its length and leave its pitch.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples, 0.2 s or more.
    sample_rate_hz : float
        > 0.

    Returns
    -------
    ndarray, shape (2 n,)
        What was at t is at 2 t, to a frame of 10 ms.

    Raises
    ------
    ValueError
        The sound is not one-dimensional, or too short.

    Notes
    -----
    A phase vocoder (J. L. Flanagan and R. M. Golden, Bell System Technical Journal 45, 1966): it keeps tones, and
    draws a click out to two frames.
    """
    import librosa

    frames = _frames(sound, sample_rate_hz, steps=4)
    # Every line's phase runs on from the first frame's. An empty one starts them all together; the few samples in
    # the first real one would not, and the lines of a tone would then partly cancel.
    spectra = np.pad(frames.stft(sound), ((0, 0), (1, 0)))
    slow = librosa.phase_vocoder(spectra, rate=0.5, hop_length=frames.hop, n_fft=frames.mfft)
    # The empty frame's middle lies before the sound, and twice as far before the slow one.
    first = (2 - frames.p_min) * frames.hop
    return np.asarray(frames.istft(slow, first, first + 2 * sound.size), dtype=np.float64)


def _frames(sound: Floats, sample_rate_hz: float, *, steps: int) -> ShortTimeFFT:
    """Hann frames of about 10 ms, so many steps a frame.

    Both ways by scipy: librosa's way back would have numba compile for another few seconds.
    """
    from scipy.signal import ShortTimeFFT, windows

    if sound.ndim != 1:
        raise ValueError(f"a one-dimensional sound is needed, got shape {sound.shape}")
    if sound.size < SHORTEST_S * sample_rate_hz:
        raise ValueError(f"{SHORTEST_S} s of sound or more are needed, got {sound.size / sample_rate_hz:.3f} s")
    length = 2 ** max(4, round(np.log2(FRAME_S * sample_rate_hz)))
    return ShortTimeFFT(windows.hann(length, sym=False), length // steps, fs=sample_rate_hz)
