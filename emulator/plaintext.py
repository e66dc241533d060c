"""Makes text from outside harmless: names, quoted lines and messages of other programs.

Escape sequences can rename a terminal's window, hide the text before them, or be typed back as
input. XML forbids control characters. Characters that change the direction of writing can make a
line look like a different one.
"""

from __future__ import annotations

import re

# C0 except tab and newline, DEL, C1; line and paragraph separators; characters that change the
# direction of writing (Unicode Standard Annex 9, explicit formatting); surrogates without a pair.
_UNSAFE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)


def clean(text: str) -> str:
    r"""The text with each character that a terminal or XML would act on written as an escape.

    An escape character becomes the four letters \x1b, a right-to-left override \u202e. Tabs and
    newlines stay. A carriage return before a newline is left out.

    >>> clean("red \x1b[31m\r\n")
    'red \\x1b[31m\n'
    """
    return _UNSAFE.sub(_spelled, text.replace("\r\n", "\n"))


def clean_line(text: str) -> str:
    r"""`clean` for text that must stay on one line: newlines become \n and tabs \t, too."""
    return clean(text).replace("\n", r"\n").replace("\t", r"\t")


def _spelled(match: re.Match[str]) -> str:
    code = ord(match[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
