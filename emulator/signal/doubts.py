"""Faults of a capture itself, which make a verdict on the timing impossible.

| doubt | how it shows | verdict |
|---|---|---|
| levels unknown | x or z next to a high level | cannot tell |
| inverted | rests high, and more of its bits fit the part if inverted | cannot tell |
| clock and data exchanged | the data change more often than the clock rises | cannot tell |
| no clock | its pulses are the two kinds of a one-wire line | cannot tell |
| no LED | no whole LED in any frame | cannot tell |
| another part | most frames have bits left over, or bits that LEDs do not explain | no pass |
| bits unsure | data change within a sample of the clock's rise | no pass |
| bits unsure | pulses near the threshold do not form two groups | no pass |
| never changes | no edge (of the clock, or of the data) | cannot tell (data: no pass) |
| rests high | its bits fit the part as they are, or fit nothing | cannot tell |
| floats | most pulses fit no part, and have all lengths or are too short | cannot tell |
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from emulator.description.chips import CHIPS, Chip, OneWire, Span
from emulator.signal.frames import LineFrames
from emulator.signal.framing import START_BYTES, has_end_frame, has_seven_bits, led_bytes
from emulator.signal.onewire import glitch_ns, pulses
from emulator.signal.waveform import Waveform

_REST_NS = 5_000  # a level that lasts so long is a rest, not part of a bit
_LIKE = 0.8  # a line looks like a part's if at least this share of its bits fits
_BETTER = 0.2  # the share of bits that fit must be so much higher for the inverted line
_HALF = 0.5  # from this share on a line is a part's, even if a bad one
_SOME = 4096  # at most so many pulses are looked at
_MANY = 0.3  # a line is noise if at least this share of its pulses is too short for any part
_GROUPED = 0.7  # on a driven line at least this share of pulses is near one of two group centres
_FEW = 16  # with fewer bits, a share means nothing


@dataclass(frozen=True)
class Doubt:
    """A sentence. void: the capture does not show the line, so that 'fail' is not proven either."""

    sentence: str
    void: bool


def one_wire_doubts(line: Waveform, frames: LineFrames, chip: Chip) -> list[Doubt]:
    """The doubts about the line of a one-wire chip and the frames that were read from it."""
    assert isinstance(chip.wire, OneWire)
    found = _unknown(line)
    if not line.edges_ns.size:
        return [*found, _steady("line", line)]
    floating = _floating(line)
    if floating:
        return [*found, floating]
    if _rests_high(line):
        turned = replace(line, first_level=not line.first_level)
        upright, inverted = likeness(line, chip.wire), likeness(turned, chip.wire)
        if inverted >= _LIKE and inverted >= upright + _BETTER:
            found.append(
                Doubt(
                    "The line is inverted: it rests high, and its inverted bits are those of "
                    f"{chip.part}. Either the capture is inverted, or a level shifter inverts "
                    "the line.",
                    True,
                )
            )
        else:
            found.append(
                Doubt(
                    "The line rests high between frames, but this part needs it low: it sees "
                    "no reset, and the last pulse of a frame lasts until the next one. Make "
                    "the sender hold the line low at rest. If only the capture is inverted, invert "
                    "it again.",
                    True,
                )
            )
    lengths = [_Length(int(bits), int(bits) // chip.bits_per_led) for bits in frames.bit_counts]
    found += _another_part(lengths, frames, chip)
    if not frames.plain:
        found.append(
            Doubt(
                f"{frames.unsure} bits are uncertain: their pulses are within one sample of the "
                "chip's threshold, and the pulses of the line do not form two clear groups. "
                "Their bytes may be wrong. Sample faster.",
                False,
            )
        )
    return found


def clocked_doubts(clock: Waveform, data: Waveform, frames: LineFrames, chip: Chip) -> list[Doubt]:
    """The doubts about a pair of clock and data and the frames that were read from it."""
    found = _unknown(clock) + _unknown(data)
    if not clock.edges_ns.size:
        return [*found, _steady("clock", clock)]
    if not data.edges_ns.size:
        found.append(replace(_steady("data line", data), void=False))
    if data.edges_ns.size > clock.rises_ns.size + 2:
        found.append(
            Doubt(
                f"The data line changes {data.edges_ns.size} times while the clock rises "
                f"{clock.rises_ns.size} times: clock and data look exchanged, or one of them is "
                "another line. Name them CLK and DATA.",
                True,
            )
        )
    like = _one_wire_like(clock)
    if like:
        found.append(
            Doubt(
                f"The line used as the clock has the pulses of a one-wire part such as {like}: "
                "is it a clock?",
                True,
            )
        )
    lengths = [_length(data, chip) for data in frames.frames()]
    found += _another_part(lengths, frames, chip)
    if frames.unsure:
        found.append(
            Doubt(
                f"{frames.unsure} bits are uncertain: the data change within one sample of the "
                "clock's rise. Sample faster.",
                False,
            )
        )
    return found


@dataclass(frozen=True)
class _Length:
    """A frame's bits, its whole LEDs, and whether it has bits that LEDs do not explain."""

    bits: int
    leds: int
    odd: bool | None = None


def _length(data: np.ndarray, chip: Chip) -> _Length:
    leds = len(led_bytes(data, chip))
    if has_seven_bits(chip):
        rest = data[leds * chip.bytes_per_led :]
        return _Length(8 * data.size, leds, bool(rest.any()))
    if not has_end_frame(chip):
        return _Length(8 * data.size, leds, bool(data.size % chip.bytes_per_led))
    start = 0 if data[:START_BYTES].any() else START_BYTES
    rest = data[start + leds * chip.bytes_per_led :]
    # An end frame is all zeros or all ones.
    return _Length(8 * data.size, leds, bool(rest.size and (rest.min(), rest.max()) not in _ENDS))


_ENDS = ((0, 0), (255, 255))


def _another_part(lengths: Sequence[_Length], frames: LineFrames, chip: Chip) -> list[Doubt]:
    cut_last = len(lengths) - int(frames.last_cut)
    whole = list(lengths)[int(frames.first_cut) : cut_last]
    if not lengths:
        return []
    if not any(length.leds for length in lengths):
        return [
            Doubt(
                f"No frame has a whole LED: this line does not drive {chip.part}, or it is not the "
                "data line.",
                bool(whole),
            )
        ]
    odd = [_is_odd(length, chip) for length in whole]
    if not whole or 2 * sum(odd) < len(whole):
        return []
    least, most = (pick(length.leds for length in whole) for pick in (min, max))
    counts = f"{least} to {most}" if least < most else f"{most}"
    return [
        Doubt(
            f"{counts} LED{'s' * (most != 1)} a frame, and bits left over in {sum(odd)} of "
            f"{len(whole)} frames: is it {chip.part}?{_others(whole, chip)}",
            False,
        )
    ]


def _is_odd(length: _Length, chip: Chip) -> bool:
    return length.bits % chip.bits_per_led > 0 if length.odd is None else length.odd


def _others(lengths: Sequence[_Length], chip: Chip) -> str:
    """The bits an LED that would leave no bits over, in words."""
    if not isinstance(chip.wire, OneWire):
        return ""
    sizes = {other.bits_per_led for other in CHIPS.values() if isinstance(other.wire, OneWire)}
    fit = [size for size in sorted(sizes) if not any(one.bits % size for one in lengths)]
    return f" With {fit[0]} bits for each LED nothing would be left over." if fit else ""


def likeness(line: Waveform, wire: OneWire) -> float:
    """Share 0…1 of a line's bits that fit one symbol of a part in high, low and length.

    The length must be within a fifth of the nominal one: some parts allow almost endless lows.
    """
    seen = pulses(line, wire)
    high, low = seen.high_ns[:-1], seen.gap_ns
    bits = low < _REST_NS
    if np.count_nonzero(bits) < _FEW:
        return 0.0
    margin = line.margin_ns

    def fits(times: np.ndarray, span: Span) -> np.ndarray:
        inside: np.ndarray = (times >= span.least - margin) & (times <= span.most + margin)
        return inside

    zero_ns, one_ns = wire.bit_ns
    zero = fits(high, wire.t0h) & fits(low, wire.t0l)
    one = fits(high, wire.t1h) & fits(low, wire.t1l)
    zero &= np.abs(high + low - zero_ns) <= zero_ns / 5 + margin
    one &= np.abs(high + low - one_ns) <= one_ns / 5 + margin
    like = zero | one
    return float(like[bits].mean())


def _one_wire_like(clock: Waveform) -> str | None:
    """A one-wire part whose two kinds of pulses the line carries; None if there is none."""
    for chip in CHIPS.values():
        if isinstance(chip.wire, OneWire) and likeness(clock, chip.wire) >= _LIKE:
            high = pulses(clock, chip.wire).high_ns
            apart = (chip.wire.t1h.nominal - chip.wire.t0h.nominal) // 2
            short = float((high < (int(high.min()) + int(high.max())) / 2).mean())
            if np.ptp(high) >= apart + clock.margin_ns and 0.05 < short < 0.95:
                return chip.part
    return None


def _steady(what: str, line: Waveform) -> Doubt:
    """The doubt that a line never changes, with the possible causes."""
    level = "high" if line.first_level else "low"
    why = (
        "a probe that is not connected or at another pin, or no picture was sent meanwhile"
        if not line.first_level
        else "a probe at the supply or at another pin, a sender that idles high, an open input "
        "with a pull-up, or no picture was sent meanwhile"
    )
    return Doubt(f"The {what} never changes, it is {level} throughout: {why}.", True)


def _floating(line: Waveform) -> Doubt | None:
    """The doubt that the pulses fit no part: of all lengths, or most too short."""
    high = np.diff(line.edges_ns)[int(line.first_level) :: 2]
    if high.size < _FEW:
        return None
    wires = [chip.wire for chip in CHIPS.values() if isinstance(chip.wire, OneWire)]
    some = high[:: -(-high.size // _SOME)]
    short = some < min(glitch_ns(wire) for wire in wires)
    split = (float(some.min()) * float(some.max())) ** 0.5
    groups = [group for group in (some[some < split], some[some >= split]) if group.size]
    near = sum(
        np.count_nonzero(np.abs(group - np.median(group)) <= np.median(group) / 5 + line.margin_ns)
        for group in groups
    )
    if short.mean() < _MANY and near >= _GROUPED * some.size:
        return None
    turned = replace(line, first_level=not line.first_level)
    if any(likeness(way, wire) >= _HALF for way in (line, turned) for wire in wires):
        return None
    return Doubt(
        f"The line does not carry one-wire data: its pulses last from {high.min()} to "
        f"{high.max()} ns and do not form two groups. It floats (nothing drives it, or ground "
        "is not connected), or it is another kind of line.",
        True,
    )


def _rests_high(line: Waveform) -> bool:
    """Whether the line rests high more often than low."""
    times = np.concatenate([[line.start_ns], line.edges_ns, [line.end_ns]])
    long = np.diff(times) >= _REST_NS
    high = (np.arange(long.size) & 1 == 0) == line.first_level
    return bool(
        line.edges_ns.size and np.count_nonzero(long & high) > np.count_nonzero(long & ~high)
    )


def _unknown(line: Waveform) -> list[Doubt]:
    if not line.unknown:
        return []
    return [
        Doubt(
            f"{line.unknown} values beside a high level are neither high nor low (x or z) and "
            "were read as low. A floating line can have any level: drive it, or pull it down, and "
            "capture again.",
            True,
        )
    ]
