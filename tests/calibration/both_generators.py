"""Recordings of both generators for the calibration scripts: every law is taken over both, and says over which."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple, get_args

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from kept import Job, recording
from pieces import Fold
from recorded import Generator

from acoustic.simulator import Spin, SpinPlan


class Made(NamedTuple):
    """A recording of a row of the findings' table.

    Attributes
    ----------
    generator : {'physical', 'pieced'}
    seed : int
    plan : SpinPlan
    path : Path
        The file, as a phone writes it; read it before the next one is taken.
    how : str
        What the phone did.
    spin : Spin
        The truth.
    """

    generator: Generator
    seed: int
    plan: SpinPlan
    path: Path
    how: str
    spin: Spin


def parser(description: str, *, recordings: int) -> argparse.ArgumentParser:
    """Options that every calibration script has.

    Parameters
    ----------
    description : str
    recordings : int
        Of each generator, where not said.

    Returns
    -------
    argparse.ArgumentParser
    """
    made = argparse.ArgumentParser(description=description)
    made.add_argument(
        "--folder", type=Path, help="real recordings; without it only the physical simulator is asked"
    )
    made.add_argument("--fold", choices=get_args(Fold), default="build", help="which half of them")
    made.add_argument("--recordings", type=int, default=recordings, help="of each generator")
    made.add_argument("--first", type=int, default=0, help="first seed")
    made.add_argument("--keep", type=Path, help="folder in which generated recordings are kept")
    return made


def recorded(row: str, said: argparse.Namespace) -> Iterator[Made]:
    """The recordings of a row, of one generator after the other.

    Parameters
    ----------
    row : str
        Of `tests/bench/rows.py`: 'healthy', 'ring-8', ...
    said : argparse.Namespace
        From `parser`.

    Yields
    ------
    Made
    """
    generators: tuple[Generator, ...] = ("physical", "pieced") if said.folder else ("physical",)
    for generator in generators:
        for seed in range(said.first, said.first + said.recordings):
            job = Job(row, seed, generator, said.folder, said.fold, said.keep)
            with tempfile.TemporaryDirectory() as folder:
                path, how, spin = recording(job, Path(folder))
                yield Made(generator, seed, job.plan, path, how, spin)
