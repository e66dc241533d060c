"""The words that answers are made of, and those that a person may use instead."""

from __future__ import annotations

import difflib
import re
from typing import NamedTuple

from harness.find.answer import (
    BRIGHT,
    COLOUR,
    DARK,
    DIM,
    FINE,
    FLICKERS,
    SPOT,
    UNSURE,
    WRONG,
)

LIT = -1  # lit, where it should be dark; or as it should be, behind 'only'


def _words(text: str) -> list[str]:
    return text.split()


_SAYS: dict[int, str] = {
    FINE: "fine ok okay good right correct normal perfect yes nothing none same",
    DARK: "dark off black out dead unlit missing",
    WRONG: "wrong different odd strange funny tinted shifted incorrect mixed scrambled backwards"
    " reversed mirrored swapped exchanged shuffled mess",
    FLICKERS: "flickers flicker flickering blinks blinking flashes flashing random sparkles"
    " sparkling unsteady",
    UNSURE: "unsure uncertain undecided maybe unknown dunno idk skip pass unclear ?",
    DIM: "dim dimmer weak weaker darker faint dull dirty",
    BRIGHT: "bright brighter dazzling stronger",
    SPOT: "spot glaring point crooked uneven bare",
    LIT: "lit glows glowing lights lighted shining",
    COLOUR: "red reddish",
    COLOUR + 1: "yellow yellowish orange amber",
    COLOUR + 2: "green greenish",
    COLOUR + 3: "cyan turquoise aqua",
    COLOUR + 4: "blue bluish blueish",
    COLOUR + 5: "magenta pink purple violet pinkish",
    COLOUR + 6: "white whitish",
}
LOOKS: dict[str, int] = {word: look for look, text in _SAYS.items() for word in _words(text)}
NOUNS = {
    **dict.fromkeys(["row", "rows"], "row"),
    **dict.fromkeys(["column", "columns", "col", "cols"], "column"),
    **dict.fromkeys(["led", "leds", "pixel", "pixels", "lamp", "lamps", "light"], "led"),
    **dict.fromkeys(["cell", "cells"], "cell"),
    **dict.fromkeys(["line", "lines", "output", "outputs"], "line"),
    **dict.fromkeys(["run", "runs", "strip", "strips", "piece"], "run"),
}
SIDES = {
    "upper": "top", "top": "top", "lower": "bottom", "bottom": "bottom", "left": "left",
    "right-hand": "right", "rightmost": "right", "leftmost": "left", "topmost": "top",
}  # fmt: skip
PARTS = {"half": 2, "third_": 3, "quarter": 4, "edge": 0, "corner": 0, "side": 2}
WHOLE = {
    "all",
    "everything",
    "whole",
    "entire",
    "wall",
    "picture",
    "every",
    "complete",
    "each",
    "both",
}
REST = {"rest", "others", "other", "else", "remaining", "elsewhere"}
FROM, UP_TO = {"from", "starting"}, {"to", "until", "till", "through", "-", "upto"}
AFTER = {"after", "behind", "past", "below", "beyond", "following"}
BEFORE = {"before", "above"}
ONWARD = {"on", "onward", "onwards", "end", "down"}
EVERY_OTHER = {"odd_": 1, "even": 0, "alternate": 0}
EXCEPT, ONLY = {"except", "but", "without"}, {"only", "just"}
NEGATED = {"not", "never", "no", "something"}  # they say little of what is there: asked back
FILLERS = set(
    _words(
        "the a an is are at in of its it they looks look seem seems shows show being which that"
        " there with still stays stay been be too also then quite very bit little slightly colour"
        " color coloured colored one ones number nr so i see can completely totally now keeps"
        " always has have mostly mainly almost nearly about roughly around somewhat"
        " think guess hm hmm well"
    )
)
JOINS = {"and", ",", "&", "+", "plus"}
STOPS = {";", "."}

_CARDINALS = {
    word: number
    for number, word in enumerate(
        _words(
            "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen"
            " fifteen sixteen seventeen eighteen nineteen twenty"
        )
    )
}
_ORDINALS = {
    word: number
    for number, word in enumerate(
        _words(
            "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth"
            " thirteenth fourteenth fifteenth sixteenth seventeenth eighteenth nineteenth twentieth"
        )
    )
}

_PHRASES = [
    (r"\b(?:am |i'm |im )?not (?:at all )?(?:sure|certain)\b", " unsure "),
    (r"\bdo(?: not|n.?t) know\b", " unsure "),
    (r"\b(?:no|not an?y?) (?:idea|clue)\b|\bhard to (?:say|see|tell)\b", " unsure "),
    (r"\bc(?:an not|annot|an'?t|ould not|ouldn'?t) (?:say|see|tell)(?: that| it)?\b", " unsure "),
    (r"\b(?:is|are) not (?:lit|on|lighting)\b|\bnot (?:lit|on|lighting|shining)\b", " dark "),
    (r"\b(?:is|are)n.?t (?:lit|on|lighting)\b", " dark "),
    (r"\b(?:does|do)(?: not|n.?t) (?:light|work|shine)(?: up)?\b", " dark "),
    (r"\b(?:no|without(?: any)?) light\b", " dark "),
    (r"\bstays? (?:off|black)\b|\bturned off\b|\bswitched off\b", " dark "),
    (r"\b(?:as|like|how|what) (?:it|they) should(?: be| look)?\b|\bas planned\b", " fine "),
    (r"\b(?:instead of|rather than)(?: being)? [a-z]+\b|\bshould be [a-z]+\b", " "),
    (r"\bno (?:problem|difference)s?\b|\bnothing (?:is )?(?:wrong|odd|strange)\b", " fine "),
    (r"\ball(?:'s| is)? well\b|\blooks? (?:good|fine|right|ok)\b", " fine "),
    (r"\bnothing (?:is )?(?:lit|on)\b|\bnothing lights(?: up)?\b|\bnothing at all\b", " all dark "),
    (r"\b(?:the )?wrong colou?rs?\b|\bwrongly coloured\b", " wrong "),
    (r"\bcolou?rs? (?:is |are )?wrong\b|\bnot (?:right|ok|fine|correct)\b", " wrong "),
    (r"\b(?:another|other|different|odd) colou?rs?\b", " wrong "),
    (r"\bcom(?:es|ing) and go(?:es|ing)\b|\bnow and then\b|\bon and off\b", " flickers "),
    (r"\boff[- ]colou?r\b", " wrong "),
    (r"\b(?:than|like|unlike|as) (?:(?:all|most|of) )*(?:the )?(?:others?|rest)\b", " "),
    (r"\btoo bright\b", " bright "), (r"\btoo (?:dark|dim|weak)\b|\bless bright\b", " dim "),
    (r"\boff(?: the)? (?:centre|center|middle)\b|\bto one side\b", " spot "),
    (r"\bevery (?:other|second|2nd)\b", " alternate "),
    (r"'s\b", " "), (r"\bodd (?=row|col|led|pixel|lamp)", " odd_ "),
    (r"\bupside down\b|\bback to front\b|\bmirror image\b", " mirrored "),
    (r"\bright (half|third|edge|side|corner|column)\b", r" right-hand \1 "),
    (r"\b(top|upper|bottom|lower) right\b", r" \1 right-hand "),
    (r"\bright ?most\b", " right-hand "), (r"\bfrom (?:the )?right\b", " from right-hand "),
    (r"\b(?:to the )?right of\b", " after "),
    (r"\b(?:to the )?left of\b", " before "), (r"\b(?:up to|as far as)\b", " upto "),
    (r"\bto (?:the|its) end\b|\band (?:all )?(?:after|following)\b", " onward "),
    (r"\band on\b|\bto the (?:left|right|bottom)\b", " onward "),
    (r"\b(?:is|are|stays?|still) on\b", " lit "), (r"\bonly one\b", " only first "),
    (r"(\d+) +((?:of|on|in) (?:line|run) \d+) +(?:onwards?|on(?= [a-z]))", r"\1 onward \2 "),
    (r"\bthird of the (?:wall|picture)\b", " third_ "),
    (r"\b(top|upper|bottom|lower|left|right-hand) third\b", r" \1 third_ "),
]  # fmt: skip
_TOKEN = re.compile(r"\d+(?:st|nd|rd|th)\b|\d+|[a-z][a-z_'-]*[a-z_]|[a-z]|[,;.()&+?-]")


_NO_PLACE = re.compile(r"\d+\.\d+|(?<=[a-z]) +-\d+")  # 'row 1.5', 'LED -1'; 'LEDs 4 -6' is a range


class Token(NamedTuple):
    """A word in its usual spelling. number: its value, from 0; of an ordinal one less than it says.

    ordinal: whether it is a place, as 'fifth', and no number. raw: as it was typed.
    """

    word: str
    raw: str
    number: int | None = None
    ordinal: bool = False


def tokens(text: str) -> tuple[list[Token], list[str]]:
    """The words of an answer, corrected; and the words that foreglow does not know."""
    text = text.lower().replace("–", "-").replace("—", "-").replace("’", "'")
    text = re.sub(
        r"\b([rc])(\d+)\b", lambda m: f"{'row' if m[1] == 'r' else 'column'} {m[2]}", text
    )
    text = re.sub(r"([a-z])(\d)", r"\1 \2", text)
    text = re.sub(r"\bal\b", "all", text)
    text = re.sub(r"\bno\.? (?=\d)|^no, ", " ", text)  # 'LED no. 7'; 'no, all fine'
    text = re.sub(r"[a-z]{3,}", lambda m: _swapped_back(m[0]), text)
    for pattern, instead in _PHRASES:
        text = re.sub(pattern, instead, text)
    found: list[Token] = []
    unknown = [raw.strip() for raw in _NO_PLACE.findall(text)]
    for raw in _TOKEN.findall(text):
        token = _token(raw)
        if token is None:
            unknown.append(raw)
        else:
            found.append(token)
    return found, unknown


def _token(raw: str) -> Token | None:
    if raw[0].isdigit():
        value = int(re.sub(r"\D", "", raw)[:9])
        ordinal = not raw.isdigit()
        return Token("#", raw, max(value - 1, 0) if ordinal else value, ordinal)
    word = raw if raw in _KNOWN or not raw.isalpha() else _close(raw)
    if word is None:
        return None
    if word in _CARDINALS and word != "one":
        return Token("#", raw, _CARDINALS[word])
    if word in _ORDINALS:
        return Token("#", raw, _ORDINALS[word], True)
    return Token(word, raw)


def _swapped_back(word: str) -> str:
    """The known word of which two neighbouring letters are exchanged; else the word."""
    if word in _KNOWN:
        return word
    others = (word[:n] + word[n + 1] + word[n] + word[n + 2 :] for n in range(len(word) - 1))
    return next((one for one in others if one in _KNOWN), word)


def _close(word: str) -> str | None:
    """The known word that was meant: a slip of the finger, or with an ending."""
    if len(word) < 3:
        return None
    close = difflib.get_close_matches(word, _KNOWN, n=1, cutoff=0.74 if len(word) > 4 else 0.66)
    if not close:
        return None
    slip = difflib.SequenceMatcher(None, word, close[0]).ratio() >= 0.74
    exchanged = sorted(word) == sorted(close[0])
    length = abs(len(word) - len(close[0])) < (2 if len(word) < 8 else 3)
    return close[0] if exchanged or (slip and length) else None


_KNOWN: dict[str, None] = dict.fromkeys(
    [
        *LOOKS, *NOUNS, *SIDES, *PARTS, *WHOLE, *REST, *FROM, *UP_TO, *AFTER, *BEFORE, *ONWARD,
        *EVERY_OTHER, *EXCEPT, *ONLY, *NEGATED, *FILLERS, *JOINS, *_CARDINALS, *_ORDINALS, "last",
    ]
)  # fmt: skip
