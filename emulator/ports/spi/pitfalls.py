"""What spoils frames that go through SPI: found in the transfers, and described in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from emulator.description.chips import Clocked, OneWire
from emulator.description.display import Display
from emulator.ports.spi.controller import in_mhz
from emulator.ports.spi.line import Burst, SpiLine
from emulator.ports.spi.setup import Wires, better
from emulator.ports.spi.shape import Shape, shape_of
from emulator.signal.spi import CPHA, CPOL, Transfer, mosi
from emulator.signal.timing import judge

_OFF = 0.01  # share by which a clock may differ from the requested one without a note
_FAR = 0.25  # an LED bit whose length is off by this share was made for another clock
_AT_ONCE_NS = 20_000_000  # two transfers this close count as one frame, if they make one
_SYMBOLS = ("T0H", "T0L", "T1H", "T1L")


@dataclass(frozen=True)
class Pitfall:
    """One thing that spoils frames, or could: a name, the problem, the evidence, the fix.

    spoils: whether it has spoilt a frame. line: number of the line; None: it is of the program.
    """

    name: str
    what: str
    evidence: str
    fix: str
    spoils: bool
    line: int | None = None

    @property
    def severity(self) -> Literal["fault", "warning", "note"]:
        """'fault' if it has spoilt a frame, else 'note'; a gap that was short enough so far is a
        'warning': the next one may be too long."""
        return "fault" if self.spoils else "warning" if self.name == "gap" else "note"


class Pitfalls:
    """Examines a line burst by burst, and remembers the pitfalls it has found.

    found: the first one of each name, or the first of that name that spoilt a frame.
    """

    def __init__(self, display: Display, wires: Wires, line: int) -> None:
        self._display, self._wires, self._line = display, wires, line
        self._full = display.wiring.line_lengths[line] * display.chip.bits_per_led
        self._before: Burst | None = None
        self.found: dict[str, Pitfall] = {}

    def note(self, burst: Burst) -> None:
        """Look at a burst."""
        wire = self._display.chip.wire
        looking = self._one_wire(burst, wire) if isinstance(wire, OneWire) else self._clocked(burst)
        for one in looking:
            self._add(one)
        if len(burst.frames):
            self._before = burst

    def stuck(self, line: SpiLine) -> None:
        """The waiting transfers of a line will never be latched: find out why."""
        last = line.waiting[-1]
        part = self._display.chip.part
        if isinstance(self._display.chip.wire, Clocked):
            self._add(
                Pitfall(
                    "mode",
                    f"the clock rests high, but {part} latches while it rests low: nothing shows",
                    f"mode {last.mode}",
                    "set mode 0.",
                    True,
                )
            )
            return
        self._add(self._rests_high("the LEDs see no end of the frame, and show nothing", last))

    def _add(self, one: Pitfall) -> None:
        known = self.found.get(one.name)
        if known is None or (one.spoils and not known.spoils):
            self.found[one.name] = replace(one, line=self._line)

    def _one_wire(self, burst: Burst, wire: OneWire) -> Iterator[Pitfall]:
        carrying = [one for one in burst.transfers if one.after_ones]
        if not carrying:
            return
        part, first = self._display.chip.part, carrying[0]
        bits = int(burst.frames.bit_counts.max(initial=0))
        first_bits = int(burst.frames.bit_counts[0]) if len(burst.frames) else 0
        # A frame by itself is harmless: a long enough low came after it.
        if burst.rose_ns is not None and first_bits % 8 == 1 and first_bits > 1:
            yield self._rests_high("the end of the rest is taken for a bit: all are one bit late")
        high = burst.rose_ns is not None or burst.mosi.first_level  # before the data
        if high and burst.transfers[0].first_one == 0:
            lost = "nothing rises where the data begins: the first bit of the first frame is lost,"
            yield replace(
                self._rests_high(f"{lost} that of the frames after it reads as 1"),
                name="first bit",
                evidence="the pulse of the first bit begins where the frame before ended"
                if burst.rose_ns is not None
                else f"{first_bits} of {self._full} bits arrived",
            )
        yield from self._gaps(burst, carrying, wire)
        if burst.low_ns < wire.reset_ns and bits >= self._full:
            yield Pitfall(
                "latch",
                f"no trailing zeros: the data ends with {_us(burst.low_ns)} of low, but {part}"
                f" latches only after {_us(wire.reset_ns)}",
                "the program has paused by itself so far",
                self._zeros(first),
                False,
            )
        if bits > self._full and len(carrying) > 1 and not self._whole_call(carrying):
            low_ns = min(_gaps_ns(carrying))
            yield Pitfall(
                "latch",
                f"the next frame comes after {_us(low_ns)} of low; for {part}, less than"
                f" {_us(wire.reset_ns)} continues the same frame, so its bits fall off the end",
                f"{bits} bits in a row for {self._full}",
                self._zeros(first),
                True,
            )
        yield from self._pulses(burst, max(carrying, key=lambda one: one.data.size), wire)

    def _pulses(self, burst: Burst, one: Transfer, wire: OneWire) -> Iterator[Pitfall]:
        """Faults of the pulses themselves."""
        part, asked, real = self._display.chip.part, one.asked_hz, one.hz
        off = bool(asked) and abs(real / asked - 1) > _OFF
        failing = [s for s in burst.timing.symbols if s.verdict == "fail" and s.name in _SYMBOLS]
        shape, spoilt = None, bool(failing or burst.timing.glitches)
        if spoilt:
            shape = shape_of(one)
            if shape is None or shape.turned:
                yield from self._turned(one, shape)
                return
            failing = [s for s in failing if not self._paused(s.name, s.max_ns or 0, burst)]
            spoilt = bool(failing or burst.timing.glitches)
        at_asked = replace(one, hz=float(asked)) if off else one
        rescued = spoilt and off and _passes(at_asked, wire)
        if off:
            yield Pitfall(
                "speed",
                f"SCLK runs at {in_mhz(real)}, not at the {in_mhz(asked)} asked for",
                f"{self._wires.name}: {self._divided(asked)}",
                better(self._display, self._wires.controller)
                if rescued
                else f"none needed, the LEDs accept it; use {in_mhz(real)} for frame rates.",
                rescued,
            )
        if not spoilt or rescued or shape is None:
            return
        zero_ns, one_ns = wire.bit_ns
        usual_ns, lasts_ns = (zero_ns + one_ns) / 2, shape.bits * one.bit_ns
        unset = asked == self._wires.controller.default_hz
        if abs(lasts_ns / usual_ns - 1) > _FAR:
            right_hz = shape.bits * 1e9 / usual_ns
            yield Pitfall(
                "bits",
                f"{shape.bits} SPI bits at {in_mhz(real)} make an LED bit of {lasts_ns:.0f} ns;"
                f" {part} needs {usual_ns:.0f} ns",
                "max_speed_hz is that of the device: the program does not set it" * unset
                or f"{in_mhz(asked or real)} asked for",
                f"set max_speed_hz to about {in_mhz(right_hz)} for {shape.bits} SPI bits; or"
                f" {better(self._display, self._wires.controller)}",
                True,
            )
            return
        wrong = ", ".join(
            f"{s.name} {s.min_ns}" + (f" to {s.max_ns}" if s.max_ns != s.min_ns else "")
            + f" ns (needs {s.least_ns} to {s.most_ns})"
            for s in failing
        )  # fmt: skip
        yield Pitfall(
            "encoding",
            f"{shape.bits} SPI bits at {in_mhz(real)} are outside the datasheet of {part}: {wrong}",
            "measured on MOSI",
            better(self._display, self._wires.controller),
            True,
        )

    def _turned(self, one: Transfer, shape: Shape | None) -> Iterator[Pitfall]:
        """LED bits that can be found only if the bits are reordered or inverted."""
        if shape is None:
            yield Pitfall(
                "shape",
                "the bytes are not LED bits: those begin high, end low, and are all equally long",
                f"{one.data.size} bytes, {one.data[:8].tobytes().hex()}…",
                better(self._display, self._wires.controller),
                True,
            )
            return
        evidence = f"changed back, they are LED bits of {shape.bits} SPI bits each"
        if shape.turned == "inverted":
            what = "the bits are inverted: each LED bit begins low and ends high"
            fix = "send them without inversion; an inverting level shifter is not emulated."
        elif shape.turned == "swapped":
            what = f"bits_per_word is {one.bits_per_word}: each word's bytes leave last first"
            fix = "set bits_per_word to 8."
        elif one.lsb_first:
            what = "lsbfirst is set, but the bytes are made for highest bit first"
            fix = "set lsbfirst to False."
        else:
            what = "the bytes are made for lowest bit first, but the highest bit leaves first"
            fix = "build each byte from its highest bit down; few controllers can do lsbfirst."
        name = {"inverted": "inverted", "swapped": "words", "reversed": "lsbfirst"}[shape.turned]
        yield Pitfall(name, what, evidence, fix, True)

    def _gaps(self, burst: Burst, carrying: list[Transfer], wire: OneWire) -> Iterator[Pitfall]:
        """Frames in several transfers."""
        before, first = self._before, carrying[0]
        if before is not None and self._split(before, burst, first):
            had = int(before.frames.bit_counts[-1]) // self._display.chip.bits_per_led
            gap_ns = first.begin_ns - before.transfers[-1].end_ns
            yield Pitfall(
                "gap",
                f"a frame goes in several transfers, and the gap of {_us(gap_ns)} between two ends"
                f" it: for {self._display.chip.part}, {_us(wire.reset_ns)} of low end a frame."
                f" The data for LED {had} and the LEDs after it goes to LED 0 and on",
                f"{had} LED{'s' * (had != 1)} before the gap, {self._sizes(before, burst)}",
                self._one_piece(),
                True,
            )
        if len(carrying) < 2 or not self._whole_call(carrying):
            return
        gap_ns = max(_gaps_ns(carrying))
        cut = _cut_within_a_bit(carrying)
        yield Pitfall(
            "gap",
            f"a frame goes in {len(carrying)} transfers; it stays one frame only while each gap"
            f" is shorter than {_us(wire.reset_ns)}, which an operating system does not promise"
            + (", and the cut is inside an LED bit, so that one is read as two" if cut else ""),
            f"gaps of {_us(gap_ns)} are assumed (gap_us)",
            self._one_piece(),
            cut,
        )

    def _split(self, before: Burst, burst: Burst, first: Transfer) -> bool:
        """Whether two bursts were meant as one frame."""
        last = before.transfers[-1]
        if last.call and last.call == first.call:
            return True
        if not before.frames.bit_counts.size or not burst.frames.bit_counts.size:
            return False  # pulses too short to be read, at a speed that no LED follows
        had, comes = int(before.frames.bit_counts[-1]), int(burst.frames.bit_counts[0])
        soon = first.begin_ns - last.end_ns < _AT_ONCE_NS
        wire = self._display.chip.wire
        unlatched = isinstance(wire, OneWire) and before.low_ns < wire.reset_ns
        return soon and unlatched and had < self._full and had + comes <= self._full + 7

    def _whole_call(self, carrying: list[Transfer]) -> bool:
        """Whether transfers are pieces of one frame, not a frame each."""
        if carrying[0].call and carrying[0].call == carrying[-1].call:
            return True
        return all(one.data.size * 8 < self._full for one in carrying[:-1])

    def _clocked(self, burst: Burst) -> Iterator[Pitfall]:
        wire, part = self._display.chip.wire, self._display.chip.part
        assert isinstance(wire, Clocked)
        for one in burst.transfers:
            if bool(one.mode & CPHA) != bool(one.mode & CPOL):
                yield Pitfall(
                    "mode",
                    f"mode {one.mode} changes the data as the clock rises, which is when {part}"
                    " reads it",
                    "it reads this bit or the one before",
                    "set mode 0.",
                    True,
                )
            if one.lsb_first:
                yield Pitfall(
                    "lsbfirst",
                    f"lsbfirst is set, but {part} takes the highest bit first",
                    "every byte arrives mirrored",
                    "set lsbfirst to False.",
                    True,
                )
            if one.bits_per_word > 8:
                yield Pitfall(
                    "words",
                    f"bits_per_word is {one.bits_per_word}: each word's bytes leave last first",
                    "red, green and blue of neighbouring LEDs are exchanged",
                    "set bits_per_word to 8.",
                    True,
                )
            fast = one.hz > wire.most_hz
            off = bool(one.asked_hz) and abs(one.hz / one.asked_hz - 1) > _OFF
            unset = one.asked_hz == self._wires.controller.default_hz
            if fast or off:
                most = f"; {part} takes at most {in_mhz(wire.most_hz)}" * fast
                yield Pitfall(
                    "speed",
                    f"SCLK runs at {in_mhz(one.hz)}, {in_mhz(one.asked_hz)} asked for{most}",
                    "max_speed_hz is that of the device: the program does not set it" * unset
                    or f"{self._wires.name}: {self._divided(one.asked_hz)}",
                    f"set max_speed_hz to at most {in_mhz(wire.most_hz)}." if fast
                    else f"none needed; use {in_mhz(one.hz)} for frame rates.",
                    fast,
                )  # fmt: skip

    def _rests_high(self, what: str, last: Transfer | None = None) -> Pitfall:
        keeps = self._wires.controller.idle == "last"
        rests = (
            "MOSI keeps the level of the last bit, which is high" if keeps else "MOSI rests high"
        )
        wire = self._display.chip.wire
        assert isinstance(wire, OneWire)
        lows = "no low at the end" if last is None else f"{_us(last.low_tail_ns)} of low at the end"
        return Pitfall(
            "idle",
            f"{rests} between transfers: {what}",
            lows,
            f"send zeros for {_us(wire.reset_ns)} before and after the data, or pull MOSI down if"
            " the controller stops driving it.",
            True,
        )

    def _paused(self, name: str, most_ns: int, burst: Burst) -> bool:
        """Whether a low is too long only because of a gap in it."""
        gaps = _gaps_ns(list(burst.transfers))
        return name in ("T0L", "T1L") and bool(gaps) and most_ns >= min(gaps)

    def _divided(self, asked_hz: int) -> str:
        controller = self._wires.controller
        if controller.divider == "none":
            return "the speed asked for"
        return f"{in_mhz(controller.clock_hz)} / {controller.divisor(asked_hz)}"

    def _zeros(self, one: Transfer) -> str:
        wire = self._display.chip.wire
        assert isinstance(wire, OneWire)
        count = -(-wire.reset_ns * one.hz // 8e9)
        return f"send {count + 1:.0f} zero bytes after the data: {_us(wire.reset_ns)} of low."

    def _sizes(self, before: Burst, burst: Burst) -> str:
        return f"{before.transfers[-1].data.size} and {burst.transfers[0].data.size} bytes"

    def _one_piece(self) -> str:
        return (
            f"send each frame as one transfer, and make bufsiz (now {self._wires.bufsiz}) larger:"
            " spidev.bufsiz=65536 on the kernel's command line, then writebytes2 or xfer3."
        )


def _passes(one: Transfer, wire: OneWire) -> bool:
    start_ns, end_ns = one.begin_ns - wire.reset_ns, one.end_ns + wire.reset_ns
    return judge(mosi([one], "low", False, start_ns, end_ns), wire).verdict == "pass"


def _gaps_ns(transfers: list[Transfer]) -> list[int]:
    return [then.begin_ns - one.end_ns for one, then in itertools.pairwise(transfers)]


def _cut_within_a_bit(carrying: list[Transfer]) -> bool:
    """Whether a transfer ends high inside an LED bit and the next one continues it high."""
    pairs = itertools.pairwise(carrying)
    return any(one.bits[-1:].any() and then.bits[:1].any() for one, then in pairs)


def _us(time_ns: float) -> str:
    return f"{time_ns / 1e3:.4g} µs"
