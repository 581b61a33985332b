"""Templates, and what every page knows: the device, the form's token, how things are said."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from litestar import Request, Response

from acoustic.conditions import ORDER, table
from acoustic.serve.pairing import form_token

LABEL = 10  # letters of the column in which a terminal's report has its labels


@cache
def environment() -> Environment:
    """The templates; all that is put into them is escaped."""
    made = Environment(
        loader=PackageLoader("acoustic.serve"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["local"] = local
    made.filters["labelled"] = labelled
    made.globals["grades"] = ORDER
    made.globals["grade_words"] = table().grades
    return made


def page(request: Request[Any, Any, Any], name: str, *, status: int = 200, **known: Any) -> Response[str]:
    """Fill a template.

    Parameters
    ----------
    request : Request
    name : str
        Of the template, without its ending.
    status : int
    **known
        What it shows.

    Returns
    -------
    Response
    """
    state = request.scope.get("state", {})
    text = (
        environment()
        .get_template(f"{name}.html.jinja")
        .render(
            device=state.get("device"), token=form_token(state.get("secret") or ""), path=request.url.path, **known
        )
    )
    return Response(text, media_type="text/html", status_code=status)


def labelled(text: str) -> list[tuple[str, str]]:
    """Take a report apart that was set for a terminal: labels in a column of their own, and what they say.

    Parameters
    ----------
    text : str
        As `acoustic.report.layout.paragraphs` sets it.

    Returns
    -------
    list of (str, str)
        Lines without a label before them have an empty one.
    """
    parts: list[tuple[str, list[str]]] = []
    for line in text.splitlines():
        label, told = line[:LABEL].strip(), line[LABEL:].strip()
        if line[:1].strip() and line[LABEL - 1 : LABEL].strip():
            parts.append(("", [line.strip()]))  # longer than a label: a headline
        elif label:
            parts.append((label, [told]))
        elif told and parts:
            parts[-1][1].append(told)
    return [(label, " ".join(told)) for label, told in parts]


def local(at: datetime) -> str:
    """A moment on the workshop's own clock: the time alone where it is today."""
    here = at.replace(tzinfo=UTC).astimezone()
    return here.strftime("%H:%M") if here.date() == datetime.now().date() else here.strftime("%Y-%m-%d %H:%M")
