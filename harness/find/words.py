"""Reads an answer in a few words: 'row 7 dark from the fifth', 'all red', 'first LED flickers'.

Rows, columns, LEDs, lines and runs are numbered from 0, as on the sheet of `foreglow map`; 'fifth'
is the one with number 4. Rows go down and columns to the right, seen from the front. Without a
line, an LED is one of line 0. What is not mentioned is as it should be.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Bools, Srgb
from emulator.description.display import Display
from harness.find.answer import COLOUR, DARK, FINE, MIXED, UNSURE, WRONG, Seen
from harness.find.area import Areas
from harness.find.lexicon import (
    EXCEPT,
    FILLERS,
    JOINS,
    LIT,
    LOOKS,
    NEGATED,
    ONLY,
    REST,
    STOPS,
    Token,
    tokens,
)
from harness.find.lists import Unreadable
from harness.find.pictures import is_plain

_LARGE = 8  # LEDs: said to be wrong together, some of them may be right


def read_answer(text: str, display: Display, picture: Srgb) -> Seen:
    """The words (N,) for all LEDs of a picture (rows, columns, 3). Raises Unreadable."""
    found, unknown = tokens(text)
    if found and found[-1].word == "on" and not any(one.word in LOOKS for one in found):
        found[-1] = Token("lit", "on")
    if unknown:
        known = " ".join(token.raw for token in found)
        raise Unreadable(
            f"'{unknown[0]}' is not clear" + (f"; the rest reads '{known}'" if known else "")
        )
    negated = next((token.raw for token in found if token.word in NEGATED), None)
    if negated:
        raise Unreadable(f"'{negated}' leaves open what is there; say what you do see")
    clauses = _clauses(found)
    if not clauses:
        raise Unreadable("nothing says what you see: fine, dark, a colour, wrong, flickers, dim")
    reader = Areas(display)
    seen = np.full(display.leds, FINE, dtype=np.uint8)
    told = np.zeros(display.leds, dtype=bool)
    before: Bools | None = None
    plain = is_plain(picture)
    for clause in clauses:
        look = next(LOOKS[t.word] for t in reversed(clause) if t.word in LOOKS)
        only = any(t.word in ONLY for t in clause)
        rest = any(t.word in REST for t in clause)
        words = [t for t in clause if t.word not in LOOKS and t.word not in ONLY | REST]
        if any(t.word in ("nothing", "none") for t in clause) and look not in (FINE, LIT):
            raise Unreadable("'nothing' leaves open what is there; say what you do see")
        place = reader.read(words)
        leds = place.leds
        if rest:
            leds = ~told
        elif not place.given and before is not None:
            leds = before
        if not leds.any():
            raise Unreadable(f"no LED is at '{' '.join(t.raw for t in clause)}'")
        if only and look in (LIT, FINE):
            seen[~leds] = DARK
            look = FINE
        elif look == LIT:
            look = WRONG
        mixed = look == WRONG and leds.sum() > _LARGE and not plain
        seen[leds] = MIXED if mixed else look
        told |= leds
        before = leds
    return as_it_should(seen, display, picture)


def as_it_should(seen: Seen, display: Display, picture: Srgb) -> Seen:
    """FINE for LEDs that are said to look as they should; and for those without a cell."""
    planned = planned_words(display, picture)
    same = (seen == planned) | display.wiring.hidden
    return np.where(same & (seen != UNSURE), FINE, seen).astype(np.uint8)


def planned_words(display: Display, picture: Srgb) -> Seen:
    """The word (N,) for how each LED should look by itself: dark, or a colour."""
    values = display.wiring.per_led(picture).astype(np.int64)
    most = values.max(axis=1)
    strong = values * 2 > most[:, None]
    # The numbers of COLOURS for blue 1, green 2, red 4.
    number = np.array([6, 4, 2, 3, 0, 5, 1, 6])[strong @ np.array([4, 2, 1])]
    return np.where(most == 0, DARK, COLOUR + number).astype(np.uint8)


def _clauses(found: Sequence[Token]) -> list[list[Token]]:
    """The parts that say one thing each: where, and how it looks."""
    pieces: list[list[Token]] = [[]]
    for number, token in enumerate(found):
        says = any(one.word in LOOKS for one in pieces[-1])
        again = any(one.word in LOOKS for one in found[number:])
        if token.word in EXCEPT and says and again:  # 'fine except LED 7, which is dark'
            pieces.append([])
            continue
        if token.word in (*JOINS, *STOPS):
            pieces.append([])
        pieces[-1].append(token)
    clauses: list[list[Token]] = []
    waiting: list[Token] = []
    for piece in pieces:
        waiting = [*waiting, *piece]
        if any(token.word in LOOKS for token in piece):
            clauses.append(waiting)
            waiting = []
    if clauses and any(t.word not in (*JOINS, *STOPS, *FILLERS) for t in waiting):
        clauses[-1] += waiting
    return clauses
