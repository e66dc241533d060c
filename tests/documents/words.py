"""Words that foreglow does not use, and what it says instead: plain, modern, standard English."""

from __future__ import annotations

import re
from collections.abc import Mapping

_MORE = "(longer|more|less|fewer|later|earlier|higher|lower|faster|slower|larger|smaller|other)"

INSTEAD: Mapping[str, str] = {
    r"reckon\w*": "calculate, count",
    r"anew": "again, reload",
    r"mend(s|ed|ing)?": "fix, recover",
    r"heed\w*": "respect",
    r"seldom": "rarely",
    r"of no account": "does not matter",
    r"in vain": "without result",
    rf"(?<!there )is no(?! {_MORE}\b) \w+": "is not a …",
    rf"(?<!there )are no(?! {_MORE}\b) \w+": "are not …",
    r"(has|have|had) not (a|an|the|what|it|any)\b": "lacks, does not have",
    r"(is|are|was|were|be|been) told": "is reported, is named, says",
    r"tells? of": "reports",
    r"gone astray": "lost",
    r"as a rule": "usually",
    r"save for": "except for",
    r"but for": "except for",
    r"whence|hence|thereby|therein|thereof|whereby|hitherto|nigh": "from which, so, by this",
    r"none of foreglow's": "not written by foreglow",
    r"what is over": "the rest",
    r"lets? itself": "can be",
    r"to boot|withal|amiss|betwixt|lest": "also, wrong, between, so that … not",
    r"gives? out": "provides, fails",
    r"on the way(?! to\b)": "meanwhile, during",
    r"holds? good": "is true",
    r"(is|are|was|were) wont": "usually",
    r"for want of": "without",
    r"other than by": "except by",
    r"(un)?alike in": "the same in",
}

BANNED = {re.compile(rf"\b(?:{pattern})\b", re.I): say for pattern, say in INSTEAD.items()}
ANY = re.compile("|".join(pattern.pattern for pattern in BANNED), re.I)


def found(text: str) -> list[tuple[int, str, str]]:
    """(line from 1, the words found, what to say instead) of each banned word in a text."""
    return [
        (number, match[0], say)
        for number, line in enumerate(text.splitlines(), 1)
        if ANY.search(line)
        for pattern, say in BANNED.items()
        for match in pattern.finditer(line)
    ]
