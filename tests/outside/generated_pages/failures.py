"""Pages of failed tests: hostile names and messages, and pictures of both."""

from __future__ import annotations

import os
import random
import shlex
import subprocess
import sys
from pathlib import Path

from tests.outside.generated_pages.reading import plain, read
from tests.outside.generated_pages.walls import HOSTILE, MARK, TWO_LINES, Wall, wall

TESTS = """import numpy as np
import pytest
from harness.assertions import assert_dark, assert_map, assert_shows
from code_under_test import {function} as code

@pytest.mark.parametrize("text", {texts})
def test_shows(bench, text):
    bench.send(np.full(bench.display.picture_shape, 90, np.uint8))
    assert_shows(bench, np.zeros(bench.display.picture_shape, np.uint8)), text

def test_map(display):
    assert_map(display, code)

@pytest.mark.parametrize("text", {texts})
def test_says(bench, text):
    bench.send(np.full(bench.display.picture_shape, 90, np.uint8))
    assert_dark(bench)

def test_passes(bench):
    bench.send(np.zeros(bench.display.picture_shape, np.uint8))
    assert_dark(bench)
"""


def made(number: int) -> Wall:
    """A small wall; its code has a mistake that the map shows."""
    n = number
    while True:
        one = wall(n)
        if not one.names and 2 < one.columns * one.rows < 300 and one.mistake == "swapped":
            return one
        n += 1


def faults(number: int, place: Path) -> list[str]:
    """What is wrong with the page of these failures."""
    r, one = random.Random(f"failures {number}"), made(number * 100)
    texts = ascii([*r.sample(HOSTILE, 3), MARK + TWO_LINES[-40:]])
    (place / "w.toml").write_text(one.toml(), encoding="utf-8")
    (place / "code_under_test.py").write_text(one.code(), encoding="utf-8")
    (place / "test_it.py").write_text(
        TESTS.format(function=one.function, texts=texts), encoding="utf-8"
    )
    ran = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:xdist",
            "--foreglow-display",
            "w.toml",
            "test_it.py",
        ],
        cwd=place,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(place)},
    )
    out = place / "foreglow-failures" / "index.html"
    if ran.returncode != 1 or not out.exists():
        return [f"pytest: status {ran.returncode}, page {out.exists()}: {ran.stdout[-800:]}"]
    page = read(out.read_bytes(), one.columns * one.rows)
    text = plain(page.root.text)
    wrong = list(page.wrong)
    for name in ("test_shows", "test_map", "test_says"):
        if name not in text:
            wrong.append(f"no {name} on the page")
    if "test_passes" in text:
        wrong.append("a test that passed is on the page")
    for one in page.root.all("code"):  # what a shell makes of it: POSIX.1-2017, 2.2 Quoting
        words = shlex.split(one.text) if one.text.startswith("pytest ") else []
        if words and (len(words) != 2 or not words[1].startswith("test_it.py::test_")):
            wrong.append(f"a shell splits {one.text!r} into {words}")
    if page.verdict()[0] != "fail":
        wrong.append(f"verdict {page.verdict()}")
    return wrong
