"""A wall small enough to try everything, in a folder of its own."""

from __future__ import annotations

from pathlib import Path

from emulator import parse_display
from harness.campaign.campaign import single_faults
from harness.find.pictures import questions
from harness.find.search import Search

TEXT = """[grid]
columns = 4
rows = 3
[chip]
part = "WS2812B"
[wiring]
lines = 1
"""
TEXT_TWO = TEXT.replace("lines = 1", "lines = 2")


def wall(text=TEXT, path=Path("small.toml")):
    return parse_display(text, path)


def search_of(display, colours=True, stages=("wiring", "strip"), **more):
    """A search; of wiring and strip alone it is made at once."""
    faults = tuple(
        one for one in single_faults(display)
        if one.stage in stages and getattr(one, "share", 1) == 1
    )  # fmt: skip
    return Search(display, faults, questions(display), colours, **more)
