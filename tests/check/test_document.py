"""The JSON document against the contract, key by key."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.check.document import SCHEMA, decode, document_of
from acoustic.errors import PluginError
from acoustic.model import CONDITIONS, Step
from acoustic.plugin.registry import load_plugins
from acoustic.structures import encode, to_plain

Run = Callable[..., Any]

PART_ORDERS = ("cage", "outer_raceway", "inner_raceway", "ball")
LEVELS = ("clean", "watch", "service", "replace", "undecided")


class Or:
    """One shape or another."""

    def __init__(self, *shapes: Any) -> None:
        self.shapes = shapes


def text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def positive(value: Any) -> bool:
    return number(value) and value > 0


def count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value > 0


def flag(value: Any) -> bool:
    return isinstance(value, bool)


def probability(value: Any) -> bool:
    return number(value) and 0 <= value <= 1


def digest(value: Any) -> bool:
    return isinstance(value, str) and len(value) == 64 and set(value) <= set("0123456789abcdef")


def code(value: Any) -> bool:
    return isinstance(value, str) and value.isidentifier() and value == value.lower()


def texts(value: Any) -> bool:
    return isinstance(value, dict) and all(text(k) and text(v) for k, v in value.items())


def nothing(value: Any) -> bool:
    return value is None


# Sets hold the allowed codes, one-item lists the shape of every item, functions test a value.
CONTRACT: dict[str, Any] = {
    "schema": {"acoustic.check/1"},
    "recording": {
        "path": text,
        "sha256": digest,
        "duration_s": positive,
        "sample_rate_hz": positive,
        "channels": count,
        "format": text,
    },
    "bearing": {
        "designation": text,
        "balls": count,
        "balls_source": {"catalogue", "given", "inferred"},
        "ball_diameter_mm": positive,
        "pitch_diameter_mm": positive,
        "contact_angle_deg": number,
        "turning": {"inner", "outer"},
        "orders": dict.fromkeys(PART_ORDERS, positive),
    },
    "quality": {"usable": flag, "problems": [{"code": code, "detail": text, "advice": text}]},
    "motion": Or(
        nothing,
        {
            "source": {"stated", "turns", "marks", "ticks", "channel", "gyro", "film", "sound"},
            "spin": {"hand", "pedal", "steady"},
            "turns": positive,
            "peak_rpm": positive,
            "mean_rpm": positive,
            "relative_uncertainty": positive,
            "scale_known": flag,
            "start_s": number,
            "stop_s": positive,
        },
    ),
    "findings": [
        {
            "condition": set(CONDITIONS),
            "detected": flag,
            "false_alarm_probability": probability,
            "severity_db": Or(nothing, number),
            "detail": text,
            "by": text,
            "evidence": {
                "order": Or(nothing, positive),
                "expected_order": Or(nothing, positive),
                "harmonics": Or(nothing, number),
                "band_hz": Or(nothing, [positive]),
            },
        }
    ],
    "conditions": texts,
    "grade": {
        "level": set(LEVELS),
        "because": [text],
        "advice": [text],
        "confidence": Or(nothing, probability),
        "would_have_found": Or(nothing, number),
    },
    "failures": [{"stage": code, "plugin": text, "error": text}],
    "cautions": [text],
    "plugins": texts,
    "program": text,
}


def faults(value: Any, shape: Any, at: str = "document") -> list[str]:
    """Everything in which a value differs from a shape; keys beyond it are free."""
    for kind, differs in ((Or, in_all), (dict, in_keys), (list, in_items), (set, in_code)):
        if isinstance(shape, kind):
            return differs(value, shape, at)
    return [] if shape(value) else [f"{at}: {value!r} is no {shape.__name__}"]


def in_all(value: Any, shape: Any, at: str) -> list[str]:
    return min((faults(value, one, at) for one in shape.shapes), key=len)


def in_keys(value: Any, shape: Any, at: str) -> list[str]:
    if not isinstance(value, dict):
        return [f"{at}: no object but {value!r}"]
    found = [f"{at}.{key}: missing" for key in shape if key not in value]
    for key in shape.keys() & value.keys():
        found += faults(value[key], shape[key], f"{at}.{key}")
    return found


def in_items(value: Any, shape: Any, at: str) -> list[str]:
    if not isinstance(value, list):
        return [f"{at}: no list but {value!r}"]
    return [fault for place, item in enumerate(value) for fault in faults(item, shape[0], f"{at}[{place}]")]


def in_code(value: Any, shape: Any, at: str) -> list[str]:
    return [] if value in shape else [f"{at}: {value!r} is none of {sorted(shape)}"]


def test_the_checker_sees_faults() -> None:
    """A checker that passes everything would prove nothing."""
    found = faults({"schema": "acoustic.check/2", "quality": {"usable": 1, "problems": {}}}, CONTRACT)
    assert "document.recording: missing" in found
    assert "document.schema: 'acoustic.check/2' is none of ['acoustic.check/1']" in found
    assert "document.quality.usable: 1 is no flag" in found
    assert "document.quality.problems: no list but {}" in found
    assert faults(math.nan, Or(nothing, number)) and not faults(None, Or(nothing, number))


@pytest.mark.parametrize("case", ["sound", "outer", "ball", "rumble", "grit", "short", "far_away"])
def test_contract(case: str, acoustic: Run, taken: Any, registry: Any) -> None:
    made = taken(case)
    outcome = acoustic("check", made.path, "--bearing", "6805", "--marks", made.marks, "--json")
    document = outcome.document
    assert faults(document, CONTRACT) == []
    # A crank spun by hand drives no chain and carries no load: nobody listens for either. Notches need six turns.
    judged = {c for part in registry.detectors for c in part.item.conditions} - {"drivetrain", "creak"}
    found = {finding["condition"] for finding in document["findings"]}
    assert judged - found <= {"tight"}
    assert found <= judged
    assert document["conditions"].keys() == found
    motion, recording = document["motion"], document["recording"]
    assert 0 <= motion["start_s"] < motion["stop_s"] <= recording["duration_s"]
    assert motion["peak_rpm"] >= motion["mean_rpm"]
    # Mean speed times the time it lasts is the number of turns; rounding of floats alone parts them.
    assert motion["mean_rpm"] / 60 * (motion["stop_s"] - motion["start_s"]) == pytest.approx(motion["turns"])
    assert document["failures"] == []
    assert set(document["plugins"]) >= {finding["by"].rsplit(" ", 1)[0] for finding in document["findings"]}


def test_numbers_of_the_recording(acoustic: Run, taken: Any) -> None:
    """12 s at 48 kHz; a 6805 with 16 balls by hand: cage (1 - 3.5/31)/2 = 0.4435, outer 16 times that."""
    made = taken("sound")
    document = acoustic("check", made.path, "--bearing", "6805-2RS", "--marks", made.marks, "--json").document
    recording, bearing = document["recording"], document["bearing"]
    assert (recording["duration_s"], recording["sample_rate_hz"], recording["channels"]) == (12.0, 48000.0, 1)
    assert (bearing["designation"], bearing["balls"], bearing["balls_source"]) == ("6805", 16, "catalogue")
    assert bearing["orders"]["cage"] == pytest.approx(0.4435, abs=1e-4)
    assert bearing["orders"]["outer_raceway"] == pytest.approx(7.097, abs=1e-3)
    # One mark a turn, the first and the last included.
    assert document["motion"]["turns"] == pytest.approx(len(made.spin.marks_s) - 1)


def test_an_unusable_recording(tmp_path: Path, acoustic: Run) -> None:
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(48_000), 48_000)
    outcome = acoustic("check", path, "--bearing", "6805", "--speed", "75", "--json")
    assert faults(outcome.document, CONTRACT) == []
    assert outcome.document["motion"] is None
    assert outcome.document["quality"]["usable"] is False


def test_a_failed_plugin(
    acoustic: Run, taken: Any, plugin: Callable[..., ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails() -> list[Any]:
        raise OSError("no licence found")

    extra = [("grumpy", plugin("grumpy", acoustic_detectors=fails))]
    monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))
    made = taken("outer")
    outcome = acoustic("check", made.path, "--bearing", "6805", "--marks", made.marks, "--json")
    assert faults(outcome.document, CONTRACT) == []
    assert outcome.document["failures"] == [
        {"stage": "load", "plugin": "grumpy", "error": "OSError: no licence found"}
    ]


def test_talk_goes_to_stderr(acoustic: Run, taken: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waits is told what is being done, without a word in the document."""
    monkeypatch.setattr("acoustic.cli.progress.PATIENCE_S", -1.0)
    made = taken("sound")
    call = ("check", made.path, "--bearing", "6805", "--marks", made.marks)
    outcome = acoustic(*call, "--json")
    assert outcome.document["schema"] == SCHEMA
    assert [line[:2] for line in outcome.stderr.splitlines()] == ["… "] * 5
    assert acoustic(*call, "--quiet").stderr == ""


def test_no_number_becomes_null(analysis_of: Callable[[str], Any]) -> None:
    """NaN and infinity are no JSON."""
    result = analysis_of("outer")
    motion = replace(result.motion, relative_uncertainty=math.nan)
    odd = result.recording.then(Step("filter", "odd 1.0", {"gain": math.inf, "taps": (math.nan, 1.0)}))
    document = document_of(replace(result, motion=motion, recording=odd))
    written = encode(document)
    assert "NaN" not in written and "Infinity" not in written
    assert document.motion is not None and document.motion.relative_uncertainty is None
    assert document.recording.steps[-1].params == {"gain": None, "taps": [None, 1.0]}
    assert decode(written) == document


def test_a_plugin_s_numpy_numbers_are_numbers(analysis_of: Callable[[str], Any]) -> None:
    result = analysis_of("outer")
    odd = result.recording.then(Step("filter", "odd 1.0", {"gain": np.float32(0.5), "on": np.bool_(True)}))
    assert document_of(replace(result, recording=odd)).recording.steps[-1].params == {"gain": 0.5, "on": True}


def test_a_plugin_s_value_of_another_kind_is_the_plugin_s_failure(analysis_of: Callable[[str], Any]) -> None:
    result = analysis_of("outer")
    odd = replace(result.recording, steps=(*result.recording.steps, Step("filter", "odd 1", {"gain": object()})))
    with pytest.raises(PluginError, match="cannot be written down"):
        document_of(replace(result, recording=odd))


def test_the_document_is_plain(analysis_of: Callable[[str], Any]) -> None:
    """What goes through JSON comes back the same: no tuples, arrays or numpy numbers inside."""

    def kinds(value: Any) -> Iterator[type]:
        yield type(value)
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
        for item in inner:
            yield from kinds(item)

    document = document_of(analysis_of("rumble"))
    plain = to_plain(document)
    assert set(kinds(plain)) <= {dict, list, str, int, float, bool, type(None)}
    assert json.loads(encode(document)) == plain
    assert decode(plain) == document


def test_letters_beyond_ascii_stay_readable(analysis_of: Callable[[str], Any]) -> None:
    result = analysis_of("sound")
    renamed = replace(result, recording=replace(result.recording, path=Path("Tretlager Süd.wav")))
    assert "Tretlager Süd.wav" in encode(document_of(renamed))
