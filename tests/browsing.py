"""Requests to a counter page, as browsers make them."""

from __future__ import annotations

import http.client
import re
import secrets
import socket
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from acoustic.serve.settings import Settings
from acoustic.serve.shop import Shop

BOUNDARY = "a-line-that-no-file-holds"


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    @property
    def words(self) -> str:
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", self.text))


@dataclass
class Browser:
    """Asks as a browser does: with its cookie, and the page's own origin."""

    port: int
    cookie: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> Answer:
        said = {"Host": f"127.0.0.1:{self.port}", **self.headers}
        if method != "GET":
            said["Origin"] = f"http://127.0.0.1:{self.port}"
        if self.cookie:
            said["Cookie"] = self.cookie
        said |= {name.replace("_", "-"): text for name, text in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body, {name: text for name, text in said.items() if text})
            answer = connection.getresponse()
            return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        finally:
            connection.close()

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, **headers)

    def post(self, path: str, fields: Mapping[str, str], **headers: str) -> Answer:
        kind = {"Content_Type": "application/x-www-form-urlencoded"}
        return self.ask("POST", path, urlencode(fields).encode(), **{**kind, **headers})

    def token(self) -> str:
        found = re.search(r'name="form_token" value="(\w+)"', self.get("/new").text)
        assert found
        return found[1]

    def pair(self, code: str, name: str = "bench phone") -> Answer:
        answer = self.post("/pair", {"code": code, "name": name})
        if answer.status == 303:
            self.cookie = answer.headers["set-cookie"].partition(";")[0]
        return answer

    def send(self, fields: Mapping[str, str], name: str, content: bytes, **headers: str) -> Answer:
        kind = {"Content_Type": f"multipart/form-data; boundary={BOUNDARY}"}
        return self.ask("POST", "/checks", form_of(fields, name, content), **{**kind, **headers})

    def ended(self, address: str) -> Answer:
        """The page of a check, once it came to an end."""
        until = time.monotonic() + 90
        while time.monotonic() < until:
            answer = self.get(f"{address}/rows")
            if "data-done" in answer.text:
                return answer
            time.sleep(0.05)
        raise AssertionError(f"{address} did not come to an end")


def form_of(fields: Mapping[str, str], name: str, content: bytes) -> bytes:
    parts = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
        for key, value in fields.items()
    ]
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="recording"; filename="{name}"\r\n\r\n'.encode()
    return b"".join(parts) + head + content + f"\r\n--{BOUNDARY}--\r\n".encode()


@dataclass(frozen=True)
class Running:
    """A page that runs."""

    shop: Shop
    port: int

    def browser(self) -> Browser:
        """A browser that is paired."""
        made = Browser(self.port)
        assert made.pair(self.shop.pairing.new_code()).status == 303
        return made


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def settings_in(folder: Path, port: int) -> Settings:
    return Settings(
        book=str(folder / "book.db"),
        folder=folder / "counter",
        names=("127.0.0.1", "localhost"),
        port=port,
        workers=1,
    )


def unlike_any(wav: bytes) -> bytes:
    """The same sound with other last samples, since the book takes no recording twice."""
    return wav[:-8] + secrets.token_bytes(2) * 4
