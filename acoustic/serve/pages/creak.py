"""Where does it creak: the questions as taps, recordings by situation, the likeliest sources.

The answers stand in the address, so that a page can be kept, shown to the rider and gone back to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from litestar import Request, Response, get

from acoustic.report.triage_text import headline
from acoustic.serve.shop import Shop, shop_of
from acoustic.serve.store import Check
from acoustic.serve.view import page
from acoustic.triage.evidence import Answer, answered, told
from acoustic.triage.result import Triage, triage
from acoustic.triage.rules import Rules, load_rules

HEARD = {"yes": "heard", "no": "not heard", "": "not tried"}
SHOWN_SOURCES = 5  # judgement: whoever has looked at five and found nothing starts anew
RECENT = 60  # judgement: a busy week's recordings to choose from


@get("/creak", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Ask, and rank what the answers speak for."""
    shop, rules, said = shop_of(request), load_rules(), dict(request.query_params)
    answers = _answers(said, rules)
    recorded = _recorded(said, rules, shop)
    result = _settled(shop, answers, recorded, rules) if answers or recorded else None
    return page(
        request,
        "creak",
        rules=rules,
        said=said,
        heard=HEARD,
        result=result,
        sources=_sources(result) if result else (),
        headline=headline(result) if result else "",
        recordings=[check for check in shop.store.newest_checks(RECENT) if check.state == "judged"],
    )


def _answers(said: Mapping[str, str], rules: Rules) -> list[Answer]:
    situations = [
        told(rules.labels[label], heard=said[f"heard-{label}"] == "yes")
        for label in rules.labels
        if said.get(f"heard-{label}") in ("yes", "no")
    ]
    asked = [
        answered(question, said[f"ask-{code}"])
        for code, question in rules.asked.items()
        if said.get(f"ask-{code}") in question.values
    ]
    return [*situations, *asked]


def _recorded(said: Mapping[str, str], rules: Rules, shop: Shop) -> list[tuple[str, Check]]:
    """Recordings that were chosen for a situation."""
    chosen = [(label, shop.store.check(said.get(f"recording-{label}", ""))) for label in rules.labels]
    return [(label, check) for label, check in chosen if check is not None and check.state == "judged"]


def _settled(shop: Shop, answers: Sequence[Answer], recorded: Sequence[tuple[str, Check]], rules: Rules) -> Triage:
    return triage(tuple(shop.queue.heard(recorded)) if recorded else (), answers, rules)


def _sources(result: Triage) -> list[dict[str, Any]]:
    """The likeliest sources with their checks by hand."""
    if result.outcome == "not_reproduced":
        return []
    known = result.rules.sources
    return [
        {
            "words": known[one.source].words,
            "percent": round(100 * one.share),
            "check": known[one.source].check,
            "caution": known[one.source].caution,
            "minutes": known[one.source].minutes,
            "why": [argument.why for argument in one.speaks_for[:2]],
        }
        for one in result.ranked[:SHOWN_SOURCES]
    ]


HANDLERS = [show]
