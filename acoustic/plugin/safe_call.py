"""One plugin's error stays its own: calls of what plugins offer, and checks of what comes back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from acoustic.errors import InputError
from acoustic.model import Failure
from acoustic.plugin.registry import LoadedPlugin
from acoustic.plugin.run import reason, run, traced

T = TypeVar("T")


def safe_call(
    stage: str,
    part: LoadedPlugin[Any],
    call: Callable[[], T],
    failures: list[Failure],
    *,
    refusals_pass: bool = True,
) -> T | None:
    """Call a plugin's object; what it raises becomes a failure with its name on it.

    An `InputError` of a reader or a speed source passes: it speaks of the
    recording, not of the plugin. The user's Ctrl-C passes too.
    """
    try:
        return run(part.record.name, call)
    except Exception as error:
        if refusals_pass and isinstance(error, InputError):
            raise
        traced(error)
        failures.append(Failure(stage, part.record.name, reason(error)))
        return None


def is_a(value: object, kind: type[T]) -> T:
    """Return the value, which must be of a kind."""
    if not isinstance(value, kind):
        raise TypeError(f"a {kind.__name__} is needed, got {type(value).__name__}")
    return value
