"""What functions that are wrong in time have in common, and what reports must say."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np

from tests.outside.generated.cases import Case, ToWire
from tests.outside.generated.run import Report
from tests.outside.generated.walls import Array, Wall
from tests.outside.generated.words import Said, both, either, has

BEFORE = has(
    r"(picture|frame)s? (\d+ )?(before|behind|late|earlier|ago)|previous|delay|"
    r"\bold (picture|frame)|"
    r"(picture|frame)s?\b[^.|]*\b(late|behind|earlier|ago)\b|shines? through"
)
TIME = re.compile(
    r"(picture|frame)s? (before|behind|late|earlier)|every \w+ (frame|picture)|repeatable|steady|"
    r"same picture|shines? through|array handed|\bms\b|rais(es|ed)|exit|ended|print|alternat|"
    r"first (\w+ )?(frame|picture)|(frame|picture)s? \d|random|now and then|of ten|"
    r"(picture|frame)s?\b[^.|]*\b(late|behind|earlier)\b",
    re.IGNORECASE,
)
NOISE = has(
    r"repeatable|random|unsteady|not steady|same picture|different (bytes|answers?|frames?)|"
    r"(answers?|bytes|frames) differ|\d+ of \d+ frames"
)


def lies(case: Case, report: Report) -> list[str]:
    """Faults of map and colour: both are right."""
    out = []
    for f in report.findings:
        text = f"{f['what']} | {f['evidence']}"
        about_time = TIME.search(f["what"])
        if f["check"] in ("map", "colour", "levels", "wire") and not about_time:
            out.append(f"{f['check']} is right | {text}")
    return out


class Player:
    """Counts calls and keeps the codes of those before."""

    def __init__(self, wall: Wall, frame: Callable[[Player, Array], Array]) -> None:
        self.wall, self.frame = wall, frame
        self.calls = 0
        self.past: list[Array] = []

    def before(self, k: int) -> Array:
        """The codes k calls ago; black before the first."""
        return self.past[-k] if k <= len(self.past) else np.zeros((self.wall.leds, 3), int)

    def __call__(self, picture: Array) -> bytes:
        codes = self.wall.gather(picture).astype(int)
        drives = np.rint(self.frame(self, codes)).astype(int)
        self.calls += 1
        self.past = [*self.past[-11:], codes]
        return b"".join(self.wall.frames(drives))


def after(wall: Wall, act: Callable[[int, Array], Any], first: bool = True) -> ToWire:
    """Right code that also does `act(number of the call, picture)`."""
    count = iter(range(10**9))

    def to_wire(picture: Array) -> Any:
        n = next(count)
        if first:
            instead = act(n, picture)
            return wall.right(picture) if instead is None else instead
        data = wall.right(picture)
        act(n, picture)
        return data

    return to_wire


def at(wall: Wall, k: int) -> Said:
    line, place = wall.names(k)
    return either(has(rf"\b{k}\b"), both(has(rf"\b{place}\b"), has(rf"line {line}\b")))


def patched(drives: Array, leds: Array, others: Array) -> Array:
    out = drives.copy()
    out[leds] = others[leds]
    return out


ORDINAL = {2: "second|other|2nd", 3: "third|3rd", 4: "fourth|4th", 5: "fifth|5th", 7: "seventh|7th",
           10: "tenth|10th|ten", 8: "eighth|8th"}  # fmt: skip


WORD = {2: "two", 3: "three", 4: "four", 5: "five", 7: "seven", 8: "eight", 10: "ten"}


def every(n: int) -> Said:
    """Says that it is so in every n-th frame."""
    return has(rf"every ({ORDINAL[n]})|\b(of|in|each|every) ({n}|{WORD[n]})\b(?! LEDs)")
