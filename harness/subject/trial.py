"""Sends pictures through the code under test into the emulated wiring, and keeps what it shows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Ints, Light, Srgb
from emulator.bench import Bench, WireData, cell_light, led_light
from emulator.canvas import full_light, meant_light
from emulator.clock import RealClock, queued_ns
from emulator.description.display import Display
from emulator.errors import FrameError, SubjectError
from emulator.strip import Sent
from harness.measure.measured import Measured, measured, pictures_of
from harness.patterns.coded import read_codes
from harness.patterns.pattern import PATTERNS, Pattern
from harness.result.finding import Finding
from harness.subject.printed import MUCH_PRINTED
from harness.subject.subject import Subject
from harness.timing.answers import Levels, as_levels
from harness.timing.examine import Timing, examine, verify
from harness.timing.lengths import Lengths
from harness.timing.pace import AGAIN, KEPT, OVER, Slow

_LEDS_AT_ONCE = 1 << 20  # of all pictures of a block
_MOST_TIMES = 8  # the bytes of a frame; more would only cost time and memory


@dataclass(frozen=True)
class Seen:
    """What the display showed for T pictures.

    meant: (T, N, 3) uint8 sRGB, the colour of each LED's own cell in the picture; dark for a
    hidden LED.
    light: (T, N, 3) float32 linear light of each LED, as a share of what the display file's
    [canvas] makes of full white; so 1 is right with any white balance and brightness. drives:
    (T, N, C) uint8, the same as drives. sent: what happened to each frame on the wire.
    """

    meant: NDArray[np.uint8]
    light: NDArray[np.float32]
    drives: NDArray[np.uint8]
    sent: tuple[Sent, ...]


class Trial:
    """One display, one piece of code under test, one emulated bench on simulated time.

    A check of your own gets a Trial (`foreglow.checks`). Every frame becomes a waveform, which is
    decoded as the chips would.

    subject: the code under test; its errors name the picture at which they happened. doing: what is
    shown now, for these errors. took_ns: ns that the code took for each picture, without waiting
    for a processor. slow: the first pictures that took longer than the frame period. changed:
    numbers of the pictures, from 0, that the code changed. lengths: of all frames sent. printed_at:
    the picture at which it had printed too much; '' if it never did. hidden_drive: (N,) the
    brightest channel so far of each hidden LED, in drive steps; 0 for the others. Methods that send
    pictures raise SubjectError if the code fails.
    """

    def __init__(self, display: Display, subject: Subject) -> None:
        self.display = display
        self.subject = replace(subject, to_wire=self._ask)
        self.bench = Bench(display, waveform=True, keep=1)
        self.doing = ""
        self.took_ns: list[int] = []
        self.slow: list[Slow] = []
        self.changed: list[int] = []
        self.printed_at = ""
        self.lengths = Lengths()
        self.hidden_drive: Ints = np.zeros(display.leds, np.int64)
        self._number = 0
        self._asked = subject
        self._clock = RealClock()
        self._quick = Bench(
            display, keep=1
        )  # without edges: they do not matter for when a picture shows

    def show(self, pictures: Iterable[Srgb]) -> Seen:
        """Send pictures (rows, columns, 3) uint8 sRGB one after the other. Raises SubjectError."""
        meant, drives, sent = [], [], []
        lag = self.lag
        for picture in pictures:
            meant.append(self.display.wiring.per_led(picture))
            for _ in range(1 + lag):
                happened = self._send(picture)
            sent.append(happened)
            drives.append(self.bench.drives)
        stack = np.stack(drives)
        light = led_light(stack, self.display.chip.channels, self.bench.glow)
        light /= full_light(self.display).astype(np.float32)
        return Seen(np.stack(meant), light, stack, tuple(sent))

    @cached_property
    def coded(self) -> Seen:
        """What the LEDs showed for the coded pattern, from which `map` reads the map."""
        return self.show_pattern(PATTERNS["coded"])

    @cached_property
    def judged(self) -> Display:
        """The display without its hidden LEDs: M LEDs, one for each cell. See `hidden_drive`."""
        return replace(self.display, wiring=self.display.wiring.without_hidden)

    @property
    def places(self) -> NDArray[np.int64]:
        """(M,) the position of the cell of each LED that has one, row by row."""
        return np.argsort(np.argsort(self.judged.wiring.cell))

    def of_display(self, findings: Iterable[Finding]) -> tuple[Finding, ...]:
        """Findings on LEDs of `judged`, with positions in the arrays of the display."""
        placed = self.display.wiring.placed
        return tuple(replace(f, leds=tuple(placed[list(f.leds)].tolist())) for f in findings)

    @cached_property
    def measured(self) -> Measured:
        """Levels and colours, at the cells that the LEDs show according to the coded pattern.

        If the levels are too wrong to read that pattern, at the cells of the wiring.
        """
        placed = self.display.wiring.placed
        light = self.coded.light[:, placed].sum(axis=-1)
        read = (
            read_codes(values, self.display.gap) for values in (light, light.max(axis=0) - light)
        )
        sources = (*read, self.judged.wiring.cell)
        drives = self.show(pictures_of(self.display)).drives[:, placed]
        return measured(self.judged, drives, sources, self.timing.noise)

    def forget(self) -> None:
        """Free the memory of `coded` and `measured`: if asked for again, pictures are sent again.

        A million LEDs take nearly a gigabyte.
        """
        for name in ("coded", "measured"):
            self.__dict__.pop(name, None)

    @cached_property
    def timing(self) -> Timing:
        """Whether the answer to a picture is steady; examined once, before anything else is sent.

        Raises SubjectError.
        """
        return examine(self.judged, self._levels)

    def verify(self) -> tuple[Finding, ...]:
        """Findings if the answers differ from those at the start. Raises SubjectError."""
        return verify(self.timing, self.judged, self._levels)

    @property
    def damaged(self) -> bool:
        """Whether frames were damaged between a program and the LEDs: these show something else."""
        trouble = self.subject.trouble
        return trouble is not None and any(t.damages and t.severity == "fault" for t in trouble())

    @property
    def lag(self) -> int:
        """Frames by which the code under test shows pictures late; 0 is right.

        `show` compensates: it sends each picture so many times more.
        """
        return self.timing.lag

    def _levels(self, picture: Srgb) -> Levels:
        """Send a picture. Returns what the LEDs with a cell then show, (M, C)."""
        self._send_on(self._quick, picture)
        levels = as_levels(self._quick.drives, self.display.chip.channels)
        return levels[self.display.wiring.placed]

    def _send(self, picture: Srgb) -> Sent:
        return self._send_on(self.bench, picture)

    def _send_on(self, bench: Bench, picture: Srgb) -> Sent:
        lines = self._lines(picture)
        sent = bench.send_frame(lines)
        self.lengths.add(tuple(line.size for line in lines), sent, self._place)
        hidden = self.display.wiring.hidden
        if hidden.any():
            levels = as_levels(bench.drives[hidden], self.display.chip.channels)
            drive = np.maximum(self.hidden_drive[hidden], levels.max(axis=-1))
            self.hidden_drive[hidden] = drive
        return sent

    def send_again(self, picture: Srgb) -> bool:
        """Send a picture AGAIN times more. Returns whether each took longer than the frame period.

        Raises SubjectError.
        """
        for _ in range(AGAIN):
            self._levels(picture)
        return all(ns > self._most_ns for ns in self.took_ns[-AGAIN:])

    @property
    def _most_ns(self) -> float:
        """The most time for a picture at the frame rate of the display file."""
        return OVER * 1e9 / self.display.controller.frame_rate

    def _lines(self, picture: Srgb) -> list[Bytes]:
        """The bytes of each line that the code under test makes of a picture."""
        try:
            lines = self.bench.split(self.subject.to_wire(picture.copy()))
        except FrameError as error:
            raise SubjectError(error.what, place=self.subject.name, fix=error.fix) from error
        sent = sum(line.size for line in lines)
        most = _MOST_TIMES * 4 * self.display.leds + 4096
        if sent > most:
            raise SubjectError(
                f"{sent} bytes in a frame for {self.display.leds} LEDs",
                place=self.subject.name,
                fix=f"send {self.display.chip.bytes_per_led} bytes for each LED.",
            )
        return lines

    def _ask(self, picture: Srgb) -> WireData:
        """Ask the code under test; note how long it took, what it changed and printed."""
        self._number = len(self.took_ns)
        before = picture.copy()
        begin_ns = self._clock.now_ns() - queued_ns()
        try:
            answer = self._asked.to_wire(picture)
        except SubjectError as error:
            what, newline, more = error.problem.partition("\n")
            problem = f"{what} [{self._place}]{newline}{more}"
            raise SubjectError(problem, place=error.place, fix=error.fix) from error
        except Exception as error:  # from a function that a test passed in
            error.add_note(f"It was asked for {self._place}.")
            raise
        took_ns = self._asked.took_ns
        self.took_ns.append(
            max(self._clock.now_ns() - queued_ns() - begin_ns, 0) if took_ns is None else took_ns()
        )
        if self._number and self.took_ns[-1] > self._most_ns and len(self.slow) < KEPT:
            self.slow.append(Slow(before, self._place))
        if not np.array_equal(picture, before):
            self.changed.append(self._number)
        printed = self._asked.printed
        if printed is not None and not self.printed_at and printed() >= MUCH_PRINTED:
            self.printed_at = self._place
        return answer

    @property
    def _place(self) -> str:
        """Which picture was asked for last, and for what."""
        return f"picture {self._number}{f', {self.doing}' if self.doing else ''}"

    def compare(self, picture: Srgb) -> tuple[Light, Light]:
        """A picture as meant and as shown: linear light (rows, columns, 3) of each. Sends it."""
        shares = self.show([picture]).light[0]
        shown = shares * full_light(self.display).astype(np.float32)
        return meant_light(picture, self.display), cell_light(shown, self.display)

    def show_pattern(self, pattern: Pattern) -> Seen:
        """Send a pattern's steps. Raises SubjectError."""
        return self.show(self._drawn(pattern, range(pattern.steps(self.display))))

    def show_steps(
        self, pattern: Pattern, steps: Sequence[int]
    ) -> Iterator[tuple[Sequence[int], Seen]]:
        """Send some steps of a pattern. Yields them in blocks, which bounds the memory: their
        numbers, and what was shown.

        Raises SubjectError.
        """
        at_once = max(_LEDS_AT_ONCE // self.display.leds, 1)
        for begin in range(0, len(steps), at_once):
            some = steps[begin : begin + at_once]
            yield some, self.show(self._drawn(pattern, some))

    def _drawn(self, pattern: Pattern, steps: Sequence[int]) -> Iterator[Srgb]:
        before = self.doing
        for step in steps:
            self.doing = f"pattern {pattern.name}, step {step}"
            yield pattern.draw(self.display, step)
        self.doing = before
