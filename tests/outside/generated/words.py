"""Reads what foreglow says: figures, groups of LEDs, and whether a text names a thing."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

import numpy as np

from tests.outside.generated.walls import Wall

Said = Callable[[str], bool]

NUMBERS = r"((?:\d+(?:\s*(?:to|–|-|…|\.\.\.)\s*\d+)?(?:\s*(?:,|and|…|,\s*…)\s*)?)+)"
GROUP = re.compile(
    r"\b(rows?|columns?|leds?|lines?|runs?|strips?|cells?)\s+" + NUMBERS, re.IGNORECASE
)


def has(pattern: str) -> Said:
    """The text holds the pattern."""
    return lambda text: re.search(pattern, text, re.IGNORECASE) is not None


def share(value: float, within: float = 0.03) -> Said:
    """The text holds a percentage, or a figure from 0 to 2, near this share."""

    def said(text: str) -> bool:
        found = [float(n) / 100 for n in re.findall(r"(\d+(?:\.\d+)?) ?%", text)]
        found += [float(n) for n in re.findall(r"\b\d\.\d+\b", text)]
        return any(abs(n - value) <= within for n in found)

    return said


def number(value: float, within: float = 0) -> Said:
    """The text holds this number."""

    def said(text: str) -> bool:
        return any(abs(float(n) - value) <= within for n in re.findall(r"\d+(?:\.\d+)?", text))

    return said


def both(*said: Said) -> Said:
    return lambda text: all(s(text) for s in said)


def either(*said: Said) -> Said:
    return lambda text: any(s(text) for s in said)


def expand(numbers: str) -> list[int]:
    """The numbers of '0 to 3 and 7' or '1, 3, 5 … 19'."""
    tokens = re.findall(r"\d+|to|–|-|…|\.\.\.", numbers)
    out: list[int] = []
    k = 0
    while k < len(tokens):
        token = tokens[k]
        if token.isdigit():
            out.append(int(token))
        elif out and k + 1 < len(tokens):
            last = int(tokens[k + 1])
            dots = token in ("…", "...")
            step = out[-1] - out[-2] if dots and len(out) > 1 else 1
            out += list(range(out[-1] + step, last + 1, step)) if step > 0 else []
            out += list(range(out[-1] + step, last - 1, step)) if step < 0 else []
            k += 1
        k += 1
    return out


def groups(text: str, wall: Wall) -> Iterable[tuple[str, np.ndarray]]:
    """The groups of LEDs that a text names, each with its LEDs as numbers over all lines."""
    if re.search(r"the whole wall|the whole display|all leds|every led\b", text, re.IGNORECASE):
        yield "the whole wall", np.arange(wall.leds)
    line = re.search(r"\b(?:of|on) line (\d+)|\bline (\d+), LEDs?", text, re.IGNORECASE)
    on = int(line[1] or line[2]) if line else wall.lines
    for match in GROUP.finditer(text):
        noun, which = match[1].lower().rstrip("s"), expand(match[2])
        leds: list[int] = []
        if noun in ("row", "column"):
            axis = 1 if noun == "row" else 0
            leds = [i for i in range(wall.leds) if wall.cells[i, axis] in which]
        elif noun == "line":
            if re.search(r"\b(?:of|on) $", text[: match.start()], re.IGNORECASE):
                continue  # it says which line a group is on
            if re.match(r",? ?LEDs?\b", text[match.end() :], re.IGNORECASE):
                continue
            leds = [i for i in range(wall.leds) if wall.names(i)[0] in which]
        elif noun in ("run", "strip"):
            leds = [int(i) for k in which if k < len(wall.runs) for i in wall.runs[k]]
        elif noun == "led":
            first = int(wall.bounds[on]) if on < wall.lines else 0
            leds = [first + k for k in which if first + k < wall.leds]
        if leds:
            yield match[0], np.array(leds)
