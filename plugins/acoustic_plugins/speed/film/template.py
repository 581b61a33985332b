"""What turns with the crank in a film: seen on rings about a centre, learnt, followed, and brought out sharply."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from acoustic_plugins.speed.film.ellipse import CHUNK, Change, Round

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Spectra = NDArray[np.complex64]
Model = tuple[Spectra, Singles]
Curve = Callable[..., Floats]

# Judgement: a second of film at the usual 30 frames a second.
FEWEST_FRAMES = 30
RINGS = np.linspace(0.05, 0.62, 20)  # radii over the picture's shorter side
# Judgement: share of the radius that a first guess takes to be the tape.
RING_HALF = 0.12
# Resolution: harmonics of a strip of tape are gone by the 20th; the search for speed needs the lower 12.
ANGLES, HARMONICS, FEWER_HARMONICS = 96, 20, 12
# Judgement: share of the mean power below which no harmonic is trusted more.
NOISE_FLOOR = 0.1
# Judgement: a turn in three seconds; slower frames show the same picture and teach nothing.
MOVING_HZ = 0.3

# Judgement: half a turn of a slow crank, hopping by a fifth of it; of a film with few frames three weigh fully.
WINDOW_S, HOP_S, FEWEST_IN_WINDOW = 0.3, 0.12, 3.0
# Judgement: nobody spins a crank at 250 turns a minute. Grid: half of what 0.6 s tell apart by a 12th harmonic.
FASTEST_HZ, SPEED_STEP_HZ = 4.2, 0.075
# Grid: under 6 degrees, sharpened afterwards.
PHASES = 64
# Judgement: a hand changes a crank by less than 0.8 turns/s from window to window; costs in correlation.
PHASE_OFF, SPEED_OFF_HZ, OFF_COST, JUMP_COST, MOST_OFF = 0.08, 0.8, 0.3, 1.5, 0.15
# Judgement [turns]: how far the rough course may be off, and from where a frame counts as an outlier.
NEAR, OUTLYING = 0.12, 0.03
# Judgement: what a hand and a brake do to a crank is slower than 2.5 Hz, what friction does than 0.7.
PASS_HZ, SLOW_PASS_HZ = 2.5, 0.7
# Cost: frames that the climb to the sharpest ellipse is judged by.
MOST_CLIMBED = 150
# Judgement: weight of what one arm has alone over what both have; two like arms have no odd harmonics.
ODD_GAIN = 3.0


def ring_spectra(change: Change, where: Round) -> Spectra:
    """Angular harmonics 1 and up of the change on rings about a centre, squashed as the ellipse is.

    Parameters
    ----------
    change : ndarray of int8, shape (n, height, width)
    where : Round

    Returns
    -------
    ndarray of complex64, shape (n, rings, harmonics)
    """
    height, width = change.shape[1:]
    long = np.linalg.inv(where.flat)
    way = 2 * np.pi * np.arange(ANGLES) / ANGLES
    around = long @ np.stack([np.cos(way), np.sin(way)]) / np.linalg.norm(long, 2)
    radii = RINGS * min(height, width)
    x, y = np.rint(where.centre[:, np.newaxis, np.newaxis] + around[:, np.newaxis] * radii[:, np.newaxis]).astype(
        int
    )
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    at = np.where(inside, y * width + x, 0).ravel()
    pixels = change.reshape(len(change), -1)
    out = np.empty((len(change), RINGS.size, HARMONICS), np.complex64)
    for first in range(0, len(change), CHUNK):
        seen = pixels[first : first + CHUNK].take(at, axis=1).reshape(-1, *inside.shape) * inside.astype(
            np.float32
        )
        out[first : first + CHUNK] = np.fft.rfft(seen, axis=2)[:, :, 1 : HARMONICS + 1]
    return out


def _power(spectra: Spectra) -> Singles:
    power: Singles = spectra.real**2 + spectra.imag**2
    return power


def _floored(noise: Singles) -> Singles:
    floored: Singles = noise + NOISE_FLOOR * noise.mean() + np.float32(1e-6)
    return floored


def ring_model(spectra: Spectra, where: Round, side: float) -> Model:
    """A first model: one bright spot on the ellipse."""
    ring = 1 / float(np.linalg.norm(where.flat, -2)) / side
    template = np.zeros((RINGS.size, HARMONICS), np.complex64)
    template[np.abs(RINGS - ring) <= max(RING_HALF * ring, RINGS[1] - RINGS[0])] = 1
    return template, _floored(_power(spectra).mean(axis=0))


def model_of(spectra: Spectra, turns: Floats) -> Model:
    """What turns with the crank: the mean of the frames, each turned back; and the mean power of the rest."""
    back = np.exp(2j * np.pi * np.outer(turns, np.arange(1, HARMONICS + 1))).astype(np.complex64)
    template = np.einsum("nrh,nh->rh", spectra, back) / np.float32(len(turns))
    return template, _floored(_power(spectra).mean(axis=0) - _power(template))


def correlation(spectra: Spectra, model: Model) -> Spectra:
    """Correlation of every frame with the model turned by any angle, as harmonics: shape (n, harmonics).

    Both are whitened: who walks by is large and soft, a strip of tape small and sharp.
    """
    template, noise = model
    power = _power(spectra).reshape(len(spectra), -1) @ (1 / noise).ravel()
    size = np.sqrt(power + np.median(power) + 1e-6) * np.sqrt((_power(template) / noise).sum() + 1e-9)
    matched = np.einsum("nrh,rh->nh", spectra, template.conj() / noise)
    whitened: Spectra = matched / size[:, np.newaxis].astype(np.float32)
    return whitened


def correlated_at(matched: Spectra, turns: Floats) -> Floats:
    """Correlation of each frame at angles of its own, shape (n, k)."""
    turn = np.exp(2j * np.pi * turns).astype(np.complex64)
    power, total = turn.copy(), np.zeros(turns.shape)
    for h in range(HARMONICS):
        total += (matched[:, h, np.newaxis] * power).real
        power *= turn
    return total


def track(spectra: Spectra, times_s: Floats, model: Model, rounds: int) -> tuple[Curve, Floats, Floats]:
    """Follow a model, and learn it better from what was followed.

    Returns
    -------
    curve : callable
        Angle [turns], either way round, by time [s]; its second argument asks for a derivative.
    seen, match : ndarray, shape (n,)
        Angle that each frame shows near the curve, and the correlation there.
    """
    for _ in range(rounds):
        matched = correlation(spectra, model)
        curve, seen, match = _smoothed(matched, times_s, _rough(matched, times_s))
        moving = moving_frames(curve, times_s)
        if moving.sum() < FEWEST_FRAMES:
            break
        model = model_of(spectra[moving], curve(times_s)[moving])
    return curve, seen, match


def _rough(matched: Spectra, times_s: Floats) -> Floats:
    """Angle at every frame: the steadiest way through what short windows show, each at one speed."""
    from scipy.interpolate import CubicHermiteSpline

    middles_s = np.arange(times_s[0], times_s[-1] + HOP_S, HOP_S)
    speeds = np.arange(0, FASTEST_HZ + SPEED_STEP_HZ / 2, SPEED_STEP_HZ)
    sums = _at_speeds(matched, times_s, middles_s, speeds)
    speeds = np.concatenate([-speeds[:0:-1], speeds])
    phases = np.arange(PHASES) / PHASES
    # At all phases at once: the real part of the harmonics' sum.
    harmonics = np.concatenate([np.zeros_like(sums[:, :, :1]), sums], axis=2)
    score = PHASES / 2 * np.fft.irfft(harmonics, PHASES, axis=2)
    phase = phases[score.argmax(axis=2)]
    chosen = _steadiest(score.max(axis=2), phase, speeds)
    speed, rows = speeds[chosen], np.arange(middles_s.size)
    values = score[rows, chosen]
    turns = np.full(middles_s.size, phase[0, chosen[0]])
    reach = np.arange(-round(MOST_OFF * PHASES), round(MOST_OFF * PHASES) + 1)
    for k in range(1, turns.size):
        turns[k] = turns[k - 1] + HOP_S * (speed[k - 1] + speed[k]) / 2
        near = np.floor(turns[k] * PHASES + 0.5).astype(int) + reach
        top = int(values[k, near % PHASES].argmax())
        # Near what lies ahead, though half a turn away may look better for once.
        if values[k, near[top] % PHASES] > values[k].max() / 2:
            turns[k] = near[top] / PHASES
    rough: Floats = CubicHermiteSpline(middles_s, turns, speed)(times_s)
    return rough


def _at_speeds(matched: Spectra, times_s: Floats, middles_s: Floats, speeds: Floats) -> Spectra:
    """Harmonics of windows' mean correlation at steady speeds, given from 0 up and tried either way.

    Returns
    -------
    ndarray of complex64, shape (windows, 2 speeds - 1, harmonics)
    """
    first, last = np.searchsorted(times_s, [middles_s - WINDOW_S, middles_s + WINDOW_S])
    rows = first[:, np.newaxis] + np.arange(max(1, int((last - first).max())))
    inside = rows < last[:, np.newaxis]
    rows = np.minimum(rows, times_s.size - 1)
    since_s = times_s[rows] - middles_s[:, np.newaxis]
    weight = np.where(inside, np.cos(np.pi * since_s / (2 * WINDOW_S)) ** 2, 0.0)
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), FEWEST_IN_WINDOW)
    weighed = matched[rows, :FEWER_HARMONICS] * weight[:, :, np.newaxis].astype(np.float32)
    turn = np.exp(2j * np.pi * speeds[:, np.newaxis] * since_s[:, np.newaxis, :]).astype(np.complex64)
    power = turn.copy()
    sums = np.empty((middles_s.size, 2 * speeds.size - 1, FEWER_HARMONICS), np.complex64)
    for h in range(FEWER_HARMONICS):
        # Turning back is turning ahead, mirrored.
        ways = power @ np.stack([weighed[:, :, h], weighed[:, :, h].conj()], axis=2)
        sums[:, speeds.size - 1 :, h] = ways[:, :, 0]
        sums[:, : speeds.size - 1, h] = ways[:, :0:-1, 1].conj()
        power *= turn
    return sums


def apart(turns: Floats, other: Floats) -> Floats:
    """Difference of angles, -0.5 to 0.5."""
    off = turns - other
    off -= np.rint(off)
    return off


def _steadiest(score: Floats, phase: Floats, speeds: Floats) -> NDArray[np.intp]:
    """One speed a window, by dynamic programming: high scores, with phases and speeds that follow each other."""
    ahead = HOP_S * (speeds[:, np.newaxis] + speeds) / 2
    jump = JUMP_COST * np.minimum(np.abs(speeds[:, np.newaxis] - speeds) / SPEED_OFF_HZ, 1.0)
    total, origin = score[0], np.zeros(score.shape, dtype=np.intp)
    for k in range(1, len(score)):
        off = apart(phase[k], phase[k - 1][:, np.newaxis] + ahead)
        reach = total[:, np.newaxis] - jump - OFF_COST * np.minimum((off / PHASE_OFF) ** 2, 1.0)
        origin[k] = reach.argmax(axis=0)
        total = reach.max(axis=0) + score[k]
    path = [int(total.argmax())]
    for k in range(len(score) - 1, 0, -1):
        path.append(int(origin[k][path[-1]]))
    return np.array(path[::-1])


def _smoothed(matched: Spectra, times_s: Floats, rough: Floats) -> tuple[Curve, Floats, Floats]:
    """A smooth angle through what single frames show near a rough one, those far off it left out by degrees."""
    from scipy.interpolate import make_smoothing_spline

    steps = np.linspace(-NEAR, NEAR, 25)
    value = correlated_at(matched, rough[:, np.newaxis] + steps)
    best = np.clip(value.argmax(axis=1), 1, steps.size - 2)
    low, mid, high = (value[np.arange(times_s.size), best + k] for k in (-1, 0, 1))
    bend = np.minimum(low - 2 * mid + high, -1e-9)
    seen = rough + steps[best] + np.clip((low - high) / (2 * bend), -1, 1) * (steps[1] - steps[0])
    trust = np.maximum(mid, 0.0) ** 2
    trust = np.minimum(trust / (np.median(trust) + 1e-9), 4.0) + 1e-4
    lasting_s = np.gradient(times_s)
    off = seen - rough
    for _ in range(4):
        weight = trust * lasting_s / (1 + (off / OUTLYING) ** 2)
        curve = make_smoothing_spline(times_s, seen, weight, lam=(2 * np.pi * PASS_HZ) ** -4)
        off = seen - curve(times_s)
    return curve, seen, mid


def sharpest(change: Change, times_s: Floats, where: Round, curve: Curve, step_px: float) -> Round:
    """Move and squash the rings until what turns with the crank comes out sharpest.

    The angle is smoothed over turns meanwhile: one seen about a wrong centre is uneven within each.
    """
    from scipy.interpolate import make_smoothing_spline

    even = make_smoothing_spline(
        times_s, curve(times_s), np.gradient(times_s), lam=(2 * np.pi * SLOW_PASS_HZ) ** -4
    )
    speed = np.abs(curve(times_s, 1))
    fast = np.flatnonzero(speed > 0.5 * np.quantile(speed, 0.9))
    fast = fast[:: 1 + fast.size // MOST_CLIMBED]
    frames, turns = change[fast], even(times_s[fast])

    def shaped(at: Floats) -> Round:
        size = float(np.hypot(*at[2:])) + 1e-12
        stretch = np.sinh(size) / size * np.array([[at[2], at[3]], [at[3], -at[2]]])
        return Round(where.centre + at[:2], (stretch + np.cosh(size) * np.eye(2)) @ where.flat)

    def sharpness(at: Floats) -> float:
        template, noise = model_of(ring_spectra(frames, shaped(at)), turns)
        sharp = (_power(template) / noise).sum(axis=0)
        return float(sharp.sum() + ODD_GAIN * sharp[::2].sum())  # harmonics 1, 3, ...: what one arm has alone

    at, best = np.zeros(4), sharpness(np.zeros(4))
    for shrink in (1.0, 0.6, 0.36):
        for way in np.diag([step_px, step_px, 0.05, 0.05]) * shrink:
            tried = {far: sharpness(at + far * way) for far in (-1.0, 1.0)}
            bend = tried[-1.0] + tried[1.0] - 2 * best
            top = (tried[-1.0] - tried[1.0]) / (2 * bend) if bend < 0 else np.sign(tried[1.0] - tried[-1.0]) * 2
            tried[top] = sharpness(at + np.clip(top, -2, 2) * way)
            far = max(tried, key=lambda key: tried[key])
            if tried[far] > best:
                at, best = at + np.clip(far, -2, 2) * way, tried[far]
    return shaped(at)


def moving_frames(curve: Curve, times_s: Floats) -> NDArray[np.bool_]:
    moving: NDArray[np.bool_] = np.abs(curve(times_s, 1)) > MOVING_HZ
    return moving
