"""Which LEDs the words of an answer name: 'row 7 from the fifth', 'the last three of row 7'."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools
from emulator.description.display import Display
from harness.find.lexicon import (
    AFTER,
    BEFORE,
    EVERY_OTHER,
    EXCEPT,
    FILLERS,
    FROM,
    JOINS,
    NOUNS,
    ONWARD,
    PARTS,
    SIDES,
    STOPS,
    UP_TO,
    WHOLE,
    Token,
)
from harness.find.lists import Unreadable, listed

_ACROSS = {"row": "column", "column": "row"}  # what is counted within one


class Area(NamedTuple):
    """LEDs (N,), and whether words named them; else these are all."""

    leds: Bools
    given: bool


class Areas:
    """Reads areas of a display."""

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

    def read(self, words: Sequence[Token]) -> Area:
        """The LEDs that words name; all without any. Raises Unreadable."""
        cut = next((i for i, t in enumerate(words) if t.word in EXCEPT), None)
        if cut is not None:
            whole, but = self.read(words[:cut]), self.read(words[cut + 1 :])
            return Area(whole.leds & ~but.leds if but.given else whole.leds, True)
        pieces = listed(words)
        if len(pieces) > 1:
            areas = [self.read(piece) for piece in pieces]
            return Area(np.logical_or.reduce([area.leds for area in areas]), True)
        self._words = [t for t in words if t.word not in (*FILLERS, *STOPS)]
        self._at = 0
        self._leds = self._placed.copy()
        self._noun: str | None = None
        self._line_is_given = False
        given = False
        while self._at < len(self._words):
            given = self._part() or given
        if self._noun == "led" and not self._line_is_given:
            self._leds &= self._of["line"] == 0
        return Area(self._leds, given)

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
            if noun == "led":
                return False
            raise Unreadable(f"which {noun}?")
        leds = self._span(noun, first)
        while (
            self._peek().word in JOINS
            and self._peek(1).number is not None
            and not self._peek(1).ordinal  # 'row 7, the third'
        ):
            noun_after = NOUNS.get(self._peek(2).word)
            if noun_after is not None:  # 'row 3 and 2 LEDs …' begins another part
                break
            self._at += 1
            number = self._number(noun)
            leds |= self._span(noun, number if number is not None else 0)
        if noun == "line":
            self._line_is_given = True
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
        within = _ACROSS.get(self._noun or "")
        for token, after in zip(self._words[self._at :], self._words[self._at + 1 :], strict=False):
            if within is None and after.number is not None and token.word not in (",", "and"):
                within = _ACROSS.get(NOUNS.get(token.word, ""))
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
        return _ACROSS.get(self._noun or "", "led")

    def _bounded(self) -> bool:
        """'from the fifth', 'from column 4 to 9', 'after LED 143', 'above row 3'."""
        word = self._peek().word
        self._at += 1
        noun = NOUNS.get(self._peek().word)
        piece = self._peek(1).word in {*NOUNS, "half", "third_", "quarter"}
        if word in FROM and self._peek().word in SIDES and not piece:
            return self._from_side()
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
            if (values[leds] == number).all():  # it says no end
                leds = values >= number
        elif word in AFTER:
            leds = values > number
        elif word in BEFORE:
            leds = values < number
        else:
            leds = values <= number
        self._keep(noun, np.asarray(leds))
        return True

    def _from_side(self) -> bool:
        """'the third of row 1 from the left'; 'from the left to the fifth': no place by itself."""
        side = SIDES[self._peek().word]
        before = self._words[: self._at - 1]
        self._at += 2 if self._peek(1).word in PARTS else 1
        ranged = self._peek().word in UP_TO and side in ("left", "top")
        ordinal = any(token.ordinal for token in before[-2:])
        if ranged or (ordinal and (self._noun, side) in (("column", "left"), ("row", "top"))):
            return False
        raise Unreadable(
            "rows are counted from the top, columns from the left: say 'row 2, column 5'"
        )

    def _counted(self) -> bool:
        """'third row', 'first 3 LEDs', 'last two columns', 'the fifth' of a row."""
        token = self._peek()
        self._at += 1
        many = 1
        follows = self._peek()
        if (token.ordinal or token.word == "last") and follows.number and not follows.ordinal:
            many = follows.number
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
                noun = _ACROSS.get(outer, "led") if noun == "led" else noun
                if outer in ("line", "run"):
                    self._line_is_given = True
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
