"""Finds the line of a key in a TOML text.

tomllib keeps no positions, so this module scans the text of the table for the key. If the result
is not certain, it leaves the line out. A `loc` is a path of keys and, inside arrays,
indices from 0, as pydantic reports it: ('line', 0, 'run', 2, 'to').
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

Loc = Sequence[str | int]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\s\"'-]+?)\s*\]\]?\s*(#.*)?$")


class Place(NamedTuple):
    """A line of the file, from 1, and its text; None and '' if it was not found."""

    line: int | None = None
    excerpt: str = ""


class _Header(NamedTuple):
    name: str
    at: int  # line, from 0


class Places:
    """The table headers of one text."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()
        self._headers = [
            _Header(re.sub(r"[\s\"']", "", match.group(2)), index)
            for index, line in enumerate(self._lines)
            if (match := _HEADER.match(line))
        ]

    def of(self, loc: Loc) -> Place:
        """The place of the key at the end of `loc`, else of the header of its table."""
        loc = list(loc)
        while loc and isinstance(loc[-1], int):
            header = self._opening(loc)
            if header is not None:
                return self._place(header.at)
            loc = loc[:-1]
        if not loc:
            return Place()
        outer = self._opening(loc[:-1]) if len(loc) > 1 else _Header("", -1)
        if outer is None:
            return self.of(loc[:-1])
        key = re.compile(rf"\s*[\"']?{re.escape(str(loc[-1]))}[\"']?\s*[=.]")
        for index in range(outer.at + 1, len(self._lines)):
            if _HEADER.match(self._lines[index]):
                break
            if key.match(self._lines[index]):
                return self._place(index)
        own = self._opening(loc)
        return self._place(own.at if own else outer.at)

    def table(self, loc: Loc) -> str:
        """The table that holds the key at the end of `loc`: '[grid]', '[[line.run]] number 2'.

        Runs are counted through the whole file, as a reader counts the headers.
        """
        loc = list(loc)
        while loc and isinstance(loc[-1], int):
            loc.pop()
        names = [part for part in loc[:-1] if isinstance(part, str)]
        numbers = [part for part in loc[:-1] if isinstance(part, int)]
        if not names:
            return ""
        dotted = ".".join(names)
        if not numbers:
            return f"[{dotted}]"
        header = self._opening(loc[:-1])
        if header is None:
            return f"{dotted}, entry {numbers[-1] + 1}"
        nth = sum(h.name == dotted and h.at <= header.at for h in self._headers)
        return f"[[{dotted}]] number {nth}"

    def _place(self, index: int) -> Place:
        if index < 0:
            return Place()
        return Place(index + 1, self._lines[index].strip()[:80])

    def _opening(self, loc: Loc) -> _Header | None:
        """The header that opens the table at `loc`, None if it has no header of its own."""
        begin, end, prefix = 0, len(self._lines), ""
        found: _Header | None = None
        parts = list(loc)
        while parts:
            name = parts.pop(0)
            if not isinstance(name, str):
                return None
            prefix = f"{prefix}.{name}" if prefix else name
            here = [h for h in self._headers if h.name == prefix and begin <= h.at < end]
            if not here and parts and isinstance(parts[0], str):
                continue  # a file may have [a.b] without [a]
            index = int(parts.pop(0)) if parts and isinstance(parts[0], int) else 0
            if index >= len(here):
                return None
            found = here[index]
            begin = found.at
            end = here[index + 1].at if index + 1 < len(here) else end
        return found
