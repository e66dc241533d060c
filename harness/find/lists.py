"""The places that a list in an answer names: 'LED 3 and LED 5', 'the top and the bottom row'."""

from __future__ import annotations

from collections.abc import Sequence

from harness.find.lexicon import FILLERS, JOINS, NOUNS, PARTS, SIDES, STOPS, WHOLE, Token


class Unreadable(Exception):
    """An answer that cannot be read: what was understood, and what was not."""


def listed(words: Sequence[Token]) -> list[list[Token]]:
    """'LED 3 and LED 5', 'row 1 LED 3, LED 5': the places of a list; one if it is not a list.

    A place that names less than the first one lies in the same row, line or run. Raises Unreadable
    if only the last one names its line, or if 'row 0 and column 2' may be one cell or both.
    """
    pieces: list[list[Token]] = [[]]
    for number, token in enumerate(words):
        noun, at_once = _next_noun(words[number + 1 :])
        before = [*_nouns(pieces[-1]), *(t.word for t in pieces[-1] if t.word in PARTS)]
        if token.word in JOINS and noun and not at_once and _waits_for_noun(pieces[-1]):
            pieces[-1].append(Token(noun, noun))  # 'the top and the bottom row'
            pieces.append([])
        elif token.word not in (*JOINS, *STOPS) or not noun or not before:
            pieces[-1].append(token)
        elif token.word in STOPS or (noun in before and (at_once or token.word != ",")):
            pieces.append([])
        elif token.word == "," or _one_cell(words):
            pieces[-1].append(token)
        elif before[0] in ("led", "cell") or any(t.word in WHOLE for t in words):
            pieces.append([])
        else:
            one, other = (" ".join(t.raw.strip("_") for t in some if t.word not in FILLERS)
                          for some in (pieces[-1], words[number + 1 :]))  # fmt: skip
            raise Unreadable(
                f"'{one} {token.raw} {other}' may be where they cross, or both: say"
                f" '{one}, {other}' or '{one}; {other}'"
            )
    for piece in pieces[1:]:
        first, named = _nouns(pieces[0]), _nouns(piece)
        if "line" in named and "line" not in first and "led" in first:
            raise Unreadable("say the line of each: 'LED 3 of line 0; LED 5 of line 1'")
        begin = next((n for n, noun in enumerate(first) if noun in named), 0)
        if begin:  # what stands before it in the first place
            cut = [n for n, t in enumerate(pieces[0]) if t.word in NOUNS][begin]
            piece[:0] = pieces[0][:cut]
    return pieces


def _next_noun(words: Sequence[Token]) -> tuple[str | None, bool]:
    """The noun of a place that begins there, also behind its ordinal or side; and whether no
    ordinal or side stands before it."""
    at_once = True
    for token in words:
        if token.word in NOUNS or token.word in PARTS:
            return NOUNS.get(token.word, token.word), at_once
        if token.word in FILLERS | WHOLE:
            continue
        if not (token.ordinal or token.word == "last" or token.word in SIDES):
            break
        at_once = False
    return None, at_once


def _waits_for_noun(words: Sequence[Token]) -> bool:
    """'the top', 'the third', without what they are of."""
    told = [t for t in words if t.word not in FILLERS]
    return bool(told) and all(t.ordinal or t.word == "last" or t.word in SIDES for t in told)


def _one_cell(words: Sequence[Token]) -> bool:
    """'the cell in row 0 and column 2': a noun of one LED that has no number of its own."""
    told = [t for t in words if t.word not in FILLERS]
    return any(
        NOUNS.get(token.word) in ("cell", "led") and after.number is None
        for token, after in zip(told, [*told[1:], Token("", "")], strict=True)
    )


def _nouns(words: Sequence[Token]) -> list[str]:
    return [NOUNS[token.word] for token in words if token.word in NOUNS]
