"""Chromium without a screen, for tests of pages."""

from __future__ import annotations

import os
import shutil

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
in_chromium = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]


@pytest.fixture(scope="module")  # Playwright runs an event loop, in which others may not run theirs
def chromium():
    """The browser, by Playwright."""
    # Not above: the default run has none of these tests, and this import takes long.
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    # As root, as in most containers, Chromium has no sandbox.
    sandbox = [] if os.geteuid() else ["--no-sandbox"]
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=sandbox)
        yield browser
        browser.close()
