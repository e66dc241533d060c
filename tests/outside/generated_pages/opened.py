"""Some pages in Chromium: the console is silent, nothing leaves the file, no user's text runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.outside.generated_pages.reports import page_of
from tests.outside.generated_pages.served import shown
from tests.outside.generated_pages.walls import MARK, NAMES
from tests.outside.generated_physical.run import folder


def faults(number: int, browser: Any) -> list[str]:
    """What goes wrong when the page of this number is opened and used."""
    with folder() as place:
        words, _, out = page_of(number, place)
        return [f"{' '.join(words)}: {one}" for one in opened(out, browser)] if out.exists() else []


def _until(page: Any, true: str) -> None:
    """Wait in steps: a condition that waits in the page is an `eval`, which the policy forbids."""
    for _ in range(400):
        if page.evaluate(true):
            return
        page.wait_for_timeout(25)
    raise TimeoutError(true)


def live(number: int, browser: Any) -> list[str]:
    """What goes wrong when a wall with a hostile name is looked at, and every key is pressed."""
    wrong: list[str] = []
    picture = np.full((4, 6, 3), 90, np.uint8)
    with shown(picture, moving=True, name=NAMES[number % len(NAMES)]) as show:
        page = browser.new_page()
        page.on("console", lambda told: wrong.append(f"console: {told.text}"))
        page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
        ours = (show.out.url, "data:", "blob:")
        page.on(
            "request",
            lambda asked: asked.url.startswith(ours) or wrong.append(f"live: asks for {asked.url}"),
        )
        page.goto(show.out.url)
        _until(page, "document.getElementById('picture').width > 1")
        for key in (
            "h",
            "Escape",
            "l",
            "Escape",
            "n",
            "i",
            " ",
            " ",
            "Shift+ArrowRight",
            "Enter",
            "p",
            "+",
            "-",
            "0",
            "q",
        ):
            page.keyboard.press(key)
        if page.evaluate(
            f"typeof {MARK} !== 'undefined' || !!document.querySelector('b[onclick]')"
        ):
            wrong.append("the wall's name ran, or became an element")
        page.close()
        if not show.more(5):
            wrong.append("the show stands still")
    return wrong


def opened(path: Path, browser: Any) -> list[str]:
    """What goes wrong with the page in this file: all its buttons and fields are used once."""
    wrong: list[str] = []
    page = browser.new_page(viewport={"width": 900, "height": 700})
    page.on("console", lambda told: wrong.append(f"console: {told.text}"))
    page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
    page.on("dialog", lambda dialog: (wrong.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    url = path.as_uri()
    page.on(
        "request",
        lambda asked: (
            asked.url.startswith((url, "data:", "blob:")) or wrong.append(f"asks for {asked.url}")
        ),
    )
    page.goto(url)
    _until(page, "document.documentElement.dataset.ready === 'yes'")
    # in the page, so that a page of many buttons takes no longer
    page.evaluate("""() => {
      for (const select of document.querySelectorAll('select'))
        for (const option of select.options) {
          select.value = option.value;
          select.dispatchEvent(new Event('input', {bubbles: true}));
          select.dispatchEvent(new Event('change', {bubbles: true}));
        }
      for (const details of document.querySelectorAll('details')) details.open = true;
      for (const button of document.querySelectorAll('button')) button.click();
    }""")
    for search in page.query_selector_all("input[type=search]"):
        for asked in ("0/0", "0,0", "9999/1", f"<b>{MARK}", "(*", "-1", "1e9"):
            search.fill(asked)
            search.press("Enter")
    for area in page.query_selector_all('[data-part="area"]'):
        area.focus()
        for key in ("ArrowRight", "ArrowDown", "End", "Home", "Escape"):
            page.keyboard.press(key)
        area.hover()
    if page.evaluate("document.documentElement.scrollWidth > innerWidth + 1"):
        wrong.append("wider than the screen at 900 pixels")
    page.set_viewport_size({"width": 320, "height": 600})
    if page.evaluate("document.documentElement.scrollWidth > innerWidth + 1"):
        wrong.append("wider than the screen at 320 pixels")
    page.emulate_media(media="print")
    if page.evaluate(f"typeof {MARK} !== 'undefined' || !!document.querySelector('h1#{MARK}')"):
        wrong.append("a user's text ran, or became an element")
    page.close()
    return wrong
