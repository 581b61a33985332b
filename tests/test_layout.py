"""The checkout: its top level, the size of its files, and what import-linter's contracts do not ask."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from acoustic.plugin.registry import hook_names

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "acoustic"
PLUGINS = ROOT / "plugins" / "acoustic_plugins"
LONGEST = 400
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "acoustic",
    "plugins",
    "tests",
    "recordings_demo",
}
SIMULATOR = "acoustic.simulator"
# They write the demo's invented year into a book, and judge nothing themselves.
DEMO = {"acoustic.book.invented", "acoustic.cli.demo"}

pytestmark = pytest.mark.skipif(
    not (PACKAGE / "__init__.py").is_file(), reason="no checkout but an installed wheel"
)


def tracked() -> list[Path]:
    """Files git knows or would add; all files where git isn't there to ask."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            check=True,
        ).stdout.decode("utf-8")
    except (OSError, subprocess.CalledProcessError):
        listed = "\0".join(str(path.relative_to(ROOT)) for path in ROOT.rglob("*") if path.is_file())
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


FILES = tracked() if (PACKAGE / "__init__.py").is_file() else []
SOURCES = [path for path in FILES if path.suffix == ".py"]


def module_name(path: Path) -> str:
    base = ROOT / "plugins" if path.is_relative_to(ROOT / "plugins") else ROOT
    parts = path.relative_to(base).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path) -> Iterator[tuple[str, bool]]:
    """Every module a file imports, and whether only for type checkers.

    Of ``from package import name`` the name counts too: it may be a module.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for_types = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING")
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node in for_types) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative imports hide the layer"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield (inner if is_module(inner) else str(node.module)), node in for_types


def is_module(name: str) -> bool:
    base = (ROOT / "plugins" if name.startswith("acoustic_plugins") else ROOT).joinpath(*name.split("."))
    return base.with_suffix(".py").is_file() or (base / "__init__.py").is_file()


def ours(name: str) -> bool:
    return name.partition(".")[0] in ("acoustic", "acoustic_plugins", "recordings_demo")


def test_the_top_level() -> None:
    found = {path.relative_to(ROOT).parts[0] for path in FILES}
    assert {name for name in found if not name.startswith(".")} == TOP


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_file_is_too_long_to_read(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


def test_text_files_are_utf_8_without_carriage_returns() -> None:
    for path in FILES:
        if path.suffix in {".py", ".md", ".toml", ".csv"}:
            text = path.read_bytes().decode("utf-8")
            assert "\r" not in text, f"{path.name} has Windows line ends"


@pytest.mark.parametrize("path", [p for p in SOURCES if p.is_relative_to(PACKAGE / "dsp")], ids=module_name)
def test_numerics_touch_no_files(path: Path) -> None:
    named = {node.id for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Name)}
    assert not named & {"print", "open"}


def test_the_simulator_stands_apart() -> None:
    """It may use the core and numpy, and nothing that judges a recording may use it."""
    for path in SOURCES:
        imported = {name for name, _ in imports(path)}
        if path.is_relative_to(PACKAGE / "simulator"):
            wrong = {name for name in imported if ours(name) and not name.startswith((SIMULATOR, "acoustic.dsp"))}
            assert wrong == set(), path.name
            tops = {name.partition(".")[0] for name in imported}
            assert tops - set(sys.stdlib_module_names) <= {"acoustic", "numpy"}, path.name
        elif path.is_relative_to(ROOT / "tests") or path.is_relative_to(ROOT / "recordings_demo"):
            continue
        elif module_name(path) not in DEMO:
            assert not {name for name in imported if name.startswith(SIMULATOR)}, path.name


@pytest.mark.parametrize(
    "path",
    [p for p in SOURCES if p.is_relative_to(PLUGINS)],
    ids=lambda path: path.relative_to(PLUGINS).as_posix(),
)
def test_bundled_plugins_take_the_public_road(path: Path) -> None:
    """Of the project they import `acoustic.api` alone, as anybody's plugin does, and helpers beside them."""
    imported = {name for name, _ in imports(path) if ours(name)}
    assert {name for name in imported if name.startswith("acoustic.")} <= {"acoustic.api"}
    helpers = {name for name in imported if name.startswith("acoustic_plugins")}
    entries = set(entry_points().values())
    assert not helpers & entries, "a plugin that needs another plugin could not be removed alone"


def entry_points() -> dict[str, str]:
    table = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    points: dict[str, str] = table["project"]["entry-points"]["acoustic.plugins"]
    return points


def test_every_plugin_has_an_entry_point_and_the_reverse() -> None:
    """A new one shows in an editable install only after it is installed again, so a missing one goes unseen."""
    implementing = {
        module_name(path)
        for path in SOURCES
        if path.is_relative_to(PLUGINS)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name in hook_names()
    }
    assert implementing == set(entry_points().values())


def test_entry_points_are_named_after_their_modules() -> None:
    """A plugin of several modules after its folder."""
    for name, module in entry_points().items():
        assert name == module.removesuffix(".source").rpartition(".")[2].replace("_", "-")


def test_nothing_imports_plugins_by_the_folder_s_name() -> None:
    for path in SOURCES:
        assert not {name for name, _ in imports(path) if name.partition(".")[0] == "plugins"}, path.name
