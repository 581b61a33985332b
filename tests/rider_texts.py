"""Every text that the rider's half of a page can say, read from the table, the modules and the templates.

Texts that are put together when a recording is judged are read from the source: what stands in an f-string's
braces becomes a number, and every branch of a choice a text of its own.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

from jinja2 import Environment, nodes

ROOT = Path(__file__).parents[1]
VALUE = "7.5"  # stands for whatever number or name is put in
TEMPLATES = ROOT / "acoustic" / "report" / "page" / "templates"
# Calls whose texts may become the reason or the advice of a recording that cannot be used, and which of their
# arguments hold them, by place or by name.
TELLING: dict[str, tuple[int | str, ...]] = {
    "Problem": (1, 2),
    "MotionError": (0, "hint"),
    "Finding": ("detail",),
    "_faint": (0,),
    "_not_judged": (0,),
    "unjudged": (1,),
    "Standing": (1, 2),
    "Lead": ("heard",),
}
# What they detect is left open where nothing shows that a crank makes it, and then said as a reason.
DOUBTFUL = ("rumble", "tight", "creak", "contamination")
PLACES = (
    "acoustic/check",
    "acoustic/install",
    "acoustic/report/bike_sections.py",
    "acoustic/speed",
    "plugins/acoustic_plugins/detectors",
    "plugins/acoustic_plugins/quality",
    "plugins/acoustic_plugins/speed",
)


def in_templates() -> set[str]:
    """What the templates say through the translator."""
    found = set()
    for path in TEMPLATES.glob("*.html.jinja"):
        tree = Environment(autoescape=True).parse(path.read_text(encoding="utf-8"))
        for call in tree.find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name == "say":
                found |= {one.value for one in call.args if isinstance(one, nodes.Const)}
    return found


def in_the_table() -> set[str]:
    """What the table of conditions says to riders."""
    from acoustic.conditions import ORDER, table

    read = table()
    rules = [rule for condition in read.conditions.values() for rule in condition.rules]
    rules += [read.corroded, read.strikes_by_ear, read.faint_by_ear]
    said = {text for rule in rules for text in (rule.means, *rule.to_do)}
    said |= {condition.rider for condition in read.conditions.values()}
    said |= {read.clean.rider, read.clean.means, read.clean.advice, read.turn_by_hand}
    return said | set(read.grades.values()) | {*ORDER, "undecided"}


def in_plain_words() -> set[str]:
    """What the card, the slip and the cautions say beside the table."""
    from acoustic.check import grade
    from acoustic.report.page import build, plain, slip

    said = {f"it makes {VALUE}", "Checked by its sound", f"Checked by its sound on {VALUE}"}
    said |= {"drive side", "non-drive side", slip.ONCE_MORE}
    said |= {*plain.HOW_TO_RECORD, plain.OPEN, plain.UNFINISHED, plain.INCOMPLETE, plain.CHECK_AGAIN}
    return said | {*itertools.chain(*build.CAUTION_LINES), grade.RECORD_AGAIN}


class Module:
    """Texts of one module's source."""

    def __init__(self, path: Path) -> None:
        self.doubtful = path.stem in DOUBTFUL
        self.tree = ast.parse(path.read_text(encoding="utf-8"))

    def texts(self) -> Iterator[str]:
        """Texts that stand in telling calls; nothing of the bare names that are handed on."""
        for scope in ast.walk(self.tree):
            if isinstance(scope, ast.FunctionDef):
                for call in ast.walk(scope):
                    if isinstance(call, ast.Call):
                        yield from self._told(call, scope)

    def _told(self, call: ast.Call, scope: ast.FunctionDef) -> Iterator[str]:
        name = getattr(call.func, "attr", getattr(call.func, "id", ""))
        named = {one.arg: one.value for one in call.keywords}
        if (name == "Problem" and "voids" not in named) or (name == "Finding" and not self.doubtful):
            return  # it voids no verdict, or is no reason of one
        for place in TELLING.get(name, ()):
            given = call.args[place : place + 1] if isinstance(place, int) else [named[place]] * (place in named)
            for value in given:
                # Of a finding, what is said where it is detected.
                told = value.body if name == "Finding" and isinstance(value, ast.IfExp) else value
                yield from (text for text in self.variants(told, scope) if text != VALUE)

    def variants(self, value: ast.AST, scope: ast.AST) -> list[str]:
        """Every text that an expression may be."""
        told: list[str] = []
        match value:
            case ast.Constant(value=str(text)):
                told = [text]
            case ast.FormattedValue(value=inner):
                told = self.variants(inner, scope)
            case ast.JoinedStr(values=parts):
                every = [self.variants(part, scope) for part in parts]
                told = ["".join(pieces) for pieces in itertools.product(*every)]
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                told = [a + b for a in self.variants(left, scope) for b in self.variants(right, scope)]
            case ast.IfExp(body=yes, orelse=no):
                told = self.variants(yes, scope) + self.variants(no, scope)
            case ast.Subscript(value=ast.Name(id=name)):
                held = [one for one in self._assigned(name, scope) if isinstance(one, ast.Dict)]
                told = [text for one in held for v in one.values for text in self.variants(v, scope)]
            case ast.Call(func=ast.Attribute(value=inner, attr="format")):
                told = [re.sub(r"\{\w+[^}]*\}", VALUE, text) for text in self.variants(inner, scope)]
            case ast.Call(func=ast.Name(id=name)):
                told = self._returned(name)
            case ast.Name(id=name):
                told = [text for one in self._assigned(name, scope) for text in self.variants(one, scope)]
        return told or [VALUE]

    def _assigned(self, name: str, scope: ast.AST) -> list[ast.expr]:
        """What a name is set to, in the function or else in the module."""
        for home in (ast.walk(scope), self.tree.body):
            found = [
                node.value
                for node in home
                if isinstance(node, ast.Assign)
                and any(isinstance(target, ast.Name) and target.id == name for target in node.targets)
            ]
            if found:
                return found
        return []

    def _returned(self, name: str) -> list[str]:
        """What a function of the module returns, where that is a text."""
        for node in self.tree.body:
            if isinstance(node, ast.FunctionDef) and node.name == name and name not in TELLING:
                values = [one.value for one in ast.walk(node) if isinstance(one, ast.Return) and one.value]
                return [text for value in values for text in self.variants(value, node)]
        return [VALUE]


def in_the_modules() -> set[str]:
    """What is said of a recording that cannot be used, and of a fresh install."""
    homes = [ROOT / place for place in PLACES]
    paths = [path for home in homes for path in ([home] if home.is_file() else sorted(home.rglob("*.py")))]
    return {text for path in paths for text in Module(path).texts() if text}


def in_other_texts() -> set[str]:
    """What stands at the places of other texts."""
    from acoustic.plugin.entry import BUNDLED
    from acoustic.plugin.registry import load_plugins

    labels = {part.item.label for part in load_plugins().speed_sources if part.record.distribution == BUNDLED}
    drive = Module(ROOT / "acoustic" / "check" / "features.py").variants(
        ast.parse("_no_drivetrain(motion, drivetrain)", mode="eval").body, ast.Module([], [])
    )
    return labels | set(drive) - {""} | {"turn", "second"}


def in_a_bikes_sections() -> set[str]:
    """What a bike's page adds: how the install stands, when the next work is due, how much more it drags."""
    from acoustic.conditions import table
    from acoustic.report import before_after, bike_sections, trend_text
    from acoustic.report.layout import sentence
    from acoustic.trend.series import DRAG, NOUN

    def returned(place: str, name: str) -> list[str]:
        return Module(ROOT / place).variants(ast.parse(f"{name}()", mode="eval").body, ast.Module([], []))

    due = returned("acoustic/trend/due.py", "due_sentence")
    due += [text for text in returned("acoustic/report/trend_text.py", "_last_alone") if text]
    titles = {sentence(trend_text.title(code))[:-1] for code in (*table().conditions, DRAG)}
    said = {sentence(f"{VALUE}: {text}") for text in (*due, trend_text.UNCHANGED)} | titles
    said |= {"now", "early March 2027", "mid March", "late May", *NOUN.values()}
    said |= {"not enough visits: 1 so far, 3 needed, each on a day of its own"}
    said |= {sentence(text) for text in bike_sections.HEADINGS.values()}
    said |= {f"{place}, 2026-03-01{more}" for place in before_after.PLACES for more in ("", ": spin.wav")}
    said |= set(returned("acoustic/install/spins.py", "drags_more")) - {VALUE}
    return said | {"How it goes on", "Since it was fitted", "Compared with the fresh install of 2026-03-01."}


def all_texts() -> set[str]:
    """All of them."""
    modules = in_the_modules() | in_other_texts() | in_a_bikes_sections()
    return in_templates() | in_the_table() | in_plain_words() | modules
