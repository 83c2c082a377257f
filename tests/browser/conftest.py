"""Debian's chromium for the tests of pages."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """The browser, started once. Where it is missing tests skip with a reason; in CI they fail."""
    def missing(reason: str) -> None:
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)

    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright is not installed")
    if not CHROMIUM.exists():
        missing("no chromium at /usr/bin/chromium")
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield started
        started.close()
