"""Codes: once, for ten minutes, not to be guessed; secrets are kept as hashes."""

from __future__ import annotations

from pathlib import Path

import pytest

from acoustic.serve.pairing import (
    CODE_LIVES_S,
    PAUSE_S,
    WRONG_BEFORE_PAUSE,
    Pairing,
    form_token,
    is_form_token,
)
from acoustic.serve.store import Store


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pairing(tmp_path: Path, clock: Clock) -> Pairing:
    return Pairing(Store(tmp_path / "counter.db"), clock)


def test_a_code_lives_ten_minutes(pairing: Pairing, clock: Clock) -> None:
    early, late = pairing.new_code(), pairing.new_code()
    clock.now += CODE_LIVES_S - 1
    assert pairing.redeem(early, name="phone") is not None
    clock.now += 1
    assert pairing.redeem(late, name="phone") is None


def test_who_guesses_is_held_up(pairing: Pairing, clock: Clock) -> None:
    for _ in range(WRONG_BEFORE_PAUSE):
        assert not pairing.is_paused()
        assert pairing.redeem("AAAAAAAAAA", name="phone") is None
    assert pairing.is_paused()
    clock.now += PAUSE_S
    assert not pairing.is_paused()


def test_nothing_kept_opens_a_session(pairing: Pairing, tmp_path: Path) -> None:
    secret = pairing.redeem(pairing.new_code(), name="phone")
    assert secret is not None
    assert pairing.device_of(secret) is not None
    assert pairing.device_of("") is None
    assert pairing.device_of(secret[:-1]) is None
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("counter.db*"))
    assert secret.encode() not in kept
    assert b"phone" in kept, "the test looks at the right files"


def test_a_forms_token_belongs_to_one_session() -> None:
    assert is_form_token("one", form_token("one"))
    assert not is_form_token("one", form_token("two"))
    assert not is_form_token("one", "")
    assert "one" not in form_token("one")
