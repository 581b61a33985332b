"""What moves in a film before a background that does not, and where bright spots go round in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Grey = NDArray[np.uint8]
Change = NDArray[np.int8]

# Memory: frames at once; decides nothing.
CHUNK = 64
# Cost: a median of so many frames holds no arm that stands in less than half of them.
BACKGROUND_FRAMES = 48
# Judgement, at 256 pixels a side: coarse squares, a strip of tape, what is about it, the room that a spot keeps
# for itself, and the edge that the camera sways over.
COARSE_PX, TAPE_PX, ABOUT_PX, SPOT_PX, EDGE_PX = 4, 5, 15, 9, 3
# Judgement: a phone on a stand sways less.
MOST_STEP_PX = 6
CLEAR = 2.5  # times the usual difference: what differs more is somebody who walks by, or the crank
# Cost: the tape and what else is bright in a frame; the rest are fainter still.
SPOTS = 5
LEAST_CHANGE = 3  # of 127
# Cost: where one spot in five is the tape, 3000 draws of three hold 24 true circles.
TRIES = 3000
# Grid: of 15 degrees; a spot that stands still fills one only.
SECTORS = 24
# Judgement: share of the radius by which a squashed circle's spots lie off.
RING_WIDTH = 0.08
SMALLEST, LARGEST = 0.06, 0.8  # radius over the picture's height and width
OUTSIDE = 0.7  # centre's distance from the picture's middle over its size
# Judgement: shorter over longer axis; a camera that looks on at more than 63 degrees sees no circle.
FLATTEST = 0.45
# Judgement: a third of the turn, or an ellipse is not fixed by what lies on it.
LEAST_SECTORS = 8
# Cost: how many of the tried circles pass each finer fit.
FITTED, REFINED, STARTS = 400, 12, 8


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """An ellipse on which spots go round, as a circle is seen.

    Attributes
    ----------
    centre : ndarray, shape (2,)
        x and y [pixels].
    flat : ndarray, shape (2, 2)
        Takes what lies on the ellipse, seen from its centre, to the unit circle.
    """

    centre: Floats
    flat: Floats

    @property
    def radius_px(self) -> float:
        """That of a circle of the same area [pixels]."""
        return float(abs(np.linalg.det(self.flat)) ** -0.5)


def changes(frames: Grey) -> Change:
    """What differs from the background over some pixels, the camera's sway and the exposure's flicker taken out.

    Parameters
    ----------
    frames : ndarray of uint8, shape (n, height, width)

    Returns
    -------
    ndarray of int8, shape (n, height, width)
        Half the difference of brightness.
    """
    activity = np.abs(np.diff(frames[:, ::4, ::4].astype(np.int16), axis=0)).mean(axis=(1, 2))
    passed = np.concatenate([[0.0], np.cumsum(activity + 1e-6)])
    # Evenly in what moves, not in time: an arm that stands for long is no background.
    picks = np.searchsorted(passed, np.linspace(0, passed[-1], BACKGROUND_FRAMES + 2)[1:-1])
    chosen = frames[np.minimum(picks, len(frames) - 1)]
    steady = _aligned(chosen, chosen[len(chosen) // 2].astype(np.float32))[0]
    background = np.median(steady, axis=0).astype(np.float32)
    out = np.empty(frames.shape, np.int8)
    for first in range(0, len(frames), CHUNK):
        moved, shown = _aligned(frames[first : first + CHUNK], background)
        moved -= shown
        out[first : first + CHUNK] = np.clip(np.rint(_blurred(moved) / 2), -127, 127)
    return out


def _blurred(pictures: Singles, size: int = TAPE_PX) -> Singles:
    from scipy.ndimage import uniform_filter1d

    soft: Singles = uniform_filter1d(uniform_filter1d(pictures, size, axis=1), size, axis=2)
    return soft


def _coarse(pictures: Grey | Singles) -> Singles:
    """Means over squares of pixels."""
    high, wide = pictures.shape[1] // COARSE_PX * COARSE_PX, pictures.shape[2] // COARSE_PX * COARSE_PX
    squares = pictures[:, :high, :wide].reshape(-1, high // COARSE_PX, COARSE_PX, wide // COARSE_PX, COARSE_PX)
    means: Singles = squares.mean(axis=(2, 4), dtype=np.float32)
    return means


def _ways_to_change(picture: Singles) -> Singles:
    """How a still picture changes with exposure, contrast and small shifts: shape (4, height, width)."""
    down, right = np.gradient(picture)
    return np.stack([np.ones_like(picture), picture, down, right])


def _aligned(frames: Grey, reference: Singles) -> tuple[Singles, Singles]:
    """Frames shifted by whole pixels onto the reference, and the reference as each of them would show it."""
    soft = _coarse(reference[np.newaxis])[0]
    ways = _ways_to_change(soft).reshape(4, -1)
    ways[2:] /= COARSE_PX
    inverse = np.linalg.pinv(ways.astype(float)).astype(np.float32).T
    frames = frames.copy()
    shift = np.zeros((len(frames), 2), dtype=int)
    fit = np.zeros((4, len(frames)), np.float32)
    for _ in range(3):
        off = _coarse(frames).reshape(len(frames), -1) - soft.ravel()
        fit = inverse @ off.T
        for _ in range(2):
            left = off - fit.T @ ways
            most = CLEAR * np.median(np.abs(left[:, ::3]), axis=1, keepdims=True) + 1.0
            fit += inverse @ np.clip(left, -most, most).T  # who walks by must not move the wall
        step = np.clip(np.rint(fit[2:].T), -MOST_STEP_PX, MOST_STEP_PX).astype(int)
        stepping = np.flatnonzero(step.any(axis=1))
        if not stepping.size:
            break
        for k in stepping:
            frames[k] = np.roll(frames[k], step[k], axis=(0, 1))
        shift += step
    shown = (fit.T @ _ways_to_change(reference).reshape(4, -1)).reshape(frames.shape) + reference
    moved = frames.astype(np.float32)
    for k in np.flatnonzero(shift.any(axis=1)):
        y, x = (int(size) for size in np.abs(shift[k]))
        beyond = np.ones_like(reference, dtype=np.bool_)
        beyond[y : len(beyond) - y, x : beyond.shape[1] - x] = False
        moved[k][beyond] = shown[k][beyond]
    return moved, shown


def spots(change: Change) -> tuple[Floats, int]:
    """The few spots of every frame that stand out most from what is about them.

    Parameters
    ----------
    change : ndarray of int8, shape (n, height, width)

    Returns
    -------
    places : ndarray, shape (k, 2)
        x and y [pixels].
    frames : int
        How many frames show any.
    """
    from scipy.ndimage import maximum_filter1d

    places, frames = [np.empty((0, 2))], 0
    for first in range(0, len(change), CHUNK):
        part = change[first : first + CHUNK].astype(np.float32)
        # Tape on a dark arm stands out even before a wall nearly as bright, and who walks by is large.
        part = np.minimum(part, part - _blurred(part, ABOUT_PX))
        most = maximum_filter1d(maximum_filter1d(part, SPOT_PX, axis=1), SPOT_PX, axis=2)
        usual = np.median(np.abs(part[:, ::3, ::3]), axis=(1, 2))
        peak = (part == most) & (part > np.maximum(LEAST_CHANGE, 6 * usual)[:, np.newaxis, np.newaxis])
        number, y, x = np.nonzero(peak[:, EDGE_PX:-EDGE_PX, EDGE_PX:-EDGE_PX])
        y, x = y + EDGE_PX, x + EDGE_PX
        order = np.lexsort((-part[number, y, x], number))
        number, y, x = number[order], y[order], x[order]
        kept = np.arange(number.size) - np.searchsorted(number, number) < SPOTS
        places.append(np.stack([x[kept], y[kept]], axis=1).astype(float))
        frames += np.unique(number).size
    return np.concatenate(places), frames


def find_rounds(places: Floats, frames: int, *, shape: tuple[int, ...]) -> list[Round]:
    """Find ellipses on which many spots lie, spread all round.

    Parameters
    ----------
    places : ndarray, shape (k, 2)
        x and y of spots [pixels].
    frames : int
        Frames that they come from.
    shape : (int, int)
        Height and width of the picture [pixels].

    Returns
    -------
    list of Round
        At most eight that are clearly unlike each other, the fullest first.
    """
    if len(places) < 3:
        return []
    height, width = shape
    picks = np.random.default_rng(0).integers(0, len(places), (3, TRIES))
    centres, radii = _circles(*places[picks])
    aside = np.abs(centres / [width, height] - 0.5).max(axis=1)
    fit = (radii > SMALLEST * height) & (radii < LARGEST * width) & (aside < OUTSIDE)
    centres, radii = centres[fit], radii[fit]
    area = height * width
    order = np.argsort(-_fullness(places, centres, radii, frames, area))[:FITTED]
    likely = _unlike([Round(centres[k], np.eye(2) / radii[k]) for k in order])[:REFINED]
    refined = [_refined(one, places, frames, area) for one in likely]
    refined.sort(key=lambda one: -_full(one, places, frames, area))
    return _unlike(refined)[:STARTS]


def _circles(a: Floats, b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Circles through three points each: centres, shape (k, 2), and radii; not finite where they lie in line."""
    b, c = b - a, c - a
    with np.errstate(divide="ignore", invalid="ignore"):
        twice = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
        bb, cc = (b**2).sum(axis=1), (c**2).sum(axis=1)
        x = (c[:, 1] * bb - b[:, 1] * cc) / twice
        y = (b[:, 0] * cc - c[:, 0] * bb) / twice
        return a + np.stack([x, y], axis=1), np.hypot(x, y)


def _fullness(places: Floats, centres: Floats, radii: Floats, frames: int, area: float) -> Floats:
    """Spots on each circle, no sector for more than its share, less those that luck puts there."""
    counts = np.zeros((radii.size, SECTORS))
    for first in range(0, radii.size, CHUNK):
        part = np.s_[first : first + CHUNK]
        x, y = (places.T[:, np.newaxis] - centres[part].T[:, :, np.newaxis]) / radii[part, np.newaxis]
        circle, spot = np.nonzero(np.abs(np.hypot(x, y) - 1) < RING_WIDTH)
        sector = (np.arctan2(y[circle, spot], x[circle, spot]) / (2 * np.pi) % 1.0 * SECTORS).astype(int)
        both = np.bincount(circle * SECTORS + np.minimum(sector, SECTORS - 1), minlength=counts[part].size)
        counts[part] = both.reshape(-1, SECTORS)
    lucky = len(places) * np.minimum(1.0, 4 * np.pi * RING_WIDTH * radii**2 / area)
    fullness: Floats = np.minimum(counts, 1.5 * frames / SECTORS).sum(axis=1) - lucky
    return fullness


def _full(one: Round, places: Floats, frames: int, area: float) -> float:
    """Fullness of an ellipse: that of the unit circle in its own plane."""
    plane_area = area * abs(float(np.linalg.det(one.flat)))
    own = (places - one.centre) @ one.flat.T
    return float(_fullness(own, np.zeros((1, 2)), np.ones(1), frames, plane_area)[0])


def _unlike(rounds: list[Round]) -> list[Round]:
    """Leave out what is close to an earlier one."""
    kept: list[Round] = []
    for one in rounds:
        for other in kept:
            small, big = sorted((one.radius_px, other.radius_px))
            if big < 1.25 * small and np.hypot(*(one.centre - other.centre)) < 0.25 * small:
                break
        else:
            kept.append(one)
    return kept


def _refined(one: Round, places: Floats, frames: int, area: float) -> Round:
    """Fit an ellipse to the spots near a circle, closer each time."""
    fullness = _full(one, places, frames, area)
    for width in (0.16, 0.12, 0.08, 0.06):
        x, y = one.flat @ (places - one.centre).T
        trial = _ellipse(one, places[np.abs(np.hypot(x, y) - 1) < width])
        if trial is None:
            break
        now = _full(trial, places, frames, area)
        if now > 0.9 * fullness:
            one, fullness = trial, now
    return one


def _ellipse(near: Round, places: Floats) -> Round | None:
    """The ellipse through places near one, all sectors evenly weighed; None where they do not tell it."""
    x, y = near.flat @ (places - near.centre).T
    sector = (np.arctan2(y, x) / (2 * np.pi) % 1.0 * SECTORS).astype(int) % SECTORS
    counts = np.bincount(sector, minlength=SECTORS)
    if np.count_nonzero(counts) < LEAST_SECTORS:
        return None
    weight = counts[sector] ** -0.5
    scale = near.radius_px
    x, y = (places - near.centre).T / scale
    conic = np.stack([x * x, 2 * x * y, y * y, x, y], axis=1) * weight[:, np.newaxis]
    a, b, c, d, e = np.linalg.lstsq(conic, weight, rcond=None)[0]
    form = np.array([[a, b], [b, c]])
    if np.linalg.eigvalsh(form)[0] <= 0:
        return None
    middle = -np.linalg.solve(form, [d, e]) / 2
    size, axes = np.linalg.eigh(form / (1 + middle @ form @ middle))
    if np.sqrt(size[0] / size[1]) < FLATTEST:
        return None
    return Round(near.centre + middle * scale, axes @ np.diag(np.sqrt(size)) @ axes.T / scale)
