"""What the searches for a train of impacts reach where there is none: the laws of `acoustic.dsp.tacholess.null`.

Run by hand: ``python tests/calibration/tacholess_null.py [--folder REAL] [--recordings N]``. Healthy spins of
the physical simulator and, with the folder of real recordings, of the generator from real pieces; then every clip
of its `noise`, as it is and looped to 13 s. Printed are, for run-downs and for cadences: the Gumbel law of the
score, whose location grows with the logarithm of the length, by moments; the normal law of the struck intervals'
rank; how the two go together; and how many of all would be taken for a crank. The stored laws are of 14 healthy
spins of each generator and all clips (`--recordings 14`).
"""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from both_generators import parser, recorded

from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.dsp.tacholess.null import CADENCE, COAST
from acoustic.dsp.tacholess.train_search import find_train

EULER = 0.5772
LOOPED_S = 13.0


def sounds(path: Path) -> tuple[np.ndarray, float]:
    """One channel of a file, and its rate."""
    from acoustic.check.pipeline import read_recording
    from acoustic.plugin.registry import load_plugins

    recording = read_recording(path, load_plugins().readers, [])
    return recording.heard, recording.sample_rate_hz


def nulls(said: Namespace) -> Iterator[tuple[str, np.ndarray, float]]:
    """What holds no train: kind, samples, rate."""
    for made in recorded("healthy", said):
        yield made.generator, *sounds(made.path)
    if said.folder:
        for path in sorted((said.folder / "noise").glob("*.ogg")):
            samples, rate_hz = sounds(path)
            count = int(LOOPED_S * rate_hz)
            yield "clip", samples, rate_hz
            yield "looped", np.tile(samples, -(-count // samples.size))[:count], rate_hz


def main() -> None:
    """Print the laws."""
    said = parser(__doc__ or "", recordings=40).parse_args()
    rows: dict[bool, list[tuple[str, float, float, float, bool, float]]] = {True: [], False: []}
    for kind, samples, rate_hz in nulls(said):
        levels = impact_levels(band_bank(samples, sample_rate_hz=rate_hz))
        for coasting, found in rows.items():
            train = find_train(levels, coasting=coasting)
            if train is not None:
                found.append((kind, levels.duration_s, train.score, train.struck, train.even, train.chance))
    for coasting, stored in ((True, COAST), (False, CADENCE)):
        # What keeps time as a machine does is refused by another rule, and is no null of this search.
        kept = [row for row in rows[coasting] if not row[4]]
        length = np.log(np.array([row[1] for row in kept]) / 10)
        score, struck = (np.array([row[place] for row in kept]) for place in (2, 3))
        slope, middle = np.polyfit(length, score, 1)
        off = score - np.polyval((slope, middle), length)
        scale = float(off.std(ddof=2)) * math.sqrt(6) / math.pi
        error = scale * 1.28 / math.sqrt(len(kept))
        taken = sum(row[5] <= DETECTION_CHANCE for row in kept)
        print(
            f"{'coast' if coasting else 'cadence'}: {len(kept)} recordings; "
            f"at 10 s {middle - EULER * scale:.2f} +- {error:.2f}, a log length {slope:.2f}, scale {scale:.2f}; "
            f"struck {struck.mean():.2f} +- {struck.std():.2f}; correlation {np.corrcoef(off, struck)[0, 1]:.2f}; "
            f"taken for a crank {taken}; stored {stored}"
        )
        for kind in sorted({row[0] for row in kept}):
            some = [row for row in kept if row[0] == kind]
            print(
                f"  {kind:<9}{len(some):>5}  score {np.mean([row[2] for row in some]):.1f}, at most "
                f"{max(row[2] for row in some):.1f}; struck at most {max(row[3] for row in some):.1f}; "
                f"taken {sum(row[5] <= DETECTION_CHANCE for row in some)}"
            )


if __name__ == "__main__":
    main()
