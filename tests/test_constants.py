"""Every numeric constant of a module says where it comes from: in a comment on its line, or right above it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = (ROOT / "acoustic", ROOT / "plugins" / "acoustic_plugins")
# What a plugin was written for, explained once in the hook reference.
SAYS_ITSELF = {"ACOUSTIC_API"}

pytestmark = pytest.mark.skipif(
    not (ROOT / "acoustic" / "__init__.py").is_file(), reason="no checkout but an installed wheel"
)


def is_numeric(value: ast.expr) -> bool:
    """Whether it is made of numbers: no words but a mapping's keys."""
    if isinstance(value, ast.Dict):
        return bool(value.values) and all(is_numeric(one) for one in value.values)
    held = [node.value for node in ast.walk(value) if isinstance(node, ast.Constant)]
    numbers = [one for one in held if isinstance(one, int | float) and not isinstance(one, bool)]
    return bool(numbers) and not any(isinstance(one, str) for one in held)


def bare(text: str) -> Iterator[str]:
    """Names of the numeric constants of a module that have no comment."""
    lines = text.splitlines()
    for node in ast.parse(text).body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        each = target.elts if isinstance(target, ast.Tuple) else [target]
        names = [one.id for one in each if isinstance(one, ast.Name)]
        if not names or not all(name.lstrip("_").isupper() for name in names) or not is_numeric(node.value):
            continue
        above = node.lineno > 1 and lines[node.lineno - 2].startswith("#")
        if not above and not any("#" in line for line in lines[node.lineno - 1 : node.end_lineno]):
            yield from names


def modules() -> list[str]:
    return sorted(
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in package.rglob("*.py")
        if package.is_dir()
    )


@pytest.mark.parametrize("name", modules())
def test_every_number_has_a_reason(name: str) -> None:
    found = [one for one in bare((ROOT / name).read_text(encoding="utf-8")) if one not in SAYS_ITSELF]
    assert found == [], f"{name}: say beside the number where it comes from, or that it is judgement"


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("LIMIT = 3\n", ["LIMIT"]),
        ("LIMIT = 3  # judgement\n", []),
        ("# Judgement.\nLIMIT = 3\n", []),
        ("# Judgement.\nLIMIT = 3\nOTHER = 4\n", ["OTHER"]),
        ("LOW, HIGH = 0.1, np.log(2)\n", ["LOW", "HIGH"]),
        ('FALL: dict[str, float] = {"ball": 0.2}\n', ["FALL"]),
        ('NAMES = {"ball": "a ball"}\nTEXT = "3"\nlow = 3\nSAID = True\n', []),
    ],
)
def test_what_counts_as_one(text: str, names: list[str]) -> None:
    assert list(bare(text)) == names
