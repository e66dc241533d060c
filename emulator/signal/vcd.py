"""Reads captures of data lines from VCD files (IEEE 1364-2001 §18)."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np
from numpy.typing import NDArray
from vcd.reader import TokenKind, VarDecl, VCDParseError, tokenize

from emulator.errors import CaptureError
from emulator.signal.changes import Bit, Toggles, ValueChanges
from emulator.signal.step import Step, StepFinder, known_step
from emulator.signal.stream import AGAIN, MOST_BYTES, as_utf8, no_progress, opened
from emulator.signal.waveform import Waveform, from_toggles, joined_lines

if TYPE_CHECKING:
    from typing_extensions import Buffer  # collections.abc has it from Python 3.12 on

_MOST_HEADER = 1 << 20
_BLOCK = 1 << 22
_FS = {"s": 10**15, "ms": 10**12, "us": 10**9, "ns": 10**6, "ps": 10**3, "fs": 1}
_NOT_BITS = {"real", "realtime", "string", "event"}
_SAMPLED = re.compile(r"sampled every (\d{1,9}(?:\.\d{1,9})?) ns")
_RANGE = re.compile(r"\s*\[(\d+):(\d+)\]")
_MOST_BITS = 64  # of a bus that is read bit by bit


@dataclass(frozen=True)
class VcdLines:
    """The 1-bit lines of a VCD file.

    waveforms : by name; a name that occurs twice has its scopes before it ('top.DATA'). In a file
    without variables of one bit, the bits of its buses: 'D[3]'. The lines share one resolution.
    unknown : how many x and z values were taken for low. passed_over : names of variables that
    have several bits and were skipped.
    """

    waveforms: Mapping[str, Waveform]
    unknown: int = 0
    passed_over: tuple[str, ...] = ()


@dataclass
class _Header:
    """The head of a file: codes and bits of lines by name, other codes, number of its last line."""

    fs_per_tick: int
    names: dict[str, Bit]
    passed_over: dict[str, bytes]
    sampled_ns: float | None
    lines: int


def read_vcd(
    path: Path | str,
    progress: Callable[[int], None] = no_progress,
    rate_hz: int | None = None,
) -> VcdLines:
    """Read every 1-bit variable of a VCD file, plain or gzipped (the content decides).

    Times are rounded to whole nanoseconds, half up. With a finer timescale, edges of a line may
    come to the same nanosecond; they then cancel in pairs. A line is low before its first value,
    and x and z count as low.

    The resolution is that of `rate_hz` if it is given (1 GHz: times exact to the nanosecond).
    Otherwise a comment 'sampled every N ns' in the header gives it (VcdFile writes one), or
    `step.StepFinder` finds the sampling step from the times of all edges. With enough edges that is
    the true step. With few edges, or if all are on a coarser grid, it is a multiple of it, so a
    verdict on timing errs towards 'cannot tell'.

    progress: called now and then with the number of bytes of the file read so far.

    Raises CaptureError for a file that cannot be read, is empty, binary, cut short or damaged, has
    no 1-bit variable or no time, or is over 1 GiB as text. The error names file, line and fix.
    """
    blocks = list(vcd_blocks(path, progress, rate_hz))
    unknown = sum(block.unknown for block in blocks)
    lines = joined_lines([block.waveforms for block in blocks])
    return VcdLines(lines, unknown, blocks[0].passed_over)


def vcd_blocks(
    path: Path | str,
    progress: Callable[[int], None] = no_progress,
    rate_hz: int | None = None,
) -> Iterator[VcdLines]:
    """The lines of `read_vcd`, 4 MiB of text at a time; each block begins where the last ended.

    If nothing gives the resolution, it is found from the edges so far. Raises CaptureError,
    perhaps only after some blocks.
    """
    name = str(path)
    with opened(path) as (coded, position):
        stream = as_utf8(coded)
        header = _read_header(name, stream)
        changes = ValueChanges(
            name,
            list(dict.fromkeys(header.names.values())),
            list(dict.fromkeys(header.passed_over.values())),
            header.lines,
        )
        begin: int | None = None
        unknown = 0
        tick_ns = header.fs_per_tick / _FS["ns"]
        known = header.sampled_ns if rate_hz is None else 1e9 / rate_hz
        finder = StepFinder(tick_ns)
        for _ in _take_blocks(name, stream, changes):
            progress(position())
            if changes.start is None or changes.end is None:
                continue
            toggles = changes.drain()
            if known is None:
                lines = [line.ticks for line in toggles.values()]
                finder.take(np.concatenate(lines), toggles=lines)
            step = finder.step_ns() if known is None else known_step(known, tick_ns)
            begin = changes.start if begin is None else begin
            waveforms = _waveforms(name, header, toggles, (begin, changes.end), step)
            yield VcdLines(waveforms, changes.unknown - unknown, tuple(header.passed_over))
            begin, unknown = changes.end, changes.unknown
    if begin is None:
        raise CaptureError("no value changes after the header", place=name, fix=f"{AGAIN}.")


class _Counted(io.RawIOBase):
    """A stream that raises CaptureError after `most` bytes."""

    def __init__(self, name: str, stream: BinaryIO, most: int) -> None:
        self._name, self._stream, self._left = name, stream, most

    def readinto(self, buffer: Buffer, /) -> int:
        view = memoryview(buffer)
        piece = self._stream.read(len(view))
        view[: len(piece)] = piece
        self._left -= len(piece)
        if self._left < 0:
            raise CaptureError(
                "too large; at most 1 MiB of header and 1 GiB of text are read",
                place=self._name,
                fix="export a shorter stretch of time, or fewer lines.",
            )
        return len(piece)


def _take_blocks(name: str, stream: BinaryIO, changes: ValueChanges) -> Iterator[None]:
    """Give `changes` all text after the header, block by block. Raises CaptureError."""
    text = _Counted(name, stream, MOST_BYTES)
    carried = b""
    while True:
        piece = text.read(_BLOCK)
        block = carried + piece
        cut = 1 + max(block.rfind(space) for space in b"\n \t\r") if piece else len(block)
        carried = block[changes.take(block[:cut], last=not piece) :]
        yield
        if not piece:
            return
        if len(carried) > _BLOCK:
            raise CaptureError("a word or comment of over 4 MiB", place=name, fix=f"{AGAIN}.")


def _waveforms(
    name: str,
    header: _Header,
    toggles: Mapping[Bit, Toggles],
    span: tuple[int, int],
    step: Step,
) -> dict[str, Waveform]:
    """The lines by name, from their toggles and the time they cover (both in ticks)."""
    start, end = _to_ns(name, np.array(span), header.fs_per_tick).tolist()
    lines = {
        code: replace(
            from_toggles(
                _to_ns(name, line.ticks, header.fs_per_tick), line.first_level, start, end, *step
            ),
            unknown=line.unknown,
        )
        for code, line in toggles.items()
    }
    return {line: lines[code] for line, code in header.names.items()}


def _read_header(name: str, stream: BinaryIO) -> _Header:
    """Read the declarations up to $enddefinitions, and nothing after them. Raises CaptureError."""
    scopes: list[str] = []
    variables: list[tuple[tuple[str, ...], VarDecl]] = []
    fs_per_tick, sampled_ns, lines = 0, None, 0
    try:
        # One byte at a time, so that nothing after the header is read.
        for token in tokenize(_Counted(name, stream, _MOST_HEADER), 1):
            if token.kind is TokenKind.SCOPE:
                scopes.append(token.scope.ident)
            elif token.kind is TokenKind.UPSCOPE and scopes:
                scopes.pop()
            elif token.kind is TokenKind.VAR:
                variables.append((tuple(scopes), token.var))
            elif token.kind is TokenKind.TIMESCALE:
                scale = token.timescale
                if scale.magnitude not in (1, 10, 100):
                    raise VCDParseError(token.span.start, f"timescale {scale.magnitude}")
                fs_per_tick = scale.magnitude * _FS[scale.unit.value]
            elif token.kind is TokenKind.COMMENT:
                found = _SAMPLED.fullmatch(token.comment.strip())
                sampled_ns = float(found[1]) if found else sampled_ns
            elif token.kind is TokenKind.ENDDEFINITIONS:
                lines = token.span.end.line
                break
            elif token.kind not in (TokenKind.DATE, TokenKind.VERSION, TokenKind.UPSCOPE):
                raise VCDParseError(token.span.start, "a value change before $enddefinitions")
    except VCDParseError as error:
        raise CaptureError(
            f"the header is broken: {error}",
            place=f"{name}, line {error.loc.line}",
            fix=f"{AGAIN}.",
        ) from error
    except ValueError as error:  # text that is not ASCII, or a number without end
        raise CaptureError(f"the header is broken: {error}", place=name, fix=f"{AGAIN}.") from error
    whole = [(s, v) for s, v in variables if v.type_.value not in _NOT_BITS]
    bits = [(s, v) for s, v in whole if v.size == 1]
    names = {name: Bit(code, 0) for name, code in _names(bits).items()}
    if not names:
        bits = [(s, v) for s, v in whole if 1 < v.size <= _MOST_BITS]
        names = _bus_bits(bits)
    rest = [(s, v) for s, v in variables if (s, v) not in bits]
    for missing, wanted in (
        (not lines, "no end of the header ($enddefinitions)"),
        (not fs_per_tick, "no $timescale"),
        (not bits, "no variable of one bit, nor a bus"),
    ):
        if missing:
            raise CaptureError(f"{wanted}", place=name, fix=f"{AGAIN}.")
    return _Header(fs_per_tick, names, _names(rest), sampled_ns, lines)


def _names(variables: list[tuple[tuple[str, ...], VarDecl]]) -> dict[str, bytes]:
    """Identifier codes by name: the plain name if it is the only one, else with its scopes."""
    plain = [variable.ref_str for _, variable in variables]
    names: dict[str, bytes] = {}
    for scopes, variable in variables:
        name = variable.ref_str
        if plain.count(name) > 1:
            name = ".".join((*scopes, name))
        if name in names:
            name = f"{name} ({variable.id_code})"
        names[name] = variable.id_code.encode("ascii")
    return names


def _bus_bits(buses: list[tuple[tuple[str, ...], VarDecl]]) -> dict[str, Bit]:
    """The bits of buses by name, from bit 0 of each on: D [7:0] is D[0], D[1] …"""
    names = {}
    width = {variable.id_code: variable.size for _, variable in buses}
    for name, code in _names(buses).items():
        found = _RANGE.search(name)
        first, last = (int(found[2]), int(found[1])) if found else (0, width[code.decode()] - 1)
        step = 1 if first <= last else -1
        for bit in range(width[code.decode()]):
            names[f"{_RANGE.sub('', name)}[{first + step * bit}]"] = Bit(code, bit)
    return names


def _to_ns(name: str, ticks: NDArray[np.int64], fs_per_tick: int) -> NDArray[np.int64]:
    if ticks.size and int(ticks[-1]) * fs_per_tick >= _FS["ns"] << 62:
        raise CaptureError(
            f"time {ticks[-1]} is more than a century after the start",
            place=name,
            fix=f"{AGAIN}.",
        )
    if fs_per_tick >= _FS["ns"]:
        scale = fs_per_tick // _FS["ns"]
        return ticks * scale if scale > 1 else ticks
    per_ns = _FS["ns"] // fs_per_tick
    return ticks // per_ns + (ticks % per_ns * 2 >= per_ns)
