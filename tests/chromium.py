"""Chromium without a screen, for tests of pages."""

from __future__ import annotations

import contextlib
import os
import shutil

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
in_chromium = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]


@contextlib.contextmanager
def started():
    """The browser, by Playwright, until the block ends."""
    # Not above: the default run needs no browser, and this import takes long.
    from playwright.sync_api import sync_playwright

    # As root, as in most containers, Chromium has no sandbox.
    sandbox = [] if os.geteuid() else ["--no-sandbox"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=sandbox)
        yield browser
        browser.close()


@pytest.fixture(scope="module")  # Playwright runs an event loop, in which others may not run theirs
def chromium():
    """The browser of all tests of a file."""
    pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    with started() as browser:
        yield browser
