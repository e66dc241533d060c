"""Text from outside made harmless: names, quoted lines and messages of other programs.

Escape sequences can rename a terminal's window, hide what stands before them, or be typed back
as input; control characters are no XML; characters that change the direction of writing make a
line read as another one.
"""

from __future__ import annotations

import re

# C0 but tab and newline, DEL, C1; line and paragraph separators; what turns the direction of
# writing (Unicode Standard Annex 9, explicit formatting characters); surrogates without a pair.
_UNSAFE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)


def clean(text: str) -> str:
    r"""The text with everything that a terminal or XML would act on spelled out.

    An escape character becomes the four letters \x1b, a right-to-left override \u202e; tabs and
    newlines stay, and so does a carriage return before a newline, as the newline alone.

    >>> clean("red \x1b[31m\r\n")
    'red \\x1b[31m\n'
    """
    return _UNSAFE.sub(_spelled, text.replace("\r\n", "\n"))


def clean_line(text: str) -> str:
    """`clean` for what must stay one line: newlines and tabs are spelled out, too."""
    return clean(text).replace("\n", r"\n").replace("\t", r"\t")


def _spelled(match: re.Match[str]) -> str:
    code = ord(match[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
