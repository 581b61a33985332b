"""What a hostile or broken file may make a worker process do; called in one by name."""

from __future__ import annotations

import itertools
import os
import signal
import time
from pathlib import Path


def hang(*_: object) -> None:
    time.sleep(600)


def hang_in_compiled_code(*_: object) -> None:
    sum(itertools.repeat(0))  # lets no other thread run, and hears no signal


def die(*_: object) -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def eat_memory(*_: object) -> None:
    raise AssertionError(f"{len(bytearray(20_000_000_000))} bytes were given")


def leave(*_: object) -> None:
    raise SystemExit("a decoder that ends the program")


def fill_the_disk(folder: str, *_: object) -> str:
    with (Path(folder) / "large").open("wb") as file:
        try:
            file.truncate(20_000_000_000)
        except OSError as error:
            return os.strerror(error.errno or 0)
    return "nothing stopped it"


def use_the_processor(*_: object) -> None:
    from acoustic.serve import judging

    judging.LONGEST_CHECK_S = 0.5
    judging._bound_processor_time()
    hang_in_compiled_code()


def who(*_: object) -> int:
    return os.getpid()
