"""What helps when the network, the certificate or the phone stands in the way; readable without a session."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from litestar import Request, Response, get
from markdown_it import MarkdownIt
from markupsafe import Markup

from acoustic.serve.view import page

TEXT = Path(__file__).parent.parent / "help.md"


@get("/help", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Show the page."""
    return page(request, "help", text=_text())


@cache
def _text() -> Markup:
    return Markup(MarkdownIt("commonmark", {"html": False}).render(TEXT.read_text(encoding="utf-8")))


HANDLERS = [show]
