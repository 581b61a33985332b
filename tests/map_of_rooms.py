"""The map of rooms in DEVELOPERS.md, made from the docstrings of packages and modules.

``python tests/map_of_rooms.py`` writes it anew; ``python tests/map_of_rooms.py modules`` prints a line for every
module in place of it. `test_docs.py` fails while the map in the document is not this one.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
DOCUMENT = ROOT / "DEVELOPERS.md"
PACKAGES = (ROOT / "acoustic", ROOT / "plugins" / "acoustic_plugins")
BEGIN, END = "<!-- map: python tests/map_of_rooms.py -->\n", "<!-- end of map -->"


def first_line(path: Path) -> str:
    """First line of a module's docstring, without the full stop."""
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return text.split("\n", maxsplit=1)[0].removesuffix(".")


def rooms() -> Iterator[tuple[Path, list[Path]]]:
    """Every package with its modules, in the order of their names."""
    for top in PACKAGES:
        for home in (top, *sorted(path for path in top.rglob("*") if (path / "__init__.py").is_file())):
            if "migrations" not in home.parts:
                yield home, sorted(path for path in home.glob("*.py") if path.name != "__init__.py")


def map_of_rooms() -> str:
    """One line a package: its folder and what it is for; indented those within another."""
    lines = []
    for home, _ in rooms():
        top = next(top for top in PACKAGES if home.is_relative_to(top))
        depth = len(home.relative_to(top).parts)
        name = f"{home.relative_to(ROOT).as_posix() if home == top else home.name}/"
        lines.append(f"{' ' * depth}{name:{14 - depth}} {first_line(home / '__init__.py')}")
    return "```\n" + "\n".join(lines) + "\n```\n"


def map_of_modules() -> str:
    """One line a module: its path and what it is for."""
    paths = [path for home, modules in rooms() for path in (home / "__init__.py", *modules)]
    return "".join(f"{path.relative_to(ROOT).as_posix():58} {first_line(path)}\n" for path in paths)


def with_map(text: str) -> str:
    """The document with today's map between the two markers.

    Raises
    ------
    ValueError
        A marker is missing.
    """
    before, begun, rest = text.partition(BEGIN)
    _, ended, after = rest.partition(END)
    if not (begun and ended):
        raise ValueError(f"{DOCUMENT.name} needs the lines {BEGIN.strip()!r} and {END!r}, the map between them")
    return before + BEGIN + map_of_rooms() + END + after


if __name__ == "__main__":
    if sys.argv[1:] == ["modules"]:
        print(map_of_modules(), end="")
    else:
        DOCUMENT.write_text(with_map(DOCUMENT.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
