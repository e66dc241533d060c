"""Reads an answer in a few words: 'row 7 dark from the fifth', 'all red', 'first LED flickers'.

Rows, columns, LEDs, lines and runs are numbered from 0, as on the sheet of `foreglow map`; 'fifth'
is the one with number 4. Rows go down and columns to the right, seen from the front. Without a
line, an LED is one of line 0. What is not mentioned is as it should be.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools, Srgb
from emulator.description.display import Display
from harness.find.answer import COLOUR, COLOURS, DARK, FINE, MIXED, UNSURE, WRONG, Seen
from harness.find.lexicon import (
    AFTER,
    BEFORE,
    EVERY_OTHER,
    EXCEPT,
    FILLERS,
    FROM,
    JOINS,
    LIT,
    LOOKS,
    NOUNS,
    ONLY,
    ONWARD,
    PARTS,
    REST,
    SIDES,
    UP_TO,
    WHOLE,
    Token,
    tokens,
)

_LARGE = 8  # LEDs: said to be wrong together, some of them may be right


class Unreadable(Exception):
    """An answer that cannot be read: what was understood, and what was not."""


class _Place(NamedTuple):
    leds: Bools
    given: bool


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
    clauses = _clauses(found)
    if not clauses:
        raise Unreadable("nothing says what you see: fine, dark, a colour, wrong, flickers, dim")
    reader = _Reader(display)
    seen = np.full(display.leds, FINE, dtype=np.uint8)
    told = np.zeros(display.leds, dtype=bool)
    before: Bools | None = None
    plain = (picture == picture[0, 0]).all()
    for clause in clauses:
        look = next(LOOKS[t.word] for t in reversed(clause) if t.word in LOOKS)
        only = any(t.word in ONLY for t in clause)
        rest = any(t.word in REST for t in clause)
        words = [t for t in clause if t.word not in LOOKS and t.word not in ONLY | REST]
        place = reader.place(words)
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
    table = {(1, 0, 0): 0, (1, 1, 0): 1, (0, 1, 0): 2, (0, 1, 1): 3, (0, 0, 1): 4, (1, 0, 1): 5}
    words = [COLOUR + table.get(tuple(map(int, one)), len(COLOURS) - 1) for one in strong]
    return np.where(most == 0, DARK, words).astype(np.uint8)


def _clauses(found: Sequence[Token]) -> list[list[Token]]:
    """The parts that say one thing each: where, and how it looks."""
    pieces: list[list[Token]] = [[]]
    for number, token in enumerate(found):
        says = any(one.word in LOOKS for one in pieces[-1])
        again = any(one.word in LOOKS for one in found[number:])
        if token.word in EXCEPT and says and again:  # 'fine except LED 7, which is dark'
            pieces.append([])
            continue
        if token.word in (*JOINS, ";", "."):
            pieces.append([])
        pieces[-1].append(token)
    clauses: list[list[Token]] = []
    waiting: list[Token] = []
    for piece in pieces:
        waiting = [*waiting, *piece]
        if any(token.word in LOOKS for token in piece):
            clauses.append(waiting)
            waiting = []
    if clauses and any(t.word not in (*JOINS, ";", ".", *FILLERS) for t in waiting):
        clauses[-1] += waiting
    return clauses


class _Reader:
    """Reads places of a display."""

    def __init__(self, display: Display) -> None:
        wiring = display.wiring
        self._placed = ~wiring.hidden
        self._of = {
            "row": wiring.row, "column": wiring.column, "led": wiring.led, "line": wiring.line,
            "run": wiring.run,
        }  # fmt: skip
        self._count = {
            "row": wiring.rows, "column": wiring.columns, "led": max(wiring.line_lengths),
            "line": len(wiring.line_lengths), "run": len(wiring.runs),
        }  # fmt: skip
        self._along = "column" if wiring.along == "rows" else "row"

    def place(self, words: Sequence[Token]) -> _Place:
        """The LEDs that words name; all without any. Raises Unreadable."""
        cut = next((i for i, t in enumerate(words) if t.word in EXCEPT), None)
        if cut is not None:
            whole, but = self.place(words[:cut]), self.place(words[cut + 1 :])
            return _Place(whole.leds & ~but.leds if but.given else whole.leds, True)
        self._words = [t for t in words if t.word not in FILLERS and t.word not in (";", ".")]
        self._at = 0
        self._leds = self._placed.copy()
        self._noun: str | None = None
        self._lines: list[int] | None = None
        given = False
        while self._at < len(self._words):
            given = self._part() or given
        if self._noun == "led" and self._lines is None:
            self._leds &= self._of["line"] == 0
        return _Place(self._leds, given)

    def _peek(self, ahead: int = 0) -> Token:
        at = self._at + ahead
        return self._words[at] if at < len(self._words) else Token("", "")

    def _part(self) -> bool:
        """Take one part of a place; whether it says a place."""
        token = self._peek()
        if token.word == "(" and self._peek(1).number is not None:
            self._at += 1
            return self._cell()
        if token.word in JOINS or token.word in ("(", ")", "?"):
            self._at += 1
            return False
        if token.word in WHOLE:
            self._at += 1
            return True
        if token.word in SIDES:
            return self._sides()
        if token.word in EVERY_OTHER:
            self._at += 1
            noun = NOUNS.get(self._peek().word)
            if noun is None or noun == "cell":
                raise Unreadable("every other what? Say rows, columns or LEDs")
            self._at += 1
            self._keep(noun, self._of[noun] % 2 == EVERY_OTHER[token.word])
            return True
        if token.word in FROM | UP_TO | AFTER | BEFORE:
            return self._bounded()
        if token.word in NOUNS:
            return self._named(NOUNS[token.word])
        if token.word == "last" or token.number is not None:
            return self._counted()
        if token.word in ONWARD:
            self._at += 1
            return False
        if token.word in PARTS:
            raise Unreadable(f"which {token.raw.strip('_')}: upper, lower, left or right?")
        raise Unreadable(f"'{token.raw}' is not clear here")

    def _keep(self, noun: str, leds: Bools) -> None:
        self._noun = noun
        self._leds = self._leds & leds

    def _sides(self) -> bool:
        sides = []
        while self._peek().word in SIDES:
            sides.append(SIDES[self._peek().word])
            self._at += 1
        part = self._peek().word
        noun = NOUNS.get(part, "")
        size = PARTS.get(part, 0 if noun in ("row", "column", "cell", "led") else 2)
        if part in PARTS or noun:
            self._at += 1
        for side in sides:
            axis = "row" if side in ("top", "bottom") else "column"
            span = self._of[axis]
            low, high = int(span[self._leds].min(initial=0)), int(span[self._leds].max(initial=0))
            many = high - low + 1
            share = 2 if len(sides) > 1 and size == 4 else size
            keep = max(many // share, 1) if share else 1
            inside = span < low + keep if side in ("top", "left") else span > high - keep
            self._keep(axis, inside)
        return True

    def _number(self, noun: str) -> int | None:
        """Take a number or a place in a row of places; None if there is none."""
        token = self._peek()
        if token.word == "last":
            self._at += 1
            return self._count[noun] - 1
        if token.number is None:
            return None
        self._at += 1
        self._check(noun, token.number)
        return token.number

    def _check(self, noun: str, number: int) -> None:
        if number >= self._count[noun]:
            last = self._count[noun] - 1
            raise Unreadable(f"there is no {noun} {number}: they are numbered from 0 to {last}")

    def _named(self, noun: str) -> bool:
        """'row 7', 'rows 3 to 5 and 9', 'LEDs 4-6 of line 1', 'cell 3, 4'."""
        self._at += 1
        while self._peek().word in ("(", ","):
            self._at += 1
        if noun == "cell":
            return self._cell()
        first = self._number(noun)
        if first is None:
            if noun in ("led",):
                return False
            raise Unreadable(f"which {noun}?")
        leds = self._span(noun, first)
        while self._peek().word in JOINS and self._peek(1).number is not None:
            noun_after = NOUNS.get(self._peek(2).word)
            if noun_after is not None:  # 'row 3 and 2 LEDs …' begins another part
                break
            self._at += 1
            number = self._number(noun)
            leds |= self._span(noun, number if number is not None else 0)
        if noun == "line":
            self._lines = [0]
        if noun == "led" and not (self._leds & leds).any() and self._noun in ("row", "column"):
            inner = self._inner()  # 'row 12, LED 3': of the row, not of the line
            leds = np.isin(self._of[inner], self._of["led"][leds])
            noun = inner
        self._keep(noun, leds)
        return True

    def _span(self, noun: str, first: int) -> Bools:
        """LEDs of a number, or from it to another one, or from it on."""
        values = self._of[noun]
        if self._peek().word in UP_TO:
            ahead = 1 if self._peek(1).word not in NOUNS else 2
            if self._peek(ahead).number is not None or self._peek(ahead).word == "last":
                self._at += ahead
                last = self._number(noun)
                last = first if last is None else last
                return (values >= min(first, last)) & (values <= max(first, last))
        if self._peek().word in ONWARD:
            self._at += 1
            return np.asarray(values >= first)
        return np.asarray(values == first)

    def _cell(self) -> bool:
        """'cell 3, 4': column and row; in a row or column that is named, its number there."""
        within = {"row": "column", "column": "row"}.get(self._noun or "")
        for token, after in zip(self._words[self._at :], self._words[self._at + 1 :], strict=False):
            if within is None and after.number is not None and token.word not in (",", "and"):
                within = {"row": "column", "column": "row"}.get(NOUNS.get(token.word, ""))
        first = self._number(within or "column")
        if first is None:
            return False
        if within is not None:
            self._keep(within, self._span(within, first))
            return True
        while self._peek().word in (",", "and", "row"):
            self._at += 1
        second = self._number("row")
        if second is None:
            raise Unreadable("a cell has a column and a row: say 'cell 3, 4'")
        self._keep("cell", (self._of["column"] == first) & (self._of["row"] == second))
        return True

    def _inner(self) -> str:
        """What is counted within the place so far: the cells of a row, else LEDs."""
        return {"row": "column", "column": "row"}.get(self._noun or "", "led")

    def _bounded(self) -> bool:
        """'from the fifth', 'from column 4 to 9', 'after LED 143', 'above row 3'."""
        word = self._peek().word
        self._at += 1
        noun = NOUNS.get(self._peek().word)
        if noun is not None:
            self._at += 1
        token = self._peek()
        if noun is None and (token.number is not None or token.word == "last"):
            follows = NOUNS.get(self._peek(1).word)
            noun = follows if follows not in (None, "cell") else self._inner()
            after = 1 if follows is not None else 0
        else:
            after = 0
        if noun in (None, "cell"):
            noun = self._inner()
        number = self._number(noun)
        if number is None:
            if word in FROM | UP_TO:
                return False
            raise Unreadable(f"{word} which {noun}?")
        self._at += after
        values = self._of[noun]
        if word in FROM:
            leds = self._span(noun, number)
            if not (leds & (values != number)).any() or self._peek(-1).word not in UP_TO:
                leds = leds if (values[leds] != number).any() else values >= number
        elif word in AFTER:
            leds = values > number
        elif word in BEFORE:
            leds = values < number
        else:
            leds = values <= number
        self._keep(noun, np.asarray(leds))
        return True

    def _counted(self) -> bool:
        """'third row', 'first 3 LEDs', 'last two columns', 'the fifth' of a row."""
        token = self._peek()
        self._at += 1
        many = 1
        if (token.ordinal or token.word == "last") and self._peek().number is not None:
            if not self._peek().ordinal:
                many = max(self._peek().number or 1, 1)
                self._at += 1
        noun = NOUNS.get(self._peek().word, "")
        if noun and self._peek(1).number is not None and not self._peek(1).ordinal:
            noun = ""  # 'the last three of row 7'
        if noun:
            self._at += 1
        if not noun and not token.ordinal and token.word != "last" and self._noun is None:
            raise Unreadable(
                f"{token.raw} what? Say row {token.raw}, column {token.raw} or LED {token.raw}"
            )
        if noun and not token.ordinal and token.word != "last":
            raise Unreadable(f"which {token.raw} {noun}s? Give their numbers")
        if noun in ("", "cell"):
            noun = self._inner()
        ends = self._words[self._at :]
        inside = self._leds
        for ahead, other in enumerate(ends[:-1]):  # 'the last three of row 7'
            if (
                other.word in ("row", "column", "run", "line")
                and ends[ahead + 1].number is not None
            ):
                outer = NOUNS[other.word]
                self._check(outer, ends[ahead + 1].number or 0)
                inside = inside & (self._of[outer] == ends[ahead + 1].number)
                noun = (
                    noun if noun != "led" else {"row": "column", "column": "row"}.get(outer, "led")
                )
                if outer in ("line", "run"):
                    self._lines = [0]
                break
        else:
            if noun == "led" and self._noun not in ("run", "line"):
                inside = inside & (self._of["line"] == 0)
        if noun == "led" and not inside.any():
            noun, inside = self._inner(), self._leds
        values = self._of[noun]
        held = np.unique(values[inside])
        number = token.number or 0
        if token.word == "last":
            chosen = held[-many:]
        else:
            if number >= held.size:
                raise Unreadable(f"there are only {held.size} of them")
            chosen = held[number : number + many]
        leds = np.isin(values, chosen)
        if self._peek().word in UP_TO and self._peek(1).number is not None:
            leds = self._span(noun, int(chosen[0]))
        elif self._peek().word in ONWARD:
            self._at += 1
            leds = values >= chosen[0]
        self._keep(noun, np.asarray(leds))
        return True
