"""A counter page that runs."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from browsing import Browser, Running, free_port, settings_in

from acoustic.serve.app import create_app
from acoustic.serve.running import configured, listen
from acoustic.serve.shop import open_shop


@pytest.fixture(scope="session")
def counter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder, port = tmp_path_factory.mktemp("counter"), free_port()
    shop = open_shop(settings_in(folder, port))
    server = uvicorn.Server(configured(create_app(shop)))
    thread = threading.Thread(target=server.run, args=[[listen("127.0.0.1", port)]], daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
        assert thread.is_alive()
    yield Running(shop, port)
    server.should_exit = True
    thread.join(20)
    shop.close()


@pytest.fixture
def browser(counter: Running) -> Browser:
    return counter.browser()
