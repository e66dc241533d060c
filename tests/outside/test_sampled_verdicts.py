"""No verdict on a sampled line is false: many rates, parts, ways to write the file, and offsets.

The generator knows the true times. It samples them as a logic analyser does, at a phase that
drifts because the two clocks differ, and writes what it saw. The truth follows from the part's
limits alone: 'pass' is false if a pulse is out of them, and 'fail' is false if none is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from emulator.description.chips import CHIPS, OneWire
from emulator.signal.capture import decode_capture
from emulator.signal.capturefile import CaptureFile
from tests.tables import telling

RATES = (8e6, 12e6, 16e6, 24e6, 50e6, 100e6)
PARTS = ("WS2812B", "SK6812", "WS2811-LOW", "WS2813B")
OFFSETS = (-3.2, -1.5, -0.75, -0.25, -0.02, 0.02, 0.25, 0.75, 1.5, 3.2)  # samples from the limit
LIMITS = (("t0h", "most"), ("t1h", "least"), ("t1h", "most"), ("t0h", "least"))
Edges = NDArray[np.float64]


def true_edges(wire: OneWire, name: str, value_ns: float, seed: int) -> Edges:
    """Edges in ns of two frames of 40 LEDs, every pulse nominal but those of one symbol."""
    rng = np.random.default_rng(seed)
    high = {"t0h": float(wire.t0h.nominal), "t1h": float(wire.t1h.nominal)}
    period = high["t0h"] + wire.t0l.nominal
    high[name] = value_ns
    ones = rng.integers(0, 2, 2 * 40 * 24)
    pulse = np.where(ones, high["t1h"], high["t0h"])
    low = np.where(ones, wire.t1l.nominal, wire.t0l.nominal) + period / 997  # ends drift apart
    low[40 * 24 - 1] += 2 * wire.reset_ns
    edges: Edges = np.cumsum(np.stack([pulse, low], axis=1).ravel())
    edges = np.append(0, edges[:-1]) * (1 + 31e-6)  # a quartz, some parts in a million off
    return edges + 2 * wire.reset_ns + rng.uniform(0, 1000)


def sampled(edges: Edges, rate: float) -> NDArray[np.int64]:
    """The numbers of the first samples that show the new levels."""
    return np.ceil(edges * rate / 1e9).astype(np.int64)


def vcd(timescale: str, tick_ns: float, to_tick: Callable[[Edges], Edges]):
    def write(folder: Path, samples: NDArray[np.int64], rate: float, rest: int) -> CaptureFile:
        ticks = to_tick(samples * (1e9 / rate) / tick_ns + 1e-9).astype(np.int64)
        end = int((samples[-1] + rest) * (1e9 / rate) / tick_ns)
        text = f"$timescale {timescale} $end $var wire 1 ! D $end $enddefinitions $end\n#0 0!\n"
        text += "".join(f"#{t} {1 - n % 2}!\n" for n, t in enumerate(ticks)) + f"#{end}\n"
        (folder / "a.vcd").write_text(text)
        return CaptureFile(folder / "a.vcd")

    return write


def csv(head: str, row: str, scale: float, comma: bool, encoding: str = "utf-8"):
    def write(folder: Path, samples: NDArray[np.int64], rate: float, rest: int) -> CaptureFile:
        times = [0.0, *(samples / rate * scale), (samples[-1] + rest) / rate * scale]
        levels = [0, *((np.arange(samples.size) + 1) % 2), samples.size % 2]
        lines = [row.format(time, level) for time, level in zip(times, levels, strict=True)]
        text = "\n".join(lines)
        (folder / "a.csv").write_text(head + (text.replace(".", ",") if comma else text), encoding)
        return CaptureFile(folder / "a.csv")

    return write


def raw(packed: bool):
    def write(folder: Path, samples: NDArray[np.int64], rate: float, rest: int) -> CaptureFile:
        toggles = np.zeros((int(samples[-1]) + rest + 8) // 8 * 8, np.uint8)
        toggles[samples] = 1
        levels = np.bitwise_xor.accumulate(toggles)
        (folder / "a.bin").write_bytes((np.packbits(levels) if packed else levels).tobytes())
        return CaptureFile(folder / "a.bin", int(rate), () if packed else (0,), packed)

    return write


WRITERS = {
    "VCD 1 ns, nearest": vcd("1 ns", 1, np.rint),
    "VCD 1 ns, floor": vcd("1 ns", 1, np.floor),
    "VCD 10 ns, nearest": vcd("10 ns", 10, np.rint),
    "VCD 10 ns, floor": vcd("10 ns", 10, np.floor),
    "VCD 100 ps": vcd("100 ps", 0.1, np.rint),
    "VCD 1 ps": vcd("1 ps", 0.001, np.floor),
    "CSV, s to 1 ns": csv("Time [s],D\n", "{:.9f},{}", 1, False),
    "CSV, s to 10 ns": csv("Time [s],D\n", "{:.8f},{}", 1, False),
    "CSV, µs, decimal commas": csv("t/µs;D\n", "{:.4f};{}", 1e6, True),
    "CSV, ps, preamble, UTF-16": csv("; made\nt (ps),D\n", "{:.0f},{}", 1e12, False, "utf-16"),
    "samples": raw(False),
    "samples, packed": raw(True),
}


def judged(write, folder: Path, part: str, limit: tuple[str, str], rate: float, offset: float):
    """The verdict on a line whose pulses lie so many samples beyond a limit, and the truth."""
    name, end = limit
    wire = CHIPS[part].wire
    assert isinstance(wire, OneWire)
    edge = getattr(getattr(wire, name), end)
    value = edge + offset * 1e9 / rate
    edges = true_edges(wire, name, value, int(rate / 1e5) + int(100 * offset) + 1000)
    rest = int(2 * wire.reset_ns * rate / 1e9)
    file = write(folder, sampled(edges, rate), rate, rest)
    true_ns = value * (1 + 31e-6)
    inside = wire.t0h if name == "t0h" else wire.t1h
    capture = decode_capture(file.waveforms(), CHIPS[part])
    return capture.verdict, "pass" if inside.least <= true_ns <= inside.most else "fail"


def reads_as_itself(part: str, limit: tuple[str, str], rate: float, offset: float) -> bool:
    """Whether a pulse is still nearer to its own bit, and longer than two samples."""
    wire = CHIPS[part].wire
    assert isinstance(wire, OneWire)
    value = getattr(getattr(wire, limit[0]), limit[1]) + offset * 1e9 / rate
    sides = value < wire.threshold_ns if limit[0] == "t0h" else value > wire.threshold_ns
    return sides and value > 2e9 / rate


@pytest.mark.parametrize(
    "way", telling(WRITERS, lambda way: way.endswith(("1 ns, floor", "10 ns", "packed")))
)
def test_24_mhz_just_beyond_and_just_within_550_ns(tmp_path: Path, way: str) -> None:
    # WS2812B datasheet: T0H at most 550 ns. 555 must not pass, 549 must not fail.
    for true_ns, false in ((555, "pass"), (549, "fail")):
        offset = (true_ns - 550) / (1e9 / 24e6)
        told, _ = judged(WRITERS[way], tmp_path, "WS2812B", ("t0h", "most"), 24e6, offset)
        assert told != false
        assert told == "cannot tell"


@pytest.mark.slow
def test_no_verdict_is_false(tmp_path: Path) -> None:
    table: dict[tuple[float, float], Counter[str]] = {}
    false, rng = [], np.random.default_rng(550)
    for way, write in WRITERS.items():
        for rate in RATES:
            for offset in OFFSETS:
                part, limit = PARTS[rng.integers(len(PARTS))], LIMITS[rng.integers(len(LIMITS))]
                if not reads_as_itself(part, limit, rate, offset):
                    continue
                told, true = judged(write, tmp_path, part, limit, rate, offset)
                within = -abs(offset) if true == "pass" else abs(offset)
                table.setdefault((rate, within), Counter())[told] += 1
                if told not in (true, "cannot tell"):
                    false.append((way, rate, offset, part, limit, told, true))
    print(
        f"\n{sum(map(Counter.total, table.values()))} lines; by samples beyond the limit:"
        " pass/cannot tell/fail"
    )
    places = sorted({place for _, place in table})
    print("   MHz " + "".join(f"{place:>11}" for place in places))
    for rate in RATES:
        cells = [table.get((rate, place), Counter()) for place in places]
        words = [f"{c['pass']}/{c['cannot tell']}/{c['fail']}" for c in cells]
        print(f"{rate / 1e6:6g} " + "".join(f"{word:>11}" for word in words))
    print(f"false: {len(false)}")
    assert not false
    # And it does decide if it can: most lines three samples off a limit, at 24 MHz and more.
    for rate in (24e6, 50e6, 100e6):
        for place, word in ((-3.2, "pass"), (3.2, "fail")):
            cell = table[rate, place]
            assert cell[word] > 0.5 * cell.total(), (rate, place, cell)
