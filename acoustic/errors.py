"""What can go wrong, and the exit code each kind earns.

AcousticError
├── InputError      the call or the recording cannot be used        exit 2
│   └── MotionError the recording holds no motion that can be found exit 2
└── PluginError     a plugin failed where nothing else could serve  exit 3
"""

from __future__ import annotations

# The project's own, in the README and `acoustic guide scripts`; 2 is what click gives for wrong usage, 70 is
# EX_SOFTWARE of sysexits.h. This one is what every shell takes for done.
EXIT_DONE = 0
# As grep and diff: the command worked, and found something.
EXIT_AT_OR_PAST_GRADE = 1
# As click for wrong usage: nothing was judged.
EXIT_UNUSABLE = 2
# The next that is free.
EXIT_PLUGIN_FAILED = 3
# EX_SOFTWARE of sysexits.h.
EXIT_OUR_BUG = 70
EXIT_INTERRUPTED = 130  # as shells report Ctrl-C
EXIT_PIPE_CLOSED = 141  # as shells report a reader that went away


class AcousticError(Exception):
    """Root of every error this program raises on purpose.

    Parameters
    ----------
    found : str
        What was found, and what was needed instead.
    hint : str
        What to do next.
    """

    exit_code = EXIT_OUR_BUG

    def __init__(self, found: str, *, hint: str) -> None:
        super().__init__(f"{found}. {hint}")
        self.found = found
        self.hint = hint


class InputError(AcousticError):
    """The call, the bearing or the recording cannot be used."""

    exit_code = EXIT_UNUSABLE


class MotionError(InputError):
    """The call was right, but the crank's motion cannot be found in the recording."""


class PluginError(AcousticError):
    """A plugin failed and nothing else could take its place."""

    exit_code = EXIT_PLUGIN_FAILED
