"""The user's guide, as the command `acoustic guide` shows it."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response, get
from litestar.exceptions import NotFoundException
from litestar.params import FromPath
from markdown_it import MarkdownIt
from markupsafe import Markup

from acoustic.guide import topics
from acoustic.serve.view import page


@get("/guide", sync_to_thread=True, include_in_schema=False)
def contents(request: Request[Any, Any, Any]) -> Response[str]:
    """List the topics."""
    return page(request, "guide", topics=topics(), text=None)


@get("/guide/{name:str}", sync_to_thread=True, include_in_schema=False)
def topic(request: Request[Any, Any, Any], name: FromPath[str]) -> Response[str]:
    """Show one topic."""
    known = {one.name: one for one in topics()}
    if name not in known:
        raise NotFoundException("the guide has no such topic")
    # Our own files, and no HTML of theirs is let through.
    text = Markup(MarkdownIt("commonmark", {"html": False}).enable("table").render(known[name].text))
    return page(request, "guide", topics=(), text=text, title=known[name].title)


HANDLERS = [contents, topic]
