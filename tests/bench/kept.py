"""The rows' recordings, made once and kept where a folder for them is given."""

from __future__ import annotations

import hashlib
import pickle
from dataclasses import asdict, dataclass
from pathlib import Path

from pieces import Fold, Pieces
from recorded import Generator, made, record_spin
from rows import ROWS
from spins import draw
from spoilt import spoil

from acoustic.simulator import Spin, SpinPlan


@dataclass(frozen=True)
class Job:
    """One recording to make and to ask about.

    Attributes
    ----------
    row : str
        Of the table.
    seed : int
    generator : {'physical', 'pieced'}
    folder : Path or None
        Real recordings, for 'pieced'.
    fold : {'build', 'held'}
    keep : Path or None
        Where recordings are kept.
    """

    row: str
    seed: int
    generator: Generator
    folder: Path | None
    fold: Fold = "build"
    keep: Path | None = None

    @property
    def pieces(self) -> Pieces | None:
        """What to piece together, if anything."""
        return Pieces.load(self.folder, self.fold) if self.folder and self.generator == "pieced" else None

    @property
    def plan(self) -> SpinPlan:
        """What is recorded."""
        return draw(self.seed, **ROWS[self.row].changes(self.seed))


def recording(job: Job, folder: Path) -> tuple[Path, str, Spin]:
    """Take a recording from those kept, or make it.

    Parameters
    ----------
    job : Job
    folder : Path
        Where it is written if it is not kept.

    Returns
    -------
    path : Path
    how : str
        What the phone did, or what spoilt it.
    spin : Spin
        The truth.
    """
    if job.keep is None:
        return _made(job, folder)
    told = repr(sorted(asdict(job.plan).items())) + f"{job.fold} {ROWS[job.row].widely} {ROWS[job.row].counts}"
    digest = hashlib.sha256(told.encode()).hexdigest()[:12]
    place = job.keep / f"{job.row}-{job.seed}-{job.generator}-{digest}"
    truth = place / "truth.pickle"
    if not truth.exists():
        place.mkdir(parents=True, exist_ok=True)
        path, how, spin = _made(job, place)
        truth.write_bytes(pickle.dumps((path.name, how, spin)))
    name, how, spin = pickle.loads(truth.read_bytes())
    return place / name, how, spin


def _made(job: Job, folder: Path) -> tuple[Path, str, Spin]:
    row = ROWS[job.row]
    if row.counts == "never clean":
        spin = made(job.plan, job.generator, job.pieces)
        return *spoil(spin.samples, spin.sample_rate_hz, job.seed, folder), spin
    return record_spin(job.plan, job.seed, folder, widely=row.widely, generator=job.generator, pieces=job.pieces)
