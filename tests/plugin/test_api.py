"""What plugins may import: few names, none idle, each loaded when it is taken."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from acoustic import api

ROOT = Path(__file__).parents[2]
MOST = 45


def imported_from_api(code: str) -> set[str]:
    return {
        alias.name
        for node in ast.walk(ast.parse(code))
        if isinstance(node, ast.ImportFrom) and node.module == "acoustic.api"
        for alias in node.names
    }


def used() -> set[str]:
    """By bundled plugins, or by the walkthroughs, whose code stands in blocks."""
    import acoustic_plugins

    blocks = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("```python\n")[1:]
    codes = [block.partition("```")[0] for block in blocks]
    codes += [path.read_text(encoding="utf-8") for path in Path(acoustic_plugins.__path__[0]).rglob("*.py")]
    return set().union(*map(imported_from_api, codes))


def test_few_names_and_none_idle() -> None:
    assert len(api.__all__) <= MOST
    assert used() == set(api.__all__)


def test_every_name_is_there_and_typed() -> None:
    """The imports for the type checker and the table for running programs say the same."""
    tree = ast.parse(Path(api.__file__).read_text(encoding="utf-8"))
    typed = {
        (alias.name, node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("acoustic.")
        for alias in node.names
    }
    assert typed == {(name, home) for home, names in api._HOMES.items() for name in names}
    assert sorted(name for name, _ in typed) == sorted(api.__all__) == dir(api)
    assert all(getattr(api, name) is not None for name in api.__all__)


def test_no_other_name() -> None:
    with pytest.raises(AttributeError, match="offers no 'BearingGeometry'"):
        _ = api.BearingGeometry  # type: ignore[attr-defined]


def test_an_option_costs_no_numerics() -> None:
    code = "import sys; from acoustic.api import Option, hookimpl; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert "acoustic.plugin.options" in done.stdout
    assert "numpy" not in done.stdout.split()
