"""One plugin's error stays its own: calls in a guard, and checks of what comes back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from acoustic.errors import InputError
from acoustic.model import Failure
from acoustic.plugin.registry import Part

T = TypeVar("T")


def guarded(
    stage: str, part: Part[Any], call: Callable[[], T], failures: list[Failure], *, refusals_pass: bool = True
) -> T | None:
    """Call a plugin's object; what it raises becomes a failure with its name on it.

    An `InputError` of a reader or a speed source passes: it speaks of the
    recording, not of the plugin. A plugin that calls sys.exit must not take the
    program with it.
    """
    try:
        return call()
    except (Exception, SystemExit) as error:
        if refusals_pass and isinstance(error, InputError):
            raise
        failures.append(Failure(stage, part.record.name, f"{type(error).__name__}: {error}"))
        return None


def is_a(value: object, kind: type[T]) -> T:
    """Return the value, which must be of a kind."""
    if not isinstance(value, kind):
        raise TypeError(f"a {kind.__name__} is needed, got {type(value).__name__}")
    return value
