"""Speed of the signal stage, as ratios measured side by side in one run.

`python -m tests.benchmarks.bench_signal` prints them; nothing here is asserted.
"""

from __future__ import annotations

import io
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from vcd.reader import tokenize

from emulator.description.chips import CHIPS, OneWire
from emulator.signal import onewire
from emulator.signal.vcd import read_vcd, write_vcd
from emulator.signal.waveform import from_samples

LEDS = 576
SAMPLES, STEP_NS = 10_000_000, 250
WIRE_S = LEDS * 24 * 1.25e-6  # physical: 1.25 µs a bit


def best(work: Callable[[], object], repeats: int = 7) -> float:
    """Shortest of several runs, in seconds."""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def _wire() -> OneWire:
    wire = CHIPS["WS2812B"].wire
    assert isinstance(wire, OneWire)
    return wire


def waveform_row(frames: int) -> tuple[str, float, float, str]:
    """So many frames built and decoded in one go, against the time they take on a wire."""
    wire = _wire()
    data = np.random.default_rng(1).integers(0, 256, (frames, LEDS * 3), dtype=np.uint8)

    def work() -> np.ndarray:
        return onewire.decode(onewire.encode(data, wire), wire).data

    assert np.array_equal(work(), data.ravel())
    per_frame_s = best(work, 20) / frames
    return (
        f"{LEDS} LEDs, waveform built and decoded, {frames} at once: times faster than the wire",
        WIRE_S / per_frame_s,
        100.0,
        "physical: 1.25 µs a bit, 17.28 ms a frame",
    )


def samples_row() -> tuple[str, float, float, str]:
    """Whole decode of a capture, against numpy's own diff and flatnonzero on its samples."""
    wire = _wire()
    data = np.random.default_rng(2).integers(0, 256, (160, LEDS * 3), dtype=np.uint8)
    line = onewire.encode(data, wire)
    toggles = np.zeros(SAMPLES, dtype=np.uint8)
    sampled = line.edges_ns // STEP_NS
    toggles[sampled[sampled < SAMPLES]] = 1
    samples = np.bitwise_xor.accumulate(toggles)

    def work() -> np.ndarray:
        return onewire.decode(from_samples(samples, STEP_NS), wire).data

    assert np.array_equal(work()[:100_000], data.ravel()[:100_000])
    anchor_s = best(lambda: np.flatnonzero(np.diff(samples)))
    return (
        "capture of 10 M samples decoded: times numpy's diff + flatnonzero (at most)",
        best(work) / anchor_s,
        3.0,
        "numpy.diff + numpy.flatnonzero on the same uint8 samples",
    )


def vcd_row() -> tuple[str, float, float, str]:
    """Reading a VCD file, against pyvcd's tokenizer on the same text."""
    data = np.random.default_rng(3).integers(0, 256, (2, LEDS * 3), dtype=np.uint8)
    line = onewire.encode(data, _wire())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lines.vcd"
        write_vcd(path, {"A": line, "B": line})
        text = path.read_bytes()
        ours_s = best(lambda: read_vcd(path), 5)
    pyvcd_s = best(lambda: sum(1 for _ in tokenize(io.BytesIO(text))), 3)
    return (
        "VCD file read: times faster than pyvcd's tokenizer alone (why we have a reader)",
        pyvcd_s / ours_s,
        1.0,
        "vcd.reader.tokenize on the same bytes",
    )


def rows() -> list[tuple[str, float, float, str]]:
    """(name, measured ratio, required ratio, anchor) of each row."""
    return [waveform_row(1), waveform_row(64), samples_row(), vcd_row()]


if __name__ == "__main__":
    for name, measured, required, anchor in rows():
        print(f"{name}: {measured:.2f} (required {required:g}; {anchor})")
