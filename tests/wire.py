"""Bytes to and from a counter page, as no browser would send them."""

from __future__ import annotations

import socket
from pathlib import Path

from browsing import BOUNDARY, Browser, Running, form_of


def said_by(browser: Browser, **more: str) -> dict[str, str]:
    return {"form_token": browser.token(), "bike": "t", "bearing": "6805", **more}


def left_behind(counter: Running) -> list[Path]:
    return list(counter.shop.settings.folder.glob(".*.upload"))


class Wire:
    """Bytes to and from the server, as no browser would send them."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=20)

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._socket.close()

    def send(self, content: bytes) -> None:
        self._socket.sendall(content)

    def read(self) -> bytes:
        """All that comes until the server closes the connection, or an answer is whole."""
        came = b""
        while True:
            try:
                more = self._socket.recv(65536)
            except ConnectionResetError:
                return came
            came += more
            if not more or came.endswith((b"</html>", b"</html>\n")):
                return came


def head_of(browser: Browser, length: str, path: str = "/checks") -> bytes:
    at = f"127.0.0.1:{browser.port}"
    lines = [f"POST {path} HTTP/1.1", f"Host: {at}", f"Origin: http://{at}", f"Cookie: {browser.cookie}", length]
    lines.append(f"Content-Type: multipart/form-data; boundary={BOUNDARY}")
    return "\r\n".join([*lines, "", ""]).encode()


def opening_of(browser: Browser) -> bytes:
    """A form up to the recording's first byte."""
    return form_of(said_by(browser), "spin.wav", b"").partition(b"\r\n--" + BOUNDARY.encode() + b"--")[0]
