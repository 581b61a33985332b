"""The interface for shop software: a token of its own, the commands' documents, no fault whatever is asked."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from browsing import BOUNDARY, Browser, Running, form_of, unlike_any
from hypothesis import HealthCheck, given, settings

from acoustic.book.bikes import add_bike
from acoustic.check.document import decode
from acoustic.serve.limits import Limits


@pytest.fixture(scope="module")
def token(counter: Running) -> str:
    browser = counter.browser()
    page = browser.post("/devices/program", {"form_token": browser.token(), "name": "till"})
    found = re.search(r"<code>([\w-]+)</code>", page.text)
    assert found
    return found[1]


def asked(counter: Running, token: str, path: str) -> Any:
    answer = Browser(counter.port).get(path, Authorization=f"Bearer {token}")
    return answer.status, json.loads(answer.body)


def test_a_token_opens_the_interface_alone(counter: Running, browser: Browser, token: str) -> None:
    assert asked(counter, token, "/api/visits")[0] == 200
    assert Browser(counter.port).get("/", Authorization=f"Bearer {token}").status == 401
    assert Browser(counter.port).get("/", Cookie=f"{browser.cookie.partition('=')[0]}={token}").status == 401
    assert browser.get("/api/visits").status == 401, "a browser's session is no token"
    session = browser.cookie.partition("=")[2]
    assert Browser(counter.port).get("/api/visits", Authorization=f"Bearer {session}").status == 401


def test_a_token_that_was_ended_is_good_for_nothing(counter: Running) -> None:
    browser = counter.browser()
    page = browser.post("/devices/program", {"form_token": browser.token(), "name": "old till"})
    secret = re.search(r"<code>([\w-]+)</code>", page.text)
    assert secret
    device = counter.shop.pairing.device_of(secret[1])
    assert device is not None
    browser.post(f"/devices/{device.uid}/end", {"form_token": browser.token()})
    assert asked(counter, secret[1], "/api/visits")[0] == 401


def test_a_recording_is_judged_for_a_program(counter: Running, token: str, taken: Callable[..., Any]) -> None:
    made = taken("short_outer")
    said = {"bike": "from the till", "bearing": "6805", "way": "taps", "marks": made.marks.read_text()}
    answer = Browser(counter.port).ask(
        "POST",
        "/api/checks",
        form_of(said, "spin.wav", unlike_any(made.path.read_bytes())),
        Content_Type=f"multipart/form-data; boundary={BOUNDARY}",
        Authorization=f"Bearer {token}",
        Origin="",
    )
    assert answer.status == 202
    uid = json.loads(answer.body)["uid"]
    until = time.monotonic() + 60
    while (state := asked(counter, token, f"/api/checks/{uid}")[1])["state"] in ("waiting", "running"):
        assert time.monotonic() < until
        time.sleep(0.05)
    assert state["state"] == "judged"
    check = decode(state["check"])
    assert check.grade.level == state["grade"]
    assert "outer_raceway" in {finding.condition for finding in check.detected}
    _, listed = asked(counter, token, "/api/visits?bike=from%20the%20till")
    assert [visit["number"] for visit in listed["visits"]] == [state["visit"]]


def test_trend_and_due_are_the_commands_documents(counter: Running, token: str) -> None:
    with counter.shop.book.writing() as connection:
        add_bike(connection, "for the till")
    status, trend = asked(counter, token, "/api/trend?bike=For%20the%20till")
    assert (status, trend["schema"], trend["bike"]) == (200, "acoustic.trend/1", "for the till")
    status, due = asked(counter, token, "/api/due?within_days=30")
    assert (status, due["schema"], due["within_days"]) == (200, "acoustic.due/1", 30.0)
    assert asked(counter, token, "/api/trend?bike=nobody")[0] == 404
    assert asked(counter, token, "/api/due?within_days=-1")[0] == 400


def test_what_is_wrong_is_one_object(counter: Running, token: str) -> None:
    for path, status in (
        ("/api/visits?bike=nobody", 404),
        ("/api/checks/0", 404),
        ("/api/visits?since=soon", 400),
    ):
        found, problem = asked(counter, token, path)
        assert found == status, path
        assert set(problem) == {"found", "hint"}


@pytest.mark.broad
def test_two_thousand_random_calls_meet_no_fault(
    counter: Running, token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By schemathesis, which draws them from the interface's own description."""
    # So that the calls reach what they ask for; the limit of the rate has a test of its own.
    monkeypatch.setattr(Limits, "require_rate", lambda *_, **__: None)
    described = asked(counter, token, "/api/schema/openapi.json")[1]
    schema = schemathesis.openapi.from_dict(described)
    schema.config.update(base_url=f"http://127.0.0.1:{counter.port}")
    seen: list[int] = []

    for operation in schema.get_all_operations():
        operation_case = operation.ok().as_strategy()

        @settings(max_examples=1200, deadline=None, suppress_health_check=list(HealthCheck), database=None)
        @given(operation_case)
        def one(case: Any) -> None:
            answer = case.call(headers={"Authorization": f"Bearer {token}"})
            seen.append(answer.status_code)
            assert answer.status_code != 429
            assert answer.status_code < 500, case.as_curl_command()

        one()
    assert len(seen) >= 2000
