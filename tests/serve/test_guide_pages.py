"""The guide in the page is the command's."""

from __future__ import annotations

from browsing import Browser

from acoustic.guide import topics


def test_every_topic_is_there_with_its_headings(browser: Browser) -> None:
    contents = browser.get("/guide").text
    for topic in topics():
        assert f'href="/guide/{topic.name}"' in contents
        page = browser.get(f"/guide/{topic.name}")
        assert page.status == 200
        assert f"<h1>{topic.title}</h1>" in page.text
        assert page.text.count("<h2>") == topic.text.count("\n## ")


def test_there_is_no_other_topic(browser: Browser) -> None:
    assert browser.get("/guide/..%2F..%2Fpasswd").status == 404
