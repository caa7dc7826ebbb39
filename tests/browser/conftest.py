"""Chromium, and a server with an invented apiary."""

from __future__ import annotations

import pytest
from playwright.sync_api import sync_playwright
from served import DAY_S, NOW_S, Served, served

from hivewatch.detect.finding import Finding

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}


@pytest.fixture(scope="session")
def chromium():
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", headless=True, args=FLAGS
        )
        yield browser
        browser.close()


@pytest.fixture
def empty(tmp_path) -> Served:
    """A server that nobody has told anything."""
    with served(tmp_path) as one:
        yield one


@pytest.fixture
def here(empty) -> Served:
    """A server with ten days of a hive that lies beside its scale."""
    empty.load_apiary()
    empty.season = empty.store_season()
    empty.tell(
        Finding(
            "toppled",
            "hive:hazel-1",
            NOW_S - 3600,
            None,
            NOW_S - 1800,
            0.98,
            {"kg": -30.2},
            ("weight fell at once from 39.1 kg to 8.9 kg",),
        ),
        Finding(
            "handling",
            "hive:hazel-1",
            NOW_S - 4 * DAY_S,
            NOW_S - 4 * DAY_S + 900,
            NOW_S - 4 * DAY_S,
            0.9,
            {"kg": 6.2},
            status="ended",
        ),
    )
    empty.write_down(
        hive="hazel-1",
        at="2026-05-07T10:05:00+01:00",
        by="Ada",
        queen="seen",
        actions=[{"what": "super added", "kg": 6.2}],
        note="<b>calm</b> & light",
    )
    return empty


@pytest.fixture
def visit(chromium):
    """Open a page; it may complain of nothing but what a test says it expects.

    The browser writes a line for every answer that is refused, as late as it likes: so what
    is expected is set aside at the end, whenever it came.
    """
    contexts, complaints, expected = [], [], []

    def open_at(url, viewport=DESK, **options):
        context = chromium.new_context(viewport=viewport, **options)
        contexts.append(context)
        page = context.new_page()
        page.on(
            "console", lambda said: complaints.append(said.text) if said.type != "log" else None
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(url)
        page.wait_for_selector("main h1")
        return page

    open_at.expect = expected.append
    yield open_at
    for context in contexts:
        context.close()
    assert [one for one in complaints if not any(words in one for words in expected)] == []
