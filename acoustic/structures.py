"""Structures written as JSON and read from TOML; what is wrong in a file is said by row and field."""

from __future__ import annotations

import json
import math
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec

from acoustic.errors import InputError

Form = TypeVar("Form")
Text = Annotated[str, msgspec.Meta(pattern=r"\S")]  # not blank
AboveZero = Annotated[float, msgspec.Meta(gt=0)]

_KINDS = {
    "str": "text",
    "float": "a number",
    "int": "a whole number",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
}
_EXAMPLES = {"str": '"..."', "float": "12.5", "int": "16", "bool": "true", "array": "[...]", "object": "{...}"}
_BOUNDS = {">": "above {}", ">=": "{} or more", "<": "below {}", "<=": "{} or less"}
_NAMED_BY = ("designation", "code", "file", "name")  # what a row goes by
_STEP = re.compile(r"\.([^.\[\]`]+)|\[(\d+|\.\.\.)\]")


def to_plain(block: msgspec.Struct) -> dict[str, Any]:
    """Dicts, lists, texts and numbers, as JSON can hold them: a number that is not finite becomes None."""
    plain: dict[str, Any] = _finite(msgspec.to_builtins(block, enc_hook=_of_numpy))
    return plain


def encode(block: msgspec.Struct) -> str:
    """Write a document as JSON text, letters beyond ASCII as they are."""
    return json.dumps(to_plain(block), ensure_ascii=False, indent=2, allow_nan=False)


def read_toml(path: Path, *, hint: str) -> dict[str, Any]:
    """Read a TOML file as plain data.

    Raises
    ------
    InputError
        It cannot be read, or is no TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}", hint=hint) from error
    except ValueError as error:  # not TOML, or not UTF-8
        found = f"{path}: a TOML file is needed, but it cannot be read as TOML ({error})"
        raise InputError(found, hint=hint) from error


def checked(content: Any, form: type[Form], where: str, *, hint: str) -> Form:
    """Check plain data against a structure.

    Parameters
    ----------
    content : object
        As TOML or JSON gives it.
    form : type
        The structure.
    where : str
        What the data are called in a refusal; the file's name.
    hint : str
        What to do where the whole is of another form.

    Raises
    ------
    InputError
        Something is missing, unknown, of another kind or out of its range: which row and field, what was found,
        and what is needed.
    """
    try:
        return msgspec.convert(content, form)
    except msgspec.ValidationError as error:
        said, _, path = str(error).partition(" - at `$")
    steps: list[str | int] = [name or (int(at) if at.isdigit() else at) for name, at in _STEP.findall(path)]
    named = re.fullmatch(r"Object (missing required|contains unknown) field `(.+)`", said)
    if named:
        steps.append(named[2])
        missing = named[1].startswith("missing")
        found = "it is missing" if missing else "no such field is known"
        known = ", ".join(_known(form, steps[:-1]))
        advice = f"Add {named[2]}." if missing else f"Remove it or use one of {known}."
    else:
        found, advice = _mismatch(said, _at(content, steps), form, steps)
    place = ", ".join([where, *_place(steps, content)])
    colon = ", " if found.startswith("field ") else ": "
    raise InputError(f"{place}{colon}{found}", hint=hint if len(steps) < 2 else advice)


def _mismatch(said: str, value: Any, form: Any, steps: list[str | int]) -> tuple[str, str]:
    """What was found against what is needed, and what to write instead."""
    expected = re.match(r"Expected `([^`]+)`(?:.*? (>=|<=|>|<) ([\d.]+))?", said)
    if said.startswith("Invalid enum value"):
        return f"{value!r} is not known", f"Use one of {', '.join(_known(form, steps))}."
    if expected is None:  # a structure's own words
        return said, "Correct the row."
    if value == []:
        return "the list is empty", "Name at least one."
    kinds = [kind for kind in expected[1].split(" | ") if kind in _KINDS]
    needed = " or ".join(_KINDS[kind] for kind in kinds)
    if expected[2] and expected[1] in ("float", "int"):
        span = _BOUNDS[expected[2]].format(f"{float(expected[3]):g}")
        return f"{needed} {span} is needed, got {value}", "Correct the number."
    name = next((step for step in reversed(steps) if isinstance(step, str)), "it")
    return f"{needed} is needed, got {value!r}", f"Write it as {name} = {_EXAMPLES[kinds[0]]}."


def _place(steps: list[str | int], content: Any) -> list[str]:
    """Where something stands, as "row 2 of [[bearing]] (HP-1)", "field 'fits'", "entry 1", "field 'place'"."""
    words: list[str] = []
    for depth, step in enumerate(steps):
        if isinstance(step, int) and depth == 1:
            row = _at(content, steps[:2])
            names = [row[key] for key in _NAMED_BY if key in row] if isinstance(row, dict) else []
            words = [f"row {step + 1} of [[{steps[0]}]]" + (f" ({names[0]})" if names else "")]
        elif isinstance(step, int):
            words.append(f"entry {step + 1}")
        elif step != "...":
            words.append(f"field '{step}'")
    return words


def _at(content: Any, steps: list[str | int]) -> Any:
    """What stands there; None where that cannot be told."""
    for step in steps:
        try:
            content = content[step]
        except (KeyError, IndexError, TypeError):
            return None
    return content


def _known(form: Any, steps: list[str | int]) -> tuple[str, ...]:
    """Fields of the structure, or values of the literal, that is expected there."""
    kind: Any = msgspec.inspect.type_info(form)
    for step in steps:
        if isinstance(step, int):
            kind = kind.item_type
        else:
            kind = next(field.type for field in kind.fields if field.encode_name == step)
        if isinstance(kind, msgspec.inspect.UnionType):
            kind = next(one for one in kind.types if isinstance(one, msgspec.inspect.StructType))
    if isinstance(kind, msgspec.inspect.LiteralType):
        return tuple(map(str, kind.values))
    return tuple(field.encode_name for field in kind.fields)


def _of_numpy(value: Any) -> Any:
    """A plugin's numpy number as Python's own."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{value!r} is neither text nor a number")


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
