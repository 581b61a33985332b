"""Books to test with: a file, and a database on a real server where one is named."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from checked import plain_check

from acoustic.book.opening import Book, open_book
from acoustic.book.question import AskedBearing, AskedBlock, AskedScene
from acoustic.book.records import Judged

SERVER = "ACOUSTIC_TEST_POSTGRES"  # URL of a server on which databases may be made


@pytest.fixture(params=["file", "server"])
def where(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Where a new book may lie."""
    if request.param == "file":
        yield str(tmp_path / "shop" / "book.db")
        return
    server = os.environ.get(SERVER)
    if server is None:
        if os.environ.get("CI"):
            pytest.fail(f"{SERVER} must name a PostgreSQL server here")
        pytest.skip(f"{SERVER} names no PostgreSQL server")
    monkeypatch.setenv("ACOUSTIC_RECORDINGS", str(tmp_path / "recordings"))
    url = sa.make_url(server).set(drivername="postgresql+psycopg")
    name = f"book_{uuid.uuid4().hex}"
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    yield url.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(sa.text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture
def book(where: str) -> Iterator[Book]:
    opened = open_book(where)
    yield opened
    opened.close()


@pytest.fixture
def judged(tmp_path: Path) -> Any:
    """A verdict on a small file that the given book keeps."""

    def make(book: Book, *, grade: str = "clean", content: bytes = b"a recording", **findings: float) -> Judged:
        path = tmp_path / "spin.wav"
        path.write_bytes(content)
        stored = book.files.keep(path)
        asked = AskedBlock(bearing=AskedBearing(), speed={}, scene=AskedScene(), files={})
        return Judged(
            sha256=stored.sha256,
            suffix=stored.suffix,
            name=stored.name,
            bytes=stored.bytes,
            asked=asked,
            document=plain_check(level=grade, **findings),
            judged_at=datetime(2026, 3, 1, 12, 30),
        )

    return make


@pytest.fixture
def day() -> date:
    return date(2026, 3, 1)
