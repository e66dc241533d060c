"""Judges what a program sends by itself: its rate, its frames, its current, its flashes.

Which pictures it means to show is unknown, so its map cannot be judged.
"""

from __future__ import annotations

import contextlib
from array import array
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bytes, Light
from emulator.bench import cell_light, led_light
from emulator.canvas import current_a
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.errors import SubjectError
from emulator.ports.link import Link
from emulator.signal.framing import START_BYTES, has_end_frame, led_bytes
from harness.checks.hidden import hidden_lit
from harness.flash.judge import relative_light
from harness.flash.result import flash_result
from harness.flash.running import RunningJudge
from harness.result.finding import Finding, Severity
from harness.result.report import Report
from harness.result.result import Result
from harness.result.words import many
from harness.subject.printed import FIX_PRINTED, MUCH_PRINTED
from harness.subject.program import Program, reception_for
from harness.subject.reception import (
    BAUD,
    Arrived,
    BoardReception,
    E131Reception,
    Reception,
    Trouble,
)
from harness.subject.spi import SpiReception
from harness.timing.stream import black_frames

_SLOW = 0.95  # of the rate wanted
_LATE = 1.5  # times the usual interval: the rate is uneven if more than `_OFTEN` are longer
_OFTEN = 0.01  # these three limits are ours, no source
_SHARES = (50, 99, 100)
_PATIENCE_S = 30.0


@dataclass(frozen=True)
class Heard:
    """A verdict, and the light (rows, columns, 3) of the newest frame."""

    report: Report
    shown: Light


def hear(
    display: Display,
    clock: Clock,
    for_s: float,
    *,
    program: str | None = None,
    address: str | None = None,
    baud: int = BAUD,
    spi: bool = False,
    patience_s: float = _PATIENCE_S,
    say: Callable[[str], None] = lambda text: None,
) -> Heard:
    """Listen for `for_s` seconds, starting with the first data, and judge what came.

    program: a command to start, as for ProgramSubject. Without it, foreglow listens to any sender:
    by E1.31 if you give an address, else on a pseudo-terminal. spi: it sends through spidev. say:
    called with the place to send to.

    Raises SubjectError if nothing comes within `patience_s`, and what ProgramSubject raises.
    """
    listening = Listening(display)
    ended = ""
    with contextlib.ExitStack() as closing:
        reception: Reception
        if spi:
            reception = SpiReception(display, clock, listening.take, address or "spi:")
        elif program is not None:
            reception = reception_for(program, display, clock, listening.take, address, baud)
        elif address is not None:
            reception = E131Reception(display, clock, listening.take, address)
        else:
            reception = BoardReception(display, clock, listening.take, baud)
        closing.enter_context(reception)
        running = Program(program, reception, asked=False) if program is not None else None
        if running is not None:
            closing.callback(running.close, clock)
        say(f"Listening for {for_s:g} s, starting with the first data: {reception.words}")
        until_ns, begun = clock.now_ns() + round(patience_s * 1e9), False
        while clock.now_ns() < until_ns and not ended:
            ended = running.ended if running is not None else ""
            reception.step()
            if not begun and (listening.count or reception.trouble()):
                until_ns, begun = clock.now_ns() + round(for_s * 1e9), True
        trouble = reception.trouble()
    name = reception.words if program is None else f"the program {program}"
    if ended:
        name += f", which {ended}"
    if running is not None:
        listening.printed = running.printed.count
    listening.ended = ended
    shown = cell_light(led_light(listening.last, display.chip.channels), display)
    return Heard(listening.report(name, reception.link, trouble, reception.hint), shown)


class Listening:
    """Takes frames as they come, and judges them at the end. It keeps their times, not the frames.

    Flashes are judged at the times when the LEDs latched the frames. The verdict covers all frames
    (see RunningJudge) if they came whole.

    last: the drives (N, C) of the newest frame. ended: how the program ended before the time was
    over; '' if it did not. printed: bytes that it has printed.
    """

    def __init__(self, display: Display) -> None:
        self.display = display
        self.last: Bytes = np.zeros((display.leds, len(display.chip.channels)), np.uint8)
        self.ended = ""
        self.printed = 0
        self._times_ns = array("q")
        self._any_lit = bytearray()  # a frame each
        self._early = 0
        self._lit = np.zeros(display.leds, dtype=bool)
        self._short = np.zeros(len(display.wiring.line_names), dtype=np.int64)
        self._unmarked = 0
        self._total_a = self._most_a = 0.0
        self._flashes = RunningJudge(display)
        self._first_ns: int | None = None  # when the first frame was latched

    def take(self, frame: Arrived) -> None:
        """Note one frame."""
        cycle_ns = frame.sent.ready_ns - frame.sent.starts_ns
        # A receiver holds one frame while another is on the wire, so waiting for one cycle is fine.
        self._early += frame.sent.starts_ns - frame.time_ns > cycle_ns
        self._times_ns.append(frame.time_ns)
        chip = self.display.chip
        self._short = np.maximum(self._short, [line.leds_short for line in frame.sent.lines])
        self._unmarked += has_end_frame(chip) and any(map(_unmarked, frame.lines))
        first, before = 0, self.last.copy()
        for leds, data in zip(self.display.wiring.line_lengths, frame.lines, strict=True):
            came = led_bytes(data, chip)[:leds]
            self.last[first : first + len(came)] = came[:, chip.from_wire]
            first += leds
        self._judge_flashes(before, frame.sent.latched_ns)
        lit = self.last[:, : 4 if chip.channels == "RGBW" else 3].any(axis=1)
        self._lit |= lit
        self._any_lit.append(bool(lit.any()))
        amperes = float(current_a(self.last, chip))
        self._total_a += amperes
        self._most_a = max(self._most_a, amperes)

    def _judge_flashes(self, before: Bytes, latched_ns: int) -> None:
        if self._first_ns is None:
            self._first_ns = latched_ns
        elif np.array_equal(self.last, before):  # nothing changes; such a frame takes no time
            return
        light = relative_light(self.last, self.display)
        self._flashes.take(light, latched_ns - self._first_ns)

    @property
    def count(self) -> int:
        """Frames so far."""
        return len(self._times_ns)

    def report(
        self,
        subject: str,
        link: Link,
        trouble: tuple[Trouble, ...],
        hint: str = Reception.hint,
    ) -> Report:
        """The verdict. link: what the link to the LEDs can carry; trouble, hint: as Reception's.

        Raises SubjectError if nothing came at all.
        """
        if not self._times_ns and not trouble:
            raise SubjectError(
                f"nothing came from {subject}",
                fix=hint,
            )
        results = (self._rate(link), self._frames(trouble), self._current(), self._flash())
        return Report(self.display.name, subject, results)

    def _rate(self, link: Link) -> Result:
        gaps_ms = np.diff(self._times_ns) / 1e6
        wanted = self.display.controller.frame_rate
        if not gaps_ms.size:
            return Result("rate", "too few frames to measure a rate", (), {"frames_per_s": None})
        rate = 1e3 * gaps_ms.size / max(float(gaps_ms.sum()), 1e-6)
        usual, most, longest = (float(v) for v in np.percentile(gaps_ms, _SHARES))
        jitter = float(gaps_ms.std())
        findings = []
        if rate < _SLOW * wanted:
            shortfall = link.too_slow(wanted)
            findings.append(
                _finding(
                    "rate",
                    f"{rate:.1f} frames/s arrive; the display file asks for {wanted:g}",
                    f"{len(self._times_ns)} frames, {usual:.1f} ms apart in the median",
                    "make the program faster, or ask for less in [controller]."
                    if shortfall is None
                    else "; ".join(shortfall),
                    "warning",
                )
            )
        late = int((gaps_ms > _LATE * usual).sum())
        if late > _OFTEN * gaps_ms.size:
            findings.append(
                _finding(
                    "rate",
                    f"the rate is uneven: {late} of {gaps_ms.size} frames come late",
                    f"usually {usual:.1f} ms apart, at worst {longest:.1f} ms",
                    "calculate each frame's time from the start, not from the frame before; look"
                    " for what blocks the loop.",
                    "warning",
                )
            )
        if self._early:
            findings.append(
                _finding(
                    "rate",
                    f"{self._early} of {len(self._times_ns)} frames come too early: the wire is"
                    " busy, and another frame is already waiting",
                    f"{link.words}; at most {link.frames_per_s:.1f} frames/s",
                    "send no faster than the wire allows; with the serial protocol, respect the"
                    " board's credit.",
                )
            )
        return Result(
            "rate",
            f"{rate:.1f} frames/s, {usual:.1f} ms apart ± {jitter:.1f} ms, at worst"
            f" {longest:.1f} ms",
            tuple(findings),
            {
                "frames": len(self._times_ns),
                "frames_per_s": round(rate, 3),
                "jitter_ms": round(jitter, 3),
                "interval_ms": {
                    "median": round(usual, 3),
                    "99%": round(most, 3),
                    "longest": round(longest, 3),
                },
                "early": self._early,
            },
        )

    def _frames(self, trouble: tuple[Trouble, ...]) -> Result:
        display, wiring = self.display, self.display.wiring
        cells = len(wiring.placed)
        findings = [
            _finding("frames", one.what, one.evidence, one.fix + ".", one.severity)
            for one in trouble
        ]
        findings += self._ending()
        black = black_frames(self._any_lit)
        if black:
            findings.append(
                _finding(
                    "frames",
                    black,
                    f"{len(self._any_lit) - sum(self._any_lit)} of {self.count} frames, each"
                    " between two that are lit",
                    "none needed if it is meant to blink; otherwise look for a counter, or a buffer"
                    " that is cleared before it is sent.",
                    "warning",
                )
            )
        lines = zip(wiring.line_names, wiring.line_lengths, self._short.tolist(), strict=True)
        for line, (name, leds, short) in enumerate(lines):
            if short and not wiring.ends_hidden(line, short):
                findings.append(
                    _finding(
                        "frames",
                        f"the last {short} of {leds} LEDs of {name} get no data in some frames",
                        f"the bytes end early; {display.chip.part} takes"
                        f" {display.chip.bytes_per_led} for each LED",
                        "send bytes for every LED of the line.",
                    )
                )
        if self._unmarked:
            findings.append(
                _finding(
                    "frames",
                    f"{self._unmarked} of {self.count} frames are not framed as"
                    f" {display.chip.part} needs it",
                    "no start frame of 32 zero bits, or LEDs that do not begin with 0b111",
                    "send four zero bytes, then for each LED 0b111 with five bits of intensity.",
                )
            )
        stray = np.flatnonzero(self._lit & wiring.hidden)
        findings += hidden_lit("frames", display, stray, "in some frames")
        dark = np.flatnonzero(~self._lit & ~wiring.hidden)
        if dark.size and self._lit.any():
            findings.append(
                _finding(
                    "frames",
                    f"{dark.size} of {cells} LEDs stayed dark throughout",
                    f"the first is {wiring.line_names[wiring.line[dark[0]]]},"
                    f" LED {wiring.led[dark[0]]}",
                    "none needed if no picture lights them; otherwise check the LED count in the"
                    " program.",
                    "note",
                )
            )
        count = len(self._times_ns)
        return Result(
            "frames",
            f"{many(count, 'whole frame')}, {cells - dark.size} of {cells} LEDs were lit",
            tuple(findings),
            {
                "frames": count,
                "trouble": [one.what for one in trouble],
                "stayed_dark": int(dark.size),
            },
        )

    def _ending(self) -> list[Finding]:
        """A program that ended early, or prints too much."""
        findings = []
        if self.ended:
            findings.append(
                _finding(
                    "frames",
                    f"the program {self.ended} before the time was over",
                    f"{many(self.count, 'whole frame')} had come",
                    "see its output above; let it run for the whole time.",
                    "warning" if self.ended.endswith("status 0") else "fault",
                )
            )
        if self.printed >= MUCH_PRINTED:
            findings.append(
                _finding(
                    "frames",
                    f"the program printed {self.printed / 1e6:.1f} MB over {self.count} frames",
                    f"{self.printed / max(self.count, 1):.0f} bytes a frame",
                    FIX_PRINTED,
                    "warning",
                )
            )
        return findings

    def _current(self) -> Result:
        most, mean = self._most_a, self._total_a / max(len(self._times_ns), 1)
        power = self.display.power
        findings = []
        if power.limit_a is not None and most > power.limit_a + 1e-9:
            findings.append(
                _finding(
                    "current",
                    f"the program asks for {most:.2f} A; the limit is {power.limit_a:g} A",
                    "the frame that draws most, by the catalogue's figures of the chip",
                    "scale the brightness, or pass the drives through a limiter.",
                )
            )
        return Result(
            "current",
            f"at most {most:.2f} A, {mean:.2f} A on average",
            tuple(findings),
            {"most_a": round(most, 4), "mean_a": round(mean, 4), "limit_a": power.limit_a},
        )

    def _flash(self) -> Result:
        general, red = self._flashes.general, self._flashes.red
        if general is None or red is None:
            return Result("flash", "no frame to judge", ())
        return flash_result(
            general,
            red,
            self._flashes.distance_m,
            "counted from the first frame on",
            "let large areas flash at most three times a second, change them by less than a tenth"
            " of full white, or make the flashing area smaller.",
        )


def _unmarked(data: Bytes) -> bool:
    """Whether the start frame or an LED mark of a line is wrong (APA102 datasheet)."""
    words = data[START_BYTES:]
    words = words[: words.size - words.size % 4].reshape(-1, 4)[:, 0]
    # The end frame is zeros or ones: LEDs end after the last mark.
    marked = words >= 0b111_00000
    last = int(np.flatnonzero(marked)[-1]) + 1 if marked.any() else 0
    return bool(data[:START_BYTES].any() or not marked[:last].all() or (words.size and not last))


def _finding(
    check: str, what: str, evidence: str, remedy: str, severity: Severity = "fault"
) -> Finding:
    return Finding(check, what, "all lines", evidence, remedy, severity)
