"""Reads the reports of foreglow: figures, groups of LEDs, and whether a text names a thing."""

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
    """The groups of LEDs that a text names, each with its LEDs as numbers over all lines.

    What is said of LEDs on several lines is one group; LEDs of which a text says that they are
    right are none.
    """
    if re.search(r"\bare right\b|\bis right\b", text, re.IGNORECASE):
        return
    if re.search(r"the whole wall|the whole display|every led\b", text, re.IGNORECASE):
        yield "the whole wall", np.arange(wall.leds)
    text = re.sub(r"columns? \d+, row \d+", "a cell", text)  # one cell is no group
    text = re.sub(r"LED (\d+) to LED (\d+)", r"LEDs \1 to \2", text)
    leds: list[int] = []
    named: list[str] = []
    line = 0 if wall.lines == 1 else -1
    for match in GROUP.finditer(text):
        noun, which = match[1].lower().rstrip("s"), expand(match[2])
        rest = text[match.end() :]
        if noun == "line" and (
            re.match(
                r"[,:]? ?(?:LEDs?|rows?|columns?|runs?|everything from)\b", rest, re.IGNORECASE
            )
            or re.search(r"\b(?:of|on) $", text[: match.start()], re.IGNORECASE)
        ):
            line = which[0]  # it says which line the next group is on
            continue
        after = re.match(r"[^,;:]*?\b(?:of|on) line (\d+)", rest)
        if noun == "led":
            on = int(after[1]) if after else line
            first, end = (wall.bounds[on : on + 2]) if 0 <= on < wall.lines else (0, wall.leds)
            if re.match(r"\s*on\b(?! line)|\s*onwards", rest):
                which = list(range(which[0], int(end - first)))
            leds += [int(first) + k for k in which if first + k < end]
            named.append(match[0].strip(" ,"))
            continue
        found = _members(noun, which, wall, line)
        if found:
            yield match[0], np.array(found)
    if leds:
        yield ", ".join(named), np.array(sorted(set(leds)))


def _members(noun: str, which: list[int], wall: Wall, line: int) -> list[int]:
    """The LEDs of rows, columns, lines or runs; runs of a line are counted from 0 on it."""
    if noun in ("row", "column"):
        axis = 1 if noun == "row" else 0
        of = [i for i in range(wall.leds) if wall.cells[i, axis] in which]
        on = [i for i in of if wall.names(i)[0] == line]
        return on if wall.lines > 1 and on else of
    if noun == "line":
        return [i for i in range(wall.leds) if wall.names(i)[0] in which]
    if noun in ("run", "strip"):
        runs = [r for r in wall.runs if wall.lines == 1 or line in (-1, wall.names(int(r[0]))[0])]
        return [int(i) for k in which if k < len(runs) for i in runs[k]]
    return []
