"""The options by which speed sources are asked for; declared apart from the sources, so that help stays quick.

An option is declared by an entry point in the group ``acoustic.options``, which names a tuple of `Option` in any
module; the speed source carries the same tuple. Help and the parsing of a command line import that module alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from acoustic.errors import PluginError
from acoustic.plugin.entry import BUNDLED, OPTIONS_GROUP, entries, record_of
from acoustic.plugin.run import reason, run

Kind = Literal["flag", "number", "count", "channel", "file", "text"]
# Options of the commands themselves, which no plugin can take.
RESERVED = frozenset(
    f"--{word}"
    for word in (
        *("help", "debug", "version", "spin", "bearing", "catalogue", "balls", "ball-diameter", "pitch-diameter"),
        *("contact-angle", "turning", "rows", "chainring", "sprocket", "jockey", "room", "side", "json", "plot"),
        *(
            "report",
            "quiet",
            "fail-on",
            "language",
            "bike",
            "on",
            "kind",
            "km",
            "recorder",
            "notes",
            "done",
            "book",
        ),
        *("anyway",),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """An option of the command line that asks for a speed source.

    Attributes
    ----------
    flag : str
        As typed: '--hall'. Lower case, digits and dashes.
    help : str
        One sentence for `acoustic check --help`.
    kind : {'flag', 'number', 'count', 'channel', 'file', 'text'}
        'flag' takes no value, 'count' a whole number from 1, 'channel' the number of a channel of the recording,
        counted from 1, which is then not judged as sound; 'file' gives a `pathlib.Path`.
    metavar : str
        What stands for the value in the help; empty for the usual word.
    key : str
        Name under which `SpeedRequest.value` gives it; the flag's own, with underscores, where empty.
    """

    flag: str
    help: str
    kind: Kind = "text"
    metavar: str = ""
    key: str = ""

    def __post_init__(self) -> None:
        if not re.fullmatch(r"--[a-z][a-z0-9]*(-[a-z0-9]+)*", self.flag):
            raise ValueError(f"an option reads like --hall or --hall-edge, got {self.flag!r}")
        if self.kind not in get_args(Kind):
            raise ValueError(f"the kind of {self.flag} must be one of {', '.join(get_args(Kind))}")
        if not self.help:
            raise ValueError(f"{self.flag} needs a sentence of help")
        object.__setattr__(self, "key", self.key or self.flag.removeprefix("--").replace("-", "_"))


@dataclass(frozen=True, slots=True)
class Declared:
    """What installed plugins declare.

    Attributes
    ----------
    options : tuple of Option
        The bundled ones first; of two with the same flag or key the first.
    refused : mapping of str to str
        Why a package's declaration was left out, by the package's name; its plugin is set aside when it is loaded.
    """

    options: tuple[Option, ...]
    refused: Mapping[str, str]


def declared_options() -> tuple[Option, ...]:
    """List the options that installed plugins declare, as in `Declared`."""
    return declared().options


@cache
def declared() -> Declared:
    """Read the declarations of all installed plugins.

    Raises
    ------
    PluginError
        Not even the bundled ones are declared.
    """
    found: dict[str, Option] = {}
    owners: dict[str, str] = {}
    refused: dict[str, str] = {}
    for entry in entries(OPTIONS_GROUP):
        package = record_of(entry).distribution
        try:
            options = tuple(run(entry.name, entry.load))
        except Exception as error:
            refused.setdefault(package, f"{entry.value} cannot be loaded: {reason(error)}")
            continue
        for option in options:
            why = _refusal(option, owners)
            if why is not None:
                refused.setdefault(package, why)
                continue
            found[option.flag] = option
            owners |= {option.flag: package, option.key: package}
    if not found:
        raise PluginError(
            f"{BUNDLED} is installed without the entry points in {OPTIONS_GROUP}, so that no option of a speed "
            "source is known",
            hint="Install it again: python -m pip install -e . in a checkout, since they are written at install.",
        )
    return Declared(tuple(found.values()), refused)


def _refusal(option: object, owners: Mapping[str, str]) -> str | None:
    """Why a declared option cannot be taken; None where it can."""
    if not isinstance(option, Option):
        return f"{type(option).__name__} is no acoustic.api.Option"
    if option.flag in RESERVED:
        return f"{option.flag} is the program's own"
    for name in (option.flag, option.key):
        if name in owners:
            return f"{name} is taken by {owners[name]}"
    return None
