"""The contents of a capture on the terminal: timing for the chip, frames, and a verdict."""

from __future__ import annotations

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from emulator.description.chips import Chip
from emulator.signal.capture import Capture, CaptureFrame, CaptureLine
from emulator.signal.timing import Symbol, Timing, TimingVerdict

_STYLE: dict[TimingVerdict, str] = {"pass": "green", "fail": "bold red", "cannot tell": "yellow"}
_MOST_FRAMES = 12
_MOST_LEDS = 6


def print_capture(capture: Capture, console: Console) -> None:
    """Print every line of a capture: timing table, frames, and the verdict in words."""
    for line in capture.lines:
        console.print()
        console.print(Text(f"Line {line.name}", style="bold"), _frame_count(line), sep="  ")
        if not line.frames and not line.timing.glitches:
            for doubt in line.doubts:
                console.print(Padding(Text(doubt.sentence), (0, 2)))
            continue
        console.print(_timing_table(line))
        if line.frames:
            console.print(_frame_table(line, capture.chip))
        for sentence in reasons(line, capture.chip):
            console.print(Padding(Text(sentence), (0, 2)))
    console.print()
    verdict = Text.assemble(
        ("Verdict: ", "bold"),
        (capture.verdict, _STYLE[capture.verdict]),
        f" as {capture.chip.part}.",
    )
    console.print(verdict)


def reasons(line: CaptureLine, chip: Chip) -> list[str]:
    """The reasons for the verdict on a line, and other remarks, in sentences."""
    timing = line.timing
    sentences = [doubt.sentence for doubt in line.doubts]
    if any(doubt.void for doubt in line.doubts):  # no symbol here belongs to the line
        return sentences
    seen = [symbol for symbol in timing.symbols if symbol.count]
    sentences += [
        f"{symbol.name} is out of tolerance: {_time(symbol.min_ns or 0)} to "
        f"{_time(symbol.max_ns or 0)} found, {chip.part} needs {_tolerance(symbol)}."
        for symbol in seen
        if symbol.verdict == "fail"
    ]
    untold = [symbol.name for symbol in seen if symbol.verdict == "cannot tell"]
    if untold:
        sentences.append(
            f"{', '.join(untold)} cannot be judged at this sampling rate: with a sample every "
            f"{_time(timing.resolution_ns)}, a measured time may be wrong by almost as much, which "
            f"is too close to the limit. Sample faster to judge it{_enough(timing)}. "
            "(If the capture was sampled faster than that, or is exact, give its --rate.)"
        )
    sentences += [
        f"{symbol.name} lasts {symbol.mean_ns:.0f} ns on average, which {chip.part} does not "
        "allow. That is a hint, not a proof: if the samples are in step with the line, a mean can "
        "be wrong by up to one sample, like a single pulse."
        for symbol in seen
        if symbol.verdict == "cannot tell" and symbol.mean_ns and not _allows(symbol)
    ]
    if timing.early:
        sentences.append(
            f"{_count(timing.early, 'frame')} came before the reset time had passed: "
            "the chip takes their bits as a part of the frame before."
        )
    if timing.glitches:
        sentences.append(
            f"{_count(timing.glitches, 'pulse or gap', 'pulses or gaps')} too short for any "
            "symbol: noise on the line, left out here."
        )
    if line.unsure and not line.doubts:
        sentences.append(
            f"{_count(line.unsure, 'bit')} within one sample of the chip's threshold: read by "
            "comparing with the two groups of pulses on the whole line."
        )
    if line.stray:
        sentences.append(
            f"{_count(line.stray, 'pulse or bit', 'pulses or bits')} outside any frame, or cut "
            "off at an end of the capture."
        )
    odd = [frame for frame in line.frames if frame.partial_bits and not frame.cut]
    if odd:
        sentences.append(
            f"{_count(len(odd), 'frame')} not ending on a whole LED or byte, the first at "
            f"{_time(odd[0].time_ns)} with {_count(odd[0].partial_bits, 'bit')} left over."
        )
    return sentences


def _allows(symbol: Symbol) -> bool:
    mean = symbol.mean_ns or 0.0
    return mean >= symbol.least_ns and (symbol.most_ns is None or mean <= symbol.most_ns)


def _enough(timing: Timing) -> str:
    """The sampling rate from which pulses in the middle of their tolerance can be judged."""
    widths = [s.most_ns - s.least_ns for s in timing.symbols if s.most_ns is not None]
    # A time in the middle reads up to one step off, and must then be a step from either limit.
    if not widths:
        return ""
    return f": at {4e3 / min(widths):.0f} MHz or more for pulses in the middle of the tolerance"


def _timing_table(line: CaptureLine) -> Table:
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("symbol")
    for heading in ("tolerance", "seen", "min", "median", "max"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    for symbol in line.timing.symbols:
        measured = (symbol.min_ns, symbol.median_ns, symbol.max_ns)
        table.add_row(
            symbol.name,
            _tolerance(symbol),
            str(symbol.count),
            *("–" if time is None else _time(time) for time in measured),
            Text(symbol.verdict, style=_STYLE[symbol.verdict])
            if symbol.count
            else Text("not seen"),
        )
    return table


def _frame_table(line: CaptureLine, chip: Chip) -> Table:
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("frame", justify="right")
    table.add_column("at", justify="right", no_wrap=True)
    table.add_column("bits", justify="right")
    table.add_column("LEDs", justify="right")
    table.add_column(f"first LEDs, {chip.order} as on the wire", no_wrap=True, overflow="ellipsis")
    for number, frame in enumerate(line.frames[:_MOST_FRAMES]):
        leds = frame.leds(chip)
        table.add_row(
            str(number),
            _time(frame.time_ns),
            str(frame.bits),
            str(len(leds)),
            _first_leds(frame, chip),
        )
    left = len(line.frames) - _MOST_FRAMES
    if left > 0:
        table.add_row("…", "", "", "", f"{left} more")
    return table


def _first_leds(frame: CaptureFrame, chip: Chip) -> str:
    leds = frame.leds(chip)
    groups = [led.tobytes().hex() for led in leds[:_MOST_LEDS]]
    if len(leds) > _MOST_LEDS:
        groups.append("…")
    if frame.partial_bits:
        groups.append(f"+ {_count(frame.partial_bits, 'bit')}")
    if frame.cut:
        groups.append("(may be cut)")
    return " ".join(groups)


def _frame_count(line: CaptureLine) -> Text:
    if not line.frames:
        return Text("no frames", style="dim")
    return Text.assemble(
        f"{_count(len(line.frames), 'frame')}, ", (line.verdict, _STYLE[line.verdict])
    )


def _tolerance(symbol: Symbol) -> str:
    if symbol.most_ns is None:
        return f"≥ {_time(symbol.least_ns)}"
    least, most = _time(symbol.least_ns), _time(symbol.most_ns)
    if least.split()[1] == most.split()[1]:
        least = least.split()[0]
    return f"{least}–{most}"


def _time(time_ns: float) -> str:
    """A time in a suitable unit, exact to the ns; parts of a ns with two decimals."""
    for unit, size in (("s", 10**9), ("ms", 10**6), ("µs", 10**3)):
        if abs(time_ns) >= size * 10:
            return f"{time_ns / size:.9f}".rstrip("0").rstrip(".") + f" {unit}"
    return f"{time_ns:.2f}".rstrip("0").rstrip(".") + " ns"


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
