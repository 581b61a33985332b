"""`acoustic schema`: the JSON Schema of the documents that the program writes."""

from __future__ import annotations

import importlib
import inspect
import json
from difflib import get_close_matches

import click
import msgspec

from acoustic.errors import InputError

DIALECT = "https://json-schema.org/draft/2020-12/schema"
DOCUMENTS = {  # name: (structure, what prints it)
    "check": ("acoustic.check.document:CheckDocument", "the verdict on one recording: acoustic check --json"),
    "checks": ("acoustic.check.several:ChecksDocument", "of two or more: acoustic check --json"),
    "orders": ("acoustic.bearings.document:OrdersDocument", "defect orders of a bearing: acoustic orders --json"),
    "triage": ("acoustic.triage.document:TriageDocument", "where a creak comes from: acoustic triage --json"),
    "bikes": ("acoustic.book.document:BikesDocument", "bikes in the book: acoustic bike list --json"),
    "visit": ("acoustic.book.document:VisitDocument", "one visit in the book: acoustic visit show --json"),
    "visits": ("acoustic.book.document:VisitsDocument", "visits in the book: acoustic visit list --json"),
    "trend": ("acoustic.report.trend_text:TrendDocument", "how a bearing wears: acoustic trend --json"),
    "due": ("acoustic.report.due_text:DueDocument", "what falls due over all bikes: acoustic due --json"),
    "lifetimes": ("acoustic.report.lifetimes_text:LifetimesDocument", "which lasts: acoustic lifetimes --json"),
    "fit": ("acoustic.report.fit_text:FitDocument", "a press-fit sheet: acoustic install fit --json"),
    "choose": ("acoustic.report.choose_text:ChooseDocument", "which unit: acoustic install choose --json"),
    "bearings": ("acoustic.bearings.document:BearingsDocument", "catalogue rows: acoustic bearings --json"),
    "plugins": ("acoustic.plugin.document:PluginsDocument", "what is installed: acoustic plugins --json"),
}


@click.command(short_help="Print the JSON Schema of a document that the program writes.")
@click.argument("name", required=False)
def schema(name: str | None) -> None:
    """Print the JSON Schema of the document NAME, or the names that there are.

    What the program writes always follows it; later versions may add fields.
    """
    if name is None:
        width = max(map(len, DOCUMENTS))
        for known, (_, words) in DOCUMENTS.items():
            click.echo(f"{known:<{width}}  {words}")
        return
    if name not in DOCUMENTS:
        near = get_close_matches(name, DOCUMENTS, n=1)
        hint = f"Did you mean {near[0]}?" if near else f"Use one of {', '.join(DOCUMENTS)}."
        raise InputError(f"there is no document named {name}", hint=hint)
    click.echo(json.dumps(schema_of(name), ensure_ascii=False, indent=2))


def schema_of(name: str) -> dict[str, object]:
    """The JSON Schema of a document by its name."""
    module, _, structure = DOCUMENTS[name][0].partition(":")
    form = getattr(importlib.import_module(module), structure)
    made = msgspec.json.schema(form)
    for part in made["$defs"].values():
        part["description"] = inspect.cleandoc(part["description"])
    (title,) = made["$defs"][form.__name__]["properties"]["schema"]["enum"]
    return {"$schema": DIALECT, "title": title, **made}
