"""The code under test as a test gives it: a function, a map, or something that sends."""

from __future__ import annotations

import contextlib
import inspect
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from emulator import canvas
from emulator.arrays import Bytes, Srgb
from emulator.bench import WireData
from emulator.clock import RealClock
from emulator.description.display import Display
from emulator.description.wiring import NO_CELL, Wiring
from emulator.errors import SubjectError
from emulator.ports.address import Address
from emulator.ports.link import Link, wire_link
from emulator.ports.output import Output
from emulator.ports.remote import RemoteOutput
from harness.subject import subject as subjects
from harness.subject.byled import by_led, sets_leds
from harness.subject.called import CalledFunction
from harness.subject.subject import Subject

Given: TypeAlias = (
    Subject | Output | Callable[..., Any] | str | Path | Sequence[Any] | NDArray[Any] | None
)


@contextlib.contextmanager
def subject_of(given: Given, display: Display) -> Iterator[Subject]:
    """What you give as the code under test, as a Subject, until the block ends.

    given is one of

    - a function `f(picture)` that returns bytes in wire order, as `Bench.send_frame` takes them;
    - a function `f(leds, picture)` that sets LEDs by number; its first argument must be called
      `leds`;
    - a function `f(picture, out)` that sends one frame through the output `out`;
    - an output, or its method `send`: its bench shows each picture;
    - a CSV file with the columns line,led,column,row, as a path;
    - the name of a function as 'module:function'; it runs in its own process, so that it cannot
      end the test run;
    - the cells in the order of the data, line after line: whole numbers (N,), each
      row · columns + column, or (N, 2), each column and row; -1 for an LED without a cell;
    - None: foreglow's own map and canvas.

    picture: (rows, columns, 3) uint8 sRGB. Raises SubjectError for anything else, and
    MapFileError for a map that cannot be read.
    """
    if isinstance(given, str) and ":" in given and not Path(given).exists():
        with CalledFunction(given, display, RealClock()) as called:
            yield called.subject
    else:
        yield _subject(given, display)


def _subject(given: Given, display: Display) -> Subject:
    if given is None:
        return subjects.own_code(display)
    if isinstance(given, Subject):
        return given
    if isinstance(given, Output):
        return _output(given, display)
    owner = getattr(given, "__self__", None)
    if isinstance(owner, Output) and given == owner.send:
        return _output(owner, display)
    if callable(given):
        return _function(given, display)
    if isinstance(given, (str, Path)):
        return subjects.map_file(given, display)
    return _cells(given, display)


class _CaughtOutput(RemoteOutput):
    """An output that keeps the bytes of each frame, on simulated time."""

    def __init__(self, display: Display) -> None:
        super().__init__(display)
        self.caught: list[list[Bytes]] = []

    @classmethod
    def open(cls, address: Address, display: Display) -> _CaughtOutput:
        return cls(display)

    @property
    def transport(self) -> Link:
        return wire_link(self.bench.display)

    def _put(self, lines: list[Bytes]) -> None:
        self.caught.append([line.copy() for line in lines])

    def _release(self) -> None:
        pass


def _function(call: Callable[..., Any], display: Display) -> Subject:
    name = getattr(call, "__qualname__", None) or type(call).__name__
    if sets_leds(call):
        return Subject(name, by_led(call, name, display))
    if _takes_output(call):
        return _sender(call, name, display)

    def to_wire(picture: Srgb) -> WireData:
        data = call(picture)
        if data is None:
            raise SubjectError(
                f"{name} returned None",
                fix="return the bytes in wire order, or take the output as a second argument and"
                " send one frame through it.",
            )
        return data  # type: ignore[no-any-return]  # Bench.split judges it

    return Subject(name, to_wire)


def _takes_output(call: Callable[..., Any]) -> bool:
    """Whether a function needs a second argument."""
    try:
        parameters = inspect.signature(call).parameters.values()
    except (TypeError, ValueError):  # some builtins do not say
        return False
    needed = [
        p
        for p in parameters
        if p.kind in (p.POSITIONAL_ONLY, p.POSITIONAL_OR_KEYWORD) and p.default is p.empty
    ]
    return len(needed) == 2


def _sender(call: Callable[..., Any], name: str, display: Display) -> Subject:
    out = _CaughtOutput(display)

    def to_wire(picture: Srgb) -> WireData:
        out.caught.clear()
        call(picture, out)
        if len(out.caught) != 1:
            raise SubjectError(
                f"{name} sent {len(out.caught)} frames for one picture",
                fix="send one frame through the output for each picture.",
            )
        return out.caught[0]

    return Subject(name, to_wire)


def _output(output: Output, display: Display) -> Subject:
    """The drives that the bench of an output shows after a picture was sent."""
    shown = output.bench.display
    if shown.chip != display.chip or shown.wiring.line_lengths != display.wiring.line_lengths:
        raise SubjectError(
            f"the output was opened for '{shown.name}', not for '{display.name}'",
            fix="open it for the display that you check.",
        )

    def to_wire(picture: Srgb) -> WireData:
        output.send(picture)
        return canvas.to_wire(output.bench.drives, display)

    return Subject(f"{type(output).__name__}.send", to_wire)


def _cells(given: Sequence[Any] | NDArray[Any], display: Display) -> Subject:
    columns, rows = display.grid.columns, display.grid.rows
    fix = (
        "give the cells in the order of the data: row · columns + column for each LED"
        f" (N,), or column and row (N, 2), -1 for an LED without a cell; '{display.name}' has"
        f" {display.leds} LEDs."
    )
    try:
        cells = np.asarray(given)
    except ValueError:
        cells = np.empty(0, dtype=object)
    if cells.dtype.kind not in "iu" or cells.ndim not in (1, 2) or cells.size == 0:
        raise SubjectError(
            f"an array of {cells.dtype} and shape {cells.shape} is not a map", fix=fix
        )
    if cells.ndim == 2 and cells.shape[1] != 2:
        raise SubjectError(f"an array of shape {cells.shape} is not a map", fix=fix)
    dark = (cells == NO_CELL).reshape(len(cells), -1).all(axis=1)
    column, row = cells.T if cells.ndim == 2 else (cells % columns, cells // columns)
    column, row = np.where(dark, NO_CELL, (column, row))
    inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    outside = np.flatnonzero(~inside & ~dark)
    if outside.size:
        at = int(outside[0])
        raise SubjectError(
            f"entry {at} of the map is {cells[at].tolist()}: outside {columns} × {rows}",
            fix=fix,
        )
    lines = _lines_of(len(column), display)
    theirs = replace(display, wiring=Wiring.from_cells(columns, rows, lines, column, row))
    return subjects.mapped("an array of cells", theirs, display)


def _lines_of(leds: int, display: Display) -> NDArray[np.int64]:
    """The line of each LED (N,), by the display's lengths; the last line gets the rest."""
    line = np.repeat(np.arange(len(display.wiring.line_lengths)), display.wiring.line_lengths)
    last = np.full(max(leds - len(line), 0), line[-1])
    return np.concatenate((line, last))[:leds]
