"""The walls that show questions: a real one, or an emulated one with faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from emulator.arrays import Bools, Srgb
from emulator.bench import Bench
from emulator.clock import SECOND_NS, Clock, RealClock
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.picture.srgb import linear_to_srgb
from emulator.ports.output import Output
from harness.find.pictures import Question

_CYCLES = 12  # of a question, to see what comes and goes
_AGAIN_NS = SECOND_NS // 4  # a still picture is sent again: what chance spoils then flickers
_LEAST_CHANGE = 0.05  # of full light, that counts as flicker


class Stage(Closing):
    """Shows questions on an output, and keeps it alive; makes it dark and closes it at the end."""

    def __init__(self, display: Display, output: Output, clock: Clock | None = None) -> None:
        self._display, self._output, self._clock = display, output, clock or RealClock()
        self._question: Question | None = None
        self._step = self._due_ns = 0

    def show(self, question: Question) -> None:
        """Show a question until the next one. Raises what the output raises."""
        self._question, self._step = question, 0
        self._send()

    def pump(self) -> None:
        """Call often while a person looks: it moves what moves. Raises what the output raises."""
        if self._question is not None and self._clock.now_ns() >= self._due_ns:
            self._step += 1
            self._send()
        self._output.pump()

    def close(self) -> None:
        """Go dark and close the output."""
        try:
            self._output.send(np.zeros(self._display.picture_shape, dtype=np.uint8))
            latency_ns = round(self._output.link.latency_s * SECOND_NS)
            self._clock.wait_until(self._clock.now_ns() + latency_ns)
        finally:
            self._output.close()

    def _send(self) -> None:
        assert self._question is not None
        pictures = self._question.pictures
        self._output.send(pictures[self._step % len(pictures)])
        hold_ns = self._question.pattern.hold_ms * 1_000_000
        self._due_ns = self._clock.now_ns() + (hold_ns if len(pictures) > 1 else _AGAIN_NS)


class Rehearsal(Closing):
    """An emulated wall with faults. looks: (rows, columns, 3) sRGB, how the LEDs show the last
    question, without the cover. flickers: (rows, columns) cells that did not always look so.
    """

    def __init__(self, display: Display) -> None:
        self._display = display
        self._bench = Bench(display, powered=True, keep=8)
        self.looks: Srgb = np.zeros(display.picture_shape, dtype=np.uint8)
        self.flickers: Bools = np.zeros(display.picture_shape[:2], dtype=np.bool_)

    def repair(self, fault: Fault) -> None:
        """Take one of its faults out, if it has that one; then it is powered on again."""
        rest = tuple(one for one in self._display.faults if one != fault)
        self._display = replace(self._display, faults=rest)
        self._bench = Bench(self._display, powered=True, keep=8)

    def show(self, question: Question) -> None:
        """Show a question for some seconds of simulated time."""
        bench = self._bench
        hold_ns = question.pattern.hold_ms * 1_000_000
        count = len(question.pictures)
        shown = []
        begin_ns = bench.clock.now_ns()
        for step in range(_CYCLES * count):
            bench.clock.wait_until(max(begin_ns + step * hold_ns, bench.clock.now_ns()))
            bench.send(question.pictures[step % count])
            bench.settle()
            shown.append(bench.picture)
        light = np.clip(np.stack(shown[count:]), 0, 1).reshape(-1, count, *bench.picture.shape)
        self.flickers = (np.ptp(light, axis=0) > _LEAST_CHANGE).any(axis=(0, 3))
        first = (255 * linear_to_srgb(np.median(light[:, 0], axis=0))).round()
        self.looks = first.astype(np.uint8)

    def pump(self) -> None:
        """Nothing to keep alive."""

    def close(self) -> None:
        """Nothing to close."""
