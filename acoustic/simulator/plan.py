"""What a simulated recording is made from, and what is known of it."""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import BearingGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinPlan:
    """Everything that decides a simulated recording. Levels are in dB over the room's noise.

    Levels are mean powers from 0.7 to 7.5 kHz while the crank turns, set
    against the room's noise in that band.

    Attributes
    ----------
    defects : mapping as tuple of (str, float)
        Part ('outer_raceway', 'inner_raceway', 'ball', 'cage', 'pitted',
        'grit', 'creak', 'chain', 'jockey') and level [dB].
    spin : {'hand', 'pedal', 'steady'}
        Pushed and left to coast; pedalled; driven.
    still_s : (float, float)
        Still time before and after [s].
    chainring, jockey : int
        Teeth: 'chain' strikes at every tooth of the chainring, 'jockey' once a turn of
        a jockey wheel.
    runout : float
        Share by which the chain's strikes swing over a turn of the chainring.
    running_db : float
        The bearing's own smooth running noise.
    notch : (float, float)
        Order at which the running noise swells in a tight seat, and the depth, 0 to 1.
    waviness : float
        Depth to which ball passes modulate the running noise of a healthy bearing.
    waviness_lines : int
        Harmonics of the ball passes in it, the k-th 1/k as deep.
    ticks_db : float or None
        A card that clicks once a turn: the peak of one click.
    knocks, talk_db : dropped tools, and talk's level while it lasts.
    squeal_db : a brake's squeal, its level while it lasts.
    compressor_db : an air compressor's level.
    gain_strength : automatic gain, from 0 for none to 1 where every passage is made equally loud.
    gain_attack_s : its time constant for louder passages [s].
    gain_opens_db : how far too much it amplifies where the recording begins.
    strike_spread, ball_spread : float
        Standard deviations of the logarithm of a strike's strength, from strike to strike and from ball to
        ball: what differs from ball to ball repeats with the cage.
    shape_spread : bool
        Each strike rings as a mixture of its own.
    second_slip : float or None
        Slip of a second row of balls, whose ring is damaged alike; None where there is one row.
    spall : float
        Length of the damage over the way from ball to ball: struck at its entry and its exit; 0 for one place.
    fluctuation : float
        Standard deviation of the logarithm of the running noise's gain: 0 leaves it Gaussian.
    creak_s : (float, float) or None
        Shortest and longest creak [s], harmonic with a gliding pitch; None for irregular slips over 0.03 to
        0.12 of a turn.
    surroundings_db : rain, fire, barks or an engine in the room, its level.
    push_db : a word or a bang while the crank is pushed, its level while it lasts.
    cut_s : (float, float)
        What is left out at the beginning and the end, so that the crank turns where the recording begins or
        ends [s].
    """

    geometry: BearingGeometry
    defects: tuple[tuple[str, float], ...] = ()
    spin: str = "hand"
    duration_s: float = 13.0
    still_s: tuple[float, float] = (1.2, 1.0)
    start_hz: float = 1.7
    turns: float = 11.0
    viscous_share: float = 0.5
    wobble: float = 0.03
    drift: float = 0.03
    slip: float = 0.004
    second_slip: float | None = None
    jitter: float = 0.005
    load_zone: float = 0.6
    pits: int = 18
    grit_per_turn: float = 9.0
    creaks_per_turn: int = 1
    chainring: int = 50
    jockey: int = 11
    runout: float = 0.3
    running_db: float = -3.0
    waviness: float = 0.05
    waviness_lines: int = 1
    notch: tuple[float, float] = (2.0, 0.0)
    room_tilt_db: float = -4.0
    hum_db: float | None = None
    talk_db: float | None = None
    squeal_db: float | None = None
    compressor_db: float | None = None
    knocks: int = 0
    ticks_db: float | None = None
    strike_spread: float = 0.2
    ball_spread: float = 0.0
    shape_spread: bool = False
    spall: float = 0.0
    fluctuation: float = 0.0
    creak_s: tuple[float, float] | None = None
    surroundings_db: float | None = None
    push_db: float | None = None
    cut_s: tuple[float, float] = (0.0, 0.0)
    gain_strength: float = 0.0
    gain_attack_s: float = 0.03
    gain_opens_db: float = 0.0
    low_hz: float = 120.0
    high_hz: float = 15000.0
    level: float = 0.01
    sample_rate_hz: int = 48000
    seed: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Spin:
    """A simulated recording and the truth about it.

    Attributes
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : int
    times_s, turns : ndarray, shape (k,)
        True crank angle over the whole recording.
    start_s, stop_s : float
        The turning part [s].
    marks_s : ndarray, shape (j,)
        Times at which the crank passes the mark, once a turn [s].
    """

    samples: Floats
    sample_rate_hz: int
    times_s: Floats
    turns: Floats
    start_s: float
    stop_s: float
    marks_s: Floats

    def without(self, before_s: float, after_s: float) -> Spin:
        """The recording without its beginning and its end, and the truth about what is left.

        Parameters
        ----------
        before_s, after_s : float
            What is left out [s], >= 0.

        Returns
        -------
        Spin
            Angles count from its own first sample.
        """
        if before_s == after_s == 0:
            return self
        first = round(before_s * self.sample_rate_hz)
        last = self.samples.size - round(after_s * self.sample_rate_hz)
        before_s, end_s = first / self.sample_rate_hz, last / self.sample_rate_hz
        kept = (self.times_s >= before_s) & (self.times_s <= end_s)
        turns = self.turns[kept]
        marks_s = self.marks_s[(self.marks_s > before_s) & (self.marks_s < end_s)]
        return Spin(
            samples=self.samples[first:last],
            sample_rate_hz=self.sample_rate_hz,
            times_s=self.times_s[kept] - before_s,
            turns=turns - turns[0],
            start_s=max(0.0, self.start_s - before_s),
            stop_s=min(end_s, self.stop_s) - before_s,
            marks_s=marks_s - before_s,
        )
