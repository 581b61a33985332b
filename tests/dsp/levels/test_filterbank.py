"""The bank of bands against the standard, against theory and against two other libraries."""

from __future__ import annotations

from functools import cache

import librosa
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, special

from acoustic.dsp.levels.filterbank import BandBank, _mean_to_median, background_level, band_bank

Floats = NDArray[np.float64]

# IEC 61260-1:2014 with octave ratio 10^(3/10): exact mid-band frequencies of one decade, and the
# nominal names printed there for 100 Hz to 16 kHz (read from a transcription)
EXACT_DECADE = (1.0, 1.25893, 1.58489, 1.99526, 2.51189, 3.16228, 3.98107, 5.01187, 6.30957, 7.94328)
NOMINAL = (100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150)
NOMINAL += (4000, 5000, 6300, 8000, 10000, 12500, 16000)
HALF_BAND = 1.12202  # the standard's upper third-octave edge over the mid-band frequency, 10^(1/20)
WHITE_S, WHITE_HZ = 10, 48000


@cache
def white() -> Floats:
    return np.random.default_rng(1).standard_normal(WHITE_S * WHITE_HZ)


@cache
def white_bank() -> BandBank:
    return band_bank(white(), sample_rate_hz=WHITE_HZ, top_hz=18000.0)


def row_of(bank: BandBank, frequency_hz: float) -> int:
    return int(np.argmin(np.abs(np.log(bank.mid_hz / frequency_hz))))


def tone(frequency_hz: float, rate_hz: float, *, seconds: float = 2.0, height: float = 0.3) -> Floats:
    return height * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz + 1)


class TestBands:
    def test_mid_band_frequencies(self) -> None:
        """Six figures typed: half a digit of 1.25893 is 4e-6, so 5e-6; a ratio of 2 misses by 2e-3."""
        exact = np.array([decade * step for decade in (100, 1000, 10000) for step in EXACT_DECADE])
        mid_hz = white_bank().mid_hz
        assert mid_hz.size == 23
        assert mid_hz == pytest.approx(exact[:23], rel=5e-6)
        # names are rounded by up to 1 per cent, bands lie 26 per cent apart
        assert mid_hz == pytest.approx(np.array(NOMINAL), rel=0.0101)

    def test_edges(self) -> None:
        """1000/1.12202 = 891.25 Hz and 1122.02 Hz; two bands further the upper edge is 1778.28 Hz."""
        bank = white_bank()
        row = row_of(bank, 1000)
        assert bank.edges_hz(row, row) == pytest.approx((891.25, 1122.02), abs=0.005)
        assert bank.edges_hz(row, row + 2) == pytest.approx((891.25, 1778.28), abs=0.005)

    @pytest.mark.parametrize(("top_hz", "highest"), [(1122.1, 1000.0), (1121.9, 794.328), (24000, 15848.9)])
    def test_bands_that_reach_past_the_top_are_left_out(self, top_hz: float, highest: float) -> None:
        """The upper edge of the 1 kHz band is 1122.02 Hz."""
        bank = band_bank(white()[:4800], sample_rate_hz=48000, top_hz=top_hz)
        assert bank.mid_hz[-1] == pytest.approx(highest, rel=1e-5)

    @pytest.mark.parametrize(("rate_hz", "hop"), [(48000, 48), (44100, 44), (11025, 11), (8000, 8)])
    def test_frames_hold_whole_samples(self, rate_hz: int, hop: int) -> None:
        bank = band_bank(np.zeros(rate_hz + 1), sample_rate_hz=rate_hz, top_hz=3000.0)
        assert bank.power.shape[1] == -(-(rate_hz + 1) // hop)
        assert bank.frame_s == pytest.approx(hop / rate_hz, rel=1e-12)
        assert bank.times_s[0] == pytest.approx(hop / rate_hz / 2, rel=1e-12)

    def test_a_stretch_of_time_is_half_open(self) -> None:
        """Frames of 1 ms, middles at 0.5, 1.5, 2.5 ms: from 0.5 up to but not with 2.5 are two."""
        inside = white_bank().frames_between(0.0005, 0.0025)
        assert np.flatnonzero(inside).tolist() == [0, 1]

    def test_the_powers_cannot_be_written(self) -> None:
        with pytest.raises(ValueError, match="read-only"):
            white_bank().power[0, 0] = 1.0


# IEC 61260-1:2014, class 1: frequency over mid-band frequency of third-octave filters, least and most
# attenuation [dB] from there on outward (read from a transcription).
CLASS_1 = (
    (1.0, -0.4, 0.4),
    (1.02667, -0.4, 0.5),
    (1.05575, -0.4, 0.7),
    (1.08746, -0.4, 1.4),
    (1.1219, -0.4, 5.3),
    (1.1222, 1.2, np.inf),
    (1.29437, 16.6, np.inf),
    (1.88173, 40.5, np.inf),
    (3.05365, 60.0, np.inf),
    (5.39195, 70.0, np.inf),
)


class TestMask:
    @pytest.mark.parametrize("middle", [501.187, 1000.0, 3162.28])
    @pytest.mark.parametrize("side", [1, -1])
    @pytest.mark.parametrize(("ratio", "least_db", "most_db"), CLASS_1)
    def test_the_bands_keep_to_class_1(
        self, ratio: float, least_db: float, most_db: float, side: int, middle: float
    ) -> None:
        """A swelling and fading sine, so that the filter and not its sudden start is measured."""
        frequency_hz = middle * ratio**side
        sound = tone(frequency_hz, WHITE_HZ, seconds=3.0) * np.hanning(3 * WHITE_HZ) ** 2
        bank = band_bank(sound, sample_rate_hz=WHITE_HZ, top_hz=18000.0)
        power = bank.power[row_of(bank, middle)].sum() * bank.frame_s
        attenuation_db = 10 * np.log10(np.sum(sound**2) / WHITE_HZ / max(power, 1e-30))
        assert least_db <= attenuation_db <= most_db


class TestPower:
    @pytest.mark.parametrize("rate_hz", [48000, 44100])
    @pytest.mark.parametrize("middle", [125.893, 501.187, 1995.26, 7943.28, 15848.9])
    def test_a_sine_in_its_own_band(self, middle: float, rate_hz: int) -> None:
        """By hand: the mean square of A sin is A^2/2 (0.045 for A = 0.3), at every moment.

        The filter rings after the sine's sudden start and before its end. Where a flank of width f
        begins, its slope jumps, so the ringing falls as the square of 2 pi t f: with an eighth of a
        band (23.1 per cent of the middle) and t = 0.25 s, 3.1 per cent at 125 Hz, 0.2 at 500 Hz, 1e-4
        at 2 kHz, 2e-6 at 16 kHz.
        """
        bank = band_bank(tone(middle, rate_hz), sample_rate_hz=rate_hz, top_hz=0.47 * rate_hz)
        inside = bank.frames_between(0.25, 1.75)
        row = row_of(bank, middle)
        limit = (2 * np.pi * 0.25 * 0.231 * middle / 8) ** -2
        assert bank.power[row, inside] == pytest.approx(0.3**2 / 2, rel=limit)
        others = np.delete(bank.power[:, inside], row, axis=0)
        assert others.max() < 1e-4 * 0.045

    def test_a_sine_on_the_edge_is_shared_alike(self) -> None:
        """Flanks of neighbours add up to 1 in power, so each holds half at the common edge.

        The narrower flank is 12.5 per cent of its band, 231 Hz: rounding of the edge does not matter.
        """
        bank = band_bank(tone(1122.018, 48000), sample_rate_hz=48000, top_hz=5000.0)
        row = row_of(bank, 1000)
        mean = bank.power[:, bank.frames_between(0.25, 1.75)].mean(axis=1)
        assert mean[row] == pytest.approx(0.0225, rel=1e-3)
        assert mean[row + 1] == pytest.approx(0.0225, rel=1e-3)

    def test_white_noise_by_its_density(self) -> None:
        """By hand: unit variance spread over 0 to 24 kHz gives a band of width B a power B/24000.

        A band's mean over T seconds has a relative spread 1/sqrt(B T): 4 of them are allowed,
        26 per cent at 100 Hz and 2 per cent at 16 kHz. Factor 2 errors fail in every band.
        """
        bank = white_bank()
        width_hz = bank.mid_hz * (HALF_BAND - 1 / HALF_BAND)
        error = bank.power.mean(axis=1) / (width_hz / 24000) - 1
        assert np.all(np.abs(error) < 4 / np.sqrt(width_hz * WHITE_S))

    @pytest.mark.parametrize("middle", [501.187, 1000.0, 3981.07, 7943.28])
    def test_against_butterworth_and_hilbert(self, middle: float) -> None:
        """Same data, other road: scipy's band-pass both ways, Hilbert envelope squared, framed alike.

        A Butterworth filter of order N run both ways has the power gain 1/(1 + x^2N)^2, whose area
        is (1 - 1/2N) (pi/2N)/sin(pi/2N) of the nominal band: 0.9375 x 1.0065 = 0.9436 for N = 8.
        What differs is the twentieth part of the band on the flanks, whose own spread
        over 10 s is at most 1/sqrt(0.1 x 115 x 10) = 9 per cent: 0.5 per cent of the whole; 1.5 allowed.
        Frame by frame both must move together, and one frame of delay must show: even at 500 Hz,
        where a frame is a ninth of the envelope's own time 1/B, it costs 4 per cent.
        """
        bank = white_bank()
        row = row_of(bank, middle)
        sos = signal.butter(8, bank.edges_hz(row, row), "bandpass", fs=WHITE_HZ, output="sos")
        envelope = np.abs(signal.hilbert(signal.sosfiltfilt(sos, white()))) ** 2 / 2
        theirs = envelope.reshape(-1, 48).mean(axis=1)[300:-300]
        ours = bank.power[row]
        assert theirs.mean() / ours[300:-300].mean() == pytest.approx(0.9436, rel=0.015)
        assert np.corrcoef(theirs, ours[300:-300])[0, 1] > 0.985
        assert np.corrcoef(theirs, ours[301:-299])[0, 1] < 0.96
        assert np.corrcoef(theirs, ours[299:-301])[0, 1] < 0.96

    @pytest.mark.parametrize("middle", [3981.07, 7943.28, 15848.9])
    def test_against_librosas_short_time_spectrum(self, middle: float) -> None:
        """Same data: |STFT|^2 summed over the band's bins, averaged over half a second at a time.

        Bins of 23.4 Hz cut the band off to half a bin either side: 1.3 per cent of 925 Hz at 4 kHz.
        Blocks of half a second share all their data but the windows' ends, 43 ms: a further 1 per
        cent or so of each, so 4 per cent for a block. Blocks themselves differ by 1/sqrt(925/2) = 5.
        """
        bank = white_bank()
        row = row_of(bank, middle)
        spectrum = librosa.stft(white(), n_fft=2048, hop_length=480)
        density = 2 * np.abs(spectrum) ** 2 / (2048 * np.sum(signal.get_window("hann", 2048) ** 2))
        low_hz, high_hz = bank.edges_hz(row, row)
        bins_hz = librosa.fft_frequencies(sr=WHITE_HZ, n_fft=2048)
        theirs = density[(bins_hz >= low_hz) & (bins_hz < high_hz)].sum(axis=0)
        blocks = np.arange(1, 19)  # of 0.5 s; column k of theirs is centred on k x 10 ms
        for block in blocks:
            mean = theirs[50 * block : 50 * block + 50].mean()
            assert mean == pytest.approx(bank.power[row, 500 * block : 500 * block + 500].mean(), rel=0.04)

    def test_against_librosas_root_mean_square(self) -> None:
        """Same data: librosa's frame RMS of scipy's band-passed sound, squared, in frames of 10 ms.

        Their square keeps the ripple at twice the carrier, which 80 half periods in a frame average
        out; the flanks differ as above. Correlation 0.97 leaves room for both and none for a shift.
        """
        bank = white_bank()
        row = row_of(bank, 3981.07)
        sos = signal.butter(8, bank.edges_hz(row, row), "bandpass", fs=WHITE_HZ, output="sos")
        passed = signal.sosfiltfilt(sos, white())
        theirs = librosa.feature.rms(y=passed, frame_length=480, hop_length=480, center=False)[0] ** 2
        ours = bank.power[row].reshape(-1, 10).mean(axis=1)
        assert theirs.size == ours.size
        assert theirs[20:-20].mean() / ours[20:-20].mean() == pytest.approx(0.9436, rel=0.015)
        assert np.corrcoef(theirs[20:-20], ours[20:-20])[0, 1] > 0.97

    def test_two_sample_rates_hear_the_same(self) -> None:
        """One analytic sound (two tones, one swelling and fading ten times a second), two rates.

        By hand: the swelling tone's power is (A (1 + 0.5 sin))^2 / 2; frames of 1 ms average it over
        1/100 of its period, which moves it by (pi/100)^2/6 of its second derivative: below 1e-3.
        """
        heard = []
        for rate_hz in (48000, 44100):
            t = np.arange(2 * rate_hz) / rate_hz
            swell = 1 + 0.5 * np.sin(2 * np.pi * 10 * t)
            sound = 0.1 * swell * np.sin(2 * np.pi * 2000 * t) + 0.2 * np.sin(2 * np.pi * 6300 * t)
            bank = band_bank(sound, sample_rate_hz=rate_hz, top_hz=15000.0)
            at = np.linspace(0.3, 1.7, 1001)
            heard.append(np.stack([np.interp(at, bank.times_s, row) for row in bank.power]))
        assert heard[0][row_of(white_bank(), 2000)] == pytest.approx(
            (0.1 * (1 + 0.5 * np.sin(2 * np.pi * 10 * np.linspace(0.3, 1.7, 1001)))) ** 2 / 2, rel=2e-3
        )
        assert heard[0] == pytest.approx(heard[1], rel=2e-3, abs=1e-9)


class TestTime:
    @pytest.mark.parametrize("at", [24000, 24011, 24024, 24047, 30013])
    @pytest.mark.parametrize("rate_hz", [48000, 44100])
    def test_a_click_is_heard_when_it_happens(self, at: int, rate_hz: int) -> None:
        """A single sample in silence: peak within a frame (1 ms) of the truth in every band from 1 kHz.

        By symmetry the centre of gravity of the answer is the click itself; only a band whose own
        samples are coarser than the click's frame loses up to half of one, 0.5 ms at most.
        """
        sound = np.zeros(rate_hz)
        sound[at] = 1.0
        bank = band_bank(sound, sample_rate_hz=rate_hz, top_hz=0.47 * rate_hz)
        power = bank.power[row_of(bank, 1000) :]
        assert np.all(np.abs(bank.times_s[power.argmax(axis=1)] - at / rate_hz) <= bank.frame_s)
        near = np.abs(bank.times_s - at / rate_hz) < 0.03
        centre = (power[:, near] * bank.times_s[near]).sum(axis=1) / power[:, near].sum(axis=1)
        assert np.all(np.abs(centre - at / rate_hz) < 0.5 * bank.frame_s)

    @given(shift=st.integers(1, 400))
    @settings(max_examples=10, deadline=None, derandomize=True)
    def test_a_later_sound_is_the_same_sound_later(self, shift: int) -> None:
        """Silence put before moves every frame's power by as many frames.

        Both sounds lie well inside, so only the length of the transform differs: 1e-6 of the
        click's own peak, where a shift of one frame changes it by tens of per cent.
        """
        sound = np.zeros(30000)
        sound[20000:20480] = white()[:480] * np.hanning(480)
        early = band_bank(sound, sample_rate_hz=48000, top_hz=15000.0).power
        late = band_bank(np.pad(sound, (48 * shift, 0)), sample_rate_hz=48000, top_hz=15000.0).power
        rows = slice(10, None)
        limit = 1e-6 * early[rows].max()
        assert late[rows, shift : shift + 600] == pytest.approx(early[rows, :600], rel=1e-3, abs=limit)

    @given(gain=st.sampled_from([0.25, 0.5, 3.0, 1000.0]))
    @settings(max_examples=4, deadline=None, derandomize=True)
    def test_power_goes_with_the_square_of_the_gain(self, gain: float) -> None:
        """Rounding alone: 1e-9."""
        plain = band_bank(white()[:9600], sample_rate_hz=48000, top_hz=15000.0).power
        louder = band_bank(white()[:9600] * gain, sample_rate_hz=48000, top_hz=15000.0).power
        assert louder == pytest.approx(plain * gain**2, rel=1e-9)


def level_of(power: Floats, *, window: int) -> Floats:
    """Background level of bands so narrow (23 Hz) that their power in frames of 1 ms is exponential."""
    bank = BandBank(np.full(power.shape[0], 100.0), power.copy(), 0.001, 0.0005)
    return background_level(bank, window_s=window * 0.001)


class TestRunningLevel:
    def test_it_is_the_mean_power_of_white_noise_in_every_band(self) -> None:
        """Wide bands have many degrees of freedom in a frame; their median lies nearer to their mean.

        20 s of noise fix each ratio to 2 per cent; the shape B T + 1/2 is a model, good to 8 per cent
        from 300 Hz up. A median taken for exponential power would read 24 per cent high at 16 kHz.
        """
        sound = np.random.default_rng(7).standard_normal(20 * 48000)
        bank = band_bank(sound, sample_rate_hz=48000, top_hz=20000.0)
        ratio = (bank.power / background_level(bank)).mean(axis=1)
        assert ratio[bank.mid_hz > 300] == pytest.approx(1, abs=0.09)

    def test_it_is_the_mean_of_exponential_power(self) -> None:
        """By hand: the median of an exponential of mean 3 is 3 ln 2, so the level is 3.

        The median of a block's 37 frames has a relative spread of 1/(ln 2 sqrt(37)) = 24 per cent, and
        541 blocks make up the mean: 1 per cent, a little more for the medians over nine of them. Four of
        those are allowed. Without ln 2 it would be 31 per cent low.
        """
        power = 3 * np.random.default_rng(2).exponential(size=(1, 20000))
        level = level_of(power, window=300)
        assert level.shape == power.shape
        assert level.mean() == pytest.approx(3, rel=0.045)

    def test_sparse_bangs_do_not_lift_it(self) -> None:
        """By hand: 2 per cent of frames sent above move the median from quantile 0.5 to 0.5/0.98.

        That is -ln(1 - 0.5102)/ln 2 = 1.030. The mean would be lifted by 0.02 x 1e4 = 200 times.
        """
        rng = np.random.default_rng(3)
        power = rng.exponential(size=(2, 20000))
        plain = level_of(power, window=300)
        power[:, rng.choice(20000, 400, replace=False)] *= 1e4
        raised = level_of(power, window=300)
        assert raised.mean() / plain.mean() == pytest.approx(1.030, abs=0.02)
        # a block with 4 in place of 0.74 bangs of 37 moves by 10 per cent; the median of nine by less
        assert np.all(raised < 1.25 * plain)

    def test_one_long_bang_does_not_lift_it(self) -> None:
        """70 ms of 40 dB: two or three of nine blocks, so at worst the eighth of nine passes for the
        middle one: that of nine near-normal medians of spread 1/sqrt(37)/ln 2 = 24 per cent lies one
        spread high."""
        power = np.random.default_rng(4).exponential(size=(1, 4000))
        plain = level_of(power, window=300)
        power[:, 2000:2070] *= 1e4
        assert np.all(level_of(power, window=300) < 1.35 * plain)

    def test_it_follows_slow_changes(self) -> None:
        """Level falling tenfold over 10 s: 0.3 s change it by 7 per cent; noise of nine blocks adds 12."""
        fall = 10 ** -np.linspace(0, 1, 10000)
        power = fall * np.random.default_rng(5).exponential(size=(1, 10000))
        ratio = level_of(power, window=300)[0] / fall
        assert np.all(np.abs(np.log(ratio[200:-200])) < 0.45)
        assert np.mean(ratio[:2000]) == pytest.approx(np.mean(ratio[-2000:]), rel=0.12)

    @given(frames=st.integers(1, 400), window=st.integers(8, 600), height=st.sampled_from([1e-12, 1e-3, 1.0]))
    @settings(max_examples=30, deadline=None, derandomize=True)
    def test_it_is_positive_for_any_length(self, frames: int, window: int, height: float) -> None:
        power = height * np.random.default_rng(6).exponential(size=(2, frames))
        level = level_of(power, window=window)
        assert level.shape == power.shape
        assert np.all(level > 0)

    def test_digital_silence_has_a_level(self) -> None:
        """Division by it must stay possible."""
        assert np.all(level_of(np.zeros((1, 500)), window=300) > 0)


@pytest.mark.parametrize(
    ("sound", "top_hz", "message"),
    [
        (np.zeros((100, 2)), 15000.0, r"one-dimensional sound is needed, got shape \(100, 2\)"),
        (np.zeros(4800), 100.0, "no third-octave band fits below 100.0 Hz"),
    ],
)
def test_sounds_that_cannot_be_split(sound: Floats, top_hz: float, message: str) -> None:
    """The lowest band's upper edge is 112.2 Hz."""
    with pytest.raises(ValueError, match=message):
        band_bank(sound, sample_rate_hz=48000, top_hz=top_hz)


def test_a_window_too_short_to_tell() -> None:
    with pytest.raises(ValueError, match="8 frames or more is needed, got 7"):
        level_of(np.ones((1, 100)), window=7)


def test_the_median_of_a_gamma_law_is_scipys() -> None:
    for shape in (1.0, 1.3, 4.0, 30.0, 700.0):
        assert _mean_to_median(shape) == pytest.approx(shape / special.gammaincinv(shape, 0.5), rel=2e-6)
