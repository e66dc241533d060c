"""A decoded capture: the frames and the timing of every data line in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip, Clocked, OneWire
from emulator.errors import CaptureError
from emulator.signal import clocked, onewire
from emulator.signal.doubts import Doubt, clocked_doubts, one_wire_doubts
from emulator.signal.frames import LineFrames
from emulator.signal.framing import led_bytes
from emulator.signal.timing import Symbol, Timing, TimingVerdict, judge, judge_clock
from emulator.signal.waveform import Waveform

# What makers print beside the clock pin: CLK, CK, SCK, SCLK, CI (clock in).
_CLOCK_NAME = re.compile(r"(s?clk|s?ck|clock|ci)[ _]?\d*", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class CaptureFrame:
    """One frame of a line.

    time_ns : its first rising edge (of the clock, if there is one). data : uint8 (B,), the bytes
    as on the wire, first bit highest; if `bits` is not a multiple of 8, the last byte is filled
    up with 0. cut : it may continue outside the capture; if its beginning is cut, its bits may be
    out of step. partial_bits : bits left over after whole LEDs (after whole bytes for a chip whose
    frame has other bytes than those of LEDs).
    """

    time_ns: int
    bits: int
    data: NDArray[np.uint8]
    cut: bool
    partial_bits: int

    def leds(self, chip: Chip) -> NDArray[np.uint8]:
        """The whole LEDs of the frame: uint8 (n, C), in wire order."""
        return led_bytes(self.data[: self.bits // 8], chip)


@dataclass(frozen=True)
class CaptureLine:
    """One data line: its frames and its timing (for clocked chips, that of its clock).

    stray, unsure : as in `LineFrames`. doubts : what is wrong with the capture itself.
    """

    name: str
    timing: Timing
    frames: tuple[CaptureFrame, ...]
    stray: int
    unsure: int
    doubts: tuple[Doubt, ...] = ()

    @property
    def carried(self) -> bool:
        """Whether the line carried anything."""
        return bool(self.frames or self.timing.glitches)

    @property
    def verdict(self) -> TimingVerdict:
        """Verdict on the timing; 'cannot tell' for a line that carried no frame.

        With a doubt there is no 'pass'; with a doubt that is `void` there is no 'fail' either.
        """
        told = self.timing.verdict
        doubtful = self.doubts and told == "pass"
        if not self.carried or doubtful or any(doubt.void for doubt in self.doubts):
            return "cannot tell"
        return told


@dataclass(frozen=True)
class Capture:
    """All data lines of a capture, read as lines of one kind of chip."""

    chip: Chip
    lines: tuple[CaptureLine, ...]

    @property
    def verdict(self) -> TimingVerdict:
        """'fail' if any line fails, 'pass' if all lines that carried anything pass."""
        return joint_verdict(line.verdict for line in self.lines if line.carried)

    def to_json(self) -> dict[str, object]:
        """The capture in JSON types; times in ns.

        `bytes` is hex as on the wire. If `bits` is not a multiple of 8, the last byte is filled
        up with 0 bits.
        """
        return {
            "chip": self.chip.part,
            "verdict": self.verdict,
            "lines": [
                {
                    "name": line.name,
                    "verdict": line.verdict,
                    "doubts": [doubt.sentence for doubt in line.doubts],
                    "timing": {
                        "resolution_ns": round(line.timing.resolution_ns, 3),
                        "margin_ns": round(line.timing.margin_ns, 3),
                        "early": line.timing.early,
                        "glitches": line.timing.glitches,
                        "unsure_bits": line.unsure,
                        "symbols": [asdict(symbol) for symbol in line.timing.symbols],
                    },
                    "stray": line.stray,
                    "frames": [
                        {
                            "time_ns": frame.time_ns,
                            "bits": frame.bits,
                            "bytes": frame.data.tobytes().hex(),
                            "cut": frame.cut,
                            "partial_bits": frame.partial_bits,
                        }
                        for frame in line.frames
                    ],
                }
                for line in self.lines
            ],
        }


def joint_verdict(verdicts: Iterable[TimingVerdict]) -> TimingVerdict:
    """'fail' if any is 'fail', 'pass' if there are any and all are 'pass', else 'cannot tell'."""
    all_of_them = set(verdicts)
    if "fail" in all_of_them:
        return "fail"
    return "pass" if all_of_them == {"pass"} else "cannot tell"


def decode_capture(waveforms: Mapping[str, Waveform], chip: Chip) -> Capture:
    """Decode and judge every data line of a capture.

    For a one-wire chip every line is a data line. For a clocked chip, the lines named clk, clock,
    ck, sck, sclk or ci, with or without a number, are clocks. If there are none, the line with the
    most edges is the clock. One clock belongs to all other lines. Several clocks need as many data
    lines, and pair up in the order of the file.

    Raises CaptureError if clocks and data lines do not pair up.
    """
    if isinstance(chip.wire, OneWire):
        wire = chip.wire
        lines = []
        for name, waveform in waveforms.items():
            frames = onewire.decode(waveform, wire)
            doubts = one_wire_doubts(waveform, frames, chip)
            lines.append(_line(name, frames, judge(waveform, wire), doubts, chip))
    else:
        lines = []
        for clock, data in clock_pairs(waveforms, chip):
            frames = clocked.decode(waveforms[clock], waveforms[data], chip.wire)
            doubts = clocked_doubts(waveforms[clock], waveforms[data], frames, chip)
            lines.append(
                _line(data, frames, judge_clock(waveforms[clock], chip.wire), doubts, chip)
            )
    return Capture(chip, tuple(lines))


def clock_pairs(waveforms: Mapping[str, Waveform], chip: Chip) -> list[tuple[str, str]]:
    """The names (clock, data) of each pair of lines, as `decode_capture` finds them.

    Raises CaptureError if they do not pair up.
    """
    clocks = [name for name in waveforms if _CLOCK_NAME.fullmatch(name.rpartition(".")[2])]
    if not clocks and waveforms:
        clocks = [max(waveforms, key=lambda name: waveforms[name].edges_ns.size)]
    data = [name for name in waveforms if name not in clocks]
    if data and len(clocks) == 1:
        clocks *= len(data)
    if not data or len(clocks) != len(data):
        raise CaptureError(
            f"{len(clocks)} clock line(s) and {len(data)} data line(s) for {chip.part}, "
            f"among {', '.join(waveforms) or 'no lines'}",
            fix="capture one clock for all data lines or one a data line, "
            "and call them CLK, or CLK0, CLK1 ….",
        )
    return list(zip(clocks, data, strict=True))


def _unproven(symbol: Symbol) -> Symbol:
    return replace(symbol, verdict="cannot tell") if symbol.verdict == "fail" else symbol


def _line(
    name: str, frames: LineFrames, timing: Timing, doubts: list[Doubt], chip: Chip
) -> CaptureLine:
    framed = isinstance(chip.wire, Clocked) and chip.wire.latch != "rest"
    unit = 8 if framed else chip.bits_per_led
    last = len(frames) - 1
    parts = zip(frames.start_ns.tolist(), frames.bit_counts.tolist(), frames.frames(), strict=True)
    found = tuple(
        CaptureFrame(
            time_ns=time,
            bits=bits,
            data=data,
            cut=(i == 0 and frames.first_cut) or (i == last and frames.last_cut),
            partial_bits=bits % unit,
        )
        for i, (time, bits, data) in enumerate(parts)
    )
    if any(doubt.void for doubt in doubts):  # the measured times are not those of the line
        timing = replace(timing, symbols=tuple(map(_unproven, timing.symbols)))
    return CaptureLine(name, timing, found, frames.stray, frames.unsure, tuple(doubts))
