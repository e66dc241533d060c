"""The value changes of a VCD file (IEEE 1364-2001 §18), read a block at a time with numpy.

Measured on 110,592 value changes of two lines (tests/benchmarks/bench_signal.py), reading a file
this way is about 30 times as fast as pyvcd's `vcd.reader.tokenize` alone (20 to 40 from run to
run). pyvcd reads the header, where time does not matter, and writes files.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple, NoReturn

import numpy as np
from numpy.typing import NDArray

from emulator.errors import CaptureError
from emulator.signal.waveform import pair_starts

_BAD, _TIME, _SCALAR, _VECTOR, _NUMBER, _KEYWORD, _NAME = range(7)
_KIND = np.full(256, _BAD, dtype=np.uint8)
for _letters, _kind in (
    (b"#", _TIME),
    (b"01xXzZ", _SCALAR),
    (b"bB", _VECTOR),
    (b"rR", _NUMBER),
    (b"$", _KEYWORD),
):
    _KIND[list(_letters)] = _kind
_KEYWORDS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end")
_COMMENT = re.compile(rb"(?<!\S)\$comment(?!\S).*?(?<!\S)\$end(?!\S)", re.DOTALL)
_OPEN_COMMENT = re.compile(rb"(?<!\S)\$comment(?!\S)")
_MOST_DIGITS = 18  # always fit in int64

Positions = NDArray[np.int64]


class Toggles(NamedTuple):
    """One line: level at the start, and the times at which it toggles, never falling. [ticks]

    unknown : x and z values next to a high level; only there it matters that they count as low.
    """

    first_level: bool
    ticks: Positions
    unknown: int = 0


class Bit(NamedTuple):
    """A bit of a variable; bit 0 is written last."""

    code: bytes
    bit: int


class ValueChanges:
    """Gathers the toggles of bits of variables from successive blocks of text.

    path : for messages. bits : those to gather. others : codes of variables whose changes are
    skipped. line : number of the first line, from 1.

    Results: `drain()` gives the toggles by bit; `start` and `end` are the first and last time in
    ticks (None before any time or change); `unknown` counts the x and z values taken for low.
    """

    def __init__(self, path: str, bits: Sequence[Bit], others: Sequence[bytes], line: int) -> None:
        self.start: int | None = None
        self.end: int | None = None
        self.unknown = 0
        self._path, self._line = path, line
        self._bits = bits
        codes = dict.fromkeys(bit.code for bit in bits)
        self._codes = list(codes | dict.fromkeys(others))
        self._wide = max((bit.bit for bit in bits), default=0) > 0
        self._line_of = {bit: number for number, bit in enumerate(bits)}
        self._own = len(bits)
        self._first: list[bool | None] = [None] * self._own
        self._level = [False] * self._own
        self._ticks: list[list[Positions]] = [[] for _ in bits]
        self._known = [False] * self._own  # a value was 0 or 1
        self._floats = [False] * self._own  # the last value was x or z
        self._beside = [0] * self._own

    def take(self, block: bytes, last: bool) -> int:
        """Read a block that ends between two tokens; returns how many of its bytes are done.

        The other bytes (a comment or a vector change without its end) must come again at the
        beginning of the next block. `last`: no block follows, so a missing end is an error.
        Raises CaptureError.
        """
        text = block
        if b"$comment" in block:
            text = _COMMENT.sub(lambda m: re.sub(rb"[^\n]", b" ", m.group()), block)
            open_comment = _OPEN_COMMENT.search(text)
            if open_comment and last:
                self._fault(block, open_comment.start(), "a comment is not closed by $end")
            if open_comment:
                text = text[: open_comment.start()]
        data = np.frombuffer(text, dtype=np.uint8)
        starts, ends = _tokens(data)
        kind = _KIND[data[starts]]
        two_part = pair_starts((kind == _VECTOR) | (kind == _NUMBER))
        done = len(text)
        if two_part.size and two_part[-1] + 1 == starts.size:
            if last:
                self._fault(block, int(starts[-1]), "a value without its identifier")
            done = int(starts[-1])
            starts, ends, kind, two_part = starts[:-1], ends[:-1], kind[:-1], two_part[:-1]
        vectors = two_part[kind[two_part] == _VECTOR]
        kind[two_part + 1] = _NAME
        bad = np.flatnonzero(kind == _BAD)
        if bad.size:
            self._fault(block, int(starts[bad[0]]), "this is not a value change")
        words = np.flatnonzero(kind == _KEYWORD)
        unknown = _lookup(data, starts[words], ends[words], _KEYWORDS) < 0
        if unknown.any():
            self._fault(block, int(starts[words[unknown.argmax()]]), "a keyword out of place")
        times, time_at = self._times(block, data, starts, ends, np.flatnonzero(kind == _TIME))
        self._changes(block, data, starts, ends, kind, vectors, times, time_at)
        self._line += block.count(b"\n", 0, done)
        return done

    def drain(self) -> dict[Bit, Toggles]:
        """The toggles since the last call, by bit."""
        drained = {}
        for i, bit in enumerate(self._bits):
            ticks = np.concatenate([np.zeros(0, np.int64), *self._ticks[i]])
            drained[bit] = Toggles(self._level[i] ^ bool(ticks.size & 1), ticks, self._beside[i])
            self._ticks[i], self._beside[i] = [], 0
        return drained

    def _times(
        self,
        block: bytes,
        data: NDArray[np.uint8],
        starts: Positions,
        ends: Positions,
        at: Positions,
    ) -> tuple[Positions, Positions]:
        """The times, first that of the block before, and the tokens from which each applies."""
        values = _numbers(data, starts[at] + 1, ends[at])
        if (values < 0).any():
            self._fault(block, int(starts[at[(values < 0).argmax()]]), "this is not a time")
        times = np.concatenate([[self.end or 0], values])
        backwards = times[1:] < times[:-1]
        if backwards.any():
            place = int(backwards.argmax())
            self._fault(
                block,
                int(starts[at[place]]),
                f"time goes backwards, from {times[place]} to {times[place + 1]}",
            )
        return times, at

    def _changes(
        self,
        block: bytes,
        data: NDArray[np.uint8],
        starts: Positions,
        ends: Positions,
        kind: NDArray[np.uint8],
        vectors: Positions,
        times: Positions,
        time_at: Positions,
    ) -> None:
        scalars = np.flatnonzero(kind == _SCALAR)
        at = np.concatenate([scalars, vectors])
        value = np.concatenate([data[starts[scalars]], data[ends[vectors] - 1]])
        name_from = np.concatenate([starts[scalars] + 1, starts[vectors + 1]])
        name_to = np.concatenate([ends[scalars], ends[vectors + 1]])
        which = _lookup(data, name_from, name_to, self._codes)
        wrong = np.flatnonzero((which < 0) | (_KIND[value] != _SCALAR))
        if wrong.size:
            first = wrong[at[wrong].argmin()]
            name = block[name_from[first] : name_to[first]][:20].decode("ascii", "replace")
            if not name:
                message = "a value without its identifier"
            elif which[first] < 0:
                message = f"identifier '{name}' was not declared"
            else:
                message = "a vector without a value"
            self._fault(block, int(starts[at[first]]), message)
        passed = np.searchsorted(time_at, at)  # time tokens before each change
        if self.start is None and (at.size or time_at.size):
            before_any_time = at.size and not passed.min()
            self.start = 0 if before_any_time else int(times[1])
        if self.start is not None:
            self.end = int(times[-1])
        which, at, value, passed = self._lines_of(which, at, value, passed, data, starts, ends)
        high = value == ord("1")
        order = np.lexsort((at, which)) if vectors.size else np.argsort(which, kind="stable")
        which, high, ticks = which[order], high[order], times[passed[order]]
        floats = ~high & (value[order] != ord("0"))
        self.unknown += int(np.count_nonzero(floats[which < self._own]))
        bounds = np.searchsorted(which, np.arange(self._own + 1))
        for line in np.flatnonzero(np.diff(bounds)):
            part = slice(bounds[line], bounds[line + 1])
            self._add(int(line), high[part], floats[part], ticks[part])

    def _lines_of(
        self,
        which: Positions,
        at: Positions,
        value: NDArray[np.uint8],
        passed: Positions,
        data: NDArray[np.uint8],
        starts: Positions,
        ends: Positions,
    ) -> tuple[Positions, Positions, NDArray[np.uint8], Positions]:
        """Changes of the variables `which`, as changes of lines: one for each bit to gather.

        A vector may lack left bits that repeat its first one, or that are 0 left of a 1
        (IEEE 1364-2001 §18.2.1, table 18-2).
        """
        if not self._wide:  # codes and lines have the same numbers
            return which, at, value, passed
        parts = []
        is_vector = data[starts[at]] | 32 == ord("b")
        fill = np.where(is_vector, data[np.minimum(starts[at] + 1, data.size - 1)], ord("0"))
        fill = np.where(fill == ord("1"), ord("0"), fill)
        digits = np.where(is_vector, ends[at] - starts[at] - 1, 1)
        for number, code in enumerate(self._codes):
            mine = np.flatnonzero(which == number)
            for bit, line in self._line_of.items():
                if bit.code != code:
                    continue
                place = np.maximum(ends[at[mine]] - 1 - bit.bit, 0)
                shown = np.where(bit.bit < digits[mine], data[place], fill[mine])
                shown = value[mine] if bit.bit == 0 else shown.astype(np.uint8)
                parts.append((np.full(mine.size, line), at[mine], shown, passed[mine]))
        return tuple(np.concatenate(column) for column in zip(*parts, strict=True))  # type: ignore[return-value]

    def _add(
        self, line: int, high: NDArray[np.bool_], floats: NDArray[np.bool_], ticks: Positions
    ) -> None:
        """Add the toggles of one line: `high` and `floats` are its values, `ticks` their times."""
        if self._first[line] is None:
            # Before its first value a line is unknown: low, unless it starts with a value.
            self._first[line] = self._level[line] = bool(high[0]) and int(ticks[0]) == self.start
        before = np.concatenate([[self._level[line]], high[:-1]])
        floated = np.concatenate([[self._floats[line]], floats[:-1]])
        known = np.concatenate([[self._known[line]], ~floats])
        known = np.logical_or.accumulate(known)  # before each value: files begin with x
        beside = (floats & before) | (floated & high & known[:-1])
        self._beside[line] += int(np.count_nonzero(beside))
        self._known[line], self._floats[line] = bool(known[-1]), bool(floats[-1])
        self._ticks[line].append(ticks[high != before])
        self._level[line] = bool(high[-1])

    def _fault(self, block: bytes, position: int, message: str) -> NoReturn:
        line = self._line + block.count(b"\n", 0, position)
        token = block[position : position + 40].split(maxsplit=1)[0]
        raise CaptureError(
            f"{message}\n    {token.decode('ascii', 'backslashreplace')}",
            place=f"{self._path}, line {line}",
            fix="export the capture again: the file is damaged, cut short or not a VCD "
            "(IEEE 1364-2001 §18).",
        )


def _tokens(data: NDArray[np.uint8]) -> tuple[Positions, Positions]:
    """Begin and end, each (n,), of the words between white space."""
    solid = np.zeros(data.size + 2, dtype=bool)
    np.logical_and(data != 32, data - np.uint8(9) > 4, out=solid[1:-1])
    bounds = np.flatnonzero(solid[1:] != solid[:-1])
    return bounds[0::2], bounds[1::2]


def _lookup(
    data: NDArray[np.uint8], begins: Positions, ends: Positions, words: Sequence[bytes]
) -> Positions:
    """Index in `words` of each stretch of text, or -1."""
    found = np.full(begins.size, -1, dtype=np.int64)
    length = ends - begins
    for size in {len(word) for word in words}:
        places = np.flatnonzero(length == size)
        numbers = np.array([i for i, word in enumerate(words) if len(word) == size])
        if size == 1:
            table = np.full(256, -1, dtype=np.int64)
            table[[words[i][0] for i in numbers]] = numbers
            found[places] = table[data[begins[places]]]
        elif places.size:
            known = np.array([words[i] for i in numbers], dtype=f"S{size}")
            order = np.argsort(known)
            text = data[begins[places, None] + np.arange(size)].view(f"S{size}").ravel()
            guess = order[np.searchsorted(known, text, sorter=order).clip(max=known.size - 1)]
            found[places] = np.where(known[guess] == text, numbers[guess], -1)
    return found


def _numbers(data: NDArray[np.uint8], begins: Positions, ends: Positions) -> Positions:
    """The decimal numbers in stretches of text; -1 for text that is not 1 to 18 digits."""
    values = np.full(begins.size, -1, dtype=np.int64)
    length = ends - begins
    for size in np.unique(length):
        if not 1 <= size <= _MOST_DIGITS:
            continue
        places = np.flatnonzero(length == size)
        at = begins[places]
        value = np.zeros(places.size, dtype=np.int64)
        proper = np.ones(places.size, dtype=bool)
        for digit_at in range(int(size)):
            digit = data[at + digit_at] - np.uint8(48)
            proper &= digit < 10
            value = value * 10 + digit
        values[places] = np.where(proper, value, -1)
    return values
