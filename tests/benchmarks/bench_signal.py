"""The signal stage: captures decoded and read."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import numpy as np
from vcd.reader import tokenize

from emulator.description.chips import CHIPS, OneWire
from emulator.signal import onewire
from emulator.signal.vcd import read_vcd
from emulator.signal.vcdfile import write_vcd
from emulator.signal.waveform import from_samples
from tests.benchmarks.row import Row, best_s

LEDS = 576
SAMPLES, STEP_NS = 10_000_000, 250


def _wire() -> OneWire:
    wire = CHIPS["WS2812B"].wire
    assert isinstance(wire, OneWire)
    return wire


def samples_row() -> Row:
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
    anchor_s = best_s(lambda: np.flatnonzero(np.diff(samples)))
    return Row(
        "capture of 10 M samples decoded",
        f"{best_s(work) / anchor_s:.2f}× as long",
        "≤ 3×",
        "numpy's diff and flatnonzero of it",
    )


def vcd_row() -> Row:
    """Reading a VCD file, against pyvcd's tokenizer on the same text."""
    data = np.random.default_rng(3).integers(0, 256, (2, LEDS * 3), dtype=np.uint8)
    line = onewire.encode(data, _wire())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lines.vcd"
        write_vcd(path, {"A": line, "B": line})
        text = path.read_bytes()
        ours_s = best_s(lambda: read_vcd(path), 5)
    pyvcd_s = best_s(lambda: sum(1 for _ in tokenize(io.BytesIO(text))), 3)
    return Row(
        "VCD file read (why we have a reader of our own)",
        f"{pyvcd_s / ours_s:.0f}× faster",
        "> 1×",
        "pyvcd's tokenizer alone",
    )


def rows() -> list[Row]:
    """The rows of this file."""
    return [samples_row(), vcd_row()]
